"""The area of a floor swept by a straight line, in closed form, and its inverse.

A line moves over the floor from left to right. The length of floor under it,
L(x), is straight between corners, so the area left of it, F(x), is a parabola
piece by piece: any wanted area can be turned into a place without searching.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import rotate

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]

# Corners closer than this along the sweep count as one [decimals of a metre]. A turn
# of 90° leaves upright edges 1e-14 wide; their slope would spoil single cells
# while the total stays right.
_DECIMALS = 8


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """A floor as seen by a line sweeping along ``direction_rad``.

    ``x_m`` are the distinct corners along the sweep, n+1 of them; ``begin_m`` and
    ``end_m`` the floor under the line at both ends of each of the n intervals;
    ``area_m2`` the area left of each corner; ``strands`` the number of separate
    strips of floor under the line inside each interval.
    """

    direction_rad: float
    x_m: FloatArray
    begin_m: FloatArray
    end_m: FloatArray
    area_m2: FloatArray
    strands: NDArray[np.int64]

    @property
    def total_m2(self) -> float:
        return float(self.area_m2[-1])


def sweep(floor: Polygon | MultiPolygon, *, direction_rad: float = 0.0) -> Sweep:
    """Prepare a floor for cutting across a direction; holes and parts are allowed.

    Parameters
    ----------
    floor : Polygon or MultiPolygon
        Valid and not empty. [m]
    direction_rad : float
        The way the line travels, counted from +x. [rad]

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        If the floor is empty or has no area.

    Source
    ------
    Exact: the shoelace sum taken edge by edge, grouped by corner.

    Examples
    --------
    >>> s = sweep(shapely.box(0, 0, 100, 27))
    >>> [round(float(x), 6) for x in place_of(s, [270.0, 540.0])]
    [10.0, 20.0]
    """
    if floor.is_empty or floor.area <= 0:
        raise InputError(
            "the floor to be cut has no area.",
            do="Check the outline and its obstacles on the drawing.",
        )
    turned = rotate(floor, -direction_rad, origin=(0.0, 0.0), use_radians=True)
    ax, ay, bx, by = _edges(shapely.orient_polygons(turned))
    keep = ax != bx
    ax, ay, bx, by = ax[keep], ay[keep], bx[keep], by[keep]
    # Shells run counter-clockwise: an edge toward -x has floor below it.
    sign = np.where(bx < ax, 1.0, -1.0)
    swap = bx < ax
    xl, yl = np.where(swap, bx, ax), np.where(swap, by, ay)
    xr, yr = np.where(swap, ax, bx), np.where(swap, ay, by)
    x = np.unique(np.concatenate([xl, xr]))
    first, last = np.searchsorted(x, xl), np.searchsorted(x, xr)
    spans = last - first
    edge = np.repeat(np.arange(len(xl)), spans)
    offset = np.arange(len(edge)) - np.repeat(np.cumsum(spans) - spans, spans)
    cell = first[edge] + offset
    slope = (yr - yl) / (xr - xl)
    # y by interpolation from each edge's own ends, never by summing slopes.
    y0 = np.where(offset == 0, yl[edge], yl[edge] + slope[edge] * (x[cell] - xl[edge]))
    y1 = np.where(
        offset == spans[edge] - 1, yr[edge], yl[edge] + slope[edge] * (x[cell + 1] - xl[edge])
    )
    n = len(x) - 1
    begin = np.maximum(np.bincount(cell, sign[edge] * y0, minlength=n), 0.0)
    end = np.maximum(np.bincount(cell, sign[edge] * y1, minlength=n), 0.0)
    area = np.concatenate([[0.0], np.cumsum((begin + end) / 2 * np.diff(x))])
    return Sweep(
        direction_rad=direction_rad,
        x_m=x,
        begin_m=begin,
        end_m=end,
        area_m2=area,
        strands=np.bincount(cell, minlength=n) // 2,
    )


def area_left_of(swept: Sweep, x_m: ArrayLike) -> FloatArray:
    """Area of the floor left of the line at ``x_m``. [m²]"""
    x = np.clip(np.asarray(x_m, dtype=float), swept.x_m[0], swept.x_m[-1])
    i = np.clip(np.searchsorted(swept.x_m, x, side="right") - 1, 0, len(swept.begin_m) - 1)
    width = swept.x_m[i + 1] - swept.x_m[i]
    d = x - swept.x_m[i]
    slope = (swept.end_m[i] - swept.begin_m[i]) / width
    left: FloatArray = swept.area_m2[i] + d * (swept.begin_m[i] + slope * d / 2)
    return left


def place_of(swept: Sweep, area_m2: ArrayLike) -> FloatArray:
    """Where the line stands when it has swept ``area_m2``; inverse of `area_left_of`.

    Parameters
    ----------
    swept : Sweep
    area_m2 : float or array of any shape
        Wanted areas, each from 0 to the total. [m²]

    Returns
    -------
    array of the same shape
        Places along the sweep. Where a gap between parts leaves a choice, the near
        side of the gap. [m]

    Raises
    ------
    InputError
        If a wanted area is negative or more than there is.
    """
    t = np.asarray(area_m2, dtype=float)
    slack = 1e-9 * swept.total_m2
    if t.size and not (np.all(t >= -slack) and np.all(t <= swept.total_m2 + slack)):
        raise InputError(
            f"a cut at {float(np.max(np.abs(t))):g} m² lies outside the floor of "
            f"{swept.total_m2:g} m².",
            do="Ask for areas from 0 to the whole floor.",
        )
    i = np.clip(np.searchsorted(swept.area_m2, t, side="left") - 1, 0, len(swept.begin_m) - 1)
    width = swept.x_m[i + 1] - swept.x_m[i]
    rest = np.maximum(t - swept.area_m2[i], 0.0)
    start = swept.begin_m[i]
    slope = (swept.end_m[i] - start) / width
    # Root of slope/2 d² + start d = rest in the form that needs no case for slope 0.
    under = start + np.sqrt(np.maximum(start * start + 2 * slope * rest, 0.0))
    d = np.divide(2 * rest, under, out=np.zeros_like(rest), where=under > 0)
    place: FloatArray = swept.x_m[i] + np.clip(d, 0.0, width)
    return place


def cut_line(swept: Sweep, x_m: float, *, reach_m: float) -> LineString:
    """The line across the sweep at ``x_m``, ``reach_m`` to both sides, in the deck's frame."""
    c, s = math.cos(swept.direction_rad), math.sin(swept.direction_rad)
    x, y = x_m * c, x_m * s
    return LineString([(x + s * reach_m, y - c * reach_m), (x - s * reach_m, y + c * reach_m)])


def strips(
    floor: Polygon | MultiPolygon, swept: Sweep, places_m: ArrayLike
) -> tuple[Polygon | MultiPolygon, ...]:
    """Cut a floor at rising places along its sweep; n places give n+1 strips.

    The strips keep the floor's own corners; only the cut lines are new.
    """
    x = np.concatenate([[swept.x_m[0] - 1.0], np.ravel(places_m), [swept.x_m[-1] + 1.0]])
    minx, miny, maxx, maxy = floor.bounds
    far = math.hypot(max(abs(minx), abs(maxx)), max(abs(miny), abs(maxy))) + 1.0
    c, s = math.cos(swept.direction_rad), math.sin(swept.direction_rad)
    near = np.stack([x * c + far * s, x * s - far * c], axis=1)
    away = np.stack([x * c - far * s, x * s + far * c], axis=1)
    quads = shapely.polygons(np.stack([near[:-1], near[1:], away[1:], away[:-1]], axis=1))
    pieces: Any = shapely.intersection(floor, quads)
    return tuple(only_areas(g) for g in pieces)


def only_areas(geometry: shapely.Geometry) -> Polygon | MultiPolygon:
    """The polygons of a geometry; points and lines left by a cut are dropped."""
    if isinstance(geometry, Polygon):
        return geometry
    parts = [
        p
        for p in shapely.get_parts(geometry)
        if isinstance(p, Polygon | MultiPolygon) and not p.is_empty
    ]
    flat = [q for p in parts for q in shapely.get_parts(p)]
    return flat[0] if len(flat) == 1 else MultiPolygon(flat)


def _edges(floor: Polygon | MultiPolygon) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    starts, ends = [], []
    for polygon in shapely.get_parts(floor):
        for ring in (polygon.exterior, *polygon.interiors):
            xy = shapely.get_coordinates(ring)
            xy = np.column_stack([np.round(xy[:, 0], _DECIMALS), xy[:, 1]])
            starts.append(xy[:-1])
            ends.append(xy[1:])
    a, b = np.concatenate(starts), np.concatenate(ends)
    return a[:, 0], a[:, 1], b[:, 0], b[:, 1]
