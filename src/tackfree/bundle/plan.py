"""The ``[plan]`` table: to the core's own types, and what is wrong with it beside the rest."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tackfree.bundle.documents.plan import PlanDoc
from tackfree.bundle.faults import place
from tackfree.bundle.items import Parts
from tackfree.bundle.types import (
    Delivery,
    Event,
    KeepOpen,
    Machine,
    PlanRules,
    Promised,
    Repair,
)
from tackfree.errors import Fault


def plan_rules(doc: PlanDoc, zone: ZoneInfo, root: Path) -> PlanRules:
    """The rules of a table without faults; moments without an offset are job time."""

    def at(moment: datetime) -> datetime:
        if moment.tzinfo is None:
            return moment.replace(tzinfo=zone)
        return moment.astimezone(zone)

    return PlanRules(
        order=tuple(dict.fromkeys(doc.order)),
        accessible_stalls=tuple(doc.accessible_stalls),
        accessible_open_min=doc.accessible_open_min,
        agreed_closures=tuple(doc.agreed_closures),
        events=tuple(
            Event(name=e.name, begins=at(e.begins), ends=at(e.ends), rule=e.rule,
                  zones=tuple(e.zones))
            for e in doc.events
        ),
        stops=tuple((s.name, s.first, s.last) for s in doc.stops),
        promises=tuple(
            Promised(name=p.name, by=at(p.by), zones=tuple(p.zones)) for p in doc.promises
        ),
        keep_open=tuple(
            KeepOpen(name=k.name, zones=tuple(k.zones), at_least=k.at_least)
            for k in doc.keep_open
        ),
        equipment=tuple(
            Machine(id=m.id, count=m.count, steps=tuple(m.steps)) for m in doc.equipment
        ),
        on_hand=dict(doc.on_hand),
        deliveries=tuple(
            Delivery(product_id=d.product, kits=d.kits, at=at(d.at)) for d in doc.deliveries
        ),
        repairs=tuple(
            Repair(zones=tuple(r.zones), work_h=r.work, cure_h=r.cure) for r in doc.repairs
        ),
        flood_h=(doc.flood.cure, doc.flood.stand, doc.flood.dry),
        years=tuple(Path(root, name) for name in doc.years),
    )  # fmt: skip


def plan_faults(parts: Parts) -> Iterator[Fault]:
    """Zones and products that the job lacks, and times that end before they begin."""
    table = parts.table("plan")
    zones = {z.id for z in parts.zones}
    for kind in ("events", "promises", "keep_open", "repairs"):
        for i, row in enumerate(_rows(table.get(kind))):
            yield from _unknown(row.get("zones"), zones, place("job.toml", "plan", kind, i))
    yield from _unknown(
        table.get("agreed_closures"), zones, place("job.toml", "plan", "agreed_closures")
    )
    products = {p.id for p in parts.products}
    named = [str(d.get("product")) for d in _rows(table.get("deliveries"))]
    stored = table.get("on_hand")
    for name in [*named, *(stored if isinstance(stored, dict) else ())]:
        if name not in products:
            yield Fault(
                where="job.toml, plan",
                what=f"There is no product {name}.",
                do="Name a product of products.toml.",
            )
    for kind, first, last in (("events", "begins", "ends"), ("stops", "first", "last")):
        for i, row in enumerate(_rows(table.get(kind))):
            a, b = row.get(first), row.get(last)
            if type(a) is type(b) and a is not None and a > b:  # type: ignore[operator]
                yield Fault(
                    where=place("job.toml", "plan", kind, i),
                    what=f"It ends at {b}, before it begins at {a}.",
                    do="Mend one of the two.",
                )


def _rows(value: object) -> list[dict[str, object]]:
    return [r for r in value if isinstance(r, dict)] if isinstance(value, list) else []


def _unknown(names: object, zones: set[str], where: str) -> Iterator[Fault]:
    for name in names if isinstance(names, list) else ():
        if name not in zones:
            yield Fault(
                where=where,
                what=f"There is no zone {name}.",
                do="Name a zone of a deck document.",
            )
