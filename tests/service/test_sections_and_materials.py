"""From decks and a takeoff to sections and an order, as the job is built."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest
from shapely import Polygon, box
from tests.marks import build
from tests.supply.trade import FT2, PRODUCTS, build_up, coat

from tackfree.buildup.types import PotLife
from tackfree.bundle.types import Cutting, Job, Place, Spec, WeatherRef
from tackfree.deck.declared import DeckDoc, ZoneDoc
from tackfree.deck.types import PostTensioned, Substrate
from tackfree.errors import NotFound, Refused
from tackfree.plan.types import Crew, Shift
from tackfree.service.materials import judge_job, materials_for, rule_faults, rule_messages
from tackfree.service.sections import cut_job

BU = replace(
    build_up(coat("PRIMER", "HEN-P", 5), coat("BASE", "HEN-B", 25), coat("TOP", "HEN-T", 15)),
    id="BU-STALL",
)
ZONES = [build.zone("P1-A", box(0, 0, 100, 18)), build.zone("P1-B", box(0, 30, 20, 40))]
DECKS = [build.deck(ZONES)]
TAKEOFF = build.takeoff(*map(build.taken, ZONES))


def job(**changes) -> Job:
    shifts = (
        Shift(id="DAY", weekdays=(0, 1, 2, 3, 4), begins=time(7), ends=time(15, 30)),
        Shift(id="NIGHT", weekdays=(4,), begins=time(22), ends=time(5)),
    )
    crew = Crew(id="CREW-1", people=7, skills=("coating",), shift_ids=("DAY",),
                rates={"primer": 2500 * FT2, "base": 1400 * FT2, "top": 1500 * FT2})  # fmt: skip
    given = {
        "root": Path("job"), "id": "J", "name": "J", "invented": True, "units": "us",
        "languages": ("en",), "as_of": datetime(2027, 4, 12, 11, tzinfo=UTC),
        "place": Place(latitude_deg=36, longitude_deg=-80, altitude_m=273, time_zone="UTC"),
        "starts_on": date(2027, 4, 19), "ends_by": None, "shifts": shifts, "crews": (crew,),
        "holidays": (), "stalls_open_min": 0.5,
        "weather": WeatherRef(file=Path("w.csv"), kind="typical-year", format="tmy3"),
        "products": PRODUCTS, "build_ups": {"BU-STALL": BU}, "spec": Spec(), "cutting": Cutting(),
        "decks": (DeckDoc(
            id="P1", name="Level 1", drawing=None, geojson=None, unit_m=1.0, elevation_m=0.0,
            post_tensioned=PostTensioned.NO, features=(),
            zones=tuple(ZoneDoc(
                id=z.id, name=z.name, duty=z.duty, exposure=z.exposure,
                build_up_id=z.build_up_id, substrate=Substrate(csp=4),
            ) for z in ZONES),
        ),),
    }  # fmt: skip
    return Job(**(given | changes))


def test_sections_fit_the_crew_s_shift() -> None:
    stage = cut_job(job(), DECKS, TAKEOFF)
    # practice: 1,400 ft²/h × 6.5 h = 9,100 ft² = 845 m²; 1,800 m² are 3 sections
    assert stage.limits["BU-STALL"].area_m2 == pytest.approx(9100 * FT2)
    assert [s.id for s in stage.sections] == ["P1-A-1", "P1-A-2", "P1-A-3", "P1-B-1"]


def test_the_shortest_shift_of_a_crew_counts_across_midnight_too() -> None:
    both = replace(job().crews[0], shift_ids=("DAY", "NIGHT"))
    stage = cut_job(job(crews=(both,)), DECKS, TAKEOFF)
    # practice: 22:00 to 05:00 is 7 h, 5 of them usable: 7,000 ft²
    assert stage.limits["BU-STALL"].area_m2 == pytest.approx(7000 * FT2)


def test_a_job_without_crews_is_not_cut_and_says_so() -> None:
    stage = cut_job(job(crews=()), DECKS, TAKEOFF)
    assert len(stage.sections) == 2
    assert stage.limits["BU-STALL"].reason.id == "marks.limit.unknown"


def test_materials_follow_sections_and_substrates() -> None:
    given = job()
    stage = cut_job(given, DECKS, TAKEOFF)
    found = materials_for(given, TAKEOFF, stage)
    assert [(c.section_id, c.coat_id) for c in found.coats] == [
        (s.id, c.id) for s in stage.sections for c in BU.coats
    ]
    base = found.coats[1]
    assert base.fill_basis == "supply.fill.over-primer"
    assert base.area_m2 == pytest.approx(600.0)


def test_short_pot_life_is_noted_once_for_each_coat() -> None:
    short = replace(PRODUCTS["HEN-B"], pot_life=(PotLife(temp_c=24, minutes=5),))
    given = job(products=PRODUCTS | {"HEN-B": short})
    found = materials_for(given, TAKEOFF, cut_job(given, DECKS, TAKEOFF))
    assert [m.values["coat"] for m in found.messages if m.id == "marks.pot-life.short"] == ["BASE"]


def test_sections_of_another_takeoff_are_refused() -> None:
    given = job()
    stage = cut_job(given, DECKS, TAKEOFF)
    with pytest.raises(NotFound, match="zone P1-B is not in the job's takeoff"):
        materials_for(given, build.takeoff(build.taken(ZONES[0])), stage)


def test_each_zone_s_build_up_is_judged_where_it_lies() -> None:
    # practice: 25 and 15 mil at 95 % solids are 38 mil dry, under 45 for light duty
    assert [(z, r.id, r.level) for z, r in judge_job(job())] == [
        ("P1-A", "dry-film", "warn"),
        ("P1-B", "dry-film", "warn"),
    ]


def test_rules_are_said_once_with_their_zones() -> None:
    (said,) = rule_messages(job())
    assert (said.id, said.values["level"]) == ("buildup.rule.dry-film", "warn")
    assert said.values["build_up"] == "BU-STALL (P1-A, P1-B)"
    found = materials_for(job(), TAKEOFF, cut_job(job(), DECKS, TAKEOFF))
    assert said in found.messages


def test_a_build_up_that_cannot_work_is_refused_with_its_place() -> None:
    wet = job(products=PRODUCTS | {"SAND-1630": replace(PRODUCTS["SAND-1630"], dry=False)})
    seeded = replace(BU, coats=(*BU.coats, coat("INTER", "HEN-I", 15, lb_per_100=15)))
    (fault,) = rule_faults(replace(wet, build_ups={"BU-STALL": seeded}))
    assert fault.where == "buildups.toml, BU-STALL (P1-A, P1-B)"
    assert "SAND-1630" in fault.what


def test_a_zone_without_a_floor_is_refused_by_name() -> None:
    takeoff = build.takeoff(build.taken(ZONES[0]), build.taken(ZONES[1], Polygon()))
    stage = cut_job(job(), DECKS, takeoff)
    with pytest.raises(Refused) as refused:
        materials_for(job(), takeoff, stage)
    (fault,) = refused.value.faults
    assert fault.where == "zone P1-B"
    assert "0 ft²" in fault.what
    assert "take the zone out" in fault.do
