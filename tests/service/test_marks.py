"""Marks of a job's sections: whole parts, fewer kits, a floor kept out."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, box

from tackfree.buildup.types import PotLife, Role
from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, Section
from tackfree.errors import InputError, NotFound, ToolError
from tackfree.marks.checking import check_cells
from tackfree.service.marks import lay_choices, lay_marks, lay_some
from tackfree.service.marks_papers import document
from tackfree.service.marks_types import Ask

FT = 0.3048
FT2 = FT * FT


def job(
    floors,
    *,
    reach_ft2: float,
    detail_l: float = 0.0,
    slope: float = 1.0,
    crews=(),
    open_time=(),
    features=(),
):
    """A job of one section with one coat; only what marks read."""
    floor = MultiPolygon([box(*(v * FT for v in f)) for f in floors])
    section = Section(
        id="S-1", deck_id="P1", zone_ids=("Z",), build_up_id="BU", exposure=Exposure.COVERED,
        duty=Duty.LIGHT, floor=floor, developed_m2=floor.area * slope,
    )  # fmt: skip
    line = SimpleNamespace(
        section_id="S-1", coat_id="BASE", product_id="HEN-B", kit_l=18.9, detail_l=detail_l,
        reach_m2=reach_ft2 * FT2,
    )  # fmt: skip
    way = Feature(id="E", kind=FeatureKind.EXIT, geometry=Point(floor.bounds[2], 0.0))
    deck = Deck(id="P1", name="Level", zones=(), features=(way, *features))
    build_up = SimpleNamespace(coats=(SimpleNamespace(id="BASE", role=Role.BASE),))
    product = SimpleNamespace(id="HEN-B", open_time=open_time, pot_life=(), mix_minutes=None)
    return SimpleNamespace(
        job=SimpleNamespace(
            build_ups={"BU": build_up}, crews=crews, units="us", products={"HEN-B": product}
        ),
        drawings=SimpleNamespace(decks=(deck,)),
        sections=SimpleNamespace(sections=(section,)),
        materials=SimpleNamespace(coats=(line,)),
    )


def test_a_kit_on_a_slope_covers_less_of_the_drawing():
    # exact: sqrt(1 + 0.15²) = 1.01119
    flat = lay_marks(job([(0, 0, 100, 54)], reach_ft2=270), "S-1", "BASE")
    steep = lay_marks(job([(0, 0, 100, 54)], reach_ft2=270, slope=1.01119), "S-1", "BASE")
    assert flat.layouts[0].target_m2 / steep.layouts[0].target_m2 == pytest.approx(1.01119)
    assert steep.cells[0].plan_m2 * 1.01119 / FT2 == pytest.approx(270, rel=1e-3)


def test_parked_cars_are_left_out():
    cars = box(0, 0, 20 * FT, 54 * FT)
    marks = lay_marks(job([(0, 0, 100, 54)], reach_ft2=270), "S-1", "BASE", Ask(kept_out=cars))
    assert len(marks.cells) == 16  # exact: 80 by 54 by 270
    assert max(shapely.area(shapely.intersection([c.outline for c in marks.cells], cars))) < 1e-9


def test_the_id_is_that_of_what_is_marked():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    first, again = lay_marks(made, "S-1", "BASE"), lay_marks(made, "S-1", "BASE")
    fewer = lay_marks(made, "S-1", "BASE", Ask(kits=4))
    assert first.id == again.id != fewer.id
    assert document([first]) == document([again])


def test_what_is_not_there_is_named():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    with pytest.raises(NotFound, match="S-9"):
        lay_marks(made, "S-9", "BASE")
    with pytest.raises(NotFound, match="TOP"):
        lay_marks(made, "S-1", "TOP")
    with pytest.raises(InputError):
        lay_marks(made, "S-1", "BASE", Ask(kits=0))
    with pytest.raises(InputError):
        lay_marks(made, "S-1", "BASE", Ask(kept_out=box(-1, -1, 99, 99)))


def test_each_part_takes_the_slope_of_its_own_zone():
    # exact: sqrt(1 + 0.0667²) = 1.00222 on the ramp, 1 on the level floor beside it
    made = job([(0, 0, 60, 54), (70, 0, 130, 54)], reach_ft2=270)
    level, ramp = made.sections.sections[0].floor.geoms
    zones = [
        SimpleNamespace(zone_id=name, floor=MultiPolygon([p]), field_m2=p.area * slope)
        for name, p, slope in (("Z", level, 1.0), ("R", ramp, 1.00222))
    ]
    section = replace(made.sections.sections[0], zone_ids=("Z", "R"))
    made.sections = SimpleNamespace(sections=(section,))
    made.takeoff = SimpleNamespace(zones=zones)
    one, other = lay_marks(made, "S-1", "BASE").layouts
    assert one.target_m2 / other.target_m2 == pytest.approx(1.00222)
    assert {m.id for m in lay_marks(made, "S-1", "BASE").messages} == {"marks.cells.apart"}


def test_no_cell_lies_across_a_solid_wall():
    # By hand: a lane of 100 by 10 ft, solid from 26 to 28: 260 and 720 ft².
    marks = lay_marks(job([(0, 0, 26, 10), (28, 0, 100, 10)], reach_ft2=270), "S-1", "BASE")
    assert [c.number for c in marks.cells] == [1, 2, 3, 4]
    found = [round(c.plan_m2 / FT2, 3) for c in marks.cells]
    assert found[0] == 260
    assert sorted(found[1:]) == [180, 270, 270]
    assert any(m.id == "marks.cells.apart" for m in marks.messages)


def test_a_kit_larger_than_the_floor_is_said():
    # exact: 180 of 270 ft²
    marks = lay_marks(job([(0, 0, 15, 12)], reach_ft2=270), "S-1", "BASE")
    assert [c.kits for c in marks.cells] == [pytest.approx(2 / 3)]
    assert [m.values["share"] for m in marks.messages if m.id == "marks.cells.kit-larger"] == [
        "0.67"
    ]


CREW = SimpleNamespace(people=4, rates={"base": 1620 * FT2})  # 270 ft² in 10 min
JOINT = Feature(
    id="J", kind=FeatureKind.JOINT, geometry=LineString([(54 * FT, 0), (54 * FT, 20 * FT)])
)


def test_an_edge_that_would_dry_ends_at_a_joint():
    floor = [(0, 0, 108, 20)]
    along = Ask(direction_rad=0.0, lane_m=10 * FT, open_minutes=40.0)
    late = lay_marks(job(floor, reach_ft2=270, crews=(CREW,)), "S-1", "BASE", along)
    # By hand: 4 kits a lane, so 7 kits of 10 min from one side of the seam to the other.
    assert late.messages[-1].id == "marks.wet-edge.late"
    assert late.messages[-1].values["minutes"] == 70
    held = lay_marks(
        job(floor, reach_ft2=270, crews=(CREW,), features=(JOINT,)), "S-1", "BASE", along
    )
    # By hand: 2 kits a lane in each half, so 3 kits; the seam on the joint may dry.
    assert [one.check.age_kits for one in held.layouts] == [3, 3]
    assert [m.id for m in held.messages] == ["marks.wet-edge.cut", "marks.wet-edge.holds"]
    assert held.messages[-1].values["minutes"] == 30
    assert len(held.lines) == 1
    assert not any(c.outline.crosses(JOINT.geometry) for c in held.cells)
    # The half without the exit is walked first, and bare floor leads out of it.
    assert held.cells[0].outline.bounds[0] < 54 * FT
    together = check_cells(
        held.cells, box(0, 0, 108 * FT, 20 * FT), target_m2=270 * FT2,
        exits=[Point(108 * FT, 0)], passage_m=2 * FT, stop_lines=[JOINT.geometry],
    )  # fmt: skip
    assert together.faults == 0
    assert together.age_kits == 3


def test_the_sheet_tells_how_long_an_edge_stays_open_on_a_hot_slab():
    # practice: halves for every 18 °F, so 60 min at 74 °F are 30 min at 92 °F
    made = job([(0, 0, 108, 20)], reach_ft2=270, crews=(CREW,),
               open_time=(PotLife(temp_c=(74 - 32) / 1.8, minutes=60.0),))  # fmt: skip
    marks = lay_marks(made, "S-1", "BASE", Ask(slab_c=(92 - 32) / 1.8, direction_rad=0.0))
    told = next(m for m in marks.messages if m.id == "marks.wet-edge.sheet")
    assert told.values["open_min"] == 30
    assert marks.messages[-1].id == "marks.wet-edge.late"


def test_kits_end_at_the_end_of_a_lane():
    plaza = job([(0, 0, 108, 40)], reach_ft2=270)
    along = Ask(direction_rad=0.0, lane_m=10 * FT, kits=10)
    through = lay_marks(plaza, "S-1", "BASE", along)
    ended = lay_marks(plaza, "S-1", "BASE", replace(along, lane_end=True))
    # By hand: lanes of 4 kits; ten kits begin a third lane, eight end the second.
    assert len(through.cells) == 10
    assert len(ended.cells) == 8
    assert ended.bare_m2 / FT2 == pytest.approx(8 * 270)


def test_upturns_come_out_of_the_kits_that_came():
    # exact: 18.9 L of details are one kit of 18.9 L
    plaza = job([(0, 0, 108, 40)], reach_ft2=270, detail_l=18.9)
    assert len(lay_marks(plaza, "S-1", "BASE", Ask(kits=10)).cells) == 9
    with pytest.raises(InputError, match="details"):
        lay_marks(plaza, "S-1", "BASE", Ask(kits=1))


def test_kits_go_to_the_sections_in_their_order():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    first = made.sections.sections[0]
    second = replace(first, id="S-2", floor=MultiPolygon([box(200 * FT, 0, 300 * FT, 54 * FT)]))
    made.sections = SimpleNamespace(sections=(first, second))
    line = made.materials.coats[0]
    made.materials = SimpleNamespace(
        coats=(line, SimpleNamespace(**{**vars(line), "section_id": "S-2"}))
    )
    laid = lay_some(made, ["S-2", "S-1"], "BASE", Ask(kits=22))
    assert [(m.section_id, len(m.cells)) for m in laid] == [("S-2", 20), ("S-1", 2)]
    assert [m.section_id for m in lay_some(made, ["S-2", "S-1"], "BASE", Ask(kits=20))] == ["S-2"]


def test_rain_leaves_the_rest_for_a_new_layout():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    first = lay_marks(made, "S-1", "BASE")
    rest = lay_marks(made, "S-1", "BASE", Ask(placed=8))
    assert rest.id != first.id
    assert [c.number for c in rest.cells] == list(range(9, 21))  # pail lids go on counting
    down = shapely.union_all([c.outline for c in first.cells[:8]])
    again = shapely.union_all([c.outline for c in rest.cells])
    assert down.intersection(again).area < 1e-6
    assert down.area + again.area == pytest.approx(5400 * FT2, rel=1e-6)
    cars = box(0, 0, 9 * FT, 54 * FT)
    some = lay_marks(made, "S-1", "BASE", Ask(placed=8, kept_out=cars, kits=5))
    assert [c.number for c in some.cells] == list(range(9, 14))
    with pytest.raises(InputError, match="placed"):
        lay_marks(made, "S-1", "BASE", Ask(placed=20))


def test_three_layouts_to_choose_from():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    three = lay_choices(made, "S-1", "BASE")
    assert len({m.id for m in three}) == len(three) > 1
    assert three[0] == lay_marks(made, "S-1", "BASE")
    for one in three:
        assert sum(c.plan_m2 for c in one.cells) / FT2 == pytest.approx(5400, rel=1e-6)


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (Ask(exits=(Point(150 * FT, 27 * FT),)), "off the floor"),
        (Ask(passage_m=0.2), "narrower than a person"),
        (Ask(lane_m=0.1), "narrower than a person"),
        (Ask(placed=-1), "cannot be placed"),
        (Ask(open_minutes=0.0), "stays open"),
    ],
)
def test_a_wish_that_cannot_be_is_named(ask, says):
    with pytest.raises(ToolError, match=says):
        lay_marks(job([(0, 0, 100, 54)], reach_ft2=270), "S-1", "BASE", ask)
