"""What to order of each product, by when, in how many deliveries, and what may go back."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np

from tackfree.because import Figure, Given, Source
from tackfree.bundle.types import Job
from tackfree.film.volume import kits_needed
from tackfree.marks.types import SectionStage
from tackfree.plan.types import Plan, Problem
from tackfree.service.risk import DRAWS, SEED, kit_spread
from tackfree.supply.deliveries import Delivery, Use, deliveries
from tackfree.supply.price import half_up
from tackfree.supply.price_types import MaterialPrice
from tackfree.supply.range_types import KitRange
from tackfree.supply.spare import OrderChoice, ShortCosts, choose_order
from tackfree.supply.spread import Spread, errors_of
from tackfree.supply.types import Materials, OrderLine
from tackfree.units import KG_PER_LB
from tackfree.words import Message

DAYS_PER_MONTH = 30.4
HEAVY_KG = 1000.0  # practice: from here the load on a suspended slab is worth a question
_CONTRACTOR = Source(kind="typed", text="price list")


def kit_ranges(
    job: Job,
    stage: SectionStage,
    materials: Materials,
    uses: Mapping[str, Sequence[Use]] | None = None,
) -> tuple[KitRange, ...]:
    """Range, advised order and deliveries of everything, in the order's order.

    Parameters
    ----------
    job, stage, materials
        Of the same job.
    uses : mapping by product id, optional
        Days of use by the plan, from :func:`uses_of`; left out, all is used on the first
        day of work.
    """
    spread = kit_spread(job, stage, materials)
    return tuple(_range(job, spread, o, uses) for o in materials.order)


def _range(
    job: Job, spread: Spread, o: OrderLine, uses: Mapping[str, Sequence[Use]] | None
) -> KitRange:
    p10, p50, p90 = (spread.quantile(o.product_id, q) for q in (0.1, 0.5, 0.9))
    drawn = spread.kits[o.product_id]
    price = job.price.materials.get(o.product_id) if job.price else None
    costs = _costs(job, price) if price else None
    found: OrderChoice | None = None
    if price and costs:
        found = choose_order(drawn, costs, pallet=price.pallet)
    advised = max(found.count if found else p90, o.count)
    enough = float(np.mean(drawn <= advised))
    sheet = job.products[o.product_id]
    months = sheet.shelf_life_months
    keeps_days = None if months is None else math.floor(months * DAYS_PER_MONTH)
    planned = list((uses or {}).get(o.product_id, ()))
    unplaced = o.count - sum(u.count for u in planned)  # by the plan, for the first day
    first = min((u.on for u in planned), default=job.starts_on)
    trucks = deliveries(
        [*planned, Use(on=first, count=unplaced)],
        spare=advised - o.count,
        lead_days=price.lead_days if price else None,
        room=price.room if price else None,
        keeps_days=keeps_days,
        closed=frozenset(job.holidays),
    )
    can_go_back = price is not None and bool(price.returns)
    returnable = max(0, advised - p50) if can_go_back else 0
    value = None
    if price and price.returns and returnable:
        value = half_up(returnable * price.each * Decimal(repr(price.returns)))
    return KitRange(
        product_id=o.product_id,
        unit=o.unit,
        computed=o.count,
        p10=p10,
        p50=p50,
        p90=p90,
        advised=advised,
        enough_share=enough,
        by_cost=found is not None,
        returnable=returnable,
        return_value=value,
        planned=bool(planned),
        deliveries=trucks,
        keeps_until=None if keeps_days is None else trucks[0].arrives + timedelta(days=keeps_days),
        stored_c=(sheet.stored_min_c, sheet.stored_max_c),
        figures=_figures(job, o, (p10, p50, p90), advised, enough, costs, trucks[0]),
    )


def _costs(job: Job, price: MaterialPrice) -> ShortCosts:
    """A spare package less what it brings back; an idle crew until the next delivery."""
    returned = (price.returns or 0.0) * float(price.each)
    return ShortCosts(spare=float(price.each) - returned, stop=_stop_cost(job, price.lead_days))


def _stop_cost(job: Job, lead_days: int | None) -> float:
    """An idle crew until the next delivery, and its freight. At least one day."""
    assert job.price is not None
    people = max((c.people for c in job.crews), default=0)
    idle = people * 8.0 * float(job.price.person_hour) * max(1, lead_days or 1)
    return idle + float(job.price.freight)


def _figures(
    job: Job,
    o: OrderLine,
    quantiles: tuple[int, int, int],
    advised: int,
    enough: float,
    costs: ShortCosts | None,
    first: Delivery,
) -> dict[str, Figure]:
    unit = {"kit": "kits", "bag": "bags", "pack": "packages"}[o.unit]
    errors, origin = errors_of(job.products[o.product_id])
    sd = [
        Given(name=f"scatter of the {name}", value=value, source=origin)
        for name, value in (("job", errors.job), ("zone", errors.zone), ("shift", errors.shift))
    ]
    drawn = (
        Given(name="worked out", value=o.count, unit=unit),
        *sd,
        Given(name="draws", value=DRAWS),
        Given(name="seed", value=SEED),
    )
    by = Source(kind="modelled", text="shared errors of job, zone and shift")
    out = {
        name: Figure(
            value=value,
            unit=unit,
            formula=f"enough in {share} of 100 draws of whole {unit} by section",
            inputs=drawn,
            source=by,
        )
        for name, share, value in zip(("p10", "p50", "p90"), (10, 50, 90), quantiles, strict=True)
    }
    if costs is None or job.price is None:
        inputs: tuple[Given, ...] = (Given(name="P90", value=quantiles[2], unit=unit),)
        formula = "P90, or what is worked out where that is more; no prices to weigh"
    else:
        currency = job.price.currency
        inputs = (
            Given(name="a spare", value=costs.spare, unit=currency, source=_CONTRACTOR),
            Given(name="a stop", value=costs.stop, unit=currency, source=_CONTRACTOR),
            Given(name="enough", value=enough),
            Given(name="worked out", value=o.count, unit=unit),
        )
        formula = (
            "least of a spare × packages left over + a stop × share of draws that run short; "
            "not under what is worked out"
        )
    out["advised"] = Figure(value=advised, unit=unit, formula=formula, inputs=inputs, source=by)
    lead = job.price.materials[o.product_id].lead_days if job.price and costs else None
    out["lead_days"] = Figure(
        value=lead,
        unit="days",
        formula="order by = working day before the first use − days of delivery, "
        "back to a working day",
        inputs=(
            Given(name="first use", value=first.first_use.isoformat()),
            Given(name="there by", value=first.arrives.isoformat()),
        ),
        source=_CONTRACTOR,
    )
    return out


def uses_of(
    job: Job, materials: Materials, problem: Problem, plan: Plan
) -> dict[str, tuple[Use, ...]]:
    """Packages of each product by the day on which the plan opens them.

    What the plan does not place is in none of them; a job without a plan has none.
    """
    zone = ZoneInfo(job.place.time_zone)
    day = {
        (p.section_id, p.step_id): datetime.fromtimestamp(
            problem.slot0_utc_s + p.start * problem.slot_s, UTC
        )
        .astimezone(zone)
        .date()
        for p in plan.placed
    }
    found: dict[str, list[Use]] = defaultdict(list)
    poured: dict[str, float] = defaultdict(float)
    opened: dict[str, int] = defaultdict(int)
    late = date.max
    for c in sorted(materials.coats, key=lambda c: day.get((c.section_id, c.coat_id), late)):
        on = day.get((c.section_id, c.coat_id))
        if on is not None:
            kits = c.kits
            if c.metered:  # drums are whole for the job, not for the section
                poured[c.product_id] += c.gross_l + c.detail_l
                kits = kits_needed(poured[c.product_id], c.kit_l) - opened[c.product_id]
                opened[c.product_id] += kits
            found[c.product_id].append(Use(on=on, count=kits))
            if c.aggregate_product_id:
                found[c.aggregate_product_id].append(Use(on=on, count=c.bags))
    for d in materials.details:
        on = day.get((d.section_id, "DETAILS"))
        if on is not None and not d.packed_with:
            found[d.product_id].append(Use(on=on, count=d.packages))
    return {k: tuple(v) for k, v in found.items()}


def order_notes(job: Job, ranges: Sequence[KitRange]) -> tuple[Message, ...]:
    """What is late, does not fit, gets too old, or weighs on the slab."""
    out = []
    today = job.as_of.date()
    for r in ranges:
        for d in r.deliveries:
            values = {"product": r.product_id, "count": d.count, "unit": r.unit}
            if d.order_by is not None and d.order_by < today:
                late = values | {"by": d.order_by.isoformat(), "days": (today - d.order_by).days}
                out.append(Message(id="supply.order.late", values=late))
            if d.over_room:
                over = values | {"on": d.arrives.isoformat(), "over": d.over_room}
                out.append(Message(id="supply.order.over-room", values=over))
        if r.keeps_until is not None and r.deliveries[0].last_use > r.keeps_until:
            values = {"product": r.product_id, "until": r.keeps_until.isoformat()}
            out.append(Message(id="supply.order.too-old", values=values))
        bag_kg = job.products[r.product_id].bag_kg
        if r.unit == "bag" and bag_kg:
            kg = max(d.count for d in r.deliveries) * bag_kg
            if kg >= HEAVY_KG:
                both = {"kg": round(kg, -1), "lb": round(kg / KG_PER_LB, -1)}
                values = {"product": r.product_id, **both}
                out.append(Message(id="supply.order.heavy", values=values))
    return tuple(out)


def costs_of(job: Job, product_id: str) -> ShortCosts | None:
    """What a package too many and a stop cost; None where the price list does not say."""
    price = job.price.materials.get(product_id) if job.price else None
    return _costs(job, price) if price else None


def days_of(job: Job, problem: Problem, plan: Plan) -> dict[tuple[str, str], date]:
    """The day on which the plan begins each section and step."""
    zone = ZoneInfo(job.place.time_zone)
    return {
        (p.section_id, p.step_id): datetime.fromtimestamp(
            problem.slot0_utc_s + p.start * problem.slot_s, UTC
        )
        .astimezone(zone)
        .date()
        for p in plan.placed
    }
