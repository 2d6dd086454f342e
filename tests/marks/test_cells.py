"""Kit cells: areas, order, the way out, and the decks that break simpler cutting."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from bench.marks import jagged, sound
from shapely import LineString, Point, box
from shapely.affinity import rotate, scale
from tests.marks.decks import DECKS, FT, KIT_FT2, KIT_M2, NECK, U_DECK, metres

from tackfree.errors import InputError, Refused
from tackfree.marks.cell_types import Cell, Wishes
from tackfree.marks.checking import check_cells
from tackfree.marks.layout import best_layouts, lay

ALONG, ACROSS = 0.0, math.pi / 2

# Constructed cases of the note on geometry, by its numbers, and where each is held.
CASES = {
    30: ("test_the_rest_below_a_thousandth_of_a_kit_is_no_cell_of_its_own",),
    31: (
        "test_an_exit_in_the_middle_of_a_side",
        "test_a_lane_by_lane_serpentine_from_one_side_traps_the_crew",
    ),
    32: ("test_cuts_beside_a_hole_in_a_lane",),
    33: ("test_no_cell_lies_across_a_solid_wall",),
    34: ("test_a_wall_along_the_lane_does_not_make_a_kit_of_two_strands",),
    35: ("test_cuts_of_a_triangle_swept_from_its_apex",),
    36: (
        "test_a_neck_as_wide_as_the_passage_is_walked",
        "test_a_neck_narrower_than_the_passage_is_named",
    ),
    37: ("test_a_deck_like_a_u_with_its_exit_at_a_tip",),
    38: ("test_a_deck_smaller_than_a_kit_is_one_part_kit",),
    39: ("test_a_turned_deck_gives_the_same_areas", "test_a_deck_turned_and_back_is_the_same"),
}
HOLE = box(0, 0, 100, 10).difference(box(26, 4, 28, 6))
WALL = box(0, 0, 100, 10).difference(box(10, 4.5, 60, 5.5))
TRIANGLE = shapely.Polygon([(0, 0), (90, 0), (90, 18)])
TURNED = {
    **{name: DECKS[name] for name in ("twelve columns", "L", "two rooms")},
    "case 30": (box(0, 0, 100, 27), (100, 27)),
    "case 31": (box(0, 0, 100, 54), (100, 27)),
    "case 32": (HOLE, (100, 5)),
    "case 33": (box(28, 0, 100, 10), (100, 5)),
    "case 34": (WALL, (100, 5)),
    "case 35": (TRIANGLE, (90, 0)),
    "case 37": (U_DECK, (150, 150)),
    "case 38": (box(0, 0, 15, 12), (15, 12)),
}


def laid(floor, exit, direction=ALONG, equal=True, **wishes):
    wish = Wishes(exits=(Point(exit[0] * FT, exit[1] * FT),), **wishes)
    return lay(metres(floor), target_m2=KIT_M2, wishes=wish, direction_rad=direction, equal=equal)


def feet2(layout):
    return sorted(round(c.plan_m2 / FT**2, 7) for c in layout.cells)


def test_every_constructed_case_is_held():
    assert sorted(CASES) == list(range(30, 40))
    assert all(callable(globals()[name]) for names in CASES.values() for name in names)


@pytest.mark.parametrize("name", DECKS)
def test_a_deck_keeps_every_promise(name):
    floor, exit = DECKS[name]
    one = laid(floor, exit)
    assert sound(one, metres(floor)), one.check
    # By areas taken here, not by the layout's own check.
    areas = np.array([c.outline.area for c in one.cells if c.full])
    assert np.abs(areas / KIT_M2 - 1).max() <= 1e-3
    assert sum(c.outline.area for c in one.cells) == pytest.approx(metres(floor).area, rel=1e-6)
    union = shapely.union_all([c.outline for c in one.cells], grid_size=1e-6)
    assert union.area == pytest.approx(metres(floor).area, rel=1e-6)
    assert one.excess_kits <= 5  # kits over the least: the target for regular decks


@pytest.mark.parametrize("seed", range(10))
def test_a_jagged_deck_keeps_every_promise(seed):
    floor, exit = jagged(seed)
    best = best_layouts(floor, target_m2=KIT_M2, wishes=Wishes(exits=(exit,)), count=1)[0]
    assert sound(best, floor), best.check
    assert best.part_kits <= 7  # half of 14.7
    assert best.excess_kits <= 3  # half of 6.3


def test_the_rest_below_a_thousandth_of_a_kit_is_no_cell_of_its_own():
    one = laid(box(0, 0, 100, 27), (100, 27), ACROSS)
    assert len(one.cells) == 10  # exact: 2,700 / 270
    assert min(feet2(one)) >= KIT_FT2 - 0.27


def test_an_exit_in_the_middle_of_a_side():
    one = laid(box(0, 0, 100, 54), (100, 27), ACROSS)
    assert len(one.cells) == 20  # exact: 5,400 / 270
    assert one.check.jumps == 0
    assert not one.check.trapped


def test_a_lane_by_lane_serpentine_from_one_side_traps_the_crew():
    # The exit is beside the first cells, the crew ends at the far side of wet film.
    cells = tuple(
        Cell(number=10 * k + i + 1, outline=metres(box(x, 27 * k, x + 10, 27 * k + 27)),
             plan_m2=KIT_M2, kits=1.0, full=True, lane=k + 1)
        for k in range(2)
        for i, x in enumerate(range(0, 100, 10) if k == 0 else range(90, -10, -10))
    )  # fmt: skip
    check = check_cells(
        cells, metres(box(0, 0, 100, 54)), target_m2=KIT_M2, exits=[Point(100 * FT, 0)],
        passage_m=2 * FT,
    )  # fmt: skip
    assert check.trapped
    assert not check.unreachable


def test_cuts_beside_a_hole_in_a_lane():
    one = laid(HOLE, (100, 5))
    ends = sorted(c.outline.bounds[2] / FT for c in one.cells)
    # By hand: 270 = 10 x - 2 (x - 26) inside the hole's reach.
    assert ends == pytest.approx([27.25, 54.40, 81.40, 100.0], abs=1e-6)
    assert min(feet2(one)) == pytest.approx(186.0, abs=1e-3)


def test_no_cell_lies_across_a_solid_wall():
    # By hand: 260 and 720 ft²; each part is cut alone.
    left, right = laid(box(0, 0, 26, 10), (0, 5)), laid(box(28, 0, 100, 10), (100, 5))
    assert feet2(left) == pytest.approx([260.0])
    assert feet2(right) == pytest.approx([180.0, 270.0, 270.0])


def test_a_wall_along_the_lane_does_not_make_a_kit_of_two_strands():
    one = laid(WALL, (100, 5))
    assert not one.check.disconnected
    assert not one.check.trapped
    assert all(c.outline.geom_type == "Polygon" for c in one.cells)


def test_cuts_of_a_triangle_swept_from_its_apex():
    # By hand: 0.2 x² / 2 = 270 k.
    one = laid(TRIANGLE, (90, 0), lane_m=18 * FT)
    ends = sorted(c.outline.bounds[2] / FT for c in one.cells)
    assert ends == pytest.approx([51.9615, 73.4847, 90.0], abs=1e-4)


@pytest.mark.parametrize("direction", [ALONG, ACROSS])
def test_a_neck_as_wide_as_the_passage_is_walked(direction):
    one = best_layouts(
        metres(NECK),
        target_m2=KIT_M2,
        wishes=Wishes(exits=(Point(200 * FT, 30 * FT),), passage_m=2 * FT, direction_rad=direction),
    )[0]
    assert not one.check.trapped
    assert not one.check.unreachable


def test_a_neck_narrower_than_the_passage_is_named():
    one = laid(NECK, (200, 30), passage_m=4 * FT)
    assert [m.id for m in one.messages] == ["marks.cells.unreachable"]
    left = {c.number for c in one.cells if c.outline.bounds[2] < 89 * FT}
    assert left <= set(one.check.unreachable)
    right = {c.number for c in one.cells if c.outline.bounds[0] > 111 * FT}
    assert not right & set(one.check.unreachable)


def test_a_deck_like_a_u_with_its_exit_at_a_tip():
    one = best_layouts(metres(U_DECK), target_m2=KIT_M2,
                       wishes=Wishes(exits=(Point(150 * FT, 150 * FT),)))[0]  # fmt: skip
    assert len(one.cells) == 44  # exact: 11,700 / 270 = 43.33
    assert not one.check.trapped


def test_a_deck_smaller_than_a_kit_is_one_part_kit():
    one = laid(box(0, 0, 15, 12), (15, 12))
    assert [round(c.kits, 3) for c in one.cells] == [0.667]  # exact: 180 / 270


@pytest.mark.parametrize("turn", [math.pi / 2, math.radians(17.3), math.radians(-40)])
@pytest.mark.parametrize("name", TURNED)
def test_a_turned_deck_gives_the_same_areas(name, turn):
    floor, exit = TURNED[name]
    plain = laid(floor, exit)
    moved = rotate(floor, turn, origin=(0, 0), use_radians=True)
    e = rotate(Point(exit), turn, origin=(0, 0), use_radians=True)
    assert feet2(laid(moved, (e.x, e.y), turn)) == pytest.approx(feet2(plain), rel=1e-6)


@pytest.mark.parametrize("name", TURNED)
def test_a_deck_turned_and_back_is_the_same(name):
    # Edges that were upright lean by 1e-14: their slope must not reach the areas.
    floor, exit = TURNED[name]
    back = rotate(rotate(floor, 90, origin=(1e3, 7)), -90, origin=(1e3, 7))
    assert feet2(laid(back, exit)) == pytest.approx(feet2(laid(floor, exit)), rel=1e-6)


@pytest.mark.parametrize("flip", [(-1, 1), (1, -1)])
def test_a_mirrored_deck_gives_the_same_areas(flip):
    floor, exit = DECKS["L"]
    mirrored = scale(floor, *flip, origin=(0, 0))
    e = (exit[0] * flip[0], exit[1] * flip[1])
    assert feet2(laid(mirrored, e)) == pytest.approx(feet2(laid(floor, exit)), rel=1e-6)


def test_the_same_deck_gives_the_same_layouts():
    floor, exit = jagged(3)
    first, again = (
        best_layouts(floor, target_m2=KIT_M2, wishes=Wishes(exits=(exit,))) for _ in range(2)
    )
    assert [[c.outline.wkb for c in a.cells] for a in first] == [
        [c.outline.wkb for c in a.cells] for a in again
    ]
    assert len({a.direction_rad for a in first}) == len(first) > 1


def test_a_fixed_module_keeps_its_width():
    one = laid(box(0, 0, 100, 50), (100, 50), equal=False, module=True, lane_m=10 * FT)
    assert np.diff(one.lines_m) / FT == pytest.approx([10.0] * 5)


def test_nobody_steps_over_a_no_go_line():
    floor = box(0, 0, 100, 54)
    wall = LineString([(50 * FT, 0), (50 * FT, 54 * FT)])
    free = laid(floor, (100, 27))
    barred = laid(floor, (100, 27), no_go=(wall,))
    assert not free.check.unreachable
    assert barred.check.unreachable or not any(
        c.outline.bounds[0] < 49 * FT and c.outline.bounds[2] < 51 * FT for c in barred.cells
    )


def test_a_seam_on_a_stop_line_may_dry():
    floor = box(0, 0, 108, 20)
    middle = LineString([(0, 10 * FT), (108 * FT, 10 * FT)])
    assert laid(floor, (108, 20)).check.age_kits == 7  # by hand: 2 k - 1 with 4 kits a lane
    assert laid(floor, (108, 20), stop_lines=(middle,)).check.age_kits == 1


def test_a_start_is_taken():
    floor, exit = box(0, 0, 100, 54), (100, 54)
    one = laid(floor, exit, start=Point(10 * FT, 5 * FT))
    assert one.cells[0].outline.distance(Point(10 * FT, 5 * FT)) < 20 * FT


def test_an_exit_off_the_floor_is_refused():
    with pytest.raises(Refused, match="off the floor"):
        laid(box(0, 0, 100, 50), (150, 50))


@pytest.mark.parametrize("reach", [0.0, -1.0, math.nan])
def test_a_kit_that_covers_nothing_is_refused(reach):
    with pytest.raises(InputError):
        lay(box(0, 0, 1, 1), target_m2=reach, wishes=Wishes(exits=(Point(0, 0),)), direction_rad=0)


def test_a_hole_that_touches_the_edge_is_cut():
    floor = shapely.Polygon(
        box(0, 0, 100, 50).exterior.coords, [[(50, 0), (60, 10), (50, 20), (40, 10)]]
    )
    one = laid(floor, (100, 50))
    assert sound(one, metres(floor))


def test_edges_a_hair_apart_are_no_overlap():
    # One pair of this deck made the plain intersection give a whole cell of 25 m².
    floor, exit = jagged(64)
    one = lay(floor, target_m2=KIT_M2, wishes=Wishes(exits=(exit,)),
              direction_rad=3.4443474754965955, equal=False)  # fmt: skip
    assert one.check.overlap_m2 < 1e-3
    union = shapely.union_all([c.outline for c in one.cells], grid_size=1e-7)
    assert union.area == pytest.approx(sum(c.outline.area for c in one.cells), rel=1e-6)


def test_cells_that_do_overlap_are_found():
    cells = tuple(
        Cell(number=n, outline=metres(box(x, 0, x + 27, 10)), plan_m2=KIT_M2, kits=1.0,
             full=True, lane=1)
        for n, x in ((1, 0), (2, 26))
    )  # fmt: skip
    check = check_cells(cells, metres(box(0, 0, 53, 10)), target_m2=KIT_M2,
                        exits=[Point(53 * FT, 0)], passage_m=2 * FT)  # fmt: skip
    assert check.overlap_m2 == pytest.approx(10 * FT * FT)  # by hand: 1 by 10 ft
