"""The strip chart: one axis for all, hatches by state, gaps, golden picture."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest
from tests.sheets.golden import same

from tackfree.sheets.day_strip import Span
from tackfree.sheets.strip_chart import ClockRow, Lane, StripChart, strip_chart_svg
from tackfree.sheets.strip_sheet import StripSheet, render_strip_pdf

NS = "{http://www.w3.org/2000/svg}"
ZONE = ZoneInfo("America/New_York")


def at(day: int, hour: float) -> float:
    whole = datetime(2027, 4, day, int(hour), round(hour % 1 * 60), tzinfo=ZONE)
    return whole.timestamp()


def chart(**more: object) -> StripChart:
    times = [at(20, 0) + 1800 * k for k in range(145)]
    turn = 2 * math.pi / 24
    hours = [k / 2 for k in range(145)]
    plain = StripChart(
        from_utc_s=at(20, 0),
        to_utc_s=at(23, 0),
        time_zone="America/New_York",
        at_utc_s=times,
        air_c=[16 + 7 * math.cos((h - 15) * turn) for h in hours],
        slab_c=[19 + 14 * math.cos((h - 15.5) * turn) for h in hours],
        dew_c=[7 + 2 * math.sin(h / 9) for h in hours],
        sun_w_m2=[max(0.0, 900 * math.cos((h - 13) * turn)) for h in hours],
        days=tuple(
            Span(from_utc_s=at(d, 0), to_utc_s=at(d + 1, 0), text=name)
            for d, name in ((20, "Tue 20 Apr"), (21, "Wed 21 Apr"), (22, "Thu 22 Apr"))
        ),
        spread_min_k=5 / 1.8,
        rain=(Span(from_utc_s=at(22, 14), to_utc_s=at(22, 17)),),
        dark=tuple(Span(from_utc_s=at(d, 20), to_utc_s=at(d + 1, 6)) for d in (20, 21)),
        lanes=(
            Lane(
                name="Primer, 2 h to place",
                spans=(
                    Span(from_utc_s=at(20, 0), to_utc_s=at(20, 14.5), word="wait"),
                    Span(from_utc_s=at(20, 14.5), to_utc_s=at(20, 20), word="go"),
                    Span(from_utc_s=at(20, 20), to_utc_s=at(21, 8), word="measure"),
                    Span(from_utc_s=at(21, 8), to_utc_s=at(23, 0), word="unknown"),
                ),
            ),
        ),
        clocks=(
            ClockRow(
                name="Primer", detail="next coat from Wed 05:00, down by Thu 04:00, by the plan",
                brief="Wed 05:00–Thu 04:00", placed_from_utc_s=at(20, 16),
                placed_to_utc_s=at(20, 18), tack_free_utc_s=at(20, 22),
                recoat_after_utc_s=at(21, 5), recoat_before_utc_s=at(22, 4),
            ),
            ClockRow(
                name="Base coat", detail="void until inspected", brief="void",
                placed_from_utc_s=at(21, 15), placed_to_utc_s=at(21, 18),
                tack_free_utc_s=at(22, 0), recoat_after_utc_s=None, recoat_before_utc_s=None,
                void=True,
            ),
            ClockRow(
                name="Top coat", detail="cars", brief="cars", placed_from_utc_s=at(22, 9),
                placed_to_utc_s=at(22, 12), tack_free_utc_s=None, recoat_after_utc_s=None,
                recoat_before_utc_s=None, cars_after_utc_s=at(22, 21),
            ),
        ),
        now_utc_s=at(21, 10),
    )  # fmt: skip
    return replace(plain, **more)  # type: ignore[arg-type]


def texts(drawn: str) -> list[str]:
    return ["".join(e.itertext()) for e in ET.fromstring(drawn).iter(f"{NS}text")]


def test_golden(request: pytest.FixtureRequest) -> None:
    same("strip-chart.svg", strip_chart_svg(chart()), request.config)


def test_golden_for_a_phone(request: pytest.FixtureRequest) -> None:
    narrow = chart(to_utc_s=at(21, 12))
    same("strip-chart-360.svg", strip_chart_svg(narrow, width=336, palette="night"), request.config)


def test_everything_stands_on_one_axis() -> None:
    """A window and a placing that begin together begin at the same place of the page."""
    one = chart(lanes=(Lane(name="x", spans=(Span(from_utc_s=at(20, 16), to_utc_s=at(20, 18),
                                                  word="go"),)),))  # fmt: skip
    drawn = ET.fromstring(strip_chart_svg(one))
    boxes = [(e.get("x"), e.get("width")) for e in drawn.iter(f"{NS}rect")]
    left = next(x for x, w in boxes if boxes.count((x, w)) >= 4)
    placed = [e for e in drawn.iter(f"{NS}rect") if e.get("class") == "f-ink"]
    assert placed[0].get("x") == left


@pytest.mark.parametrize("word", ["go", "measure", "wait", "unknown"])
def test_states_are_words_and_hatches(word: str) -> None:
    drawn = strip_chart_svg(chart())
    assert {"GO", "MEASURE", "WAIT", "UNKNOWN"} <= set(texts(drawn))
    assert (f'id="strip-hatch-{word}"' in drawn) == (word != "go")


def test_nothing_known_still_draws() -> None:
    gone = [math.nan] * 145
    drawn = strip_chart_svg(
        chart(
            air_c=gone, slab_c=gone, dew_c=gone, sun_w_m2=gone, lanes=(), clocks=(), now_utc_s=None
        )
    )
    assert "nan" not in drawn.lower()
    assert "Strip chart" in drawn


def test_no_text_is_cut_at_the_edges() -> None:
    for width in (336.0, 800.0, 1040.0):
        drawn = ET.fromstring(strip_chart_svg(chart(), width=width))
        for e in drawn.iter(f"{NS}text"):
            assert 0 <= float(str(e.get("x"))) <= width


def test_on_paper(request: pytest.FixtureRequest) -> None:
    sheet = StripSheet(
        job="ALDER-ROW", zone_id="P2-LANE-A", about="P2-LANE-A-1", chart=chart(),
        head=("Coat", "Placed", "Tack-free", "Recoat after", "Recoat before", "Cars after"),
        rows=(("P2-LANE-A-1\nPrimer", "Tue", "Tue", "Wed", "Thu", "–"),), notes=("Planning help.",),
        language="en", paper="us-letter", made_utc_s=1_807_000_000,
    )  # fmt: skip
    pdf = render_strip_pdf(sheet)
    assert pdf == render_strip_pdf(sheet)
    assert re.search(rb"/Type\s*/Page\b", pdf)
