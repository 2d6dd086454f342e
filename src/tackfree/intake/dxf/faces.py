"""From loose lines to closed faces: snap, close gaps, node, polygonise.

A drawing's lines rarely meet exactly. Ends within rounding are one point; ends within
the gap tolerance are joined, each with a note of place and size; an end that stops
short of another line is run into it. What still dangles shows where the outline leaks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import LineString, Point, Polygon
from shapely.strtree import STRtree

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Gap:
    """Two ends that do not meet. [drawing units]"""

    at: tuple[float, float]
    size: float


@dataclass(frozen=True, kw_only=True)
class Faces:
    """Closed faces of a set of lines, the gaps closed, and the ends still loose."""

    faces: tuple[Polygon, ...]
    closed_gaps: tuple[Gap, ...]
    open_ends: tuple[Gap, ...]  # size: distance to the nearest other line


def faces_of(chains: list[FloatArray], *, gap: float, leaks: bool = True) -> Faces:
    """Every smallest closed face of some lines.

    Parameters
    ----------
    chains : list of arrays (n, 2)
        Polylines; a ring repeats its first point. [drawing units]
    gap : float
        Largest gap that is closed. 0 closes only rounding. [drawing units]
    leaks : bool
        False where nobody asks for the open ends.

    Returns
    -------
    Faces
        Slivers no wider than ``gap`` are joined to the face beside them.
    """
    chains = [np.array(c, dtype=float) for c in chains if len(c) > 1]
    if not chains:
        return Faces(faces=(), closed_gaps=(), open_ends=())
    everything = np.concatenate(chains)
    extent = float(np.ptp(everything, axis=0).max())
    exact = max(1e-6, 1e-9 * max(extent, float(np.abs(everything).max())))
    _snap_ends(chains, exact)
    gaps = _close(chains, gap=max(gap, exact), exact=exact)
    nodes = shapely.union_all([LineString(c) for c in chains])
    polygons, cuts, dangles, _ = shapely.polygonize_full([nodes])
    found = [p for p in polygons.geoms if isinstance(p, Polygon) and p.area > 0]
    faces = _without_slivers(found, thin=max(gap, exact))
    ends = _leaks([*dangles.geoms, *cuts.geoms], nodes, chains, exact) if leaks else []
    return Faces(faces=tuple(faces), closed_gaps=tuple(gaps), open_ends=tuple(ends))


def plain_faces(chains: list[FloatArray]) -> list[Polygon]:
    """Every smallest closed face of some lines, with nothing healed but rounding.

    For a look at everything drawn: no gaps closed, no slivers joined, no leaks listed.
    """
    chains = [np.array(c, dtype=float) for c in chains if len(c) > 1]
    if not chains:
        return []
    everything = np.concatenate(chains)
    low = everything.min(axis=0)
    extent = float(np.ptp(everything, axis=0).max())
    _snap_ends(chains, max(1e-6, 1e-9 * max(extent, float(np.abs(everything).max()))))
    counts = np.array([len(c) for c in chains])
    which = np.repeat(np.arange(len(chains)), counts)
    nodes = shapely.union_all(shapely.linestrings(np.concatenate(chains) - low, indices=which))
    found = shapely.polygonize([nodes])
    moved = shapely.transform(found, lambda xy: xy + low)
    return [q for q in moved.geoms if isinstance(q, Polygon) and q.area > 0]


def _ends(chains: list[FloatArray]) -> tuple[FloatArray, list[tuple[int, int]]]:
    places: list[tuple[int, int]] = []
    for i, chain in enumerate(chains):
        if not np.array_equal(chain[0], chain[-1]):
            places += [(i, 0), (i, len(chain) - 1)]
    return np.array([chains[i][j] for i, j in places]).reshape(-1, 2), places


def _snap_ends(chains: list[FloatArray], within: float) -> None:
    """Ends that differ by rounding become one point, the first of them."""
    points, places = _ends(chains)
    if len(points) < 2:
        return
    pairs = cKDTree(points).query_pairs(within, output_type="ndarray")
    if not len(pairs):
        return
    n = len(points)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, group = connected_components(graph, directed=False)
    first: dict[int, int] = {}
    for k in range(n):
        lead = first.setdefault(int(group[k]), k)
        i, j = places[k]
        chains[i][j] = points[lead]


def _loose(chains: list[FloatArray]) -> list[tuple[int, int]]:
    """Ends that no other end shares."""
    points, places = _ends(chains)
    if not len(points):
        return []
    _, index, count = np.unique(points, axis=0, return_inverse=True, return_counts=True)
    return [p for p, k in zip(places, index.ravel(), strict=True) if count[k] == 1]


def _close(chains: list[FloatArray], *, gap: float, exact: float) -> list[Gap]:
    """Join loose ends end to end, then run the rest into the nearest line.

    An end that lies on a line already is left there: it closes what it should, and the
    end of a line drawn close beside it is not its other half.
    """
    gaps: list[Gap] = []
    boxes = np.array([(*c.min(axis=0), *c.max(axis=0)) for c in chains])
    landed = {e for e in _loose(chains) if _run_into(chains, boxes, *e, exact) is not None}
    loose = [e for e in _loose(chains) if e not in landed]
    if len(loose) > 1:
        points = np.array([chains[i][j] for i, j in loose])
        pairs = cKDTree(points).query_pairs(gap, output_type="ndarray")
        sizes = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T) if len(pairs) else []
        used: set[int] = set()
        for k in np.lexsort((pairs[:, 1], pairs[:, 0], np.round(sizes, 12))) if len(pairs) else ():
            a, b = int(pairs[k, 0]), int(pairs[k, 1])
            if a in used or b in used or (loose[a][0] == loose[b][0] and _short(chains, loose[a])):
                continue
            used |= {a, b}
            middle = (points[a] + points[b]) / 2
            for i, j in (loose[a], loose[b]):
                chains[i][j] = middle
            gaps.append(Gap(at=(float(middle[0]), float(middle[1])), size=float(sizes[k])))
    boxes = np.array([(*c.min(axis=0), *c.max(axis=0)) for c in chains])
    for i, j in _loose(chains):
        found = None if (i, j) in landed else _run_into(chains, boxes, i, j, gap)
        if found is not None and found.size > exact:
            gaps.append(found)
    return gaps


def _short(chains: list[FloatArray], end: tuple[int, int]) -> bool:
    """A single leg cannot be joined to itself."""
    return len(chains[end[0]]) < 3


def _run_into(
    chains: list[FloatArray], boxes: FloatArray, i: int, j: int, gap: float
) -> Gap | None:
    """Put a loose end onto the nearest leg of another chain, with a vertex there."""
    end = chains[i][j]
    best: tuple[float, int, int, FloatArray] | None = None
    near = (boxes[:, :2] - gap <= end) & (boxes[:, 2:] + gap >= end)
    for k in (int(n) for n in np.flatnonzero(near.all(axis=1)) if n != i):
        other = chains[k]
        a, leg = other[:-1], np.diff(other, axis=0)
        size = np.maximum((leg**2).sum(axis=1), 1e-300)
        t = np.clip(((end - a) * leg).sum(axis=1) / size, 0, 1)
        foot = a + t[:, None] * leg
        far = np.hypot(*(foot - end).T)
        s = int(far.argmin())
        if far[s] <= gap and (best is None or far[s] < best[0]):
            best = (float(far[s]), k, s, foot[s])
    if best is None:
        return None
    size, k, s, foot = best
    other = chains[k]
    for vertex in (other[s], other[s + 1]):
        if np.hypot(*(vertex - foot)) <= 1e-9 * (1 + np.abs(vertex).max()):
            foot = vertex
            break
    else:
        chains[k] = np.insert(other, s + 1, foot, axis=0)
    chains[i][j] = foot
    boxes[i] = (*chains[i].min(axis=0), *chains[i].max(axis=0))
    return Gap(at=(float(foot[0]), float(foot[1])), size=size)


def _without_slivers(faces: list[Polygon], *, thin: float) -> list[Polygon]:
    """Join faces thinner than the tolerance to the neighbour with the longest shared side."""
    order = sorted(faces, key=lambda p: (-p.area, p.bounds))
    keep = [p for p in order if 2 * p.area / p.length > thin]
    for sliver in order[len(keep) :] if len(keep) < len(order) else []:
        if 2 * sliver.area / sliver.length > thin or not keep:
            continue
        tree = STRtree(keep)
        near = sorted(int(k) for k in tree.query(sliver, predicate="dwithin", distance=1e-9))
        shared = [keep[k].boundary.intersection(sliver.boundary).length for k in near]
        if shared and max(shared) > 0:
            k = near[shared.index(max(shared))]
            joined = keep[k].union(sliver)
            if isinstance(joined, Polygon):
                keep[k] = joined
    return keep


def _leaks(
    dangles: list[LineString],
    nodes: shapely.Geometry,
    chains: list[FloatArray],
    exact: float,
) -> list[Gap]:
    """Loose ends of what did not close, with the distance to the next line."""
    if not dangles:
        return []
    ends = {tuple(chains[i][j]): i for i, j in _loose(chains)}
    dangling, others = STRtree(dangles), STRtree([LineString(c) for c in chains])
    leaks = []
    for (x, y), own in sorted(ends.items()):
        here = Point(x, y)
        if not len(dangling.query(here, predicate="dwithin", distance=exact)):
            continue
        near = _nearest_but(others, here, own)
        leaks.append(Gap(at=(float(x), float(y)), size=near))
    return leaks


def _nearest_but(lines: STRtree, here: Point, own: int) -> float:
    """Distance to the nearest line but one's own; 0 where there is no other."""
    count = len(lines.geometries)
    reach = 1e-6
    while count > 1:
        found = [int(k) for k in lines.query(here, predicate="dwithin", distance=reach)]
        apart = [lines.geometries[k].distance(here) for k in found if k != own]
        if apart:
            return float(min(apart))
        if len(found) == count:
            break
        reach *= 10
    return 0.0
