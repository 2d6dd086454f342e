"""Marks of a job's sections: whole parts, fewer kits, a floor kept out."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
import shapely
from shapely import MultiPolygon, Point, box

from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, Section
from tackfree.errors import InputError, NotFound
from tackfree.service.marks import document, lay_marks

FT = 0.3048
FT2 = FT * FT


def job(floors, *, reach_ft2: float, detail_l: float = 0.0, slope: float = 1.0):
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
    deck = Deck(id="P1", name="Level", zones=(), features=(way,))
    build_up = SimpleNamespace(coats=(SimpleNamespace(id="BASE", role="base"),))
    return SimpleNamespace(
        job=SimpleNamespace(build_ups={"BU": build_up}, crews=()),
        drawings=SimpleNamespace(decks=(deck,)),
        sections=SimpleNamespace(sections=(section,)),
        materials=SimpleNamespace(coats=(line,)),
    )


def balconies(count: int):
    return [(15 * k, 0, 15 * k + 12, 4.25) for k in range(count)]


# practice: twelve balconies of 51 ft², base 25 + 3 mil with 12 % loss: a 5 gal kit covers
# 5 * 1604.17 / 28 / 1.12 = 255.8 ft², five whole balconies.
@pytest.mark.parametrize(("count", "expected"), [(12, [5, 5, 2]), (11, [5, 5, 1])])
def test_a_kit_takes_whole_balconies(count, expected):
    marks = lay_marks(job(balconies(count), reach_ft2=5 * 1604.17 / 28 / 1.12), "S-1", "BASE")
    assert [len(c.outline.geoms) for c in marks.cells] == expected
    assert len(marks.cells) == 3


def test_upturns_take_their_share_of_the_kits_first():
    # practice: 3.3 gal for upturns from the same kits; the sheet says so before the cells.
    marks = lay_marks(job(balconies(12), reach_ft2=255.8, detail_l=12.5), "S-1", "BASE")
    told = next(m for m in marks.messages if m.id == "marks.cells.details-first")
    assert told.values["gallons"] == pytest.approx(3.3)


def test_a_late_truck_leaves_the_floor_of_the_kits_that_came():
    # practice: 9,000 ft² at 25 + 4 mil and 6 % loss take 35 kits; 22 kits cover 5,740 ft².
    plaza = job([(0, 0, 120, 75)], reach_ft2=5 * 1604.17 / 29 / 1.06)
    assert len(lay_marks(plaza, "S-1", "BASE").cells) == 35
    marks = lay_marks(plaza, "S-1", "BASE", kits=22)
    assert sum(c.plan_m2 for c in marks.cells) / FT2 == pytest.approx(5740, abs=5)
    assert marks.bare_m2 / FT2 == pytest.approx(3260, abs=5)
    assert marks.messages[-1].id == "marks.cells.fewer-kits"


def test_a_kit_on_a_slope_covers_less_of_the_drawing():
    # exact: sqrt(1 + 0.15²) = 1.01119
    flat = lay_marks(job([(0, 0, 100, 54)], reach_ft2=270), "S-1", "BASE")
    steep = lay_marks(job([(0, 0, 100, 54)], reach_ft2=270, slope=1.01119), "S-1", "BASE")
    assert flat.cells[0].plan_m2 / steep.cells[0].plan_m2 == pytest.approx(1.01119, rel=1e-6)


def test_parked_cars_are_left_out():
    cars = box(0, 0, 20 * FT, 54 * FT)
    marks = lay_marks(job([(0, 0, 100, 54)], reach_ft2=270), "S-1", "BASE", kept_out=cars)
    assert len(marks.cells) == 16  # exact: 80 by 54 by 270
    assert max(shapely.area(shapely.intersection([c.outline for c in marks.cells], cars))) < 1e-9


def test_the_id_is_that_of_what_is_marked():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    first, again = lay_marks(made, "S-1", "BASE"), lay_marks(made, "S-1", "BASE")
    fewer = lay_marks(made, "S-1", "BASE", kits=4)
    assert first.id == again.id != fewer.id
    assert document([first]) == document([again])


def test_what_is_not_there_is_named():
    made = job([(0, 0, 100, 54)], reach_ft2=270)
    with pytest.raises(NotFound, match="S-9"):
        lay_marks(made, "S-9", "BASE")
    with pytest.raises(NotFound, match="TOP"):
        lay_marks(made, "S-1", "TOP")
    with pytest.raises(InputError):
        lay_marks(made, "S-1", "BASE", kits=0)
    with pytest.raises(InputError):
        lay_marks(made, "S-1", "BASE", kept_out=box(-1, -1, 99, 99))
