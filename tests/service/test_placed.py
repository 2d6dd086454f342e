"""Clocks out of the record: first and last kit, cells, dew on the wet film."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tackfree.bundle.load import documents
from tackfree.bundle.new import copy_bundle
from tackfree.record.canonical import ulid
from tackfree.record.entries import append, entries, sha_of
from tackfree.record.revisions import save_revision
from tackfree.record.store import open_record
from tackfree.service import board, live
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import clock_entries, conditions, logged, place_row, placed_lines

ROOT = Path(__file__).resolve().parents[2]
ZONE = ZoneInfo("America/New_York")
SECTION = "P2-LANE-A-1"
NOON = datetime(2027, 4, 20, 12, tzinfo=ZONE)


class Deck:
    """A bundle with a record that takes entries of chosen times."""

    def __init__(self, folder: Path) -> None:
        self.folder = copy_bundle(ROOT / "demo" / "job", folder)
        self.made = Pipeline.of(self.folder)
        self.last = ""
        self.seq = 0
        self.path = self.folder / ".tackfree" / "job.sqlite"
        with open_record(self.path) as record:
            save_revision(record, documents(self.folder), job_id="ALDER-ROW")

    def log(self, kind: str, at: datetime, body: dict) -> str:
        self.seq += 1
        sent = {
            "id": ulid(time_ms=1_800_000_000_000 + self.seq, randomness=bytes(10)),
            "job": "ALDER-ROW", "device": "phone-1", "seq": self.seq, "person": "A. Foreman",
            "wall": at.isoformat(timespec="seconds"), "zone": "America/New_York", "kind": kind,
            "v": 1, "body": body, "previous": self.last,
        }  # fmt: skip
        with open_record(self.path) as record:
            assert append(record, sent) == "stored"
        self.last = sha_of(sent)
        return sent["id"]

    def kit(self, name: str, at: datetime, cell: str | None = None, **more) -> str:
        body = {"kit": name, "section": SECTION, "coat": "PRIMER"}
        found = self.log("batch", at, {**body, "product": "HEN-P", **more})
        if cell:
            self.log("placement", at + timedelta(minutes=10), {**body, "cell": cell})
        return found


@pytest.fixture(scope="module")
def deck(tmp_path_factory):
    it = Deck(tmp_path_factory.mktemp("placed") / "job")
    it.kit("K1", NOON, "01")
    it.kit("K2", NOON + timedelta(minutes=30), "02")
    wrong = it.kit("K9", NOON - timedelta(hours=5))
    it.kit("K3", NOON + timedelta(hours=1), corrects=wrong)
    return it


def test_first_and_last_kit_come_from_the_record(deck):
    (one,) = logged(clock_entries(deck.folder))
    assert (one.section_id, one.coat_id, one.kits) == (SECTION, "PRIMER", 3)
    # exact: K1 was spread ten minutes after it was mixed; the corrected kit is left out
    assert one.first_utc_s == (NOON + timedelta(minutes=10)).timestamp()
    assert one.last_utc_s == (NOON + timedelta(hours=1)).timestamp()
    assert [c for c, _ in one.cells] == ["01", "02"]


def test_each_cell_has_its_own_clock(deck):
    (one,) = placed_lines(deck.made, clock_entries(deck.folder))
    first, second = (clock for _, clock in one.cells)
    assert second.recoat_after.careful_utc_s > first.recoat_after.careful_utc_s
    # exact: the sheet's 36 h on the wall clock, each from its own kit
    assert second.recoat_before_utc_s - first.recoat_before_utc_s == 1800
    assert one.line.clock.recoat_before_utc_s == first.recoat_before_utc_s
    assert one.line.clock.recoat_after.careful_utc_s >= second.recoat_after.careful_utc_s
    row = place_row(deck.made, one)
    assert (row["from"], row["kits"], row["void"]) == ("record", 3, None)
    assert [c["cell"] for c in row["cells"]] == ["01", "02"]
    assert row["if_missed"]  # pages speak the stored form, as they do a built plan's
    assert json.loads(json.dumps(row)) == row


def test_the_board_stands_on_the_record_where_there_is_one(deck):
    put = Pipeline(deck.made.job)
    names = ("drawings", "takeoff", "sections", "weather", "climate")
    put.__dict__.update({n: getattr(deck.made, n) for n in names})
    put.__dict__["clocks"] = ()
    lines = placed_lines(put, clock_entries(deck.folder))
    rows = {r.section_id: r for r in board.board(put, NOON + timedelta(hours=2), None, lines)}
    assert (rows[SECTION].source, rows[SECTION].kits) == ("record", 3)
    assert rows[SECTION].state == "wet_film"
    assert rows["P2-LANE-B-1"].source == "plan"
    late = {r.section_id: r for r in board.board(put, NOON + timedelta(hours=40), None, lines)}
    assert late[SECTION].state == "past"
    assert any(r.id == "abrade_reprime" for r in late[SECTION].remedies)
    text = board.text(put, NOON + timedelta(hours=2), None, lines)
    assert "record, 3 kits" in text


def test_dew_on_the_wet_film_voids_until_somebody_inspects(tmp_path):
    deck = Deck(tmp_path / "job")
    deck.kit("K1", NOON, "01")
    # practice: 60 °F air at 90 % has its dew point at 57 °F; a slab at 55 °F is wet
    deck.log("conditions", NOON + timedelta(minutes=40),
             {"slab_c": 12.8, "air_c": 15.6, "rh": 0.9, "section": SECTION})  # fmt: skip
    found = clock_entries(deck.folder)
    (read,) = conditions(found)
    assert read.slab_c < read.dew_c
    (one,) = placed_lines(deck.made, found)
    assert one.void.id == "cure.void.dew"
    assert one.void.values["at_utc_s"] == (NOON + timedelta(minutes=40)).timestamp()
    # a reading elsewhere, or after tack-free, voids nothing
    other = [replace(e, body={**e.body, "section": "BAL-01-1"}) if e.kind == "conditions" else e
             for e in found]  # fmt: skip
    assert placed_lines(deck.made, tuple(other))[0].void is None
    late = (NOON + timedelta(hours=30)).isoformat()
    later = [replace(e, wall=late) if e.kind == "conditions" else e for e in found]
    assert placed_lines(deck.made, tuple(later))[0].void is None


def test_a_typical_year_rains_on_nothing_that_was_placed(deck):
    there = deck.made.climate
    assert any((w.rain > 0).any() for w in there.on_slots.values())
    assert all(one.void is None for one in placed_lines(deck.made, clock_entries(deck.folder)))


def test_pages_ask_cheaply_and_survive_a_broken_bundle(deck, tmp_path):
    with open_record(deck.path) as record:
        newest = entries(record)[-1].pos
    assert live.mark(deck.folder) == newest
    assert live.mark(tmp_path) == 0
    assert live.record_rows(deck.folder)[0]["kits"] == 3
    other = Deck(tmp_path / "broken")
    other.kit("K1", NOON)
    (other.folder / "job.toml").write_text("nothing", "utf-8")
    assert live.record_rows(other.folder) == ()


def test_logged_rain_voids_until_a_named_person_releases(tmp_path):
    deck = Deck(tmp_path / "job")
    deck.kit("K1", NOON, "01")
    rained = (NOON + timedelta(hours=1)).isoformat()
    deck.log("weather-event", NOON + timedelta(hours=2),
             {"what": "rain", "began": rained, "sections": [SECTION]})  # fmt: skip
    (one,) = placed_lines(deck.made, clock_entries(deck.folder))
    assert one.void.id == "cure.void.rain"
    assert one.void.values["at_utc_s"] == (NOON + timedelta(hours=1)).timestamp()
    deck.log("release", NOON + timedelta(hours=20),
             {"section": SECTION, "of": "recoat", "by": "Inspector"})  # fmt: skip
    (one,) = placed_lines(deck.made, clock_entries(deck.folder))
    assert one.void is None
