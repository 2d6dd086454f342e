"""One connected floor cut into equal shares along its long side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import split

from tackfree.marks.sweep import only_areas, place_of, strips, sweep

# A stop line this share of a section away from the even cut is worth moving to.
NEAR = 0.20
_END_GAP_M = 0.5  # a joint drawn this short of the edge still crosses the floor
_CRUMB = 0.02  # share of the limit below which a fragment goes to a neighbour anyway
_TOUCH_M = 0.3  # edge two pieces must share to be one floor


@dataclass(frozen=True, kw_only=True)
class Slice:
    """A share of a floor and what its far end follows."""

    floor: Polygon
    ended_by: str  # EVEN, STOP_LINE, EDGE

    EVEN: ClassVar[str] = "even"
    STOP_LINE: ClassVar[str] = "stop-line"
    EDGE: ClassVar[str] = "edge"


def long_direction_rad(floor: Polygon) -> float:
    """Direction of the long side, from above −90° to +90°; near squares take +x. [rad]"""
    box = shapely.oriented_envelope(floor)
    xy = shapely.get_coordinates(box)
    sides = xy[1:3] - xy[0:2]
    length = np.hypot(sides[:, 0], sides[:, 1])
    turn = np.arctan2(sides[:, 1], sides[:, 0])
    turn = (turn + math.pi / 2 - 1e-9) % math.pi - math.pi / 2 + 1e-9
    if abs(length[0] - length[1]) < 0.01 * length.max():
        return float(turn[np.argmin(np.abs(turn))])
    return float(turn[np.argmax(length)])


def cut_part(
    floor: Polygon, limit_m2: float | None, stop_lines: Sequence[BaseGeometry] = ()
) -> list[Slice]:
    """Cut one connected floor into as few equal shares as the limit allows.

    Parameters
    ----------
    floor : Polygon
        With obstacles taken out. [m]
    limit_m2 : float or None
        Largest plan area of a share; None does not cut. [m²]
    stop_lines : sequence of lines
        Where a share would rather end. One is taken where it crosses the floor within
        ``NEAR`` of a share from the even cut and no share grows over the limit.

    Returns
    -------
    list of Slice
        In order along the long side, each connected. They add up to the floor.
    """
    n = 1 if limit_m2 is None else max(1, math.ceil(floor.area / limit_m2 - 1e-9))
    if n == 1 or limit_m2 is None:
        return [Slice(floor=floor, ended_by=Slice.EDGE)]
    direction = long_direction_rad(floor)
    across = [a for line in stop_lines if (a := _crossing(floor, line, direction)) is not None]
    slices: list[tuple[BaseGeometry, str]] = []
    rest: Polygon | MultiPolygon = floor
    for left in range(n, 1, -1):
        share = rest.area / left
        least, most = rest.area - (left - 1) * limit_m2, limit_m2
        near = []
        for line in across:
            behind, ahead = _split(rest, line, direction)
            if (
                max(least, share * (1 - NEAR)) - 1e-9 <= behind.area
                and behind.area <= min(most, share * (1 + NEAR)) + 1e-9
            ):
                near.append((abs(behind.area - share), line.wkt, behind, ahead))
        if near:
            _, _, behind, ahead = min(near, key=lambda c: c[:2])
            slices.append((behind, Slice.STOP_LINE))
            rest = ahead
        else:
            swept = sweep(rest, direction_rad=direction)
            behind, rest = strips(rest, swept, place_of(swept, [share]))
            slices.append((behind, Slice.EVEN))
    slices.append((rest, Slice.EDGE))
    return _connected(slices, limit_m2)


def _crossing(floor: Polygon, line: BaseGeometry, direction: float) -> LineString | None:
    """The line made long enough to cut, or None where it does not cross the floor."""
    if not isinstance(line, LineString) or not line.intersects(floor):
        return None
    xy = shapely.get_coordinates(line)
    chord = xy[-1] - xy[0]
    size = float(np.hypot(*chord))
    along = abs(chord[0] * math.cos(direction) + chord[1] * math.sin(direction))
    if size == 0 or along > size * math.cos(math.pi / 4):
        return None
    start, end = xy[0] - xy[1], xy[-1] - xy[-2]
    xy[0] += start / np.hypot(*start) * _END_GAP_M
    xy[-1] += end / np.hypot(*end) * _END_GAP_M
    longer = LineString(xy)
    return longer if len(split(floor, longer).geoms) > 1 else None


def _split(
    floor: Polygon | MultiPolygon, line: LineString, direction: float
) -> tuple[Polygon | MultiPolygon, Polygon | MultiPolygon]:
    """The floor behind and ahead of a line, seen along the direction."""
    a, b = shapely.get_coordinates(line)[[0, -1]]
    if (b[0] - a[0]) * -math.sin(direction) + (b[1] - a[1]) * math.cos(direction) < 0:
        a, b = b, a
    behind: list[BaseGeometry] = []
    ahead: list[BaseGeometry] = []
    for part in shapely.get_parts(floor):
        for piece in split(part, line).geoms:
            p = piece.representative_point()
            # Left of a line that runs across the sweep is where the sweep came from.
            left = (b[0] - a[0]) * (p.y - a[1]) - (b[1] - a[1]) * (p.x - a[0]) > 0
            (behind if left else ahead).append(piece)
    return only_areas(shapely.GeometryCollection(behind)), only_areas(
        shapely.GeometryCollection(ahead)
    )


def _connected(slices: Sequence[tuple[BaseGeometry, str]], limit_m2: float) -> list[Slice]:
    """Each share made one piece: loose fragments join a neighbour or stand alone."""
    cores: list[list[Polygon]] = []
    loose: list[tuple[int, Polygon]] = []
    for i, (shape, _) in enumerate(slices):
        parts = sorted(shapely.get_parts(shape), key=lambda p: (-p.area, p.bounds))
        cores.append([parts[0]])
        loose += [(i, p) for p in parts[1:]]
    total = sum(shape.area for shape, _ in slices)
    for i, fragment in sorted(loose, key=lambda f: (-f[1].area, f[0], f[1].bounds)):
        if fragment.area < 1e-10 * total:
            continue
        around = fragment.buffer(1e-6)
        best: tuple[float, int, Polygon] | None = None
        for k in (i - 1, i + 1):
            if not 0 <= k < len(cores):
                continue
            core = cores[k][0]
            edge = core.boundary.intersection(around).length
            crumb = fragment.area <= _CRUMB * limit_m2
            if core.area + fragment.area > limit_m2 * (1 + 1e-9) and not crumb:
                continue
            joined = shapely.union(core, shapely.snap(fragment, core, 1e-6))
            if isinstance(joined, Polygon) and edge >= (1e-4 if crumb else _TOUCH_M):
                best = max(best, (edge, k, joined)) if best else (edge, k, joined)
        if best:
            cores[best[1]][0] = best[2]
        else:
            cores[i].append(fragment)
    return [
        Slice(floor=p, ended_by=ended_by if j == 0 else Slice.EDGE)
        for pieces, (_, ended_by) in zip(cores, slices, strict=True)
        for j, p in enumerate(pieces)
    ]
