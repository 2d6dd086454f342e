"""Cutting pieces into kits, the rest of each piece carried into one swept later.

A piece rarely holds a whole number of kits. Its rest lies where it touches a piece
swept later; there the cut leaves a window that fills the rest up to one kit. Rests
run like this from piece to piece, so one part kit is left for the whole floor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.marks.contacts import contacts, longest_run
from tackfree.marks.lanes import Piece
from tackfree.marks.sweep import only_areas, place_of, strips

ABSORB = 5e-4  # share of a kit that is spread over full cells instead of cut off
SPREAD = 7e-4  # the same of each full cell: half an eighth of an inch in a lane of 8 ft
JOIN_M = 0.3048  # edge that makes a rest and its window one stretch of floor
_UPRIGHT_M = 0.05  # a run this short along the sweep is an edge across it


@dataclass(kw_only=True)
class Rest:
    """What is left of a piece, waiting for a window; ``near`` are later pieces it touches."""

    shape: Polygon
    area_m2: float
    near: list[int]


@dataclass(frozen=True, kw_only=True)
class Share:
    """One cell before it has its number: outline, planned place, and if it is full."""

    outline: BaseGeometry
    area_m2: float
    full: bool
    lane: int


@dataclass(frozen=True, kw_only=True)
class _Want:
    """A window to be placed: its area, and the runs it has to touch (begin, end, length)."""

    area_m2: float
    runs: tuple[tuple[float, float, float], ...]
    rest: Rest | None  # None: the piece's own rest

    def meets(self, x0: NDArray[np.float64], x1: NDArray[np.float64]) -> NDArray[np.bool_]:
        hit = np.zeros(len(x0), dtype=bool)
        best = max(r[2] for r in self.runs)
        need = min(JOIN_M, 0.9 * best)
        for a, b, length in self.runs:
            if b - a < _UPRIGHT_M:
                if length >= need:
                    hit |= (x0 - 1e-4 <= b) & (a <= x1 + 1e-4)
            else:
                shared = np.minimum(x1, b) - np.maximum(x0, a)
                hit |= shared >= np.minimum(min(need, 0.9 * (b - a)), 0.9 * (x1 - x0))
        return hit


def cut_along(
    pieces: Sequence[Piece],
    order: Sequence[int],
    near: Sequence[Sequence[int]],
    target_m2: float,
) -> list[Share]:
    """Cells in planned order.

    Parameters
    ----------
    pieces : sequence of Piece
    order : sequence of int
        Indices of the pieces, the last one at the exit.
    near : sequence of sequences of int
        For each piece, the pieces it shares an edge with.
    target_m2 : float
        Plan area of one kit. [m²]

    Returns
    -------
    list of Share
        They add up to the pieces. Full ones hold a kit within ``ABSORB``.
    """
    place = {p: k for k, p in enumerate(order)}
    waiting: dict[int, list[Rest]] = {p: [] for p in order}
    out: list[Share] = []
    parts: list[Share] = []
    stand: float | None = None
    for k, p in enumerate(order):
        piece = pieces[p]
        later = sorted((q for q in near[p] if place[q] > k), key=lambda q: place[q])
        x = piece.swept.x_m
        if stand is None:
            backward = len(order) % 2 == 0
        else:
            backward = abs(x[-1] - stand) < abs(x[0] - stand)
        made, rest, refused = _cut(piece, waiting[p], later, pieces, target_m2, backward)
        out += made
        for r in refused:
            r.near = [q for q in r.near if place[q] > k]
            _pass_on(r, waiting, parts, piece.lane)
        if rest is not None:
            _pass_on(rest, waiting, parts, piece.lane)
        if made:
            stand = made[-1].outline.centroid.x
        elif rest is not None:
            stand = rest.shape.centroid.x
    return _join_parts(out + parts, target_m2)


def _pass_on(rest: Rest, waiting: dict[int, list[Rest]], parts: list[Share], lane: int) -> None:
    if rest.near:
        waiting[rest.near[0]].append(rest)
    else:
        parts.append(Share(outline=rest.shape, area_m2=rest.area_m2, full=False, lane=lane))


def _cut(
    piece: Piece,
    waiting: Sequence[Rest],
    later: Sequence[int],
    pieces: Sequence[Piece],
    target_m2: float,
    backward: bool,
) -> tuple[list[Share], Rest | None, list[Rest]]:
    """Cells of one piece, its rest, and the rests it could not take in."""
    total = piece.swept.total_m2
    hosts = sorted(waiting, key=lambda r: (r.area_m2, r.shape.bounds))
    refused: list[Rest] = []
    while True:
        need = sum(target_m2 - r.area_m2 for r in hosts)
        if need <= total + ABSORB * target_m2:
            found = _arrange(piece, hosts, later, pieces, target_m2, backward)
            if found is not None:
                return (*found, refused)
        elif len(hosts) == 1:
            # The piece is smaller than the window: all of it joins the rest.
            joined = union(hosts[0].shape, piece.floor)
            if isinstance(joined, Polygon):
                area = hosts[0].area_m2 + total
                ahead = list(dict.fromkeys([*later, *(q for q in hosts[0].near if q in later)]))
                return [], Rest(shape=joined, area_m2=area, near=ahead), refused
        refused.append(hosts.pop(0))


def _arrange(
    piece: Piece,
    hosts: Sequence[Rest],
    later: Sequence[int],
    pieces: Sequence[Piece],
    target_m2: float,
    backward: bool,
) -> tuple[list[Share], Rest | None] | None:
    """Place windows and the piece's own rest between full cells, or None."""
    total = piece.swept.total_m2
    free = total - sum(target_m2 - r.area_m2 for r in hosts)
    full = int(np.floor(free / target_m2 + 0.5))
    if abs(free - full * target_m2) > SPREAD * full * target_m2:
        full = int(np.floor(free / target_m2 + ABSORB))
    rest = free - full * target_m2
    wants = []
    for r in hosts:
        runs = _runs(r.shape, piece.floor, piece)
        if not runs:
            return None
        wants.append(_Want(area_m2=target_m2 - r.area_m2, runs=runs, rest=r))
    size = target_m2
    if rest <= (max(ABSORB, SPREAD * full) * target_m2 if full else 1e-9 * target_m2):
        size, rest = target_m2 + (rest / full if full else 0.0), 0.0
        choices: list[tuple[_Want | None, int | None]] = [(None, None)]
    else:
        choices = []
        for q in later:
            runs = _runs(piece.floor, pieces[q].floor, piece)
            if runs:
                choices.append((_Want(area_m2=rest, runs=runs, rest=None), q))
        x = piece.swept.x_m
        whole = ((float(x[0]), float(x[-1]), float(x[-1] - x[0])),)
        choices.append((_Want(area_m2=rest, runs=whole, rest=None), None))
    for own, _ in choices:
        placed = _place(piece, wants, own, full, size, backward)
        if placed is not None:
            made = _build(piece, placed, size, target_m2, later, pieces, own is choices[-1][0])
            if made is not None:
                return made
    return None


_Placed = list[tuple[float, float, _Want | None]]  # area from, area to, window


def _place(
    piece: Piece, wants: Sequence[_Want], own: _Want | None, full: int, size: float, backward: bool
) -> _Placed | None:
    """Full cells and windows along the sweep so that each window touches its runs."""
    total = piece.swept.total_m2

    def span(a: NDArray[np.float64], area: float) -> tuple[NDArray[np.float64], ...]:
        begin, end = np.clip(a, 0, total), np.clip(a + area, 0, total)
        if backward:
            begin, end = total - end, total - begin
        return place_of(piece.swept, begin), place_of(piece.swept, end)

    side = -1.0 if backward else 1.0
    base = sorted(wants, key=lambda w: side * w.runs[0][0])
    specials = [*base, *([own] if own else [])]
    orders = permutations(specials) if len(specials) <= 4 else iter([tuple(specials)])
    for sequence in orders:
        used, done, spots = 0, 0.0, []
        for n, want in enumerate(sequence):
            counts = np.arange(used, full + 1)
            hit = want.meets(
                *span(np.asarray(done + (counts - used) * size, dtype=np.float64), want.area_m2)
            )
            if not hit.any():
                break
            last = want.rest is None and n == len(sequence) - 1
            k = int(counts[hit][-1 if last else 0])
            done += (k - used) * size + want.area_m2
            used = k
            spots.append((k, want))
        else:
            return _spans(spots, full, size, total, backward)
    return None


def _spans(
    spots: Sequence[tuple[int, _Want]], full: int, size: float, total: float, backward: bool
) -> _Placed:
    out: _Placed = []
    at = 0.0
    k = 0
    for upto, want in [*spots, (full, None)]:
        for _ in range(upto - k):
            out.append((at, at + size, None))
            at += size
        k = upto
        if want is not None:
            out.append((at, at + want.area_m2, want))
            at += want.area_m2
    if backward:
        out = [(total - b, total - a, w) for a, b, w in out]
    return [(max(a, 0.0), min(b, total), w) for a, b, w in out]


def _build(
    piece: Piece,
    placed: _Placed,
    size: float,
    target_m2: float,
    later: Sequence[int],
    pieces: Sequence[Piece],
    last: bool,
) -> tuple[list[Share], Rest | None] | None:
    """Outlines of the placed cells; None where a window does not join its rest.

    A rest of two strands is refused unless it is the ``last`` choice.
    """
    rising = sorted(range(len(placed)), key=lambda i: placed[i][:2])
    inner = [placed[i][1] for i in rising[:-1]]
    shapes: list[BaseGeometry] = [piece.floor] * len(placed)
    if inner:
        for i, s in zip(
            rising, strips(piece.floor, piece.swept, place_of(piece.swept, inner)), strict=True
        ):
            shapes[i] = s
    out: list[Share] = []
    own: Rest | None = None
    for (_, _, want), shape in zip(placed, shapes, strict=True):
        if want is None:
            out.append(Share(outline=shape, area_m2=size, full=True, lane=piece.lane))
        elif want.rest is None:
            if not isinstance(shape, Polygon):
                if not last:
                    return None
                out.append(Share(outline=shape, area_m2=shape.area, full=False, lane=piece.lane))
                continue
            ahead = [q for q in later if _runs(shape, pieces[q].floor, piece)]
            own = Rest(shape=shape, area_m2=want.area_m2, near=ahead)
        else:
            joined = union(want.rest.shape, shape) if shape.area > 0 else want.rest.shape
            if not isinstance(joined, Polygon):
                return None
            out.append(Share(outline=joined, area_m2=target_m2, full=True, lane=piece.lane))
    return out, own


def _runs(a: BaseGeometry, b: BaseGeometry, piece: Piece) -> tuple[tuple[float, float, float], ...]:
    """Where two outlines touch, as stretches along the sweep of a piece."""
    _, _, edges = contacts([a, b])
    if not len(edges):
        return ()
    out = []
    for run in shapely.get_parts(shapely.line_merge(edges[0])):
        xy = shapely.get_coordinates(run)
        c, s = np.cos(piece.swept.direction_rad), np.sin(piece.swept.direction_rad)
        x = xy[:, 0] * c + xy[:, 1] * s
        if run.length > 1e-3:
            out.append((float(x.min()), float(x.max()), float(run.length)))
    return tuple(sorted(out))


def union(a: BaseGeometry, b: BaseGeometry) -> BaseGeometry:
    """Two outlines with a common edge as one, across the noise of their cut."""
    joined = shapely.union(a, b)
    if not isinstance(joined, Polygon):
        joined = only_areas(shapely.union(a, b, grid_size=1e-7))
    return joined


def _join_parts(cells: Sequence[Share], target_m2: float) -> list[Share]:
    """Part kits that touch and fit into one kit become one."""
    out = list(cells)
    parts = sorted((c for c in out if not c.full), key=lambda c: (c.area_m2, c.outline.bounds))
    while parts:
        small = parts.pop(0)
        best: tuple[float, int, BaseGeometry] | None = None
        for k, other in enumerate(parts):
            area = small.area_m2 + other.area_m2
            if area > target_m2 * (1 + ABSORB) or other.outline.distance(small.outline) > 1e-4:
                continue
            _, _, edges = contacts([small.outline, other.outline])
            run = float(longest_run(edges)[0]) if len(edges) else 0.0
            joined = union(small.outline, other.outline)
            if isinstance(joined, Polygon) and run >= 0.05 and (best is None or run > best[0]):
                best = (run, k, joined)
        if best is not None:
            other = parts[best[1]]
            area = small.area_m2 + other.area_m2
            full = area >= target_m2 * (1 - ABSORB)
            new = Share(outline=best[2], area_m2=area, full=full, lane=other.lane)
            out[out.index(other)] = new
            out.remove(small)
            parts[best[1]] = new
            if full:
                parts.pop(best[1])
    return out
