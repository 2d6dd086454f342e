"""What this deck drinks: kits still to open of each product, and when to order them.

Sections differ in film and texture, so what is learnt is a ratio: area that a litre
covered against the area it was worked out to cover there. A kit of a thick lane then
teaches the thin stalls.
"""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path

import numpy as np

from tackfree.bundle.types import Job
from tackfree.deck.types import Section
from tackfree.errors import InputError
from tackfree.record.bodies.placing import DeliveryV1
from tackfree.record.entries import Entry, entries
from tackfree.record.kinds import read_body
from tackfree.record.store import open_record
from tackfree.service.film_entries import PAGE, KitUsed, layout_cells, taken
from tackfree.service.ordering import costs_of, days_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.record import where_of
from tackfree.supply.deliveries import Delivery, Use, deliveries
from tackfree.supply.learning import (
    HALF,
    MEMBRANE,
    PRIMER,
    Ahead,
    Band,
    Forecast,
    Habits,
    Used,
    forecast,
)
from tackfree.supply.orders import OrderCosts, best_order
from tackfree.supply.spread import errors_of
from tackfree.supply.types import CoatLine
from tackfree.words import Message

KINDS = ("batch", "placement", "delivery", "correction")
DONE = 0.97  # of a section: the rest is edges that no outline follows
SEED = 41
SAFE = 0.10  # practice: risk of a stop that calls for an order where no costs are known
UNLIKE = 1.645  # standard deviations of the first belief: outside nine jobs of ten
DAYS_PER_MONTH = 30.4
KEEP_LEAST = 0.4  # of the usual kit: less ground with no leftover named was no whole kit


@dataclass(frozen=True, kw_only=True)
class DayNeed:
    """Kits opened until the end of one day ahead, counted from now."""

    on: date
    p10: int
    p50: int
    p90: int


@dataclass(frozen=True, kw_only=True)
class ToFinish:
    """One product: kits used, still to open, on hand, to order and by when.

    ``ratio`` is how far a litre goes here against what was worked out (1: as far),
    ``ratio_band`` its 90 % band and ``planned`` the kits worked out for the rest.
    ``on_hand`` is None where no delivery is logged; ``stock`` is then what ``order``
    starts from. ``runs_out`` is the first day on which a stop is too likely,
    ``order_by`` the last day to prevent it (None: no lead time known, or nothing to
    order). ``stop_cost`` and ``spare_cost`` are None where no price is known.
    """

    product_id: str
    kit_l: float
    used: int
    learnt_from: int
    planned: int
    p10: int
    p50: int
    p90: int
    ratio: float
    ratio_band: tuple[float, float]
    on_hand: int | None
    on_order: int
    order: int
    expected_cost: float | None
    enough_share: float
    runs_out: date | None
    order_by: date | None
    lead_days: int | None
    deliveries: tuple[Delivery, ...]
    stop_cost: float | None
    spare_cost: float | None
    history_jobs: int
    history_ratio: float | None  # of the crew's own jobs, where they speak
    without_history: tuple[int, int, int] | None  # P10, P50, P90 from the usual range
    days: tuple[DayNeed, ...]
    messages: tuple[Message, ...]


def consumption_record(bundle: Path) -> tuple[Entry, ...]:
    """Every entry that speaks of kits, in the order of arrival."""
    return kit_entries(where_of(bundle))


def kit_entries(where: str | Path) -> tuple[Entry, ...]:
    """The same of one record, wherever it is kept; none where there is no such file."""
    if isinstance(where, Path) and not where.exists():
        return ()
    out: list[Entry] = []
    with open_record(where) as record:
        after = 0
        while page := entries(record, after=after, limit=PAGE):
            after = page[-1].pos
            out += [e for e in page if e.kind in KINDS]
    return tuple(out)


def to_finish(
    made: Pipeline,
    record: Sequence[Entry],
    *,
    today: date,
    on_order: Mapping[str, int] | None = None,
    history: Mapping[str, Sequence[float]] | None = None,
    planned: bool = False,
    days: Mapping[tuple[str, str], date] | None = None,
) -> tuple[ToFinish, ...]:
    """Kits to finish of every mixed product, in the order's order.

    Parameters
    ----------
    made : Pipeline
    record : sequence of Entry
        As :func:`consumption_record` reads it.
    today : date
        Work still to do lies on this day or later.
    on_order : mapping of product id to kits, optional
        Ordered and not yet delivered.
    history : mapping of product id to ratios, optional
        The crew's own ratio on each earlier job; speaks from the fifth job on.
    planned : bool
        Take the days from the plan (which is made first); otherwise one section and
        coat a working day from the job's start on, in the order of the sections.
    days : mapping of section and step id to day, optional
        Of a plan made before, as :func:`days_built` reads it.

    Returns
    -------
    tuple of ToFinish

    Raises
    ------
    InputError
        If a number on order is negative.
    """
    for product, count in (on_order or {}).items():
        if count < 0:
            raise InputError(f"{count} kits of {product} on order.", do="Enter 0 or more.")
    if planned:
        days = days_of(made.job, made.problem, made.plan)
    out = []
    for product_id in dict.fromkeys(c.product_id for c in made.materials.coats):
        lines = [c for c in made.materials.coats if c.product_id == product_id]
        out.append(
            _one(
                made, record, product_id, lines, today, (on_order or {}).get(product_id, 0),
                (history or {}).get(product_id, ()), days or {},
            )
        )  # fmt: skip
    return tuple(out)


def days_built(out: Path, zone: tzinfo) -> dict[tuple[str, str], date]:
    """The day each section and step begins in the plan of an output folder; none without one."""
    path = out / "stages" / "plan.json"
    if not path.is_file():
        return {}
    found = json.loads(path.read_text("utf-8"))
    first, slot = found["slot0_utc_s"], found["slot_s"]
    return {
        (p["section_id"], p["step_id"]): datetime.fromtimestamp(
            first + p["start"] * slot, zone
        ).date()
        for p in found["plan"]["placed"]
    }


def ratio_of(made: Pipeline, record: Sequence[Entry]) -> dict[str, float]:
    """This job's ratio by product, to be kept as history for the next jobs."""
    out = {}
    for product_id in dict.fromkeys(c.product_id for c in made.materials.coats):
        lines = [c for c in made.materials.coats if c.product_id == product_id]
        log = _log(made, record, lines)
        if log.used:
            weight = math.fsum(log.litres)
            out[product_id] = (
                math.fsum(
                    u.coverage_m2_per_l * v for u, v in zip(log.used, log.litres, strict=True)
                )
                / weight
            )
    return out


@dataclass(frozen=True, kw_only=True)
class _Log:
    """Kits of one product: what teaches, litres of each, what each line still lacks."""

    used: tuple[Used, ...]
    litres: tuple[float, ...]
    opened: int
    left: dict[tuple[str, str], float]  # share of each line
    dropped: int  # last kits of a shift whose leftover nobody named
    placeless: int
    shifts: int


def _log(made: Pipeline, record: Sequence[Entry], lines: Sequence[CoatLine]) -> _Log:
    sections = {s.id: s for s in made.sections.sections}
    zones = sorted({s.zone_ids[0] for s in sections.values()})
    every: list[tuple[str, CoatLine, KitUsed, float | None]] = []
    left = {}
    for line in lines:
        key = (line.section_id, line.coat_id)
        found = taken(
            record, *key, kit_l={line.product_id: line.kit_l}, fill_um=0.0,
            layouts=layout_cells(made, record, *key),
        )  # fmt: skip
        section = sections[line.section_id]
        areas = [_area(k, section) for k in found.kits]
        covered = math.fsum(a for a in areas if a is not None)
        # a kit whose place nobody named has gone as far as it was worked out to go
        covered += sum(
            k.volume_l / line.gross_l * line.area_m2
            for k, a in zip(found.kits, areas, strict=True)
            if a is None
        )
        share = max(0.0, 1 - covered / line.area_m2)
        left[key] = 0.0 if share < 1 - DONE else share
        every += [(k.wall[:10], line, k, a) for k, a in zip(found.kits, areas, strict=True)]
    every.sort(key=lambda e: (e[2].wall, e[2].kit))
    dates = sorted({day for day, *_ in every})
    used, litres, dropped, placeless = [], [], 0, 0
    for k, (day, line, kit, area) in enumerate(every):
        if area is None or kit.volume_l <= 0:
            placeless += 1
            continue
        ratio = area / line.area_m2 * line.gross_l / kit.volume_l
        last = all(
            (d, o.section_id, o.coat_id) != (day, line.section_id, line.coat_id)
            for d, o, *_ in every[k + 1 :]
        )
        if last and not kit.weighed and ratio < KEEP_LEAST:
            dropped += 1
            continue
        zone = zones.index(sections[line.section_id].zone_ids[0])
        used.append(Used(shift=dates.index(day), zone=zone, coverage_m2_per_l=ratio))
        litres.append(kit.volume_l)
    return _Log(
        used=tuple(used), litres=tuple(litres), opened=len(every), left=left, dropped=dropped,
        placeless=placeless, shifts=len(dates),
    )  # fmt: skip


def _area(kit: KitUsed, section: Section) -> float | None:
    """Developed ground of one kit inside its section; None where nobody said where. [m²]"""
    if kit.outline is not None:
        steep = section.developed_m2 / section.floor.area
        area = float(kit.outline.intersection(section.floor).area) * steep
    else:
        area = kit.area_m2 or 0.0
    return area if area > 0 else None


def _one(
    made: Pipeline,
    record: Sequence[Entry],
    product_id: str,
    lines: Sequence[CoatLine],
    today: date,
    on_order: int,
    history: Sequence[float],
    days: Mapping[tuple[str, str], date],
) -> ToFinish:
    job, kit_l = made.job, lines[0].kit_l
    log = _log(made, record, lines)
    errors, _ = errors_of(job.products[product_id])
    # what is stated as scatter between jobs is taken as the middle half of them
    first = Band(log_mean=0.0, log_sd=errors.job / HALF)
    band = Band.of_history(history, first)
    habits = _habits(errors.job, errors.zone)
    rest = _rest(made, lines, log, today, days)
    ahead = [
        Ahead(shift=log.shifts + k, zone=zone, area_m2=litres)
        for k, (_, zone, litres) in enumerate(rest)
    ]
    got = forecast(log.used, ahead, band, habits, kit_l=kit_l, seed=SEED)
    without = None
    if band.jobs and rest:
        plain = forecast(log.used, ahead, first, habits, kit_l=kit_l, seed=SEED)
        without = (plain.quantile(0.1), plain.quantile(0.5), plain.quantile(0.9))
    on_hand = _on_hand(record, product_id, log.opened)
    have = (on_hand or 0) + on_order
    costs, price = costs_of(job, product_id), None
    if job.price is not None:
        price = job.price.materials.get(product_id)
    pallet = price.pallet if price else 1
    p10, p50, p90 = (got.quantile(q) for q in (0.1, 0.5, 0.9)) if rest else (0, 0, 0)
    cost = None
    if costs is None:
        order = max(0, -(-(p90 - have) // pallet) * pallet)
        risk = SAFE
    else:
        money = OrderCosts(spare=max(costs.spare, 0.0), short=costs.unit, stop=costs.stop)
        order, cost = best_order(got.kits, money, have=have, pallet=pallet)
        risk = money.spare / (money.spare + money.stop) if money.stop > 0 else SAFE
    fan, runs_out = _fan(got, rest, have, risk)
    lead = price.lead_days if price else None
    trucks = _trucks(job, product_id, fan, have, order, lead, price.room if price else None)
    order_by = trucks[0].order_by if trucks else None
    ratio = np.exp(got.theta) if rest else np.array([_mean_ratio(log, band)])
    band_sd = float(got.theta_sd.mean()) if rest else 0.0
    middle = float(ratio.mean())
    return ToFinish(
        product_id=product_id, kit_l=kit_l, used=log.opened, learnt_from=len(log.used),
        planned=sum(math.ceil(litres / kit_l - 1e-9) for _, _, litres in rest),
        p10=p10, p50=p50, p90=p90, ratio=middle,
        ratio_band=(middle * math.exp(-1.645 * band_sd), middle * math.exp(1.645 * band_sd)),
        on_hand=on_hand, on_order=on_order, order=order, expected_cost=cost,
        enough_share=float(np.mean(got.kits <= have + order)), runs_out=runs_out,
        order_by=order_by, lead_days=lead, deliveries=trucks,
        stop_cost=costs.stop if costs else None, spare_cost=costs.spare if costs else None,
        history_jobs=band.jobs, history_ratio=math.exp(band.log_mean) if band.jobs else None,
        without_history=without, days=fan,
        messages=_said(product_id, log, band, got, on_hand, order_by, today, bool(days)),
    )  # fmt: skip


def _habits(job: float, zone: float) -> Habits:
    """A primer scatters more than a membrane; zones as the product's own figures have it."""
    usual = PRIMER if job > 0.08 else MEMBRANE
    return Habits(scatter=usual.scatter, zone=zone, drift=usual.drift, walks=usual.walks)


def _rest(
    made: Pipeline,
    lines: Sequence[CoatLine],
    log: _Log,
    today: date,
    days: Mapping[tuple[str, str], date],
) -> list[tuple[date, int, float]]:
    """Day, zone and litres worked out of what is still to coat, in order of time."""
    sections = {s.id: s for s in made.sections.sections}
    zones = sorted({s.zone_ids[0] for s in sections.values()})
    out, day = [], max(today, made.job.starts_on)
    closed = frozenset(made.job.holidays)
    for line in lines:
        share = log.left[line.section_id, line.coat_id]
        if share <= 0:
            continue
        on = days.get((line.section_id, line.coat_id))
        if on is None:
            while day.weekday() >= 5 or day in closed:
                day += timedelta(days=1)
            on, day = day, day + timedelta(days=1)
        zone = zones.index(sections[line.section_id].zone_ids[0])
        out.append((max(on, today), zone, share * line.gross_l + line.detail_l * (share == 1)))
    return sorted(out, key=lambda r: r[0])


def _on_hand(record: Sequence[Entry], product_id: str, opened: int) -> int | None:
    gone = {e.body["corrects"] for e in record if e.body.get("corrects")}
    came = [
        body.kits
        for e in record
        if e.kind == "delivery" and e.id not in gone
        if isinstance(body := read_body(e.kind, e.v, e.body), DeliveryV1)
        and body.product == product_id
    ]
    return max(0, sum(came) - opened) if came else None


def _fan(
    got: Forecast, rest: Sequence[tuple[date, int, float]], have: int, risk: float
) -> tuple[tuple[DayNeed, ...], date | None]:
    """Cumulative kits day by day, and the first day on which the stock may not do."""
    by_day: dict[date, list[int]] = defaultdict(list)
    for k, (on, _, _) in enumerate(rest):
        by_day[on].append(k)
    out, runs_out = [], None
    total = np.zeros(len(got.kits), dtype=np.int64)
    for on in sorted(by_day):
        total = total + got.by_shift[:, by_day[on]].sum(1)
        p = [int(np.quantile(total, q, method="inverted_cdf")) for q in (0.1, 0.5, 0.9)]
        out.append(DayNeed(on=on, p10=p[0], p50=p[1], p90=p[2]))
        if runs_out is None and float((total > have).mean()) > risk:
            runs_out = on
    return tuple(out), runs_out


def _trucks(
    job: Job,
    product_id: str,
    fan: Sequence[DayNeed],
    have: int,
    order: int,
    lead: int | None,
    room: int | None,
) -> tuple[Delivery, ...]:
    """The order as trucks: each day's careful need beyond the stock, the rest as spares."""
    uses, before, left = [], have, order
    for day in fan:
        more = min(left, max(0, day.p90 - before))
        if more:
            uses.append(Use(on=day.on, count=more))
            before, left = before + more, left - more
    if left and not uses and fan:
        uses, left = [Use(on=fan[0].on, count=left)], 0
    months = job.products[product_id].shelf_life_months
    keeps = None if months is None else math.floor(months * DAYS_PER_MONTH)
    return deliveries(
        uses, spare=left, lead_days=lead, room=room, keeps_days=keeps,
        closed=frozenset(job.holidays),
    )  # fmt: skip


def _mean_ratio(log: _Log, band: Band) -> float:
    if not log.used:
        return math.exp(band.log_mean)
    return math.exp(math.fsum(math.log(u.coverage_m2_per_l) for u in log.used) / len(log.used))


def _said(
    product_id: str,
    log: _Log,
    band: Band,
    got: Forecast,
    on_hand: int | None,
    order_by: date | None,
    today: date,
    planned: bool,
) -> tuple[Message, ...]:
    """What people should know of the forecast, the pressing first."""
    out = []

    def add(name: str, **values: int | str) -> None:
        out.append(Message(id=f"consumption.{name}", values={"product": product_id, **values}))

    if order_by is not None and order_by < today:
        add("late", day=order_by.isoformat())
    if got.odd_shifts:
        add("odd_shifts", count=len(got.odd_shifts) + 1)
    if log.used:
        ratio = _mean_ratio(log, band)
        away = (math.log(ratio) - band.log_mean) / band.log_sd
        if abs(away) > UNLIKE:
            pct = round(100 * abs(ratio / math.exp(band.log_mean) - 1))
            add("drinks_more" if away < 0 else "drinks_less", pct=pct, count=len(log.used))
    if log.dropped:
        add("leftover", count=log.dropped)
    if log.placeless:
        add("placeless", count=log.placeless)
    if on_hand is None and any(log.left.values()):
        add("no_delivery")
    if band.jobs:
        add("history", count=band.jobs)
    if not planned and any(log.left.values()):
        add("no_plan")
    return tuple(out)
