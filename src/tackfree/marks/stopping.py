"""A floor too long for its wet edge, laid in stretches that end at joints and stop lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import split

from tackfree.marks.cell_types import Layout, Wishes
from tackfree.marks.contacts import contacts, longest_run
from tackfree.marks.lanes import Piece
from tackfree.marks.order import order_pieces
from tackfree.marks.sweep import sweep

Floor = Polygon | MultiPolygon
LayOne = Callable[[Polygon, Wishes], Layout]

_END_GAP_M = 0.5  # a joint drawn this short of the edge still ends a stretch
_CRUMB_M2 = 0.1  # what a line cuts off less than this is not a stretch


@dataclass(frozen=True, kw_only=True)
class Stretches:
    """Layouts in the order they are walked, and the lines that part them."""

    layouts: tuple[Layout, ...]
    lines: tuple[LineString, ...] = ()

    @property
    def age_kits(self) -> int:
        """The longest wait at a seam that must stay wet. [kits]"""
        return max(one.check.age_kits for one in self.layouts)


def lay_within(floor: Polygon, *, wishes: Wishes, age_kits: int, lay_one: LayOne) -> Stretches:
    """Cut at as few stop lines as keep every wet seam within an age.

    Parameters
    ----------
    floor : Polygon
        Connected, obstacles taken out. [m]
    wishes : Wishes
        ``stop_lines`` are what may part the floor.
    age_kits : int
        How many kits later the second side of a seam may come.
    lay_one : callable
        Lays one connected floor with its own exits.

    Returns
    -------
    Stretches
        One layout where that holds or no line helps; the best found where no choice of
        lines is enough, so that ``age_kits`` then tells by how much.

    Notes
    -----
    Lines are added one by one, each time the one that shortens the longest wait most.
    A stretch is walked before the one it leaves by, so bare floor leads out.
    """
    best = Stretches(layouts=(lay_one(floor, wishes),))
    left = [line for one in wishes.stop_lines if (line := _long_enough(floor, one)) is not None]
    while best.age_kits > age_kits and left:
        tried = []
        for line in left:
            lines = (*best.lines, line)
            laid = _laid(floor, lines, wishes, lay_one)
            if laid is not None:
                found = Stretches(layouts=laid, lines=lines)
                tried.append((found.age_kits, _kits(found), line.wkt, line, found))
        if not tried:
            break
        _, _, _, line, found = min(tried, key=lambda t: t[:3])
        if found.age_kits >= best.age_kits:
            break
        best = found
        left.remove(line)
    return best


def _kits(stretches: Stretches) -> int:
    return sum(len(one.cells) for one in stretches.layouts)


def _long_enough(floor: Polygon, line: BaseGeometry) -> LineString | None:
    """The line with its ends drawn out, or None where it does not part the floor."""
    if not isinstance(line, LineString) or line.length == 0 or not line.intersects(floor):
        return None
    xy = shapely.get_coordinates(line)
    first, last = xy[0] - xy[1], xy[-1] - xy[-2]
    xy[0] += first / np.hypot(*first) * _END_GAP_M
    xy[-1] += last / np.hypot(*last) * _END_GAP_M
    longer = LineString(xy)
    parts = [p for p in split(floor, longer).geoms if p.area > _CRUMB_M2]
    return longer if len(parts) > 1 else None


def _laid(
    floor: Polygon, lines: Sequence[LineString], wishes: Wishes, lay_one: LayOne
) -> tuple[Layout, ...] | None:
    """Every part between the lines, each with its way out; None where one has none."""
    parts = [floor]
    for line in lines:
        cut = [q for p in parts for q in split(p, line).geoms]
        parts = [q for q in cut if isinstance(q, Polygon)]
    if any(p.area <= _CRUMB_M2 for p in parts):
        return None
    i, j, edges = contacts(parts)
    runs = longest_run(edges)
    graph: list[set[int]] = [set() for _ in parts]
    door: dict[tuple[int, int], Point] = {}
    for a, b, run, edge in zip(i.tolist(), j.tolist(), runs.tolist(), edges, strict=True):
        if run >= wishes.passage_m:
            graph[a].add(b)
            graph[b].add(a)
            longest = max(
                shapely.get_parts(shapely.line_merge(edge)), key=lambda g: (g.length, g.wkt)
            )
            door[a, b] = door[b, a] = longest.interpolate(0.5, normalized=True)
    ways = [[e for e in wishes.exits if p.distance(e) <= wishes.passage_m / 2] for p in parts]
    pieces = [Piece(floor=p, lane=0, swept=sweep(p)) for p in parts]
    order = order_pieces(pieces, graph, [k for k, w in enumerate(ways) if w], wishes.start)
    out = []
    for place, k in enumerate(order):
        later = [q for q in order[place + 1 :] if q in graph[k]]
        exits = tuple(ways[k]) or tuple(door[k, q] for q in later[:1])
        if not exits:
            return None
        start = wishes.start if place == 0 else None
        out.append(lay_one(parts[k], replace(wishes, exits=exits, start=start)))
    return tuple(out)
