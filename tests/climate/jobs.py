"""An invented job for the tests of climate."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from tackfree.buildup.types import (
    BuildUp,
    Coat,
    CurePoint,
    Details,
    Limits,
    ProductSheet,
    Role,
)
from tackfree.bundle.types import Cutting, Job, Place, Spec, WeatherRef
from tackfree.deck.types import Duty, Exposure
from tackfree.plan.types import Shift

NEW_YORK = ZoneInfo("America/New_York")


def c(f: float) -> float:
    return (f - 32) / 1.8


SHEET = ProductSheet(
    id="HEN-B", name="invented base", family="HEN", role=Role.BASE, invented=True,
    cure=(CurePoint(temp_c=c(75), tack_free_h=(3, 5), recoat_after_h=(8, 12),
                    feet_after_h=(24, 24), cars_after_h=(36, 48)),),
    recoat_before_h=36.0,
    limits=Limits(surface_min_c=c(45), surface_max_c=c(95), rh_max=0.9, rain_free_h=6),
)  # fmt: skip
PRIMER = replace(SHEET, id="HEN-P", role=Role.PRIMER, solar_absorptance=0.7)
SEALANT = ProductSheet(
    id="SEAL-1", name="invented sealant", family="SEAL", role=Role.SEALANT, firm_after_h=(48, 72)
)
BUILD_UP = BuildUp(
    id="BU-STALL", name="stalls", duties=(Duty.LIGHT,),
    exposures=(Exposure.OPEN_SKY, Exposure.COVERED),
    coats=(
        Coat(id="PRIMER", role=Role.PRIMER, product_id="HEN-P", wft_um=150),
        Coat(id="BASE", role=Role.BASE, product_id="HEN-B", wft_um=635),
    ),
    details=Details(
        detail_product_id="HEN-B", sealant_product_id="SEAL-1", strip_width_m=0.1,
        strip_wft_um=750,
    ),
)  # fmt: skip
PRIME, BASE = BUILD_UP.coats
WEEK = (0, 1, 2, 3, 4)


def job(weather: Path, *, format: str = "tmy3", kind: str = "typical-year", **changes) -> Job:
    return replace(
        Job(
            root=weather.parent, id="ALDER-ROW", name="Alder Row", invented=True, units="us",
            languages=("en",),
            place=Place(latitude_deg=36.10, longitude_deg=-79.95, altitude_m=273,
                        time_zone="America/New_York"),
            as_of=datetime(2027, 4, 12, 7, tzinfo=NEW_YORK), starts_on=date(2027, 4, 19),
            ends_by=None,
            shifts=(
                Shift(id="DAY", weekdays=WEEK, begins=time(7), ends=time(15, 30)),
                Shift(id="EVE", weekdays=WEEK, begins=time(15, 30), ends=time(23, 30), lights=True),
            ),
            crews=(), holidays=(), stalls_open_min=0.5,
            weather=WeatherRef(file=weather, kind=kind, format=format),
            products={p.id: p for p in (SHEET, PRIMER, SEALANT)},
            build_ups={BUILD_UP.id: BUILD_UP}, decks=(), spec=Spec(), cutting=Cutting(),
        ),
        **changes,
    )  # fmt: skip
