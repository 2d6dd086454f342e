"""Two revisions of a job: what an addendum moved, on the drawing and in tables."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from shapely import MultiPolygon

from tackfree.deck.compare import DeckComparison, ZoneChange, compare
from tackfree.deck.types import Deck, Section
from tackfree.service.papers import system_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.price import book_of, by_group, cost_of
from tackfree.service.save import to_json, write_atomic
from tackfree.service.tables import table
from tackfree.sheets.deck_svg import Corner, deck_svg
from tackfree.supply.price import total_of
from tackfree.units import System, show
from tackfree.words import say


@dataclass(frozen=True, kw_only=True)
class OrderChange:
    """One product of the order, before and after, in packages of ``unit``."""

    product_id: str
    unit: str
    before: int
    after: int


@dataclass(frozen=True, kw_only=True)
class MoneyChange:
    """A group of cost, overhead, margin or the total, before and after."""

    group: str
    before: Decimal
    after: Decimal

    @property
    def change(self) -> Decimal:
        return self.after - self.before


@dataclass(frozen=True, kw_only=True)
class JobComparison:
    """Two revisions of a job. Only what changed is listed.

    ``money`` is empty where a revision has no price list, or lists in two currencies
    cannot be compared; its last row is the total.
    """

    before: Pipeline
    after: Pipeline
    decks: DeckComparison
    orders: tuple[OrderChange, ...]
    money: tuple[MoneyChange, ...] = ()
    currency: str = ""


def compare_jobs(first: Path, second: Path) -> JobComparison:
    """Compare two bundles of one job.

    Raises
    ------
    Refused
        With every fault of either bundle and its drawings.
    """
    a, b = Pipeline.of(first), Pipeline.of(second)
    return JobComparison(
        before=a,
        after=b,
        decks=compare(a.drawings.decks, a.takeoff, b.drawings.decks, b.takeoff),
        orders=_orders(a, b),
        money=_money(a, b),
        currency=b.job.price.currency if b.job.price else "",
    )


def _money(a: Pipeline, b: Pipeline) -> tuple[MoneyChange, ...]:
    """What the revision does to the price, group by group."""
    first, second = a.job.price, b.job.price
    if first is None or second is None or first.currency != second.currency:
        return ()
    was, now = _sums(a), _sums(b)
    return tuple(
        MoneyChange(group=g, before=was.get(g, Decimal(0)), after=now.get(g, Decimal(0)))
        for g in dict.fromkeys([*now, *was])
        if was.get(g) != now.get(g)
    )


def _sums(made: Pipeline) -> dict[str, Decimal]:
    cost = cost_of(made.job, made.sections, made.materials)
    price = total_of(cost.lines, book_of(made.job), leftover=cost.leftover)
    return {
        **by_group(price.lines),
        "overhead": price.overhead,
        "margin": price.margin,
        "total": price.total,
    }


def _orders(a: Pipeline, b: Pipeline) -> tuple[OrderChange, ...]:
    was = {(o.product_id, o.unit): o.count for o in a.materials.order}
    now = {(o.product_id, o.unit): o.count for o in b.materials.order}
    return tuple(
        OrderChange(product_id=k[0], unit=k[1], before=was.get(k, 0), after=now.get(k, 0))
        for k in dict.fromkeys([*now, *was])
        if was.get(k, 0) != now.get(k, 0)
    )


def document(found: JobComparison) -> dict[str, Any]:
    """The comparison for ``--json``."""
    zones = [
        {
            "zone_id": z.zone_id,
            "deck_id": z.deck_id,
            "before_m2": z.before_m2,
            "after_m2": z.after_m2,
            "change_m2": z.change_m2,
            "gained_m2": z.gained.area,
            "lost_m2": z.lost.area,
            "gained": z.gained,
            "lost": z.lost,
            "build_up": list(z.build_up) if z.build_up else None,
        }
        for z in found.decks.zones
    ]
    return {
        "before": found.before.job.id,
        "after": found.after.job.id,
        "zones": to_json(zones),
        "features": to_json(found.decks.features),
        "order": to_json(found.orders),
        "money": [
            {"group": m.group, "before": str(m.before), "after": str(m.after),
             "change": str(m.change)}
            for m in found.money
        ],
        "currency": found.currency if found.money else None,
    }  # fmt: skip


def text(found: JobComparison, system: System) -> str:
    """The comparison for people."""
    out: list[str] = []

    def area(value: float | None) -> str:
        return "" if value is None else show(value, "area", system)

    def more(value: float) -> str:
        return f"{'+' if value >= 0 else '-'}{show(abs(value), 'area', system)}"

    zones = found.decks.zones
    if zones:
        rows = [
            [
                z.zone_id,
                area(z.before_m2),
                area(z.after_m2),
                more(z.change_m2),
                area(z.gained.area),
                area(z.lost.area),
                " to ".join(z.build_up) if z.build_up else "",
            ]
            for z in zones
        ]
        total = sum(z.change_m2 for z in zones)
        rows.append(["all", "", "", more(total), "", "", ""])
        head = ["zone", "before", "after", "change", "gained", "lost", "build-up"]
        out += [table(head, rows), ""]
    if found.decks.features:

        def amount(value: float, unit: str) -> str:
            return f"{value:.0f}" if unit == "count" else show(value, "length", system)

        rows = [
            [
                f"{f.deck_id} {f.kind.value}",
                amount(f.before, f.unit),
                amount(f.after, f.unit),
                str(len(f.added)),
                str(len(f.removed)),
            ]
            for f in found.decks.features
        ]
        out += [table(["feature", "before", "after", "new or moved", "gone or moved"], rows), ""]
    if found.orders:
        rows = [
            [o.product_id, o.unit, str(o.before), str(o.after), f"{o.after - o.before:+d}"]
            for o in found.orders
        ]
        out += [table(["product", "unit", "before", "after", "change"], rows), ""]
    if found.money:
        rows = [[m.group, f"{m.before:,.2f}", f"{m.after:,.2f}", f"{m.change:+,.2f}"]
                for m in found.money]  # fmt: skip
        out += [table([f"price, {found.currency}", "before", "after", "change"], rows), ""]
    return "\n".join(out).rstrip() or "Nothing moved in area, features or kits."


def write(found: JobComparison, out: Path) -> list[str]:
    """Write the drawing of each deck on which something moved; returns the files."""
    files = []
    decks = {d.id: d for d in found.before.drawings.decks}
    decks |= {d.id: d for d in found.after.drawings.decks}
    for deck in decks.values():
        svg = drawing(found, deck)
        if svg is not None:
            path = out / f"{deck.id}-changes.svg"
            write_atomic(path, svg)
            files.append(str(path))
    return files


def drawing(found: JobComparison, deck: Deck) -> str | None:
    """A deck with the floor gained and lost, None where nothing moved on it."""
    system = system_of(found.after)
    changed = [z for z in found.decks.zones if z.deck_id == deck.id]
    moved = [f for f in found.decks.features if f.deck_id == deck.id]
    if not changed and not moved:
        return None
    floors, labels, shade = [], {}, {}
    for z in changed:
        for name, floor, word in ((f"+{z.zone_id}", z.gained, "go"), (f"−{z.zone_id}", z.lost,
                                  "wait")):  # fmt: skip
            if floor.is_empty:
                continue
            floors.append(_floor(name, z, floor, deck))
            labels[name] = (show(floor.area, "area", system),)
            shade[name] = word
    lines = [f"{f.deck_id} {f.kind.value}: +{len(f.added)} −{len(f.removed)}" for f in moved]
    return deck_svg(
        deck,
        floors,
        corner=Corner(
            title=f"{found.after.job.name} · {deck.name}",
            lines=(say("deck.changes"), *lines[:4]),
        ),
        labels=labels,
        shade=shade,
        came=[g for f in moved for g in f.added],
        went=[g for f in moved for g in f.removed],
        highlight=[f.id for f in floors if f.id.startswith("+")],
    )


def _floor(name: str, z: ZoneChange, floor: MultiPolygon, deck: Deck) -> Section:
    zone = next((x for x in deck.zones if x.id == z.zone_id), deck.zones[0])
    return Section(
        id=name,
        deck_id=deck.id,
        zone_ids=(z.zone_id,),
        build_up_id=zone.build_up_id,
        exposure=zone.exposure,
        duty=zone.duty,
        floor=floor,
        developed_m2=floor.area,
    )
