"""Prices of a bundle: what is wrong with them, and the core's own type of them."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from pydantic_core import PydanticCustomError

from tackfree.bundle.documents.price import Money, PriceDoc, SundryDoc
from tackfree.bundle.items import Parts
from tackfree.errors import Fault
from tackfree.supply.price_types import (
    Alternate,
    BidItem,
    Equipment,
    Lump,
    MaterialPrice,
    PriceBook,
    UnitItem,
    WorkErrors,
)
from tackfree.supply.sundries import DEFAULTS, Wear

FILE = "price.toml"
LEARNING_MIN = 0.5
MONEY_KEYS = ("each", "per_day", "person_hour", "freight")


def price_faults(parts: Parts) -> Iterator[Fault]:
    """Two currencies, unknown products, build-ups and lumps, sundries without a wear."""
    read = parts.docs.found.get(FILE)
    if read is None:
        return
    for where, money in _money(read.raw):
        if money.currency != read.raw.get("currency"):
            yield Fault(
                where=f"{FILE}, {where}",
                what=f"{money.amount} {money.currency} stands in a price list in "
                f"{read.raw.get('currency')}.",
                do="Give every price in one currency; nothing is converted.",
            )
    if not isinstance(read.model, PriceDoc):
        return
    doc = read.model
    if doc.margin >= 1:
        yield Fault(
            where=f"{FILE}, margin",
            what=f"a margin of {100 * doc.margin:g} % leaves nothing of the price for its cost.",
            do='Give it as a share of the price: a mark-up of 25 % on cost is "20 %".',
        )
    known = {
        "product": {p.id for p in parts.products},
        "build-up": {b.id for b in parts.build_ups},
        "lump": {x.id for x in doc.lumps},
    }
    named = [(f"materials[{i}].product", "product", m.product) for i, m in enumerate(doc.materials)]
    for i, bid in enumerate(doc.bid):
        named += [(f"bid[{i}].build_ups", "build-up", b) for b in bid.build_ups]
        named += [(f"bid[{i}].lumps", "lump", x) for x in bid.lumps]
    for i, other in enumerate(doc.alternates):
        for old, new in other.swaps.items():
            named += [(f"alternates[{i}].swaps", "build-up", b) for b in (old, new)]
    for where, noun, name in named:
        if name not in known[noun]:
            yield Fault(
                where=f"{FILE}, {where}",
                what=f"There is no {noun} {name}.",
                do=f"Name one of {', '.join(sorted(known[noun])) or 'none'}.",
            )
    if doc.learning is not None and doc.learning < LEARNING_MIN:
        yield Fault(
            where=f"{FILE}, learning",
            what=f"learning of {100 * doc.learning:g} % lets the hours of the last sections "
            "vanish.",
            do='Write what a section takes of the hours of the one half as far: "95 %".',
        )
    usual = {w.id for w in DEFAULTS}
    for i, row in enumerate(doc.sundries):
        lasts = row.one_for_area if row.per == "area" else row.one_for
        if (
            (row.per is None) != (row.one_for_area is None and row.one_for is None)
            or (row.per is None and row.id not in usual)
            or (row.per is not None and lasts is None)
        ):
            yield Fault(
                where=f"{FILE}, sundries[{i}]",
                what=f"{row.id}: it is not said how long one lasts.",
                do='Give per with one_for, such as per = "kits" and one_for = 100, '
                'or per = "area" and one_for_area = "7500 ft²".',
            )


def _money(node: Any, at: str = "") -> Iterator[tuple[str, Money]]:
    """Every text of the raw document that reads as money, whatever else is wrong there."""
    if isinstance(node, str) and at.rsplit(".", 1)[-1] in MONEY_KEYS:
        with contextlib.suppress(PydanticCustomError):
            yield at, Money.read(node)
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from _money(value, f"{at}.{key}" if at else key)
    elif isinstance(node, list):
        for i, value in enumerate(node):
            yield from _money(value, f"{at}[{i}]")


def price_book(doc: PriceDoc) -> PriceBook:
    """Prices without faults as the core takes them."""
    return PriceBook(
        currency=doc.currency,
        invented=doc.invented,
        person_hour=doc.person_hour.amount,
        overhead=_exact(doc.overhead),
        margin=_exact(doc.margin),
        freight=doc.freight.amount if doc.freight else Decimal(0),
        lost_days=doc.lost_days,
        learning=1.0 if doc.learning is None else doc.learning,
        errors=None
        if doc.scatter is None
        else WorkErrors(
            all_work=doc.scatter.all_work, kind=doc.scatter.kind, allowance=doc.scatter.allowance
        ),
        materials={
            m.product: MaterialPrice(
                each=m.each.amount,
                lead_days=m.lead_days,
                returns=m.returns,
                pallet=m.pallet,
                room=m.room,
            )
            for m in doc.materials
        },
        sundry_each={s.id: s.each.amount for s in doc.sundries},
        wear=tuple(_wear(s) for s in doc.sundries if s.per is not None),
        equipment=tuple(
            Equipment(id=e.id, name=e.name, per_day=e.per_day.amount, steps=tuple(e.steps))
            for e in doc.equipment
        ),
        lumps=tuple(
            Lump(id=x.id, name=x.name, each=x.each.amount, count=x.count) for x in doc.lumps
        ),
        unit_items=tuple(
            UnitItem(
                id=u.id, name=u.name, by=u.by, each=u.each.amount, allowance=_exact(u.allowance)
            )
            for u in doc.unit_items
        ),
        bid=tuple(
            BidItem(
                item=b.item,
                text=b.text,
                build_up_ids=tuple(b.build_ups),
                lump_ids=tuple(b.lumps),
            )
            for b in doc.bid
        ),
        alternates=tuple(
            Alternate(id=a.id, name=a.name, swaps=dict(a.swaps)) for a in doc.alternates
        ),
    )


def _wear(row: SundryDoc) -> Wear:
    lasts = row.one_for_area if row.per == "area" else row.one_for
    assert row.per is not None
    assert lasts is not None
    return Wear(id=row.id, per=row.per, one_for=lasts, roles=tuple(row.roles), name=row.name)


def _exact(share: float) -> Decimal:
    return Decimal(repr(share))
