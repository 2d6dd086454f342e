"""Weather read, best starts, drying, clock board: the demo job through its services."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tackfree.bundle.new import copy_bundle
from tackfree.climate.window_types import State
from tackfree.cure.types import Clock, Ends
from tackfree.errors import InputError, NotFound
from tackfree.service import board, documents, windows
from tackfree.service import weather as readers
from tackfree.service.clocks import ClockLine
from tackfree.service.pipeline import Pipeline

ROOT = Path(__file__).resolve().parents[2]
ZONE = ZoneInfo("America/New_York")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = copy_bundle(ROOT / "demo" / "job", tmp_path_factory.mktemp("demo") / "job")
    return Pipeline.of(folder)


def when(*parts):
    return datetime(*parts, tzinfo=ZONE)


def test_best_starts_are_allowed_and_ordered(made):
    found = windows.ranked(made, date(2027, 5, 3), days=3)
    seen = {(s.exposure, s.build_up_id) for s in made.sections.sections}
    assert {(r.exposure, r.build_up_id) for r in found} == seen
    for row in found:
        order = [(s.state, -s.margin_k) for s in row.starts]
        assert order == sorted(order)
        assert all(s.state in (State.GO, State.MEASURE) for s in row.starts)
        assert all(s.start_utc_s <= s.last_utc_s for s in row.starts)
        for _, gap in row.overlaps:
            if gap.both:
                assert gap.outgassing_safe
                assert gap.dew_safe
    # only the first liquid on bare concrete has a gap between pore air and dew
    firsts = {b.coats[0].id for b in made.job.build_ups.values()}
    assert all(bool(r.overlaps) == (r.coat_id in firsts) for r in found)
    text = windows.ranked_text(made, date(2027, 5, 3), 3, 4.0)
    assert "typical year, no forecast" in text


def test_days_outside_the_weather_are_refused(made):
    with pytest.raises(InputError, match="outside the job's weather"):
        windows.ranked(made, date(2029, 5, 3))
    with pytest.raises(NotFound, match="outside the job's weather"):
        windows.drying(made, when(2029, 5, 3, 7))


def test_drying_tells_when_to_test_and_never_that_it_is_dry(made):
    rows = windows.drying(made, when(2027, 5, 3, 7))
    assert rows
    for row in rows:
        assert row.careful_utc_s > row.hopeful_utc_s > row.rain_ended_utc_s
    assert "the specified moisture test decides" in windows.drying_text(made, when(2027, 5, 3, 7))


def line(section, coat, first, last, *, after, before, tack):
    return ClockLine(
        section_id=section, coat_id=coat, product_id="HEN-P",
        clock=Clock(
            placed_from_utc_s=first.timestamp(), placed_to_utc_s=last.timestamp(),
            tack_free=Ends(careful_utc_s=tack.timestamp(), hopeful_utc_s=tack.timestamp()),
            recoat_after=Ends(careful_utc_s=after.timestamp(), hopeful_utc_s=after.timestamp()),
            recoat_before_utc_s=before.timestamp(), better_before_utc_s=None,
            feet_after=Ends(careful_utc_s=None, hopeful_utc_s=None),
            cars_after=Ends(careful_utc_s=None, hopeful_utc_s=None),
        ),
    )  # fmt: skip


def test_a_primed_deck_over_a_wet_weekend(made):
    """A primer of Friday with a window of 24 h, looked at on Monday at 07:00."""
    section = next(s for s in made.sections.sections if s.exposure.value == "open-sky")
    primer = made.job.build_ups[section.build_up_id].coats[0]
    friday = when(2027, 4, 23, 13)
    put = Pipeline(made.job)
    # the plan's own clocks are replaced by the one that was missed
    put.__dict__.update(
        {n: getattr(made, n) for n in ("drawings", "takeoff", "sections", "weather", "climate")}
    )
    put.__dict__["clocks"] = (
        line(section.id, primer.id, friday, friday + timedelta(hours=2),
             after=friday + timedelta(hours=8), before=friday + timedelta(hours=24),
             tack=friday + timedelta(hours=5)),
    )  # fmt: skip
    rows = {r.section_id: r for r in board.board(put, when(2027, 4, 26, 7))}
    row = rows[section.id]
    assert (row.state, row.past) == ("past", True)
    # practice: primer at 300 ft²/gal before waste
    reprime = next(r for r in row.remedies if r.id == "abrade_reprime")
    assert reprime.volume_l / 3.785411784 == pytest.approx(row.area_m2 / 0.09290304 / 300)
    assert rows[next(i for i in rows if i != section.id)].state == "bare"
    early = {r.section_id: r for r in board.board(put, friday + timedelta(hours=3))}
    assert early[section.id].state == "wet_film"
    later = {r.section_id: r for r in board.board(put, friday + timedelta(hours=9))}
    assert later[section.id].state == "open"
    stopped = board.board(put, when(2027, 4, 26, 7), stop=friday - timedelta(hours=1))
    assert {r.state for r in stopped} == {"bare"}
    text = board.text(put, when(2027, 4, 26, 7), None)
    assert section.id in text.split("section ")[0]
    spanish = board.text(put, when(2027, 4, 26, 7), None, language="es")
    assert spanish.startswith("Relojes: lun 26 abr, 07:00")
    assert "secciones están fuera de su ventana" in spanish
    for word in ("section", "recoat", "primer ", "past", "plan)", "nothing placed", "Fri", "Apr"):
        assert word not in spanish


@pytest.mark.outside
def test_a_file_is_reported_before_it_is_trusted(shared):
    document = readers.read(shared / "weather" / "nws_gridpoint_TBW_2022-02-03.json", "", None)
    assert document["columns"]["air_c"] | {"least": 0, "mean": 0, "most": 0} == {
        "known": 182, "unknown": 1, "least": 0, "mean": 0, "most": 0, "tag": "instant",
    }  # fmt: skip
    assert "Rain is unknown in 24 hour(s)." in readers.read_text(document)


def test_a_mapping_from_options():
    given = readers.mapping_of(
        columns=["air_c=Temp"], units=["air_c=F"], time="", zone="UTC", day_first=None,
        decimal="", file=None,
    )  # fmt: skip
    assert given.columns == {"air_c": "Temp"}
    nothing = readers.mapping_of(
        columns=[], units=[], time="", zone="", day_first=None, decimal="", file=None
    )
    assert nothing is None
    with pytest.raises(InputError, match="has no ="):
        readers.mapping_of(
            columns=["air_c"], units=[], time="", zone="", day_first=None, decimal="", file=None
        )


def test_the_weather_page_holds_what_drying_answers(made):
    """Every rain of the season: the page's row is the command's answer at that moment."""
    rows = documents.climate(made)["drying"]
    assert {r.exposure for r in rows} == {"open-sky", "over-occupied"}
    for spell in sorted({r.rain_ended_utc_s for r in rows})[::5]:
        at = datetime.fromtimestamp(spell, ZONE)
        told = windows.drying(made, at - timedelta(hours=1))
        assert set(told) <= set(rows)
