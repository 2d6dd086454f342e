"""A layout while it is coated: taps, kits that reach short or far, undo, the re-cut."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely import box
from tests.service.test_marks import FT, FT2, job

from tackfree.errors import InputError
from tackfree.record.entries import Entry
from tackfree.record.kinds import check_body
from tackfree.service.marks import lay_marks
from tackfree.service.marks_live import Film, reached, state_of, tap, through, undo
from tackfree.service.marks_papers import document
from tackfree.service.marks_recut import recut
from tackfree.service.marks_types import Ask

MIL = 25.4
FILM = Film(wft_um=25 * MIL, fill_um=4 * MIL)


@pytest.fixture(scope="module")
def layout():
    """Four lanes of four kits, 27 ft each, walked to and fro."""
    along = Ask(direction_rad=0.0, lane_m=10 * FT)
    marks = lay_marks(job([(0, 0, 108, 40)], reach_ft2=270), "S-1", "BASE", along)
    return document([marks])["layouts"][0]


class Book:
    """A record of its own."""

    def __init__(self, layout):
        self.layout = layout
        self.entries = []

    def add(self, drafts):
        for d in drafts:
            check_body(d.kind, 1, d.body)
            n = len(self.entries) + 1
            self.entries.append(
                Entry(pos=n, id=f"E{n}", job_id="J", device="D", seq=n, person="P",
                      wall=f"2027-04-20T10:{n:02d}:00-04:00", zone="America/New_York",
                      kind=d.kind, v=1, body=d.body, previous="", sha="", received="")
            )  # fmt: skip
        return self.live

    @property
    def live(self):
        return state_of(self.layout, self.entries, FILM)


@pytest.fixture
def book(layout):
    return Book(layout)


def test_a_tap_is_a_kit_in_its_cell(book):
    assert book.live.next == 1
    live = book.add(tap(book.live, 1))
    assert [e.kind for e in book.entries] == ["batch", "placement"]
    assert book.entries[1].body["layout"] == book.layout["id"]
    assert book.entries[1].body["cell"] == "1"
    assert live.cell(1).state == "in"
    assert live.cell(1).film_um == pytest.approx(25 * MIL, rel=2e-3)
    assert live.next == 2
    assert live.placed == 1
    assert live.edge_since == book.entries[1].wall


def test_through_marks_every_kit_that_is_not_in(book):
    book.add(tap(book.live, 3))
    assert book.live.skipped == (1, 2)
    live = book.add(through(book.live, 6))
    assert live.placed == 6
    assert live.skipped == ()
    assert len(book.entries) == 12
    with pytest.raises(InputError, match="every kit"):
        through(live, 6)


@pytest.mark.parametrize(
    ("past_ft", "mil"),
    # By hand: 29 mil * 27 / (27 + 6) - 4 = 19.7; 29 * 27 / (27 - 3) - 4 = 28.6
    [(6.0, 19.73), (-3.0, 28.63)],
)
def test_a_kit_that_reaches_far_or_short_does_not_move_the_marks(book, past_ft, mil):
    book.add(through(book.live, 2))
    live = book.add(reached(book.live, 2, past_ft * FT))
    two = live.cell(2)
    assert two.film_um / MIL == pytest.approx(mil, abs=0.06)
    assert two.past_m / FT == pytest.approx(past_ft, abs=0.02)
    assert two.outline.equals(Book(book.layout).live.cell(2).outline)
    # The next kit takes what is left, up to its own mark.
    three = book.add(tap(live, 3)).cell(3)
    assert three.covered.area / FT2 == pytest.approx(270 - past_ft * 10, rel=3e-3)
    assert three.past_m == pytest.approx(0.0, abs=0.01)
    both = shapely.union_all([two.covered, three.covered])
    assert both.area / FT2 == pytest.approx(540, rel=2e-3)


def test_a_reach_told_late_corrects_both_kits(book):
    book.add(through(book.live, 3))
    live = book.add(reached(book.live, 2, 6 * FT))
    assert live.placed == 3
    assert live.cell(2).film_um / MIL == pytest.approx(19.73, abs=0.06)
    # By hand: 29 mil * 27 / 21 - 4 = 33.3
    assert live.cell(3).film_um / MIL == pytest.approx(33.29, abs=0.12)


def test_an_undo_is_an_entry_of_its_own(book):
    book.add(tap(book.live, 1))
    live = book.add(undo(book.live, 1, "wrong cell"))
    assert live.cell(1).state == "next"
    assert [e.kind for e in book.entries] == ["batch", "placement", "correction", "correction"]
    assert book.add(tap(live, 1)).cell(1).state == "in"


def test_what_cannot_be_is_named(book):
    live = book.add(tap(book.live, 1))
    with pytest.raises(InputError, match="is in"):
        tap(live, 1)
    with pytest.raises(InputError, match="no cell 99"):
        tap(live, 99)
    with pytest.raises(InputError, match="bare"):
        undo(live, 5, "none")
    with pytest.raises(InputError, match="not in yet"):
        reached(live, 2, 1.0)
    with pytest.raises(InputError, match="outside cells"):
        reached(live, 1, 40 * FT)
    with pytest.raises(InputError, match="outside cells"):
        reached(live, 1, -40 * FT)


def test_a_recut_begins_at_the_end_of_a_lane_and_keeps_old_cells(book):
    live = book.add(through(book.live, 6))  # the second lane is half done
    assert live.lane_end == 8
    new = recut(book.layout, live, left_out=[16])
    assert new["id"] != book.layout["id"]
    assert new["replaces"] == book.layout["id"]
    kept = [c for c in new["cells"] if c["number"] <= 8]
    assert [c["outline"] for c in kept] == [c["outline"] for c in book.layout["cells"][:8]]
    # exact: 16 cells of 270 ft², eight kept, one left out
    fresh = [c for c in new["cells"] if c["number"] > 8]
    assert sum(c["plan_m2"] for c in fresh) / FT2 == pytest.approx(7 * 270, rel=1e-4)
    assert [c["number"] for c in fresh] == list(range(9, 9 + len(fresh)))
    # The record says the same of the old cells; taps go on in the new ones.
    again = Book(new)
    again.entries = list(book.entries)
    assert again.live.placed == 6
    assert again.live.next == 7
    after = again.add(through(again.live, 9))
    assert after.placed == 9
    assert again.entries[-1].body["layout"] == new["id"]
    assert again.entries[-3].body["layout"] == book.layout["id"]
    with pytest.raises(InputError, match="has its kit"):
        recut(book.layout, live, left_out=[3])
    done = Book(book.layout)
    with pytest.raises(InputError, match="no lane is left"):
        recut(book.layout, done.add(through(done.live, 16)))


def test_a_column_in_a_cell_is_no_floor(layout):
    column = box(12 * FT, 4 * FT, 14 * FT, 6 * FT)
    made = job([(0, 0, 54, 10)], reach_ft2=270)
    floor = made.sections.sections[0].floor
    section = replace(
        made.sections.sections[0], floor=shapely.MultiPolygon([floor.difference(column)])
    )
    made.sections.sections = (section,)
    book = Book(document([lay_marks(made, "S-1", "BASE")])["layouts"][0])
    live = book.add(through(book.live, len(book.layout["cells"])))
    assert [c.off for c in live.cells] == [False] * len(live.cells)
