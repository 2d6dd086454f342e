"""Two invented jobs of the trade text laid out whole: stacked balconies, a late truck.

Their figures come from the trade text: practice. What differs is said beside the number.
"""

from __future__ import annotations

from types import SimpleNamespace

import pytest
import shapely
from shapely import box
from tests.service.test_marks import FT, FT2, job

from tackfree.buildup.types import PotLife
from tackfree.errors import InputError
from tackfree.marks.pace import pot_life_minutes
from tackfree.service.marks import lay_marks
from tackfree.service.marks_types import Ask

GAL_L = 3.785411784
FT2_MIL = 1604.17  # published: NIST HB 44: 231 in³ a gallon


def reach_ft2(film_mil: float, fill_mil: float, loss: float) -> float:
    return 5 * FT2_MIL / (film_mil + fill_mil) / (1 + loss)


# --- Larkmoor Terraces: 12 balconies of 51 ft² over flats, 12 % loss ---
BASE = reach_ft2(25, 3, 0.12)  # 255.8 ft²: five whole balconies
TOP = reach_ft2(15, 0, 0.12)  # 477.4 ft²: nine
POT_LIFE = (PotLife(temp_c=(75 - 32) / 1.8, minutes=30.0),)


def balconies(count: int = 12):
    return [(15 * k, 0, 15 * k + 12, 4.25) for k in range(count)]


def terraces(reach: float, **more):
    made = job(balconies(), reach_ft2=reach, **more)
    made.job.products["HEN-B"].pot_life = POT_LIFE
    made.job.products["HEN-B"].mix_minutes = 3.0
    return made


def told(marks, id_: str):
    return [m.values for m in marks.messages if m.id == id_]


@pytest.mark.parametrize(("reach", "shares"), [(BASE, [5, 5, 2]), (TOP, [9, 3])])
def test_each_kit_takes_whole_balconies(reach, shares) -> None:
    marks = lay_marks(terraces(reach), "S-1", "BASE")
    assert [len(shapely.get_parts(c.outline)) for c in marks.cells] == shares  # 3 and 2 kits
    assert sum(c.plan_m2 for c in marks.cells) / FT2 == pytest.approx(612)
    for cell in marks.cells:
        # Five that lie side by side: no balcony of another kit between them.
        x0, _, x1, _ = cell.outline.bounds
        assert (x1 - x0) / FT == pytest.approx(15 * (len(shapely.get_parts(cell.outline)) - 1) + 12)
    assert told(marks, "marks.cells.whole-parts")


def test_a_balcony_takes_a_gallon() -> None:
    marks = lay_marks(terraces(BASE), "S-1", "BASE")
    kits = sum(c.kits for c in marks.cells)
    assert 5 * kits == pytest.approx(12.0, abs=0.05)  # practice: 12.0 gal, 3 kits
    assert 5 * kits / 12 == pytest.approx(1.0, abs=0.005)  # practice


def test_upturns_of_the_same_material_come_first_and_make_a_fourth_kit() -> None:
    # practice: 3.3 gal; the text rounds 116 ft² × 40 mil × 1.12 / 1604.17 = 3.24 up
    upturn_l = 116 * 40 * 1.12 / FT2_MIL * GAL_L
    made = terraces(BASE, detail_l=upturn_l)
    marks = lay_marks(made, "S-1", "BASE")
    assert told(marks, "marks.cells.details-first")[0]["gallons"] == pytest.approx(3.2)
    # Three kits are not enough any more: what they hold after the upturns is 11.8 gal.
    three = lay_marks(made, "S-1", "BASE", Ask(kits=3))
    assert three.bare_m2 > 0
    four = lay_marks(made, "S-1", "BASE", Ask(kits=4))
    assert four.bare_m2 == 0


def test_a_tenant_is_away_and_eleven_are_open() -> None:
    away = box(15 * 3 * FT, 0, (15 * 3 + 12) * FT, 4.25 * FT)
    marks = lay_marks(terraces(BASE), "S-1", "BASE", Ask(kept_out=away))
    assert [len(shapely.get_parts(c.outline)) for c in marks.cells] == [5, 5, 1]
    assert all(c.outline.intersection(away).area < 1e-9 for c in marks.cells)


@pytest.mark.parametrize(("temp_f", "minutes"), [(75, 30), (95, 14)])  # practice
def test_how_long_one_kit_lasts_on_five_balconies(temp_f, minutes) -> None:
    life = pot_life_minutes(POT_LIFE, (temp_f - 32) / 1.8)
    assert life == pytest.approx(minutes, abs=0.2)


@pytest.mark.parametrize(("ft2_per_h", "says"), [(700, []), (500, [34])])
def test_a_crew_too_slow_for_its_pail_is_told(ft2_per_h, says) -> None:
    # By hand: 255.8 ft² at 700 ft²/h take 21.9 min and 3 of mixing: inside 30 at 75 °F.
    # At 500 ft²/h they take 30.7 + 3 = 33.7 min.
    crew = SimpleNamespace(people=4, rates={"base": ft2_per_h * FT2})
    marks = lay_marks(terraces(BASE, crews=(crew,)), "S-1", "BASE")
    assert [v["minutes"] for v in told(marks, "marks.pot-life.short")] == says


# --- Marden Plaza: 9,000 ft² of base at 25 + 4 mil, 6 % loss; 22 of 35 kits on site ---
CREW = SimpleNamespace(people=6, rates={"base": 1400 * FT2})
LATE = Ask(kits=22, truck_min=15 * 60, down_by_min=17 * 60 + 40)


def plaza(**more):
    return job([(0, 0, 120, 75)], reach_ft2=reach_ft2(25, 4, 0.06), crews=(CREW,), **more)


def test_the_kits_that_came_cover_their_part_of_the_plaza() -> None:
    assert len(lay_marks(plaza(), "S-1", "BASE").cells) == 35  # practice: 172.5 gal
    marks = lay_marks(plaza(), "S-1", "BASE", LATE)
    covered = sum(c.plan_m2 for c in marks.cells) / FT2
    assert len(marks.cells) == 22
    assert covered == pytest.approx(5740, abs=5)  # practice
    assert marks.bare_m2 / FT2 == pytest.approx(3260, abs=5)  # practice
    (fewer,) = told(marks, "marks.cells.fewer-kits")  # prime only what will be covered
    assert (fewer["cell"], fewer["area_ft2"] + fewer["left_ft2"]) == (22, 9000)
    # What stays bare is one floor with the exit on it: tomorrow's kits go on from the edge.
    first = shapely.union_all([c.outline for c in marks.cells], grid_size=1e-7)
    rest = box(0, 0, 120 * FT, 75 * FT).difference(first.buffer(1e-6))
    assert rest.geom_type == "Polygon"
    assert rest.distance(marks.layouts[0].exits[0]) < 0.01


def test_when_the_truck_has_to_be_unloaded() -> None:
    marks = lay_marks(plaza(), "S-1", "BASE", LATE)
    (clock,) = told(marks, "marks.truck.float")
    # practice: 2.3 h for the rest, unloaded by 15:20, so 20 min of float at 15:00;
    # 4.1 h for the first floor, begun by 11:10
    assert (clock["hours"], clock["unload"], clock["minutes"]) == ("2.3", "15:20", 20)
    (begin,) = told(marks, "marks.truck.begin")
    assert (begin["hours"], begin["begin"]) == ("4.1", "11:10")


@pytest.mark.parametrize(
    ("truck", "down_by", "id_", "minutes"),
    [
        (15 * 60 + 20, 17 * 60 + 40, "float", 0),
        (15 * 60 + 45, 17 * 60 + 40, "late", 25),  # by hand: 15:45 less 15:20
        (23 * 60, 1 * 60 + 30, "float", 10),  # by hand: 01:30 less 2:20 is 23:10
    ],
)
def test_a_promise_that_is_too_late_is_said_before_it_is_broken(truck, down_by, id_, minutes):
    ask = Ask(kits=22, truck_min=truck, down_by_min=down_by)
    (clock,) = told(lay_marks(plaza(), "S-1", "BASE", ask), f"marks.truck.{id_}")
    assert clock["minutes"] == minutes


def test_the_clock_needs_its_three_numbers() -> None:
    with pytest.raises(InputError, match="lacks a number"):
        lay_marks(plaza(), "S-1", "BASE", Ask(kits=22, truck_min=900))
    with pytest.raises(InputError, match="lacks a number"):
        lay_marks(plaza(), "S-1", "BASE", Ask(truck_min=900, down_by_min=1000))
    slow = job([(0, 0, 120, 75)], reach_ft2=reach_ft2(25, 4, 0.06))
    assert told(lay_marks(slow, "S-1", "BASE", LATE), "marks.truck.no-rate")
    enough = lay_marks(plaza(), "S-1", "BASE", Ask(kits=35, truck_min=900, down_by_min=1000))
    assert not [m for m in enough.messages if m.id.startswith("marks.truck")]


def test_a_seam_of_the_plaza_must_not_wait_for_the_truck() -> None:
    # A lane begun holds a wet edge; kits that end at a lane's end leave a straight one.
    marks = lay_marks(plaza(), "S-1", "BASE", Ask(kits=22, lane_end=True))
    lanes = {c.lane for c in marks.cells}
    whole = lay_marks(plaza(), "S-1", "BASE")
    assert {c.number for c in whole.cells if c.lane in lanes} == {c.number for c in marks.cells}
