"""Closed outlines of one layer: closed polylines, hatches, and faces of loose lines."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from tackfree.intake.dxf.faces import Faces, Gap, faces_of
from tackfree.intake.dxf.strokes import Drawn, HatchLoops, Stroke


@dataclass(kw_only=True)
class Outlines:
    """What a layer encloses. [drawing units]"""

    polygons: list[Polygon] = field(default_factory=list)
    closed_gaps: list[Gap] = field(default_factory=list)
    open_ends: list[Gap] = field(default_factory=list)
    crossed: list[str] = field(default_factory=list)  # why an outline is no outline
    empty: list[tuple[float, float]] = field(default_factory=list)  # outlines without area
    doubled: int = 0
    pinched: int = 0  # rings that touch themselves, taken as shell and hole


def outlines_of(drawn: Drawn, layer: str, *, gap: float, all_lines: bool) -> Outlines:
    """Every closed outline on a layer.

    Parameters
    ----------
    gap : float
        Largest gap to close between loose lines. [drawing units]
    all_lines : bool
        True lets every line of the layer divide the closed outlines into faces, as
        needed to pick one by a point; False leaves closed outlines whole.
    """
    out = Outlines()
    strokes = [s for s in drawn.strokes if s.origin.layer == layer]
    for stroke in strokes:
        if stroke.closed:
            _add_ring(out, stroke)
    for hatch in drawn.hatches:
        if hatch.origin.layer == layer:
            out.polygons += hatch_polygons(hatch)
    loose = [s for s in strokes if not s.closed]
    if loose:
        chains = [chain(s) for s in strokes] if all_lines else [chain(s) for s in loose]
        found: Faces = faces_of(chains, gap=gap)
        out.closed_gaps += found.closed_gaps
        out.open_ends += found.open_ends
        out.polygons += found.faces
    out.polygons, out.doubled = _once(out.polygons)
    return out


def chain(stroke: Stroke) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """The points of a stroke; a closed one returns to its start."""
    return np.vstack([stroke.points, stroke.points[:1]]) if stroke.closed else stroke.points


def _add_ring(out: Outlines, stroke: Stroke) -> None:
    points = stroke.points
    place = (float(points[0, 0]), float(points[0, 1]))
    if len(points) < 3:
        out.empty.append(place)
        return
    polygon = Polygon(points)
    extent = float(np.ptp(points, axis=0).max())
    if polygon.is_valid:
        if polygon.area <= 1e-9 * extent * extent:
            out.empty.append(place)
        else:
            out.polygons.append(polygon)
        return
    whole = shapely.make_valid(polygon, method="structure", keep_collapsed=False)
    shoelace = abs(_shoelace(points))
    if shoelace <= 1e-9 * extent * extent and whole.area <= 1e-9 * extent * extent:
        out.empty.append(place)
    elif abs(whole.area - shoelace) <= 1e-9 * shoelace and _only_touches(polygon):
        out.pinched += 1
        out.polygons += polygons_in(whole)
    else:
        out.crossed.append(explain_validity(polygon))


def _only_touches(polygon: Polygon) -> bool:
    return explain_validity(polygon).startswith("Ring Self-intersection")


def _shoelace(p: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    p = p - p[0]
    q = np.roll(p, -1, axis=0)
    return float((p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]).sum()) / 2


def _once(polygons: list[Polygon]) -> tuple[list[Polygon], int]:
    """Outlines drawn twice are one."""
    if len(polygons) < 2:
        return polygons, 0
    rounded = shapely.normalize(shapely.set_precision(shapely.normalize(polygons), 1e-6))
    seen: dict[bytes, Polygon] = {}
    for key, polygon in zip(shapely.to_wkb(rounded), polygons, strict=True):
        seen.setdefault(key, polygon)
    return list(seen.values()), len(polygons) - len(seen)


def polygons_in(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of whatever an operation gave back."""
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    if hasattr(shape, "geoms"):
        return [p for part in shape.geoms for p in polygons_in(part)]
    return []


def hatch_polygons(hatch: HatchLoops) -> list[Polygon]:
    """Filled area of a hatch: loops nest as they lie, not as they are listed."""
    rings = [shapely.make_valid(Polygon(loop)) for loop in hatch.loops]
    rings = sorted((r for r in rings if r.area > 0), key=lambda r: -r.area)
    if hatch.style == 2:
        return polygons_in(shapely.union_all(rings))
    filled: BaseGeometry = MultiPolygon()
    for i, ring in enumerate(rings):
        seat = ring.representative_point()
        depth = sum(1 for other in rings[:i] if other.contains(seat))
        if depth == 0:
            filled = filled.union(ring)
        elif hatch.style == 0 or depth == 1:
            filled = filled.difference(ring) if depth % 2 else filled.union(ring)
    return polygons_in(filled)


def around(polygons: list[Polygon], at: tuple[float, float]) -> Polygon | None:
    """The smallest outline that holds a point."""
    here = Point(at)
    holding = [p for p in polygons if p.covers(here)]
    return min(holding, key=lambda p: (p.area, p.bounds), default=None)


def line_of(stroke: Stroke) -> LineString:
    return LineString(chain(stroke))
