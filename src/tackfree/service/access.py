"""Who can drive where on a job's decks, and which stalls a closed lane cuts off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from shapely import MultiPolygon, Polygon

from tackfree.deck.access import STREET, AccessGraph, access_graph
from tackfree.deck.types import Deck, Section
from tackfree.errors import InputError
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import to_json, write_atomic
from tackfree.service.tables import table
from tackfree.sheets.deck_svg import Corner, deck_svg
from tackfree.words import say


def graph_of(made: Pipeline, closed: Sequence[str] = ()) -> AccessGraph:
    """The access graph of a job's decks.

    Raises
    ------
    InputError
        If a closed lane is not one of its nodes.
    """
    graph = access_graph(made.drawings.decks)
    known = [n.id for n in graph.nodes]
    for name in closed:
        if name not in known:
            raise InputError(
                f"there is no lane or ramp {name}.",
                where="--closed",
                do=f"Name one of {', '.join(known) or 'those that are drawn: there are none'}.",
            )
    return graph


def document(made: Pipeline, graph: AccessGraph, closed: Sequence[str]) -> dict[str, Any]:
    """The graph for ``--json``."""
    return {
        "nodes": to_json(graph.nodes),
        "edges": to_json(graph.edges),
        "stalls": graph.stalls,
        "closed": list(closed),
        "cut_off": list(graph.cut_off(closed)),
        "accessible_cut_off": [s for s in graph.cut_off(closed) if s in _accessible(made)],
    }


def summary(made: Pipeline) -> dict[str, Any]:
    """Places to drive, what each joins and how many stalls open onto it; what is cut off.

    The shapes are left out; `document` has them.
    """
    graph = access_graph(made.drawings.decks)
    of_node = Counter(n for n in graph.stalls.values() if n)
    nodes = [
        {
            "id": n.id,
            "deck_id": n.deck_id,
            "kind": n.kind,
            "stalls": of_node[n.id],
            "joins": _joins(graph, n.id),
        }
        for n in graph.nodes
    ]
    return {
        "nodes": nodes,
        "cut_off": list(graph.cut_off()),
        "accessible": list(_accessible(made)),
    }


def _accessible(made: Pipeline) -> dict[str, str]:
    """Accessible stalls, each with its painted number or its id."""
    return {f.id: f.label or f.id for d in made.drawings.decks for f in d.features if f.accessible}


def text(made: Pipeline, graph: AccessGraph, closed: Sequence[str]) -> str:
    """The graph for people: what each lane joins, its stalls, and which are cut off."""
    cut = set(graph.cut_off(closed))
    of_node = Counter(n for n in graph.stalls.values() if n)
    cut_node = Counter(n for s, n in graph.stalls.items() if n and s in cut)
    rows = [
        [n.id, n.kind, str(of_node[n.id] or ""), str(cut_node[n.id] or ""), _joins(graph, n.id)]
        for n in graph.nodes
    ]
    labels = {f.id: f.label for d in made.drawings.decks for f in d.features if f.label}
    out = [table(["place", "kind", "stalls", "cut off", "joins"], rows)]
    if cut:
        names = [labels.get(s, s) for s in graph.stalls if s in cut]
        more = f" and {len(names) - 12} more" if len(names) > 12 else ""
        out += ["", say("deck.cut-off", count=len(cut), names=", ".join(names[:12]) + more)]
    accessible = _accessible(made)
    if accessible:
        lost = [label for name, label in accessible.items() if name in cut]
        kind = "accessible-cut-off" if lost else "accessible-kept"
        out += ["", say(f"deck.{kind}", count=len(accessible), names=", ".join(lost))]
    return "\n".join(out)


def _joins(graph: AccessGraph, node: str) -> str:
    found = []
    for e in graph.edges:
        if node not in (e.start, e.end):
            continue
        other = e.end if e.start == node else e.start
        way = "" if not e.one_way else (" (out)" if e.start == node else " (in)")
        found.append(f"{other}{way}{'' if e.basis == 'drawn' else f' ({e.basis})'}")
    return ", ".join(found)


def write(made: Pipeline, graph: AccessGraph, closed: Sequence[str], out: Path) -> list[str]:
    """Write a drawing of each deck with its lanes and what they join."""
    files = []
    cut = set(graph.cut_off(closed))
    for deck in made.drawings.decks:
        if any(n.deck_id == deck.id for n in graph.nodes):
            path = out / f"{deck.id}-access.svg"
            write_atomic(path, _drawing(made, graph, closed, cut, deck))
            files.append(str(path))
    return files


def _drawing(
    made: Pipeline, graph: AccessGraph, closed: Sequence[str], cut: set[str], deck: Deck
) -> str:
    nodes = [n for n in graph.nodes if n.deck_id == deck.id and n.kind != "open"]
    stalls = {n.id: [s for s, node in graph.stalls.items() if node == n.id] for n in nodes}
    zone = deck.zones[0]
    floors = [
        Section(
            id=n.id,
            deck_id=deck.id,
            zone_ids=(),
            build_up_id=zone.build_up_id,
            exposure=zone.exposure,
            duty=zone.duty,
            floor=_floor(n.geometry),
            developed_m2=n.geometry.area,
        )
        for n in nodes
    ]
    lost = {n.id for n in nodes if stalls[n.id] and all(s in cut for s in stalls[n.id])}
    return deck_svg(
        deck,
        floors,
        corner=Corner(title=f"{made.job.name} · {deck.name}", lines=(say("deck.access-drawing"),)),
        labels={n.id: (_short(graph, n.id), f"{len(stalls[n.id])}") for n in nodes},
        shade={n.id: "wait" for n in nodes if n.id in closed or n.id in lost},
    )


def _short(graph: AccessGraph, node: str) -> str:
    return STREET if any(STREET in (e.start, e.end) and node in (e.start, e.end)
                         for e in graph.edges) else ""  # fmt: skip


def _floor(shape: Any) -> MultiPolygon:
    parts = [p for p in getattr(shape, "geoms", [shape]) if isinstance(p, Polygon)]
    return MultiPolygon([p for p in parts if not p.is_empty])
