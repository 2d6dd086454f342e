"""Two revisions of the decks: what moved in area and in features."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.deck.takeoff_types import Takeoff, ZoneTakeoff
from tackfree.deck.types import Deck, Feature, FeatureKind

SAME_M = 0.005  # an edge moved by less has not moved
LINES = (
    FeatureKind.CRACK,
    FeatureKind.JOINT,
    FeatureKind.UPTURN,
    FeatureKind.TERMINATION,
    FeatureKind.STOP_LINE,
)


@dataclass(frozen=True, kw_only=True)
class ZoneChange:
    """One zone before and after. Areas are developed floor [m²], None where it is absent.

    ``gained`` and ``lost`` are floor on the drawing of the second revision [m];
    ``build_up`` is (before, after) where it changed.
    """

    zone_id: str
    deck_id: str
    before_m2: float | None
    after_m2: float | None
    gained: MultiPolygon
    lost: MultiPolygon
    build_up: tuple[str, str] | None = None

    @property
    def change_m2(self) -> float:
        return (self.after_m2 or 0.0) - (self.before_m2 or 0.0)


@dataclass(frozen=True, kw_only=True)
class FeatureChange:
    """Features of one kind on one deck: pieces or metres, before and after.

    ``added`` and ``removed`` are those of one revision that the other has not, where
    they stand.
    """

    deck_id: str
    kind: FeatureKind
    unit: str  # "m" or "count"
    before: float
    after: float
    added: tuple[BaseGeometry, ...]
    removed: tuple[BaseGeometry, ...]


@dataclass(frozen=True, kw_only=True)
class DeckComparison:
    """Only what changed, in the order of the second revision, then what is gone."""

    zones: tuple[ZoneChange, ...]
    features: tuple[FeatureChange, ...]


def compare(
    before: Sequence[Deck], first: Takeoff, after: Sequence[Deck], second: Takeoff
) -> DeckComparison:
    """What moved between two revisions. Zones and decks are matched by id.

    Parameters
    ----------
    before, first
        Decks and takeoff of the earlier revision.
    after, second
        Of the later one.
    """
    old_decks, new_decks = {d.id: d for d in before}, {d.id: d for d in after}
    old = {z.zone_id: z for z in first.zones}
    new = {z.zone_id: z for z in second.zones}
    zones = []
    for name in dict.fromkeys(chain(new, old)):
        change = _zone(old.get(name), new.get(name), old_decks, new_decks)
        if change is not None:
            zones.append(change)
    features = []
    for deck_id in dict.fromkeys(chain(new_decks, old_decks)):
        features += _features(deck_id, old_decks.get(deck_id), new_decks.get(deck_id))
    return DeckComparison(zones=tuple(zones), features=tuple(features))


def _zone(
    a: ZoneTakeoff | None,
    b: ZoneTakeoff | None,
    old: dict[str, Deck],
    new: dict[str, Deck],
) -> ZoneChange | None:
    is_in = b or a
    assert is_in is not None
    shift = _shift(old.get(a.deck_id) if a else None, new.get(b.deck_id) if b else None)
    was = _moved(a.floor, shift) if a else MultiPolygon()
    now = b.floor if b else MultiPolygon()
    gained, lost = _thick(now.difference(was)), _thick(was.difference(now))
    build_ups = (_build_up(a, old), _build_up(b, new))
    swapped = build_ups if a and b and build_ups[0] != build_ups[1] else None
    before_m2, after_m2 = (z.field_m2 if z else None for z in (a, b))
    still = before_m2 is not None and after_m2 is not None
    if still and gained.is_empty and lost.is_empty and swapped is None:
        near = math.isclose(before_m2 or 0.0, after_m2 or 0.0, rel_tol=1e-6)
        if near:
            return None
    return ZoneChange(
        zone_id=is_in.zone_id,
        deck_id=is_in.deck_id,
        before_m2=before_m2,
        after_m2=after_m2,
        gained=gained,
        lost=lost,
        build_up=swapped,
    )


def _build_up(taken: ZoneTakeoff | None, decks: dict[str, Deck]) -> str:
    if taken is None:
        return ""
    return next(z.build_up_id for z in decks[taken.deck_id].zones if z.id == taken.zone_id)


def _shift(old: Deck | None, new: Deck | None) -> tuple[float, float]:
    """Far drawings may have been moved by different whole metres."""
    if old is None or new is None:
        return (0.0, 0.0)
    return (old.offset_m[0] - new.offset_m[0], old.offset_m[1] - new.offset_m[1])


def _moved(shape: BaseGeometry, by: tuple[float, float]) -> BaseGeometry:
    if by == (0.0, 0.0):
        return shape
    moved: BaseGeometry = shapely.transform(shape, lambda xy: xy + np.array(by))
    return moved


def _thick(shape: BaseGeometry) -> MultiPolygon:
    """The parts that are more than an edge drawn a hair apart."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, Polygon)]
    return MultiPolygon([p for p in parts if not p.is_empty and not p.buffer(-SAME_M).is_empty])


def _features(deck_id: str, old: Deck | None, new: Deck | None) -> list[FeatureChange]:
    shift = _shift(old, new)
    found = []
    for kind in FeatureKind:
        was = [(f, _moved(f.geometry, shift)) for f in _of(old, kind)]
        now = [(f, f.geometry) for f in _of(new, kind)]
        removed, added = _unmatched(was, now), _unmatched(now, was)
        if not removed and not added:
            continue
        found.append(
            FeatureChange(
                deck_id=deck_id,
                kind=kind,
                unit="m" if kind in LINES else "count",
                before=_amount(kind, [f for f, _ in was]),
                after=_amount(kind, [f for f, _ in now]),
                added=tuple(added),
                removed=tuple(removed),
            )
        )
    return found


def _of(deck: Deck | None, kind: FeatureKind) -> list[Feature]:
    return [f for f in deck.features if f.kind is kind] if deck else []


def _amount(kind: FeatureKind, features: list[Feature]) -> float:
    if kind in LINES:
        return math.fsum(f.geometry.length for f in features)
    return float(sum(f.count for f in features))


def _unmatched(
    mine: list[tuple[Feature, BaseGeometry]], theirs: list[tuple[Feature, BaseGeometry]]
) -> list[BaseGeometry]:
    """Shapes of one revision for which the other has no equal."""
    if not mine:
        return []
    tree = shapely.STRtree([g for _, g in theirs])
    left = []
    for feature, shape in mine:
        near = tree.query(shape, predicate="dwithin", distance=SAME_M)
        same = any(_same(feature, shape, *theirs[int(k)]) for k in near)
        if not same:
            left.append(shape)
    return left


def _same(a: Feature, shape_a: BaseGeometry, b: Feature, shape_b: BaseGeometry) -> bool:
    sizes = [(f.width_m, f.depth_m, f.height_m, f.count) for f in (a, b)]
    return sizes[0] == sizes[1] and shape_a.hausdorff_distance(shape_b) <= SAME_M
