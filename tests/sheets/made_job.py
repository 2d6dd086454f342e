"""A small invented job around the made level: one shift with primer and base."""

from __future__ import annotations

import math
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from tackfree.buildup.types import (
    Broadcast,
    BuildUp,
    Coat,
    CurePoint,
    Details,
    Kit,
    KitPart,
    Limits,
    PotLife,
    ProductSheet,
    Role,
)
from tackfree.bundle.types import Cutting, Job, Place, Spec, WeatherRef
from tackfree.climate.types import WeatherSeries
from tackfree.climate.window_types import StartStates, State
from tackfree.cure.types import Clock, Ends
from tackfree.deck.types import Duty, Exposure
from tackfree.plan.types import Crew, Lag, Placed, Plan, Problem, Shift, ShiftSpan, Task
from tackfree.service.shift import ShiftClimate
from tackfree.supply.types import CoatLine, Materials

ZONE = ZoneInfo("America/New_York")
SLOT0 = int(datetime(2027, 4, 21, 4, 0, tzinfo=ZoneInfo("UTC")).timestamp())
SLOT_S = 1800
FT2 = 0.09290304


def utc(day: int, hour: int, minute: int = 0) -> int:
    return int(datetime(2027, 4, day, hour, minute, tzinfo=ZONE).timestamp())


def slot(day: int, hour: int, minute: int = 0) -> int:
    return (utc(day, hour, minute) - SLOT0) // SLOT_S


def product(name: str, role: Role, hazards: tuple[str, ...]) -> ProductSheet:
    return ProductSheet(
        id=name,
        name=f"{name} (invented)",
        family="HEN",
        role=role,
        invented=True,
        volume_solids=0.95,
        kit=Kit(
            volume_l=18.93,
            parts=(KitPart(name="A", volume_l=15.14), KitPart(name="B", volume_l=3.79)),
        ),
        pot_life=(PotLife(temp_c=24.0, minutes=30.0),),
        cure=(CurePoint(temp_c=24.0, tack_free_h=(4, 6), recoat_after_h=(6, 8)),),
        recoat_before_h=24.0,
        limits=Limits(spread_min_k=5 / 1.8),
        mix_minutes=3.0,
        mix_steps=(
            "Stir part A for 1 min.",
            "Pour all of part B into A; mix 3 min at slow speed.",
            "Move to a clean pail; mix 1 min.",
        ),
        hazards=hazards,
    )


def job(languages: tuple[str, ...] = ("en", "es"), units: str = "us") -> Job:
    details = Details(
        detail_product_id="HEN-D",
        sealant_product_id="SEAL-1",
        strip_width_m=0.2,
        strip_wft_um=760.0,
    )
    products = [
        product("HEN-P", Role.PRIMER, ("isocyanate", "solvent")),
        product("HEN-B", Role.BASE, ("isocyanate",)),
        ProductSheet(
            id="SAND-1630", name="Sand", family="SAND", role=Role.AGGREGATE, bag_kg=22.68,
            hazards=("silica",),
        ),
    ]  # fmt: skip
    coats = (
        Coat(id="PRIMER", role=Role.PRIMER, product_id="HEN-P", wft_um=125.0),
        Coat(
            id="BASE", role=Role.BASE, product_id="HEN-B", wft_um=635.0,
            aggregate=Broadcast(
                product_id="SAND-1630", rate_kg_per_m2=0.7, method="seeded-backrolled", retained=1.0
            ),
        ),
    )  # fmt: skip
    build_ups = {
        name: BuildUp(
            id=name, name=name, duties=(Duty.LIGHT,), exposures=(Exposure.COVERED,), coats=coats,
            details=details,
        )
        for name in ("BU-STALL", "BU-LANE")
    }  # fmt: skip
    return Job(
        root=Path("nowhere"),
        id="ALDER-ROW",
        name="Alder Row Garage and Flats",
        invented=True,
        units=units,
        languages=languages,
        place=Place(
            latitude_deg=36.10, longitude_deg=-79.95, altitude_m=273.0, time_zone="America/New_York"
        ),
        as_of=datetime(2027, 4, 12, 7, 0, tzinfo=ZONE),
        starts_on=date(2027, 4, 19),
        ends_by=None,
        shifts=(
            Shift(
                id="EVE",
                weekdays=(0, 1, 2, 3, 4),
                begins=time(15, 30),
                ends=time(23, 30),
                lights=True,
            ),
        ),
        crews=(crew(),),
        holidays=(),
        stalls_open_min=0.5,
        weather=WeatherRef(file=Path("w.csv"), kind="typical-year", format="tmy3"),
        products={p.id: p for p in products},
        build_ups=build_ups,
        decks=(),
        spec=Spec(),
        cutting=Cutting(),
    )


def crew() -> Crew:
    return Crew(
        id="CREW-1", people=7, skills=("coating",), shift_ids=("EVE",), rates={"base": 185.8}
    )


def line(section: str, coat: str, name: str, area_ft2: float, kits: int, sand: bool) -> CoatLine:
    return CoatLine(
        section_id=section, coat_id=coat, product_id=name, area_m2=area_ft2 * FT2,
        wft_um=635.0 if coat == "BASE" else 125.0, fill_um=50.0, fill_basis="", loss=0.08,
        net_l=0.0,
        gross_l=0.0, kit_l=18.93, kits=kits, leftover_l=0.0,
        reach_m2=(295 if coat == "BASE" else 1210) * FT2,
        aggregate_product_id="SAND-1630" if sand else None, aggregate_kg=0.0,
        bags=18 if sand else 0, figures={},
    )  # fmt: skip


def materials() -> Materials:
    return Materials(
        coats=(
            line("S04", "PRIMER", "HEN-P", 3984, 4, False),
            line("S03", "BASE", "HEN-B", 5964, 21, True),
            line("S03", "PRIMER", "HEN-P", 5964, 5, False),
        ),
        details=(),
        order=(),
    )


def problem() -> Problem:
    """Primer on S03 the evening before; base on it and primer on S04 tonight."""
    shifts = tuple(
        ShiftSpan(shift_id="EVE", on=date(2027, 4, d), begin=slot(d, 15, 30), end=slot(d, 23, 30))
        for d in (22, 23)
    )
    slots = slot(25, 0)
    ready = tuple(min(e + 21, slots) for e in range(slots))
    return Problem(
        slot0_utc_s=SLOT0,
        slot_s=SLOT_S,
        slots=slots,
        shifts=shifts,
        crews=(crew(),),
        tasks=(
            Task(
                id="S03/PRIMER", section_id="S03", step_id="PRIMER", skill="coating", duration=5,
                starts=((slot(22, 15, 30), slot(22, 20)),),
            ),
            Task(
                id="S03/BASE", section_id="S03", step_id="BASE", skill="coating", duration=6,
                starts=((slot(23, 14, 30), slot(23, 18, 30)),),
            ),
            Task(
                id="S04/PRIMER", section_id="S04", step_id="PRIMER", skill="coating", duration=3,
                starts=((slot(23, 14, 30), slot(23, 20)),),
            ),
        ),
        lags=(
            Lag(before="S03/PRIMER", after="S03/BASE", earliest=ready, down_within=56),
            Lag(before="S03/BASE", after="S03/TOP", earliest=ready, down_within=48),
            Lag(before="S04/PRIMER", after="S04/BASE", earliest=ready, down_within=56),
        ),
        closures=(),
        stalls_total=108,
        stalls_closed_max=54,
    )  # fmt: skip


def plan() -> Plan:
    def put(task: str, start: int, length: int) -> Placed:
        section, step = task.split("/")
        return Placed(
            task_id=task, section_id=section, step_id=step, crew_id="CREW-1", start=start,
            end=start + length,
        )  # fmt: skip

    return Plan(
        status="optimal",
        placed=(
            put("S03/PRIMER", slot(22, 17), 5),
            put("S03/BASE", slot(23, 16), 6),
            put("S04/PRIMER", slot(23, 19), 3),
        ),
        opens={},
        stages=(),
        seed=0,
        method="by hand",
    )


def clocks() -> dict[tuple[str, str], Clock]:
    """S03's primer is ready at 15:52 and must be covered by 21:13; odd minutes show rounding."""
    none = Ends(careful_utc_s=None, hopeful_utc_s=None)
    return {
        ("S03", "PRIMER"): Clock(
            placed_from_utc_s=utc(22, 17), placed_to_utc_s=utc(22, 19, 30),
            tack_free=Ends(careful_utc_s=utc(23, 1), hopeful_utc_s=utc(23, 0)),
            recoat_after=Ends(careful_utc_s=utc(23, 15, 52), hopeful_utc_s=utc(23, 12)),
            recoat_before_utc_s=utc(23, 21, 13), better_before_utc_s=None, feet_after=none,
            cars_after=none,
        ),
        ("S03", "BASE"): Clock(
            placed_from_utc_s=utc(23, 15, 30), placed_to_utc_s=utc(23, 18, 30),
            tack_free=Ends(careful_utc_s=utc(24, 1), hopeful_utc_s=utc(24, 0)),
            recoat_after=Ends(careful_utc_s=utc(24, 7, 2), hopeful_utc_s=utc(24, 4)),
            recoat_before_utc_s=utc(24, 15, 34), better_before_utc_s=None, feet_after=none,
            cars_after=none,
        ),
    }  # fmt: skip


def weather() -> WeatherSeries:
    hours = np.arange(1, 97, dtype=float)
    turn = 2 * math.pi / 24
    nan = np.full(96, np.nan)
    rain = np.zeros(96)
    rain[75:77] = 1.2  # 03:00 to 05:00 on the 24th
    return WeatherSeries(
        start_utc_s=SLOT0, step_s=3600, air_c=16 + 7 * np.cos((hours - 15) * turn),
        dew_c=8.5 + 1.5 * np.sin(hours / 5), rh=nan, wind_m_s=nan, ghi_w_m2=nan, dni_w_m2=nan,
        dhi_w_m2=nan, cloud=nan, rain_mm=rain, pressure_pa=nan, longwave_w_m2=nan,
        kind="forecast", issued_utc_s=int(datetime(2027, 4, 12, 4, 0, tzinfo=ZONE).timestamp()),
    )  # fmt: skip


def slab(_section: str, _step: str) -> np.ndarray:
    hours = np.arange(1, 97, dtype=float)
    return 17 + 9 * np.cos((hours - 15.5) * 2 * math.pi / 24)


def states(_section: str, _step: str) -> StartStates:
    slots = problem().slots
    state = np.full(slots, int(State.GO), dtype=np.int8)
    rule = np.full(slots, -1, dtype=np.int8)
    for a, b, word, why in (
        (slot(23, 6), slot(23, 14, 30), State.WAIT, 1),
        (slot(23, 20, 30), slot(23, 22), State.MEASURE, 0),
        (slot(23, 22), slots, State.WAIT, 0),
    ):
        state[a:b], rule[a:b] = int(word), why
    return StartStates(
        slot0_utc_s=SLOT0, slot_s=SLOT_S, duration_slots=3, state=state, rule=rule,
        number=np.full(slots, np.nan), limit=np.full(slots, np.nan),
        rules=("climate.wait.dew", "climate.wait.outgassing"),
    )  # fmt: skip


def climate() -> ShiftClimate:
    return ShiftClimate(
        weather=weather(),
        slab_c=slab,
        states=states,
        dark=((utc(22, 20, 5), utc(23, 5, 40)), (utc(23, 20, 6), utc(24, 5, 38))),
    )
