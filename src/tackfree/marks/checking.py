"""A check of finished cells by its own means: it believes no cutter and no order.

Areas come from the outlines, contacts from the outlines, reachability from a walk
over bare floor. Nothing here is shared with what made the layout.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import Cell, Check

SLIVER = 0.10  # share of a kit
_SEAM_M = 0.3
_GAP_M = 1e-4


def check_cells(
    cells: Sequence[Cell],
    floor: Polygon | MultiPolygon,
    *,
    target_m2: float,
    exits: Sequence[Point],
    passage_m: float,
    no_go: Sequence[BaseGeometry] = (),
    stop_lines: Sequence[BaseGeometry] = (),
) -> Check:
    """What is wrong with cells in their order.

    Parameters
    ----------
    cells : sequence of Cell
        In walking order.
    floor : Polygon or MultiPolygon
        What they were cut from. [m]
    target_m2 : float
        Plan area of one kit. [m²]
    exits : sequence of Point
    passage_m : float
        The narrowest way a person walks. [m]
    no_go, stop_lines : sequences of lines
        Edges nobody steps over; seams that may dry.

    Returns
    -------
    Check
        A cell is trapped when the crew, at the cell's turn, has no way over bare floor
        to an exit; unreachable when it has none even over the empty floor.
    """
    shapes = np.array([c.outline for c in cells], dtype=object)
    areas = shapely.area(shapes)
    n = len(cells)
    errors = [abs(a / target_m2 - 1) for a, c in zip(areas, cells, strict=True) if c.full]
    tree = shapely.STRtree(shapes)
    i, j = tree.query(shapes, predicate="dwithin", distance=_GAP_M)
    keep = i < j
    i, j = i[keep], j[keep]
    overlap = _overlap(shapes[i], shapes[j])
    seam = shapely.intersection(
        shapely.buffer(shapes[i], _GAP_M, quad_segs=1, join_style="mitre"),
        shapely.boundary(shapes[j]),
    )
    walk = seam
    if no_go:
        walls = shapely.union_all([g.buffer(0.05) for g in no_go])
        walk = shapely.difference(seam, walls)
    width = _longest(walk)
    wet = seam
    if stop_lines:
        dry = shapely.union_all([g.buffer(0.05) for g in stop_lines])
        wet = shapely.difference(seam, dry)
    wet_m = shapely.length(wet)
    ways: list[list[int]] = [[] for _ in range(n)]
    for a, b, w in zip(i.tolist(), j.tolist(), width.tolist(), strict=True):
        if w >= passage_m - 2e-3:
            ways[a].append(b)
            ways[b].append(a)
    near = [shapely.distance(shapes, e) for e in exits]
    doors = {int(k) for d in near for k in np.flatnonzero(d <= max(passage_m / 2, d.min() + 1e-6))}
    trapped, unreachable = _trapped(n, ways, doors)
    pairs = [
        (b - a, (cells[a].number, cells[b].number))
        for a, b, w in zip(i.tolist(), j.tolist(), wet_m.tolist(), strict=True)
        if w >= _SEAM_M
    ]
    age, pair = max(pairs, key=lambda p: p[0], default=(0, (1, 1)))
    touching = {(a, b) for a, b, w in zip(i.tolist(), j.tolist(), width.tolist(), strict=True)
                if w >= passage_m - 2e-3}  # fmt: skip
    return Check(
        worst_error=max(errors, default=0.0),
        sum_error=abs(float(areas.sum()) / floor.area - 1),
        overlap_m2=overlap,
        trapped=tuple(cells[k].number for k in trapped),
        unreachable=tuple(cells[k].number for k in unreachable),
        disconnected=tuple(c.number for c, s in zip(cells, shapes, strict=True)
                           if len(shapely.get_parts(s)) > 1),
        slivers=tuple(c.number for c, a in zip(cells, areas, strict=True)
                      if a < SLIVER * target_m2 * (1 - 1e-9)),
        jumps=sum((k, k + 1) not in touching for k in range(n - 1)),
        age_kits=age,
        age_pair=pair,
        seams=tuple(sorted(p for _, p in pairs)),
    )  # fmt: skip


def _trapped(n: int, ways: Sequence[Sequence[int]], doors: set[int]) -> tuple[list[int], list[int]]:
    """Cells whose turn comes when bare floor no longer leads out; and those never joined."""
    reach = _walk(n, ways, doors, 0)
    unreachable = [k for k in range(n) if k not in reach]
    # Grown from the end: cell k is safe if it opens on floor that is still bare and safe.
    safe: set[int] = set()
    trapped = []
    for k in range(n - 1, -1, -1):
        if k in doors or any(w in safe for w in ways[k] if w > k):
            safe.add(k)
        elif k in reach:
            trapped.append(k)
    return trapped[::-1], unreachable


def _walk(n: int, ways: Sequence[Sequence[int]], doors: set[int], after: int) -> set[int]:
    seen = {d for d in doors if d >= after}
    todo = list(seen)
    while todo:
        for b in ways[todo.pop()]:
            if b >= after and b not in seen:
                seen.add(b)
                todo.append(b)
    return seen


def _overlap(a: NDArray[np.object_], b: NDArray[np.object_]) -> float:
    """Area that two outlines of a pair share. [m²]

    Along edges that lie a hair apart the plain intersection may give one outline whole;
    what it finds is looked at again on a grid of 0.1 µm.
    """
    found = shapely.area(shapely.intersection(a, b))
    doubtful = np.flatnonzero(found > _GAP_M)
    for k in doubtful.tolist():
        found[k] = shapely.area(shapely.intersection(a[k], b[k], grid_size=1e-7))
    return float(found.sum())


def _longest(edges: NDArray[np.object_]) -> NDArray[np.float64]:
    out = np.zeros(len(edges))
    parts, owner = shapely.get_parts(shapely.line_merge(edges), return_index=True)
    np.maximum.at(out, owner, shapely.length(parts))
    return out
