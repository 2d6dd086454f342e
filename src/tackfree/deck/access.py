"""Who can drive where: lanes, ramps and open floor, stalls and the street, as a graph.

Nothing is assumed: two lanes are joined where a car passes from one to the other on the
drawing, or where a lane names the zone of another; no car climbs an upturn. A ramp drawn
on one deck is joined to the deck it names where it lies over it.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Deck, Feature, FeatureKind

PASSAGE_M = 2.4  # default: a car with its mirrors
MOUTH_M = 1.5  # a stall opens onto a lane along at least this much
NEAR_M = 0.3  # outlines drawn this far apart still touch
STREET = "street"


@dataclass(frozen=True, kw_only=True)
class DriveNode:
    """A lane, a ramp, or open floor that cars can cross. ``geometry`` in metres."""

    id: str
    deck_id: str
    kind: str  # lane, ramp, open
    geometry: BaseGeometry


@dataclass(frozen=True, kw_only=True)
class DriveEdge:
    """A way from one node to another, or to ``street``; both ways unless ``one_way``."""

    start: str
    end: str
    one_way: bool = False
    basis: str = "drawn"  # inferred: a ramp's far end; typed: a lane says what it joins


@dataclass(frozen=True, kw_only=True)
class AccessGraph:
    """``stalls`` gives the node that each stall opens onto, None where it opens onto
    nothing that cars can drive on."""

    nodes: tuple[DriveNode, ...]
    edges: tuple[DriveEdge, ...]
    stalls: dict[str, str | None]

    def cut_off(self, closed: Collection[str] = ()) -> tuple[str, ...]:
        """Stalls that no car can reach from the street, or leave to it.

        Parameters
        ----------
        closed : collection of node ids
            Lanes and ramps that are closed for work; their own stalls are cut off too.
        """
        reach = self._reached(closed, backward=False) & self._reached(closed, backward=True)
        return tuple(s for s, node in self.stalls.items() if node is None or node not in reach)

    def _reached(self, closed: Collection[str], *, backward: bool) -> set[str]:
        ways: dict[str, list[str]] = defaultdict(list)
        for e in self.edges:
            a, b = (e.end, e.start) if backward else (e.start, e.end)
            ways[a].append(b)
            if not e.one_way:
                ways[b].append(a)
        seen, queue = {STREET}, deque([STREET])
        while queue:
            for other in ways[queue.popleft()]:
                if other not in seen and other not in closed:
                    seen.add(other)
                    queue.append(other)
        return seen


def access_graph(decks: Sequence[Deck], *, passage_m: float = PASSAGE_M) -> AccessGraph:
    """Derive the graph from what is drawn.

    Parameters
    ----------
    decks : sequence of Deck
        Decks joined by ramps are taken to share one plan frame.
    passage_m : float
        Narrowest opening that a car drives through. [m]

    Returns
    -------
    AccessGraph
        In the order of the decks and their features, so that it repeats.
    """
    nodes: list[DriveNode] = []
    edges: list[DriveEdge] = []
    stalls: dict[str, str | None] = {}
    for deck in decks:
        mine, curbs = _drive_nodes(deck, passage_m), _curbs(deck)
        nodes += mine
        for i, a in enumerate(mine):
            edges += [
                DriveEdge(start=a.id, end=b.id)
                for b in mine[i + 1 :]
                if _contact(a.geometry, b.geometry, curbs) >= passage_m
            ]
        for f in deck.features:
            if f.kind is FeatureKind.STALL:
                stalls[f.id] = _mouth(f.geometry, mine, curbs)
            elif f.kind in (FeatureKind.ENTRANCE, FeatureKind.EXIT) and STREET in f.connects:
                edges += _gate(f, mine)
    edges += _named(decks, nodes)
    edges += _ramps(decks, nodes)
    return AccessGraph(nodes=tuple(nodes), edges=tuple(edges), stalls=stalls)


def _drive_nodes(deck: Deck, passage_m: float) -> list[DriveNode]:
    """Lanes and ramps as drawn, then the open floor between stalls that a car can cross."""

    def of(*kinds: FeatureKind) -> list[Feature]:
        return [f for f in deck.features if f.kind in kinds]

    solid = shapely.union_all(
        [f.geometry for f in of(FeatureKind.COLUMN, FeatureKind.OPENING, FeatureKind.STALL)]
    )
    drawn = of(FeatureKind.LANE, FeatureKind.RAMP)
    nodes = [
        DriveNode(
            id=f.id,
            deck_id=deck.id,
            kind=f.kind.value,
            geometry=_without_ramps(f, drawn).difference(solid),
        )
        for f in drawn
    ]
    floor = shapely.union_all([z.outline for z in deck.zones])
    rest = floor.difference(solid).difference(shapely.union_all([f.geometry for f in drawn]))
    half = passage_m / 2 - 1e-6
    wide = rest.buffer(-half, join_style="mitre").buffer(half, join_style="mitre")
    parts = [p for p in getattr(wide, "geoms", [wide]) if isinstance(p, Polygon) and p.area > 0]
    for i, part in enumerate(sorted(parts, key=lambda p: p.bounds), 1):
        name = f"{deck.id}-OPEN-{i:02d}"
        nodes.append(DriveNode(id=name, deck_id=deck.id, kind="open", geometry=part))
    return nodes


def _without_ramps(f: Feature, drawn: Sequence[Feature]) -> BaseGeometry:
    """A lane under a ramp ends at the ramp."""
    if f.kind is FeatureKind.RAMP:
        return f.geometry
    ramps = [r.geometry for r in drawn if r.kind is FeatureKind.RAMP]
    return f.geometry.difference(shapely.union_all(ramps)) if ramps else f.geometry


def _contact(a: BaseGeometry, b: BaseGeometry, curbs: BaseGeometry) -> float:
    """Length along which two outlines meet without an upturn between. [m]"""
    if a.distance(b) > NEAR_M:
        return 0.0
    shared = a.boundary.intersection(b.buffer(NEAR_M, join_style="mitre"))
    return float(shared.difference(curbs).length) - 2 * NEAR_M


def _curbs(deck: Deck) -> BaseGeometry:
    lines = [f.geometry for f in deck.features if f.kind is FeatureKind.UPTURN]
    return shapely.union_all(lines).buffer(NEAR_M, cap_style="flat")


def _mouth(stall: BaseGeometry, nodes: Sequence[DriveNode], curbs: BaseGeometry) -> str | None:
    """The node that a stall opens onto: the longest contact, lanes before open floor."""
    found = [(_contact(stall, n.geometry, curbs), n.kind != "open", n.id) for n in nodes]
    wide = [f for f in found if f[0] >= MOUTH_M]
    return max(wide, key=lambda f: (f[1], round(f[0], 6)))[2] if wide else None


def _gate(f: Feature, nodes: Sequence[DriveNode]) -> list[DriveEdge]:
    """An entrance or exit joins the nearest place to drive with the street."""
    if not nodes:
        return []
    at = min(nodes, key=lambda n: (round(n.geometry.distance(f.geometry), 6), n.kind == "open"))
    if at.geometry.distance(f.geometry) > 2 * PASSAGE_M:
        return []
    if f.kind is FeatureKind.ENTRANCE:
        return [DriveEdge(start=STREET, end=at.id, one_way=True)]
    return [DriveEdge(start=at.id, end=STREET, one_way=True)]


def _named(decks: Sequence[Deck], nodes: Sequence[DriveNode]) -> list[DriveEdge]:
    """A lane that names zones joins the lanes on them, whatever is drawn between."""
    zones = {z.id: z for d in decks for z in d.zones}
    pairs: dict[tuple[str, str], None] = {}
    for f in (f for d in decks for f in d.features if f.kind is FeatureKind.LANE):
        for name in f.connects:
            if name not in zones:
                continue
            on = zones[name].outline
            for n in nodes:
                same_deck = n.deck_id == zones[name].deck_id and n.kind == "lane"
                if same_deck and n.id != f.id and n.geometry.intersection(on).area > 1.0:
                    pairs.setdefault((min(f.id, n.id), max(f.id, n.id)))
    return [DriveEdge(start=a, end=b, basis="typed") for a, b in pairs]


def _ramps(decks: Sequence[Deck], nodes: Sequence[DriveNode]) -> list[DriveEdge]:
    """A ramp's far end lands on the lane that lies nearest below or above it."""
    found = []
    for deck in decks:
        for f in deck.features:
            if f.kind is not FeatureKind.RAMP:
                continue
            for other in f.connects:
                there = [n for n in nodes if n.deck_id == other != deck.id and n.kind != "ramp"]
                if there:
                    at = min(there, key=lambda n: (round(n.geometry.distance(f.geometry), 6),
                             -n.geometry.intersection(f.geometry).area, n.id))  # fmt: skip
                    found.append(DriveEdge(start=f.id, end=at.id, basis="inferred"))
    return found
