"""How a job's kits and its price may turn out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from tackfree.buildup.types import Role
from tackfree.bundle.types import Job
from tackfree.marks.types import SectionStage
from tackfree.service.labour import Work
from tackfree.supply.price import FloatArray, odds_of
from tackfree.supply.price_types import Odds, Price, PriceLine
from tackfree.supply.spare import ShortCosts, choose_order
from tackfree.supply.spread import Spread, detail_needs, draw_kits, needs_of
from tackfree.supply.types import Materials
from tackfree.words import say

DRAWS = 2000
SEED = 4
# memory: standard deviations of ln hours, shared by all work and by one kind of step,
# and of ln quantity where only an allowance is known
WORK_ALL, WORK_KIND, ALLOWANCE = 0.08, 0.15, 0.30


@dataclass(frozen=True, kw_only=True)
class KitRange:
    """Packages of one product: computed, likely range, and how many to have.

    ``advised`` is by cost where prices are known and the 90 % point otherwise;
    ``order_by`` is the first day of work less the delivery time.
    """

    product_id: str
    computed: int
    p10: int
    p50: int
    p90: int
    advised: int
    enough_share: float
    by_cost: bool
    returnable: int  # of the advised, likely (P50) to be left whole and returnable
    order_by: date | None = None
    keeps_until: date | None = None


def kit_spread(job: Job, stage: SectionStage, materials: Materials) -> Spread:
    """Draws of the packages of every liquid, seeded."""
    zones = {s.id: "+".join(s.zone_ids) for s in stage.sections}
    thin = frozenset(p.id for p in job.products.values() if p.role in (Role.PRIMER, Role.TIE))
    needs = (*needs_of(materials.coats, zones=zones, thin=thin),
             *detail_needs(materials.details, zones))  # fmt: skip
    return draw_kits(needs, draws=DRAWS, seed=SEED)


def kit_ranges(job: Job, stage: SectionStage, materials: Materials) -> tuple[KitRange, ...]:
    """Range and advised order of every liquid, in the order's order."""
    spread = kit_spread(job, stage, materials)
    out = []
    for o in materials.order:
        if o.product_id not in spread.kits:
            continue
        p10, p50, p90 = (spread.quantile(o.product_id, q) for q in (0.1, 0.5, 0.9))
        drawn = spread.kits[o.product_id]
        mine = job.price.materials.get(o.product_id) if job.price else None
        advised = p90
        order_by = keeps = None
        if job.price and mine:
            returned = (mine.returns or 0.0) * float(mine.each)
            found = choose_order(
                drawn,
                ShortCosts(spare=float(mine.each) - returned, stop=_stop_cost(job, mine.lead_days)),
                pallet=mine.pallet,
            )
            advised = found.count
            if mine.lead_days is not None:
                order_by = job.starts_on - timedelta(days=mine.lead_days)
        months = job.products[o.product_id].shelf_life_months
        if months is not None:
            keeps = job.starts_on + timedelta(days=math.floor(months * 30.4))
        advised = max(advised, o.count)
        out.append(
            KitRange(
                product_id=o.product_id, computed=o.count, p10=p10, p50=p50, p90=p90,
                advised=advised, enough_share=float(np.mean(drawn <= advised)),
                by_cost=mine is not None, order_by=order_by, keeps_until=keeps,
                returnable=max(0, advised - p50) if mine and mine.returns else 0,
            )
        )  # fmt: skip
    return tuple(out)


def _stop_cost(job: Job, lead_days: int | None) -> float:
    """An idle crew until the next delivery, and its freight. At least one day."""
    assert job.price is not None
    people = max((c.people for c in job.crews), default=0)
    idle = people * 8.0 * float(job.price.person_hour) * max(1, lead_days or 1)
    return idle + float(job.price.freight)


def odds(
    job: Job,
    stage: SectionStage,
    materials: Materials,
    lines: Sequence[PriceLine],
    work: Sequence[Work],
    price: Price,
) -> Odds:
    """Range of the price and what drives it.

    Kits are those of `kit_spread`; hours, equipment days and allowances stray in ln with
    the sizes above; lost days are drawn from a Poisson law with a crew's pay for each.
    """
    assert job.price is not None
    book, language = job.price, job.languages[0]
    spread = kit_spread(job, stage, materials)
    rng = np.random.default_rng(SEED + 1)
    causes: dict[tuple[str, str], FloatArray] = {}
    fixed = 0.0
    everywhere = rng.standard_normal(DRAWS)
    by_kind: dict[str, FloatArray] = {}

    def hours(kind: str) -> FloatArray:
        if kind not in by_kind:
            by_kind[kind] = np.exp(WORK_ALL * everywhere + WORK_KIND * rng.standard_normal(DRAWS))
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
            causes[key] = amount * np.exp(ALLOWANCE * rng.standard_normal(DRAWS))
        else:
            fixed += amount
    if book.lost_days > 0:
        people = max((c.people for c in job.crews), default=0)
        pay = people * 8.0 * float(book.person_hour)
        lost = rng.poisson(book.lost_days, DRAWS).astype(np.float64)
        causes["weather.lost", say("price.driver.lost", language)] = lost * pay
    return odds_of(price, causes, fixed=fixed)
