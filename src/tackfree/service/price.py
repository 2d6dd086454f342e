"""A job's price: material, sundries, work, equipment, and what is not in it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from tackfree.because import Figure, Given, Source
from tackfree.bundle.types import Job
from tackfree.deck.takeoff_types import Takeoff
from tackfree.deck.types import Exposure, PostTensioned
from tackfree.errors import Fault, InputError, Refused
from tackfree.marks.types import SectionStage
from tackfree.service.labour import Work, work_of
from tackfree.service.materials import materials_for, rule_messages
from tackfree.service.risk import odds, odds_figures
from tackfree.supply.fill import MISSING
from tackfree.supply.materials import order
from tackfree.supply.price import bid_lines, half_up, line, total_of, unit_prices
from tackfree.supply.price_types import BidItem, BidLine, Compared, Price, PriceBook, PriceLine
from tackfree.supply.types import Materials
from tackfree.units import System, in_system
from tackfree.words import Message, say

_DRAWN = Source(kind="drawn")
_CREWS = Source(kind="typed", text="crews of the job")
_TYPED = Source(kind="typed", text="price list")


@dataclass(frozen=True, kw_only=True)
class Costed:
    """Price lines with what they came from, for the range and the bid form."""

    lines: tuple[PriceLine, ...]
    work: tuple[Work, ...]
    leftover: Decimal


def price_job(job: Job, takeoff: Takeoff, stage: SectionStage, materials: Materials) -> Price:
    """The price of a job with its range, bid form, alternates and exclusions.

    Parameters
    ----------
    job : Job
        With its prices; none is built in.
    takeoff, stage, materials
        Of the same job.

    Raises
    ------
    InputError
        If the job has no price list.
    Refused
        With every product and sundry that has no price.
    """
    book = book_of(job)
    cost = cost_of(job, stage, materials)
    price = total_of(cost.lines, book, leftover=cost.leftover)
    spread = odds(job, stage, materials, cost.lines, cost.work, price)
    return replace(
        price,
        figures={**price.figures, **odds_figures(job, spread)},
        bid=_bid(job, stage, materials, cost, price),
        unit_prices=unit_prices(book),
        odds=spread,
        alternates=tuple(_alternates(job, takeoff, stage, price)),
        assumptions=tuple(_assumptions(job, takeoff, materials)),
        exclusions=tuple(_exclusions(job)),
    )


def book_of(job: Job) -> PriceBook:
    """The job's price list.

    Raises
    ------
    InputError
        If there is none.
    """
    if job.price is None:
        raise InputError(
            "the job has no price list, and no price is built in.",
            where="price.toml",
            do="Add price.toml with your own prices; the demo job shows its form.",
        )
    return job.price


def cost_of(job: Job, stage: SectionStage, materials: Materials) -> Costed:
    """Every line of cost, before overhead and margin."""
    book = book_of(job)
    faults = [
        Fault(
            where="price.toml, materials",
            what=f"{o.product_id} is ordered and has no price.",
            do=f'Add [[materials]] with product = "{o.product_id}" and each.',
        )
        for o in materials.order
        if o.product_id not in book.materials
    ]
    if faults:
        raise Refused(faults)
    work = work_of(job, stage)
    return Costed(
        lines=(
            *_material(job, book, materials),
            *_work(job, book, work),
            *_pieces(book),
        ),
        work=work,
        leftover=_leftover(book, materials),
    )


def _material(job: Job, book: PriceBook, materials: Materials) -> list[PriceLine]:
    lines = [
        line("material", o.product_id, job.products[o.product_id].name, Decimal(o.count), o.unit,
             book.materials[o.product_id].each, figure=o.figure)
        for o in materials.order
    ]  # fmt: skip
    return lines + [
        line("sundries", s.id, s.name or word(job, f"sundry.{s.id}"), Decimal(s.count), "piece",
             book.sundry_each[s.id], figure=s.figure)
        for s in materials.sundries
        if s.id in book.sundry_each
    ]  # fmt: skip


def _work(job: Job, book: PriceBook, work: Sequence[Work]) -> list[PriceLine]:
    lines = []
    for kind in dict.fromkeys(w.kind for w in work):
        mine = [w for w in work if w.kind == kind]
        hours = sum(w.person_hours for w in mine)
        inputs: list[Given] = []
        for w in mine:
            unit = "m" if kind == "details" else "m²"
            inputs += [
                Given(name=f"quantity {w.build_up_id}", value=w.quantity, unit=unit, source=_DRAWN),
                Given(name=f"crew hours {w.build_up_id}", value=w.crew_hours, unit="h"),
            ]
        inputs.append(Given(name="people", value=mine[0].people, source=_CREWS))
        figure = Figure(
            value=hours,
            unit="person-h",
            formula="people × crew hours; crew hours = quantity / rate of the slowest able crew",
            inputs=tuple(inputs),
            source=_CREWS,
        )
        name = word(job, f"step.{kind}")
        each = book.person_hour
        lines.append(line("labour", kind, name, hours, "person-hour", each, figure=figure))
    for item in book.equipment:
        days = [(w.kind, w.crew_days) for w in work if w.kind in item.steps]
        whole = math.ceil(sum(d for _, d in days) - 1e-9)
        by_kind: dict[str, float] = defaultdict(float)
        for kind, d in days:
            by_kind[kind] += d
        figure = Figure(
            value=whole,
            unit="d",
            formula="crew days of its steps, rounded up to whole days",
            inputs=tuple(Given(name=f"crew days {k}", value=d) for k, d in by_kind.items()),
            source=_CREWS,
        )
        lines.append(
            line("equipment", item.id, item.name, Decimal(whole), "day", item.per_day,
                 figure=figure)
        )  # fmt: skip
    return lines


def _pieces(book: PriceBook) -> list[PriceLine]:
    def typed(value: float, unit: str, formula: str) -> Figure:
        return Figure(value=value, unit=unit, formula=formula, source=_TYPED)

    lines = [
        line("lump", x.id, x.name, Decimal(x.count), "piece", x.each,
             figure=typed(x.count, "", "pieces of the price list"))
        for x in book.lumps
        if x.count
    ]  # fmt: skip
    return lines + [
        line("allowance", u.id, u.name, u.allowance, u.by, u.each,
             figure=typed(float(u.allowance), u.by, "quantity that is part of the price"))
        for u in book.unit_items
        if u.allowance
    ]  # fmt: skip


def _leftover(book: PriceBook, materials: Materials) -> Decimal:
    """Price of what the last packages hold beyond the need."""
    return sum(
        (
            book.materials[o.product_id].each
            * Decimal(repr(o.leftover / ((o.needed + o.leftover) / o.count)))
            for o in materials.order
        ),
        Decimal(0),
    )


def word(job: Job, key: str) -> str:
    """A word of the price in the job's first language."""
    return say(f"price.{key}", job.languages[0])


def _bid(
    job: Job, stage: SectionStage, materials: Materials, cost: Costed, price: Price
) -> tuple[BidLine, ...]:
    book = book_of(job)
    used = dict.fromkeys(s.build_up_id for s in stage.sections)
    form = book.bid or tuple(
        BidItem(item=str(i), text=job.build_ups[b].name, build_up_ids=(b,))
        for i, b in enumerate(used, 1)
    )
    own = _cost_by_build_up(job, stage, materials, cost)
    area: dict[str, float] = defaultdict(float)
    for s in stage.sections:
        area[s.build_up_id] += s.developed_m2
    lumps = {x.id: x for x in cost.lines if x.group == "lump"}
    system: System = "si" if job.units == "si" else "us"
    rows: list[tuple[str, str, Decimal, str, Decimal]] = []
    for bid in form:
        mine = sum((own.get(b, Decimal(0)) for b in bid.build_up_ids), Decimal(0))
        mine += sum((lumps[x].amount for x in bid.lump_ids if x in lumps), Decimal(0))
        if bid.build_up_ids:
            m2 = sum(area.get(b, 0.0) for b in bid.build_up_ids)
            quantity, unit = in_system(m2, "area", system)
            rows.append((bid.item, bid.text, Decimal(round(quantity)), unit, mine))
        else:
            rows.append((bid.item, bid.text, Decimal(1), "lump", mine))
    missing = set(used) - {b for x in form for b in x.build_up_ids}
    if missing:
        raise InputError(
            f"no line of the bid form holds {', '.join(sorted(missing))}.",
            where="price.toml, bid",
            do="Name each build-up in one line, so that its cost is not spread over others.",
        )
    return bid_lines(price.total, rows, price.currency)


def _cost_by_build_up(
    job: Job, stage: SectionStage, materials: Materials, cost: Costed
) -> dict[str, Decimal]:
    """Material and work of each build-up; what all share is spread over these."""
    book = book_of(job)
    build_up_of = {s.id: s.build_up_id for s in stage.sections}
    out: dict[str, Decimal] = {}
    for b in dict.fromkeys(build_up_of.values()):
        mine = order(
            [c for c in materials.coats if build_up_of[c.section_id] == b],
            [d for d in materials.details if build_up_of[d.section_id] == b],
        )
        out[b] = sum((o.count * book.materials[o.product_id].each for o in mine), Decimal(0))
        hours = sum(w.person_hours for w in cost.work if w.build_up_id == b)
        out[b] += half_up(Decimal(repr(hours)) * book.person_hour)
    return out


def _alternates(
    job: Job, takeoff: Takeoff, stage: SectionStage, price: Price
) -> Sequence[Compared]:
    out = []
    for other in book_of(job).alternates:
        swapped = {old: replace(job.build_ups[new], id=old) for old, new in other.swaps.items()}
        there = replace(job, build_ups={**job.build_ups, **swapped})
        found = cost_of(there, stage, materials_for(there, takeoff, stage))
        total = total_of(found.lines, book_of(job), leftover=found.leftover)
        out.append(
            Compared(
                id=other.id,
                name=other.name,
                groups=by_group(total.lines),
                total=total.total,
                difference=total.total - price.total,
            )
        )
    return out


def by_group(lines: Sequence[PriceLine]) -> dict[str, Decimal]:
    """Amounts by group, in the order of the lines."""
    out: dict[str, Decimal] = {}
    for x in lines:
        out[x.group] = out.get(x.group, Decimal(0)) + x.amount
    return out


def _assumptions(job: Job, takeoff: Takeoff, materials: Materials) -> list[Message]:
    """What the price rests on and nobody has measured or promised."""
    out = [m for m in rule_messages(job) if m.values["level"] == "warn"]
    guessed = sorted(
        {
            c.section_id
            for c in materials.coats
            if c.fill_basis in ("supply.fill.profile", "supply.fill.over-primer")
        }
    )
    if guessed and any(z.substrate.texture_um is None for d in job.decks for z in d.zones):
        out.append(Message(id="price.assumption.profile", values={"count": len(guessed)}))
    if any(c.fill_basis == MISSING for c in materials.coats):
        out.append(Message(id="price.assumption.fill-missing"))
    if job.weather.kind == "typical-year":
        out.append(Message(id="price.assumption.weather"))
    if job.price and job.price.lost_days > 0:
        days = {"days": f"{job.price.lost_days:g}"}
        out.append(Message(id="price.assumption.lost-days", values=days))
    metres = sum(c.length_m for z in takeoff.zones for c in z.cracks)
    length, unit = in_system(metres, "length", "si" if job.units == "si" else "us")
    out.append(Message(id="price.assumption.cracks", values={"length": f"{length:,.0f} {unit}"}))
    unpriced = [s for s in materials.sundries if job.price and s.id not in job.price.sundry_each]
    if unpriced:
        names = ", ".join(s.name or word(job, f"sundry.{s.id}") for s in unpriced)
        out.append(Message(id="price.assumption.sundries", values={"names": names}))
    if any(c.leftover_l for c in materials.coats):
        out.append(Message(id="price.assumption.kits"))
    return out


def _exclusions(job: Job) -> list[Message]:
    """What is not in the price, from what the walk left unknown."""
    out = []
    for deck in job.decks:
        if deck.post_tensioned is not PostTensioned.NO:
            out.append(Message(id="price.exclusion.tendons", values={"deck": deck.id}))
    zones = [(d, z) for d in job.decks for z in d.zones]
    bare = [z.id for _, z in zones if z.substrate.csp is None and z.substrate.texture_um is None]
    if bare:
        out.append(Message(id="price.exclusion.surface", values={"zones": ", ".join(bare)}))
    vapour = [z.id for _, z in zones if z.exposure in (Exposure.ON_GRADE, Exposure.SPLIT_SLAB)]
    if vapour:
        out.append(Message(id="price.exclusion.vapour", values={"zones": ", ".join(vapour)}))
    old = [z.id for _, z in zones if z.substrate.kind == "old-film"]
    if old:
        out.append(Message(id="price.exclusion.old-film", values={"zones": ", ".join(old)}))
    if not job.spec.flood_test:
        out.append(Message(id="price.exclusion.flood-test"))
    out += [Message(id="price.exclusion.concrete"), Message(id="price.exclusion.hazardous")]
    return out
