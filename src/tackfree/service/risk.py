"""How a job's kits and its price may turn out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tackfree.because import Figure, Given, Source
from tackfree.bundle.types import Job
from tackfree.marks.types import SectionStage
from tackfree.service.labour import Work
from tackfree.supply.price import FloatArray, odds_of
from tackfree.supply.price_types import WORK_ERRORS, Odds, Price, PriceLine
from tackfree.supply.spread import (
    Spread,
    detail_needs,
    draw_kits,
    errors_of,
    needs_of,
    sand_needs,
)
from tackfree.supply.types import Materials
from tackfree.words import say

DRAWS = 2000
SEED = 4


def kit_spread(job: Job, stage: SectionStage, materials: Materials) -> Spread:
    """Draws of the packages of everything ordered, seeded."""
    zones = {s.id: "+".join(s.zone_ids) for s in stage.sections}
    errors = {o.product_id: errors_of(job.products[o.product_id])[0] for o in materials.order}
    needs = (
        *needs_of(materials.coats, zones=zones, errors=errors),
        *detail_needs(materials.details, zones=zones, errors=errors),
        *sand_needs(materials.coats, zones=zones, errors=errors),
    )
    return draw_kits(needs, draws=DRAWS, seed=SEED)


def odds(
    job: Job,
    stage: SectionStage,
    materials: Materials,
    lines: Sequence[PriceLine],
    work: Sequence[Work],
    price: Price,
) -> Odds:
    """Range of the price and what drives it.

    Kits are those of `kit_spread`; hours, equipment days and allowances stray in ln as the
    price list says; lost days are drawn from a Poisson law with a crew's pay for each.
    """
    assert job.price is not None
    book, language = job.price, job.languages[0]
    errors = book.errors or WORK_ERRORS
    spread = kit_spread(job, stage, materials)
    rng = np.random.default_rng(SEED + 1)
    causes: dict[tuple[str, str], FloatArray] = {}
    fixed = 0.0
    everywhere = rng.standard_normal(DRAWS)
    by_kind: dict[str, FloatArray] = {}

    def hours(kind: str) -> FloatArray:
        if kind not in by_kind:
            own = rng.standard_normal(DRAWS)
            by_kind[kind] = np.exp(errors.all_work * everywhere + errors.kind * own)
        return by_kind[kind]

    rented = {e.id: e.steps for e in book.equipment}
    for x in lines:
        amount = float(x.amount)
        key = (f"{x.group}.{x.id}", x.name)
        if x.group == "material" and x.id in spread.kits:
            causes[key] = spread.kits[x.id] * float(x.each)
        elif x.group == "labour":
            causes[key] = amount * hours(x.id)
        elif x.group == "equipment":
            mine = [(w.crew_days, hours(w.kind)) for w in work if w.kind in rented[x.id]]
            days = sum((d * h for d, h in mine), np.zeros(DRAWS))
            causes[key] = np.ceil(days - 1e-9) * float(x.each)
        elif x.group == "allowance":
            causes[key] = amount * np.exp(errors.allowance * rng.standard_normal(DRAWS))
        else:
            fixed += amount
    if book.lost_days > 0:
        people = max((c.people for c in job.crews), default=0)
        pay = people * 8.0 * float(book.person_hour)
        lost = rng.poisson(book.lost_days, DRAWS).astype(np.float64)
        causes["weather.lost", say("price.driver.lost", language)] = lost * pay
    return odds_of(price, causes, fixed=fixed)


def odds_figures(job: Job, found: Odds) -> dict[str, Figure]:
    """Why P50 and P80 of the price are what they are."""
    assert job.price is not None
    own = job.price.errors
    errors = own or WORK_ERRORS
    origin = (
        Source(kind="typed", text="scatter of the price list")
        if own
        else Source(kind="default", text="usual scatter of work; from memory, editable")
    )
    inputs = (
        Given(name="scatter of all work", value=errors.all_work, source=origin),
        Given(name="scatter of one kind of work", value=errors.kind, source=origin),
        Given(name="scatter of allowances", value=errors.allowance, source=origin),
        Given(name="crew days lost", value=job.price.lost_days, source=Source(kind="typed")),
        Given(name="draws", value=found.draws),
        Given(name="seed", value=SEED),
    )
    return {
        name: Figure(
            value=float(value),
            unit=job.price.currency,
            formula=f"enough in {share} of 100 draws of kits, hours, days and allowances, "
            "overhead and margin included",
            inputs=inputs,
            source=Source(kind="modelled", text="draws with shared errors"),
        )
        for name, share, value in (("p50", 50, found.p50), ("p80", 80, found.p80))
    }
