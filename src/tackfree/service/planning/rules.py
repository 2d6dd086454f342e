"""Rules between sections: stalls and the street, neighbours, exits, events, kits."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from tackfree.bundle.types import Job
from tackfree.deck.access import STREET, AccessGraph, access_graph
from tackfree.deck.types import Deck, Feature, FeatureKind, Section
from tackfree.plan.types import (
    Access,
    Blackout,
    Equipment,
    Keep,
    Problem,
    Promise,
    StallGroup,
    Stock,
    Task,
)

TOUCH_M = 0.5  # sections closer than this are neighbours: a joint or a stop line apart
SHARE = 0.5  # of a lane's piece on a section, from which closing the section closes it
DRIVES = (FeatureKind.LANE, FeatureKind.RAMP)


@dataclass(frozen=True, kw_only=True)
class Site:
    """What the drawings say to the plan."""

    access: Access | None
    neighbours: tuple[tuple[str, str], ...]
    ways_in: tuple[str, ...]


def site_of(job: Job, sections: Sequence[Section], decks: Sequence[Deck]) -> Site:
    """Access by section, neighbours, and the sections that crews enter from outside.

    A lane that several sections share is cut there, so that one may be closed while
    the other is driven on. Where no entrance from the street is drawn the plan has no
    rule on driving.
    """
    floors = {s.id: s.floor for s in sections}
    cut = [_cut_lanes(d, [s for s in sections if s.deck_id == d.id]) for d in decks]
    graph = access_graph(cut)
    beside = _neighbours(sections)
    return Site(
        access=_access(job, sections, cut, graph) if _has_gates(graph) else None,
        neighbours=beside,
        ways_in=_ways_in(sections, decks, floors),
    )


def mouths_of(sections: Sequence[Section], decks: Sequence[Deck]) -> dict[str, str | None]:
    """The place to drive that each stall opens onto, by the stall's id; None where onto none."""
    return access_graph(
        [_cut_lanes(d, [s for s in sections if s.deck_id == d.id]) for d in decks]
    ).stalls


def with_rules(
    problem: Problem, job: Job, sections: Sequence[Section], site: Site, kits: Mapping[str, Any]
) -> Problem:
    """The problem with the site's rules and those of ``job.toml``.

    ``kits``: product and kits by task id.
    """
    rules = job.plan

    def slot(moment: datetime, *, up: bool) -> int:
        exact = (moment.timestamp() - problem.slot0_utc_s) / problem.slot_s
        found = int(np.ceil(exact - 1e-9) if up else np.floor(exact + 1e-9))
        return min(max(found, 0), problem.slots)

    def within(zones: Collection[str]) -> tuple[str, ...]:
        return tuple(s.id for s in sections if not zones or set(s.zone_ids) & set(zones))

    stocked = {*rules.on_hand, *(d.product_id for d in rules.deliveries)}
    stocks = tuple(
        Stock(
            id=name,
            on_hand=rules.on_hand.get(name, 0),
            arrivals=tuple(
                (slot(d.at, up=True), d.kits) for d in rules.deliveries if d.product_id == name
            ),
        )
        for name in sorted(stocked)
    )
    tasks = tuple(_supplied(t, kits, stocked) for t in problem.tasks)
    for event in rules.events:
        if event.rule == "no-work":
            span = (slot(event.begins, up=False), slot(event.ends, up=True))
            names = set(within(event.zones))
            tasks = tuple(_away(t, *span) if t.section_id in names else t for t in tasks)
    return replace(
        problem,
        tasks=tasks,
        access=site.access,
        neighbours=site.neighbours,
        ways_in=site.ways_in,
        keeps=tuple(
            Keep(name=k.name, sections=within(k.zones), open_min=k.at_least)
            for k in rules.keep_open
        ),
        blackouts=tuple(
            Blackout(
                name=e.name,
                begin=slot(e.begins, up=False),
                end=slot(e.ends, up=True),
                sections=within(e.zones),
            )
            for e in rules.events
            if e.rule == "all-open"
        ),
        promises=tuple(
            Promise(name=p.name, sections=within(p.zones), by=slot(p.by, up=False))
            for p in rules.promises
        ),
        equipment=tuple(Equipment(id=m.id, count=m.count) for m in rules.equipment),
        stocks=stocks,
    )


def _supplied(task: Task, kits: Mapping[str, Any], stocked: Collection[str]) -> Task:
    needs = tuple((p, n) for p, n in kits.get(task.id, ()) if p in stocked and n)
    return replace(task, needs=needs) if needs else task


def _away(task: Task, begin: int, end: int) -> Task:
    """A task that may not go on in slots ``[begin, end)``."""
    starts = []
    for a, b in task.starts:
        starts += [(a, min(b, begin - task.duration)), (max(a, end), b)]
    return replace(task, starts=tuple((a, b) for a, b in starts if a <= b))


def _has_gates(graph: AccessGraph) -> bool:
    ends = {x for e in graph.edges for x in (e.start, e.end)}
    return STREET in ends and bool(graph.stalls)


def _cut_lanes(deck: Deck, sections: Sequence[Section]) -> Deck:
    """The deck with each lane and ramp cut where its sections meet."""
    features: list[Feature] = []
    for f in deck.features:
        parts = [
            (s.id, p)
            for s in sections
            if f.kind in DRIVES and (p := f.geometry.intersection(s.floor)).area > 1.0
        ]
        if len(parts) < 2:
            features.append(f)
            continue
        rest = f.geometry.difference(shapely.union_all([s.floor for s in sections]))
        for name, part in parts:
            whole = shapely.union_all([part, *_touching(rest, part)])
            keeps = f.connects if f.kind is FeatureKind.LANE or name == parts[-1][0] else ()
            features.append(
                replace(f, id=f"{f.id}@{name}", geometry=_polygons(whole), connects=keeps)
            )
    return replace(deck, features=tuple(features))


def _touching(rest: BaseGeometry, part: BaseGeometry) -> list[BaseGeometry]:
    """Obstacles' outlines that a floor leaves out belong to the part around them."""
    return [g for g in getattr(rest, "geoms", [rest]) if not g.is_empty and g.distance(part) < 0.01]


def _polygons(shape: BaseGeometry) -> BaseGeometry:
    return shapely.union_all(
        [g for g in getattr(shape, "geoms", [shape]) if g.geom_type.endswith("Polygon")]
    )


def _access(
    job: Job, sections: Sequence[Section], decks: Sequence[Deck], graph: AccessGraph
) -> Access:
    on_deck = {d.id: [s for s in sections if s.deck_id == d.id] for d in decks}
    blocks = []
    for s in sections:
        mine = [
            n.id
            for n in graph.nodes
            if n.deck_id == s.deck_id
            and n.geometry.area > 0
            and n.geometry.intersection(s.floor).area >= SHARE * n.geometry.area
        ]
        if mine:
            blocks.append((s.id, tuple(mine)))
    groups: dict[tuple[str, str], list[int]] = {}
    for deck in decks:
        for f in deck.features:
            if f.kind is not FeatureKind.STALL or f.id not in graph.stalls:
                continue
            middle = f.geometry.representative_point()
            home = next((s.id for s in on_deck[deck.id] if s.floor.covers(middle)), "")
            row = groups.setdefault((home, graph.stalls[f.id] or ""), [0, 0])
            row[0] += f.count
            row[1] += f.count * (f.label in job.plan.accessible_stalls)
    agreed = set(job.plan.agreed_closures)
    return Access(
        nodes=tuple(n.id for n in graph.nodes),
        edges=tuple((e.start, e.end, e.one_way) for e in graph.edges),
        blocks=tuple(blocks),
        groups=tuple(
            StallGroup(section_id=s, node=n, count=c, accessible=m)
            for (s, n), (c, m) in groups.items()
        ),
        accessible_open_min=job.plan.accessible_open_min,
        agreed=tuple(s.id for s in sections if set(s.zone_ids) & agreed),
    )


def _neighbours(sections: Sequence[Section]) -> tuple[tuple[str, str], ...]:
    return tuple(
        (a.id, b.id)
        for a, b in combinations(sections, 2)
        if a.deck_id == b.deck_id and a.floor.distance(b.floor) < TOUCH_M
    )


def _ways_in(
    sections: Sequence[Section], decks: Sequence[Deck], floors: Mapping[str, BaseGeometry]
) -> tuple[str, ...]:
    """Sections at an entrance, an exit or a ramp; every section of a deck without any."""
    out: list[str] = []
    for deck in decks:
        gates = [
            f.geometry
            for f in deck.features
            if f.kind in (FeatureKind.ENTRANCE, FeatureKind.EXIT, FeatureKind.RAMP)
        ]
        mine = [s.id for s in sections if s.deck_id == deck.id]
        at = [s for s in mine if any(floors[s].distance(g) < 3 * TOUCH_M for g in gates)]
        out += at or mine
    return tuple(out)
