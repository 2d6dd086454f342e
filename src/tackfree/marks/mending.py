"""Scraps moved through full cells until another part kit takes them in.

A part kit too small to be worth a pail, or joined to the floor by less than a
passage, is given to its neighbour; that one gives as much floor on its far side to
the next, and so on to the nearest other part kit. Every cell between keeps its area.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.marks.carry import ABSORB, Share, union
from tackfree.marks.contacts import contacts, longest_run
from tackfree.marks.sweep import place_of, strips, sweep

SCRAP = 0.10  # share of a kit
_TRIES = 6
_TURNS = (0.0, 0.4, -0.4, 0.8, -0.8, math.pi / 2, -math.pi / 2)


def mend(shares: Sequence[Share], target_m2: float, passage_m: float) -> list[Share]:
    """Shares without scraps where a way for them is found; their order is kept."""
    out = list(shares)
    for _ in range(_TRIES):
        if sum(not s.full for s in out) < 2:
            return out
        graph = _graph(out)
        scraps = [
            k
            for k, s in enumerate(out)
            if not s.full
            and (
                s.area_m2 < SCRAP * target_m2
                or max((w for _, w in graph[k]), default=math.inf) < passage_m
            )
        ]
        if not scraps:
            return out
        for k in sorted(scraps, key=lambda k: (out[k].area_m2, k)):
            made = _pass_through(out, graph, k, target_m2)
            if made is not None:
                out = made
                break
        else:
            return out
    return out


def _graph(shares: Sequence[Share]) -> list[list[tuple[int, float]]]:
    i, j, edges = contacts([s.outline for s in shares])
    graph: list[list[tuple[int, float]]] = [[] for _ in shares]
    for a, b, w in zip(i.tolist(), j.tolist(), longest_run(edges).tolist(), strict=True):
        graph[a].append((b, w))
        graph[b].append((a, w))
    return graph


def _pass_through(
    shares: Sequence[Share],
    graph: Sequence[Sequence[tuple[int, float]]],
    scrap: int,
    target_m2: float,
) -> list[Share] | None:
    """Give the scrap away along the shortest way to a part kit with room for it."""
    area = shares[scrap].area_m2
    room = {
        k
        for k, s in enumerate(shares)
        if not s.full and k != scrap and s.area_m2 + area <= target_m2 * (1 + ABSORB)
    }
    came: dict[int, int] = {scrap: scrap}
    queue = deque([scrap])
    tried = 0
    while queue and tried < _TRIES:
        a = queue.popleft()
        for b, width in sorted(graph[a], key=lambda n: (-n[1], n[0])):
            if b in came or width < 0.05:
                continue
            came[b] = a
            if b not in room:
                queue.append(b)
                continue
            tried += 1
            way = [b]
            while way[-1] != scrap:
                way.append(came[way[-1]])
            made = _along(shares, way[::-1], area, target_m2)
            if made is not None:
                return made
            del came[b]
    return None


def _along(
    shares: Sequence[Share], way: Sequence[int], area_m2: float, target_m2: float
) -> list[Share] | None:
    moved: BaseGeometry = shares[way[0]].outline
    new: dict[int, Share] = {}
    for k, ahead in pairwise(way[1:]):
        whole = union(shares[k].outline, moved)
        cut = _give(whole, shares[ahead].outline, area_m2) if isinstance(whole, Polygon) else None
        if cut is None:
            return None
        keep, moved = cut
        new[k] = Share(outline=keep, area_m2=shares[k].area_m2, full=True, lane=shares[k].lane)
    last = shares[way[-1]]
    joined = union(last.outline, moved)
    if not isinstance(joined, Polygon):
        return None
    total = last.area_m2 + area_m2
    full = total >= target_m2 * (1 - ABSORB)
    new[way[-1]] = Share(outline=joined, area_m2=total, full=full, lane=last.lane)
    return [new.get(k, s) for k, s in enumerate(shares) if k != way[0]]


def _give(whole: Polygon, ahead: BaseGeometry, area_m2: float) -> tuple[Polygon, Polygon] | None:
    """Cut ``area_m2`` off the side of an outline that touches the next one."""
    _, _, edges = contacts([whole, ahead])
    if not len(edges):
        return None
    runs = shapely.get_parts(shapely.line_merge(edges[0]))
    run = runs[int(np.argmax(shapely.length(runs)))]
    xy = shapely.get_coordinates(run)
    chord = xy[-1] - xy[0]
    normal = math.atan2(-chord[0], chord[1])
    middle, centre = run.interpolate(0.5, normalized=True), whole.representative_point()
    out = (middle.x - centre.x) * math.cos(normal) + (middle.y - centre.y) * math.sin(normal)
    if out < 0:
        normal += math.pi
    for turn in _TURNS:
        swept = sweep(whole, direction_rad=normal + turn)
        keep, off = strips(whole, swept, place_of(swept, [swept.total_m2 - area_m2]))
        if not (isinstance(keep, Polygon) and isinstance(off, Polygon)):
            continue
        _, _, shared = contacts([off, ahead])
        if len(shared) and float(longest_run(shared)[0]) >= 0.05:
            return keep, off
    return None
