"""Sheets and slabs to clocks: when the next coat, feet or cars may follow a placement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from tackfree.buildup.types import Coat, CurePoint, ProductSheet, Range
from tackfree.bundle.types import Job
from tackfree.climate.air import humidity_ratio
from tackfree.climate.slab import BARE_ABSORPTANCE, DARK_ABSORPTANCE
from tackfree.climate.stage import ClimateStage, Where
from tackfree.climate.windows import SURFACE_DEFAULT_C, SlotWeather
from tackfree.cure.batch import earliest_of_many
from tackfree.cure.clock import (
    CAREFUL,
    NEAR_C,
    CureSheet,
    Point,
    Trace,
    clocks,
    dose,
    earliest_after,
)
from tackfree.cure.moisture import MoistureCure
from tackfree.cure.types import Clock
from tackfree.errors import InputError, NotFound

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHEET_AIR = (215 / 9, 0.5)  # 75 °F and 50 %: a one-part sheet's air where it names none


def clock_for(
    stage: ClimateStage,
    job: Job,
    exposure: Where,
    coat: Coat,
    placed_from: datetime,
    placed_to: datetime,
) -> Clock:
    """The clock of one coat placed between two moments (aware)."""
    return clocks_for(stage, job, exposure, coat, ((placed_from, placed_to),))[0]


def clocks_for(
    stage: ClimateStage,
    job: Job,
    exposure: Where,
    coat: Coat,
    placed: Sequence[tuple[datetime, datetime]],
) -> tuple[Clock, ...]:
    """The clocks of several placings of one coat, each between two moments (aware)."""
    spans = [(first.timestamp(), last.timestamp()) for first, last in placed]
    return clocks_at(stage, job, exposure, coat, spans)


def clocks_at(
    stage: ClimateStage,
    job: Job,
    exposure: Where,
    coat: Coat,
    placed_utc_s: Sequence[tuple[float, float]],
) -> tuple[Clock, ...]:
    """The clocks of several placings of one coat, each between two moments. [Unix s]"""
    sheet = cure_sheet(product_of(job, coat.product_id))
    return clocks(trace_of(stage, job, exposure, coat), sheet, placed_utc_s)


def recoat_table(stage: ClimateStage, job: Job, exposure: Where, coat: Coat) -> IntArray:
    """Edge from which the next coat may start, careful, for each end edge; -1 unknown."""
    return _table(stage, job, exposure, coat, "recoat_after", traffic=False)


def feet_table(stage: ClimateStage, job: Job, exposure: Where, coat: Coat) -> IntArray:
    """Edge from which feet may come, careful, for each end edge; -1 unknown."""
    return _table(stage, job, exposure, coat, "feet_after", traffic=True)


def cars_table(stage: ClimateStage, job: Job, exposure: Where, coat: Coat) -> IntArray:
    """Edge from which cars may come, careful, for each end edge; -1 unknown."""
    return _table(stage, job, exposure, coat, "cars_after", traffic=True)


def sealant_table(stage: ClimateStage, job: Job, exposure: Where, product_id: str) -> IntArray:
    """Edge from which sealant is firm to full depth, careful, for each end edge.

    Taken at the sheet's 75 °F and never faster than there; on the bare surface.
    """
    product = product_of(job, product_id)
    if product.firm_after_h is None:
        raise InputError(
            "no time to firm is given.", where=product_id, do="Add firm_after_h to the sheet."
        )
    there = stage.on_slots[exposure, BARE_ABSORPTANCE]
    trace = _slot_trace(stage, there)
    points = (_point(NEAR_C, product.firm_after_h),)
    sheet = replace(cure_sheet(product), moisture=None)  # its hours are the sheet's, not a model's
    return _earliest(trace, sheet, points, traffic=True)


def down_within_slots(job: Job, stage: ClimateStage, exposure: Where, coat: Coat) -> int | None:
    """Slots from a coat's first kit by which the next must be down; None: no limit.

    Where the sheet has a hot-weather maximum and the coated slab reaches its
    temperature at any time on the grid, the shorter maximum is planned with.
    """
    product = product_of(job, coat.product_id)
    hours = product.recoat_before_h
    if hours is None:
        return None
    hot, from_c = product.recoat_before_hot_h, product.hot_from_c
    if hot is not None and from_c is not None:
        surface = stage.on_slots[exposure, absorptance_of(job, coat)].surface_c
        if bool(np.nanmax(surface, initial=-np.inf) >= from_c):
            hours = min(hours, hot)
    return int(hours * 3600 // stage.slot_s)


def cure_sheet(product: ProductSheet) -> CureSheet:
    """A product sheet's cure, as the plain values that clocks take."""

    def points(pick: str) -> tuple[Point, ...]:
        found = [(p.temp_c, _range(p, pick)) for p in product.cure]
        return tuple(_point(t, r) for t, r in found if r is not None)

    stall = product.limits.surface_min_c
    return CureSheet(
        tack_free=points("tack_free_h"),
        recoat_after=points("recoat_after_h"),
        feet_after=points("feet_after_h"),
        cars_after=points("cars_after_h"),
        recoat_before_h=product.recoat_before_h,
        recoat_before_hot_h=product.recoat_before_hot_h,
        hot_from_c=product.hot_from_c,
        rate_law=product.rate_law,
        activation_kj_mol=product.activation_kj_mol,
        stall_below_c=SURFACE_DEFAULT_C[0] if stall is None else stall,
        moisture=MoistureCure(at_ratio=humidity_ratio(*(product.cure_air or SHEET_AIR)))
        if product.one_part
        else None,
    )


def _range(point: CurePoint, name: str) -> Range | None:
    value: Range | None = getattr(point, name)
    return value


def _point(temp_c: float, hours: Range) -> Point:
    return Point(temp_c=temp_c, low_h=hours[0], high_h=hours[1])


def product_of(job: Job, product_id: str) -> ProductSheet:
    """The sheet a coat or sealant is placed from."""
    try:
        return job.products[product_id]
    except KeyError:
        raise NotFound(
            f"there is no product {product_id}.", where="products.toml", do="Add its sheet."
        ) from None


def absorptance_of(job: Job, coat: Coat) -> float:
    """Solar absorptance of a coat's surface: its sheet's, else a dark coat's."""
    stated = product_of(job, coat.product_id).solar_absorptance
    return DARK_ABSORPTANCE if stated is None else stated


def _slot_trace(stage: ClimateStage, there: SlotWeather) -> Trace:
    def means(at_edges: FloatArray) -> FloatArray:
        return (at_edges[:-1] + at_edges[1:]) / 2

    return Trace(
        start_utc_s=stage.slot0_utc_s,
        step_s=stage.slot_s,
        temp_c=means(there.surface_c),
        water_kg_kg=None if there.water_kg_kg is None else means(there.water_kg_kg),
    )


def trace_of(stage: ClimateStage, job: Job, exposure: Where, coat: Coat) -> Trace:
    """The slab with this coat on it, as clocks take it."""
    return _slot_trace(stage, stage.on_slots[exposure, absorptance_of(job, coat)])


def _table(
    stage: ClimateStage, job: Job, exposure: Where, coat: Coat, milestone: str, *, traffic: bool
) -> IntArray:
    sheet = cure_sheet(product_of(job, coat.product_id))
    points: tuple[Point, ...] = getattr(sheet, milestone)
    if not points:
        raise InputError(
            f"no {milestone.replace('_', ' ')} is given.",
            where=coat.product_id,
            do=f"Add {milestone}_h to the sheet's cure times.",
        )
    return _earliest(trace_of(stage, job, exposure, coat), sheet, points, traffic=traffic)


def _earliest(
    trace: Trace, sheet: CureSheet, points: tuple[Point, ...], *, traffic: bool
) -> IntArray:
    """The careful edge for each end edge; a one-part product also needs the air's water."""
    if sheet.moisture is not None:
        return earliest_after(dose(trace, sheet, points, traffic=traffic), end=CAREFUL)
    found = earliest_of_many(trace.temp_c[None, :], trace.step_s, sheet, points, traffic=traffic)
    return np.asarray(found[0], dtype=np.int64)


def tack_free_table(stage: ClimateStage, job: Job, exposure: Where, coat: Coat) -> IntArray | None:
    """Edge at which the film is tack-free, careful, for each end edge; None: no cure times."""
    if not product_of(job, coat.product_id).cure:
        return None
    return _table(stage, job, exposure, coat, "tack_free", traffic=False)
