"""The takeoff as plain rows: deck, zone, build-up, item, quantity, and its basis."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from tackfree.deck.takeoff_types import Takeoff, ZoneTakeoff
from tackfree.deck.types import Deck, Feature, FeatureKind, Zone

Kind = Literal["area", "length", "count"]


@dataclass(frozen=True, kw_only=True)
class TakeoffRow:
    """One quantity. ``value`` is in m², m or pieces as ``kind`` says.

    ``basis`` tells where it comes from: drawn, typed, or inferred from other rows.
    ``ignored`` names what stands on the same layers of the drawing and was not used.
    """

    deck_id: str
    zone_id: str
    build_up_id: str
    item: str
    kind: Kind
    value: float
    basis: str
    width_m: float | None = None
    depth_m: float | None = None
    ignored: tuple[str, ...] = ()


def takeoff_rows(takeoff: Takeoff, decks: Sequence[Deck]) -> tuple[TakeoffRow, ...]:
    """Every quantity that is not nothing, zone by zone in the order declared."""
    zones = {z.id: (d, z) for d in decks for z in d.zones}
    rows: list[TakeoffRow] = []
    for taken in takeoff.zones:
        deck, zone = zones[taken.zone_id]
        rows += [r for r in _rows(taken, deck, zone) if r.value or r.item == "field"]
    return tuple(rows)


def _rows(t: ZoneTakeoff, deck: Deck, zone: Zone) -> Iterator[TakeoffRow]:
    def row(
        item: str,
        kind: Kind,
        value: float,
        basis: str,
        width_m: float | None = None,
        depth_m: float | None = None,
    ) -> TakeoffRow:
        return TakeoffRow(
            deck_id=t.deck_id,
            zone_id=t.zone_id,
            build_up_id=zone.build_up_id,
            item=item,
            kind=kind,
            value=value,
            basis=basis,
            width_m=width_m,
            depth_m=depth_m,
        )

    def basis(*kinds: FeatureKind) -> str:
        found = {f.source for f in _of(deck, kinds)}
        return found.pop() if len(found) == 1 else "drawn"

    yield row("outline", "area", t.outline_m2, zone.source)
    yield row("obstacles", "area", t.obstacles_m2, basis(FeatureKind.COLUMN, FeatureKind.OPENING))
    yield row("field", "area", t.field_m2, "inferred")
    yield row("upturn", "length", t.upturn_m, basis(FeatureKind.UPTURN))
    yield row("upturn-area", "area", t.upturn_m2, "inferred")
    yield row("edge", "length", t.obstacle_edge_m, "inferred")
    for c in t.cracks:
        item = "rout" if c.rout else "crack"
        yield row(item, "length", c.length_m, c.basis, c.width_m)
    for j in t.joints:
        yield row("joint", "length", j.length_m, basis(FeatureKind.JOINT), j.width_m, j.depth_m)
    yield row("cove", "length", t.cove_m, "inferred")
    yield row("termination", "length", t.termination_m, basis(FeatureKind.TERMINATION))
    yield row("saw-cut", "length", t.saw_cut_m, "inferred")
    yield row("drain", "count", t.drains, basis(FeatureKind.DRAIN))
    yield row("penetration", "count", t.penetrations, basis(FeatureKind.PENETRATION))
    yield row("stall", "count", t.stalls, basis(FeatureKind.STALL))


def _of(deck: Deck, kinds: tuple[FeatureKind, ...]) -> list[Feature]:
    return [f for f in deck.features if f.kind in kinds]
