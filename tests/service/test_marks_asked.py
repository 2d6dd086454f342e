"""What a foreman types about a layout: read to SI and the deck's frame, or refused by name."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest
from shapely import LineString, MultiPolygon, Point, box
from tests.service.test_marks import FT, FT2, job

from tackfree.deck.types import Feature, FeatureKind
from tackfree.errors import InputError, NotFound, ToolError
from tackfree.service.marks_asked import ask_of

STALL = Feature(
    id="ST-7", kind=FeatureKind.STALL, geometry=box(0, 0, 9 * FT, 18 * FT), label="7"
)  # fmt: skip


@pytest.fixture
def made():
    """100 by 54 ft drawn 1,000 ft to the right of the drawing's origin, with stall 7."""
    made = job([(0, 0, 100, 54)], reach_ft2=270, features=(STALL,))
    deck = replace(made.drawings.decks[0], offset_m=(1000 * FT, 0.0))
    made.drawings = SimpleNamespace(decks=(deck,))
    return made


def test_places_are_read_in_the_drawing_s_own_coordinates(made) -> None:
    ask = ask_of(
        made, ["S-1"], exits=["1100,27"], start="1000,0", stop_lines=["1050,0 1050,54"],
        no_go=["1000,30 1020,30"], keep_out=["1000,0 1010,0 1010,54 1000,54"],
    )  # fmt: skip
    # published: 1 ft = 0.3048 m
    middle = LineString([(50 * FT, 0), (50 * FT, 54 * FT)])
    for read, meant in (
        (ask.exits[0], Point(100 * FT, 27 * FT)),
        (ask.start, Point(0, 0)),
        (ask.stop_lines[0], middle),
    ):
        assert read.equals_exact(meant, 1e-9)
    assert ask.no_go[0].length == pytest.approx(20 * FT)
    assert ask.kept_out.area == pytest.approx(540 * FT2)


def test_a_metric_job_reads_metres(made) -> None:
    made.job.units = "si"
    ask = ask_of(made, ["S-1"], exits=["308.28,8"])
    assert ask.exits[0].x == pytest.approx(308.28 - 304.8)
    assert ask.exits[0].y == 8


def test_lengths_temperatures_and_times_carry_their_units(made) -> None:
    ask = ask_of(
        made, [], direction_deg=90.0, lane="10 ft", module=True, slab="92 °F", passage="2 ft",
        kits=22, truck="15:00", down_by="17:40", open_minutes=40.0, placed=3, lane_end=True,
    )  # fmt: skip
    assert ask.direction_rad == pytest.approx(math.pi / 2)
    assert (ask.lane_m, ask.passage_m) == pytest.approx((3.048, 0.6096))
    assert ask.slab_c == pytest.approx((92 - 32) / 1.8)
    assert (ask.truck_min, ask.down_by_min) == (15 * 60, 17 * 60 + 40)
    assert (ask.kits, ask.placed, ask.module, ask.lane_end) == (22, 3, True, True)
    assert ask_of(made, []) == ask_of(made, ["S-1"])  # nothing is typed, nothing is fixed


def test_a_stall_and_an_outline_are_kept_out_together(made) -> None:
    ask = ask_of(made, ["S-1"], stalls=["7"], keep_out=["1005,0 1020,0 1020,18 1005,18"])
    # by hand: 9 by 18 and 15 by 18 ft, 4 by 18 of them twice
    assert ask.kept_out.area == pytest.approx((9 * 18 + 15 * 18 - 4 * 18) * FT2)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"exits": ["left"]}, ["--exit", "'left'", "120,40"]),
        ({"exits": ["1,2,3"]}, ["--exit", "no place"]),
        ({"exits": ["nan,1"]}, ["--exit", "no place"]),
        ({"start": "1000"}, ["--start", "no place"]),
        ({"stop_lines": ["1050,0"]}, ["--stop-line", "no line"]),
        ({"no_go": ["1050,0 1050,0"]}, ["--no-go", "no line"]),
        ({"keep_out": ["1000,0 1010,0"]}, ["--keep-out", "no outline"]),
        ({"keep_out": ["1000,0 1010,10 1010,0 1000,10"]}, ["--keep-out", "no outline"]),  # crossed
        ({"keep_out": ["S-1"]}, ["--keep-out", "'S-1'", "no place"]),
        ({"keep_out": ["0,0 9,0 9,9"]}, ["--keep-out", "nothing of S-1"]),  # beside the section
        ({"stalls": ["8"]}, ["--stall", "stall 8", "P1"]),
        ({"direction_deg": math.inf}, ["--direction", "no number"]),
        ({"lane": "ten"}, ["ten"]),
        ({"lane": "10 min"}, ["10 min"]),
        ({"slab": "92"}, ["92"]),
        ({"truck": "3 pm"}, ["--truck", "no time of day"]),
        ({"down_by": "25:00"}, ["--down-by", "25:00"]),
        ({"down_by": "17:4"}, ["--down-by", "no time of day"]),
    ],
)
def test_what_cannot_be_read_is_named_with_its_option(made, typed, says) -> None:
    with pytest.raises(ToolError) as refused:
        ask_of(made, ["S-1"], **typed)
    fault = refused.value.faults[0]
    for part in says:
        assert part in f"{fault.where} {fault.what} {fault.do}"


def test_places_need_sections_of_one_deck(made) -> None:
    with pytest.raises(NotFound, match="S-9"):
        ask_of(made, ["S-9"], keep_out=["1000,0 1010,0 1010,10"])
    with pytest.raises(InputError, match="need a section"):
        ask_of(made, [], exits=["1000,0"])
    other = replace(made.sections.sections[0], id="S-2", deck_id="P2",
                    floor=MultiPolygon([box(0, 0, 9, 9)]))  # fmt: skip
    made.sections = SimpleNamespace(sections=(*made.sections.sections, other))
    with pytest.raises(InputError, match="one deck"):
        ask_of(made, ["S-1", "S-2"], exits=["1000,0"])
