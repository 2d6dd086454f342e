"""What is drawn, flattened to plain strokes that know where they came from.

Blocks are followed with one plane map per reference (mirrored, scaled, nested, in
rows). Layers that are off or frozen are left out and counted, and so is everything
that is not a line, a point, a hatch or a lettering.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from ezdxf.document import Drawing
from ezdxf.math import Matrix44, Vec3
from numpy.typing import NDArray

from tackfree.deck import arcs
from tackfree.errors import InputError

FloatArray = NDArray[np.float64]

DEEPEST = 16  # block in block in block
ALWAYS = {"INSERT", "TEXT", "MTEXT", "ATTRIB"}
MOST_ENTITIES = 500_000  # blocks in blocks multiply
UNMOVED = Matrix44()  # the map of what stands in no block
_XYB = [0, 1, 4]  # x, y, bulge of a light polyline's vertex


@dataclass(frozen=True, kw_only=True)
class Origin:
    """Where a stroke stands in the file. ``blocks`` are the references it is inside,
    outermost first, each as (layer, key)."""

    layer: str
    entity: str
    handle: str
    blocks: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """A chain of straight legs in drawing units. A closed one does not repeat its start."""

    origin: Origin
    points: FloatArray  # (n, 2)
    closed: bool


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A place: a point entity, or where a block is put in."""

    origin: Origin
    at: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Lettering:
    origin: Origin
    at: tuple[float, float]
    text: str


@dataclass(frozen=True, kw_only=True)
class HatchLoops:
    """Boundary loops of one hatch; ``style`` 0 every other, 1 outermost, 2 ignore inner."""

    origin: Origin
    loops: tuple[FloatArray, ...]
    style: int


@dataclass(kw_only=True)
class Drawn:
    """Everything taken from one model space, in drawing units."""

    strokes: list[Stroke] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    letterings: list[Lettering] = field(default_factory=list)
    hatches: list[HatchLoops] = field(default_factory=list)
    hidden: Counter[tuple[str, str]] = field(default_factory=Counter)  # layer, entity
    unread: Counter[tuple[str, str]] = field(default_factory=Counter)
    broken: list[tuple[Origin, str]] = field(default_factory=list)  # NaN and the like
    absent: list[str] = field(default_factory=list)  # drawings referred to, not in the file
    too_deep: int = 0
    layers: tuple[str, ...] = ()


def collect(document: Drawing, *, tolerance: float, layers: Collection[str] | None = None) -> Drawn:
    """Flatten a drawing's model space.

    Parameters
    ----------
    document : Drawing
    tolerance : float
        Largest distance between an arc and its chords. [drawing units]
    layers : collection of str or None
        Take lines only from these, in any case, bound names (``a$0$b``) by their last
        part too; the rest is counted as unread. Lettering is always taken.
    """
    return _Walk(document, tolerance, layers).run()


class _Walk:
    """One pass over the model space; holds what every step needs."""

    def __init__(self, document: Drawing, tolerance: float, layers: Collection[str] | None) -> None:
        self.wanted = None if layers is None else {n.lower() for n in layers}
        self.document = document
        self.tolerance = tolerance
        self.taken = 0
        self.out = Drawn(layers=tuple(sorted(e.dxf.name for e in document.layers)))
        self.off: set[str] = set()
        self.frozen: set[str] = set()
        for layer in document.layers:
            if layer.is_off():
                self.off.add(layer.dxf.name.lower())
            if layer.is_frozen():
                self.frozen.add(layer.dxf.name.lower())

    def run(self) -> Drawn:
        for entity in self.document.modelspace():
            self.take(entity, UNMOVED, "0", (), ())
        used = {o.origin.layer for group in self._groups() for o in group}
        unread = {layer for layer, _ in self.out.unread}
        unread |= {origin.layer for origin, _ in self.out.broken}
        self.out.layers = tuple(sorted({*self.out.layers, *used, *unread}))
        return self.out

    def _groups(self) -> tuple[list[Any], ...]:
        return (self.out.strokes, self.out.marks, self.out.letterings, self.out.hatches)

    def take(
        self,
        entity: Any,
        matrix: Matrix44,
        parent_layer: str,
        blocks: tuple[tuple[str, str], ...],
        names: tuple[str, ...],
    ) -> None:
        self.count(1)
        kind = entity.dxftype()
        layer = entity.dxf.get("layer", "0")
        if layer == "0" and names:
            layer = parent_layer  # layer 0 takes the layer of the reference
        hidden = (
            layer.lower() in self.frozen
            or (kind != "INSERT" and layer.lower() in self.off)
            or entity.dxf.get("invisible", 0)
        )
        if hidden:
            self.out.hidden[layer, kind] += 1
            return
        if kind not in ALWAYS and not self.chosen(layer):
            self.out.unread[layer, kind] += 1
            return
        origin = Origin(
            layer=layer, entity=kind, handle=str(entity.dxf.get("handle", "")), blocks=blocks
        )
        if kind == "INSERT":
            self.insert(entity, matrix, origin, names)
            return
        try:
            done = self.draw(entity, kind, matrix, origin)
        except (ValueError, ZeroDivisionError, TypeError, AttributeError) as fault:
            self.out.broken.append((origin, str(fault)))
            return
        if not done:
            self.out.unread[layer, kind] += 1

    def chosen(self, layer: str) -> bool:
        if self.wanted is None:
            return True
        small = layer.lower()
        return small in self.wanted or small.rsplit("$0$", 1)[-1] in self.wanted

    def count(self, more: int) -> None:
        self.taken += more
        if self.taken > MOST_ENTITIES:
            raise InputError(
                f"the drawing holds more than {MOST_ENTITIES} entities, blocks counted out.",
                do="Save the decks as a drawing of their own, without the rest.",
            )

    def insert(self, entity: Any, matrix: Matrix44, origin: Origin, names: tuple[str, ...]) -> None:
        name = entity.dxf.name
        block = self.document.blocks.get(name)
        if block is None or (block.block is not None and block.block.is_xref):
            self.out.absent.append(name)
            return
        if name in names or len(names) >= DEEPEST:
            self.out.too_deep += 1
            return
        self.count(entity.mcount)
        references = entity.multi_insert() if entity.mcount > 1 else iter([entity])
        for index, reference in enumerate(references):
            inner = reference.matrix44() * matrix
            key = "/".join([*(k for _, k in origin.blocks), f"{origin.handle}.{index}"])
            chain = (*origin.blocks, (origin.layer, key))
            if origin.layer.lower() not in self.off:
                here = Origin(
                    layer=origin.layer, entity="INSERT", handle=origin.handle, blocks=chain
                )
                place = matrix.transform(reference.ocs().to_wcs(reference.dxf.insert))
                self.out.marks.append(Mark(origin=here, at=(place.x, place.y)))
            for child in block:
                if child.dxftype() != "ATTDEF":
                    self.take(child, inner, origin.layer, chain, (*names, name))
        for attribute in getattr(entity, "attribs", ()):
            self.take(attribute, matrix, origin.layer, origin.blocks, names)

    def draw(self, e: Any, kind: str, m: Matrix44, origin: Origin) -> bool:
        """Take one entity; False where it is of a kind that is not read."""
        if kind == "LINE" and not origin.blocks:
            a, b = e.dxf.start, e.dxf.end
            self.leg(a.x, a.y, b.x, b.y, origin)
        elif kind == "LINE":
            self.stroke(_plan(m, [e.dxf.start, e.dxf.end]), origin, closed=False)
        elif kind == "LWPOLYLINE":
            rows = np.array(e.lwpoints.values, dtype=float).reshape(-1, 5)[:, _XYB]
            self.polyline(rows, bool(e.closed), m, e, float(e.dxf.elevation), origin)
        elif kind == "POLYLINE" and (e.is_2d_polyline or e.is_3d_polyline):
            self.old_polyline(e, m, origin)
        elif kind in ("ARC", "CIRCLE"):
            self.arc(e, kind, m, origin)
        elif kind == "ELLIPSE":
            self.ellipse(e, m, origin)
        elif kind == "SPLINE":
            points = list(e.flattening(self.tolerance / _reach(m)))
            self.stroke(_plan(m, points), origin, closed=bool(e.closed))
        elif kind == "POINT":
            ((x, y),) = _plan(m, [e.dxf.location])
            self.out.marks.append(Mark(origin=origin, at=(float(x), float(y))))
        elif kind in ("TEXT", "ATTRIB", "MTEXT"):
            self.lettering(e, kind, m, origin)
        elif kind in ("HATCH", "MPOLYGON"):
            return self.hatch(e, m, origin)
        elif kind in ("SOLID", "TRACE", "3DFACE"):
            return False
        else:
            return False
        return True

    def leg(self, ax: float, ay: float, bx: float, by: float, origin: Origin) -> None:
        """A single line; most drawings are nearly all lines, so this is kept short."""
        if not math.isfinite(ax + ay + bx + by):
            self.out.broken.append((origin, "a coordinate is not a number"))
        elif ax == bx and ay == by:
            self.out.unread[origin.layer, origin.entity] += 1
        else:
            points = np.array(((ax, ay), (bx, by)))
            self.out.strokes.append(Stroke(origin=origin, points=points, closed=False))

    def stroke(self, points: FloatArray, origin: Origin, *, closed: bool) -> None:
        if not np.isfinite(points).all():
            self.out.broken.append((origin, "a coordinate is not a number"))
            return
        keep = np.ones(len(points), dtype=bool)
        keep[1:] = (np.diff(points, axis=0) != 0).any(axis=1)
        points = points[keep]
        if len(points) > 2 and np.array_equal(points[0], points[-1]):
            points, closed = points[:-1], True  # a ring that repeats its start
        if len(points) < 2:
            self.out.unread[origin.layer, origin.entity] += 1
            return
        self.out.strokes.append(Stroke(origin=origin, points=points, closed=closed))

    def polyline(
        self, rows: FloatArray, closed: bool, m: Matrix44, e: Any, z: float, origin: Origin
    ) -> None:
        if not np.isfinite(rows).all():
            self.out.broken.append((origin, "a coordinate is not a number"))
            return
        flat = arcs.with_bulges(
            rows[:, :2], rows[:, 2], closed=closed, tolerance=self.tolerance / _reach(m)
        )
        self.stroke(_in_ocs(e, m, flat, z), origin, closed=closed)

    def old_polyline(self, e: Any, m: Matrix44, origin: Origin) -> None:
        vertices = [v for v in e.vertices if not v.dxf.flags & 16]  # spline frame points
        if e.is_3d_polyline:
            self.stroke(
                _plan(m, [v.dxf.location for v in vertices]), origin, closed=bool(e.is_closed)
            )
            return
        rows = np.array(
            [(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in vertices],
            dtype=float,
        ).reshape(-1, 3)
        z = float(Vec3(e.dxf.get("elevation", (0, 0, 0))).z)
        self.polyline(rows, bool(e.is_closed), m, e, z, origin)

    def arc(self, e: Any, kind: str, m: Matrix44, origin: Origin) -> None:
        start, angle = 0.0, 2 * math.pi
        if kind == "ARC":
            start = math.radians(e.dxf.start_angle)
            angle = _turn(start, math.radians(e.dxf.end_angle))
        c = Vec3(e.dxf.center)
        flat = arcs.circle_arc(
            (c.x, c.y),
            float(e.dxf.radius),
            start=start,
            angle=angle,
            tolerance=self.tolerance / _reach(m),
        )
        full = abs(angle - 2 * math.pi) < 1e-12
        self.stroke(_in_ocs(e, m, flat[:-1] if full else flat, c.z), origin, closed=full)

    def ellipse(self, e: Any, m: Matrix44, origin: Origin) -> None:
        angle = _turn(e.dxf.start_param, e.dxf.end_param)
        major, minor, centre = Vec3(e.dxf.major_axis), Vec3(e.minor_axis), Vec3(e.dxf.center)
        unit = arcs.unit_arc(
            start=float(e.dxf.start_param),
            angle=angle,
            steps=arcs.steps_for(
                angle=angle, radius=major.magnitude, tolerance=self.tolerance / _reach(m)
            ),
        )
        full = abs(angle - 2 * math.pi) < 1e-12
        points = [centre + major * x + minor * y for x, y in (unit[:-1] if full else unit)]
        self.stroke(_plan(m, points), origin, closed=full)

    def lettering(self, e: Any, kind: str, m: Matrix44, origin: Origin) -> None:
        if kind == "MTEXT":
            text, place = e.plain_text(), Vec3(e.dxf.insert)
        else:
            text = e.plain_text()
            centred = e.dxf.get("halign", 0) or e.dxf.get("valign", 0)
            spot = e.dxf.get("align_point") if centred else None
            place = e.ocs().to_wcs(Vec3(e.dxf.insert if spot is None else spot))
        ((x, y),) = _plan(m, [place])
        if not (math.isfinite(x) and math.isfinite(y)):
            self.out.broken.append((origin, "a coordinate is not a number"))
            return
        self.out.letterings.append(
            Lettering(origin=origin, at=(float(x), float(y)), text=" ".join(text.split()))
        )

    def hatch(self, e: Any, m: Matrix44, origin: Origin) -> bool:
        tolerance = self.tolerance / _reach(m)
        z = float(Vec3(e.dxf.get("elevation", (0, 0, 0))).z)
        loops: list[FloatArray] = []
        for boundary in e.paths:
            if hasattr(boundary, "vertices"):
                rows = np.array(boundary.vertices, dtype=float).reshape(-1, 3)
                flat = arcs.with_bulges(rows[:, :2], rows[:, 2], closed=True, tolerance=tolerance)
            else:
                pieces = [_edge(edge, tolerance) for edge in boundary.edges]
                flat = _chain([p for p in pieces if len(p) > 1])
            if len(flat) > 2:
                loops.append(_in_ocs(e, m, flat, z))
        if any(not np.isfinite(loop).all() for loop in loops):
            self.out.broken.append((origin, "a coordinate is not a number"))
            return True
        if loops:
            self.out.hatches.append(
                HatchLoops(
                    origin=origin, loops=tuple(loops), style=int(e.dxf.get("hatch_style", 0))
                )
            )
        return bool(loops)


def _plan(m: Matrix44, points: Any) -> FloatArray:
    """Points through a map, seen from above."""
    return np.array([(p.x, p.y) for p in m.transform_vertices(points)], dtype=float).reshape(-1, 2)


def _in_ocs(e: Any, m: Matrix44, flat: FloatArray, z: float) -> FloatArray:
    """Points of an entity's own plane to the plan; a flipped plane mirrors them."""
    if m is UNMOVED and _upright(e):
        return flat
    ocs = e.ocs()
    points = [Vec3(x, y, z) for x, y in flat]
    return _plan(m, list(ocs.points_to_wcs(points)) if ocs.transform else points)


def _upright(e: Any) -> bool:
    """Whether an entity's own plane is the plan."""
    return not e.dxf.hasattr("extrusion") or tuple(e.dxf.extrusion) == (0.0, 0.0, 1.0)


def _reach(m: Matrix44) -> float:
    """The most that a map stretches a length; keeps arcs fine in enlarged blocks."""
    if m is UNMOVED:
        return 1.0
    return max(m.transform_direction(axis).magnitude for axis in _AXES) or 1.0


_AXES = (Vec3(1, 0, 0), Vec3(0, 1, 0))


def _turn(start: float, end: float) -> float:
    """Counter-clockwise angle from start to end, a full turn where they agree. [rad]"""
    angle = math.fmod(end - start, 2 * math.pi)
    if angle <= 1e-12:
        angle += 2 * math.pi
    return angle


def _edge(edge: Any, tolerance: float) -> FloatArray:
    """One edge of a hatch boundary as points in the direction of travel."""
    kind = type(edge).__name__
    if kind == "LineEdge":
        return np.array([(p.x, p.y) for p in (edge.start, edge.end)], dtype=np.float64)
    if kind == "ArcEdge":
        start = math.radians(edge.start_angle)
        angle = _turn(start, math.radians(edge.end_angle))
        turned = arcs.circle_arc(
            (edge.center.x, edge.center.y),
            edge.radius,
            start=start,
            angle=angle,
            tolerance=tolerance,
        )
        return turned if edge.ccw else turned[::-1]
    if kind == "EllipseEdge":
        start = edge.start_param
        angle = _turn(start, edge.end_param)
        major = np.array([edge.major_axis.x, edge.major_axis.y])
        minor = np.array([-major[1], major[0]]) * edge.ratio
        steps = arcs.steps_for(angle=angle, radius=float(np.hypot(*major)), tolerance=tolerance)
        unit = arcs.unit_arc(start=start, angle=angle, steps=steps)
        centre = np.array([edge.center.x, edge.center.y])
        points: FloatArray = centre + unit[:, :1] * major + unit[:, 1:] * minor
        return points if edge.ccw else points[::-1]
    bent = edge.construction_tool().flattening(tolerance)
    return np.array([(p.x, p.y) for p in bent], dtype=np.float64)


def _chain(pieces: list[FloatArray]) -> FloatArray:
    """Edges of a hatch loop in a row; an edge drawn backwards is turned."""
    if not pieces:
        return np.empty((0, 2))
    out = [pieces[0]]
    if len(pieces) > 1:
        first, second = pieces[0], pieces[1]
        if _near(first[0], second) < _near(first[-1], second):
            out[0] = first[::-1]
    for piece in pieces[1:]:
        end = out[-1][-1]
        turned = np.hypot(*(piece[-1] - end)) < np.hypot(*(piece[0] - end))
        out.append(piece[::-1] if turned else piece)
    joined: FloatArray = np.concatenate([p[:-1] for p in out])
    return joined


def _near(point: FloatArray, piece: FloatArray) -> float:
    return float(min(np.hypot(*(piece[0] - point)), np.hypot(*(piece[-1] - point))))


def by_layer(drawn: Drawn) -> Iterator[tuple[str, str, str]]:
    """(group, layer, entity) of everything collected, for tallies.

    Block references are left out: what is in them is counted.
    """
    for group in ("strokes", "marks", "letterings", "hatches"):
        for item in getattr(drawn, group):
            if item.origin.entity != "INSERT":
                yield group, item.origin.layer, item.origin.entity
