"""What a look into a drawing finds, whatever its format: layers, parts, units, areas."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

import shapely
from shapely import Polygon

from tackfree.intake.dxf.faces import faces_of, plain_faces
from tackfree.intake.dxf.outlines import chain, outlines_of
from tackfree.intake.dxf.strokes import Drawn, by_layer
from tackfree.intake.dxf.unit import UNITS_M, UnitGuess
from tackfree.intake.parts import SheetPart
from tackfree.words import Message

LARGEST = 8  # faces listed per layer
MANY = 4000  # lines on a layer from which rounding alone is mended, not ends on lines
SURE = 2  # weight from which a unit is proposed


@dataclass(frozen=True, kw_only=True)
class LayerReport:
    """What one layer holds. Areas are in square drawing units.

    ``closed_area`` is what its closed polylines, circles and hatches cover together;
    ``face_area`` what all its lines enclose, of which ``largest_faces`` are the
    largest; ``open_lines`` counts lines that may still close to outlines.
    """

    name: str
    entities: tuple[tuple[str, int], ...]
    closed_outlines: int
    closed_area: float
    largest_area: float
    open_lines: int
    faces: int = 0
    face_area: float = 0.0
    largest_faces: tuple[float, ...] = ()
    at: tuple[float, float] | None = None  # a point inside the largest face


@dataclass(frozen=True, kw_only=True)
class UnitArea:
    """The area that the largest face would have in one unit. [m²]"""

    unit: str
    area_m2: float


@dataclass(frozen=True, kw_only=True)
class DrawingReport:
    """A drawing's layers, its size in drawing units, and what its unit may be.

    ``proposed`` is the unit that the evidence speaks for, None without enough of it.
    ``unit_m`` is the unit that was confirmed (or, in GeoJSON, follows from the
    coordinates), None until somebody does; on a stretched sheet it is that of x, and
    ``y_over_x`` what a unit of y is of it. ``part`` is the one drawing of the sheet that
    was asked for. ``candidates`` gives what the largest
    face would be in each unit.
    """

    file: str
    layers: tuple[LayerReport, ...]
    size: tuple[float, float]
    units: tuple[UnitGuess, ...]
    messages: tuple[Message, ...]
    kind: str = "dxf"
    pages: int = 1
    parts: tuple[SheetPart, ...] = ()
    proposed: str | None = None
    unit_m: float | None = None
    y_over_x: float = 1.0
    part: int | None = None
    candidates: tuple[UnitArea, ...] = ()


def proposal(units: tuple[UnitGuess, ...]) -> str | None:
    """The unit that is clearly ahead and stands on more than one weak hint."""
    if not units or units[0].weight < SURE:
        return None
    if len(units) > 1 and units[1].weight == units[0].weight:
        return None
    return units[0].unit


def candidates(layers: tuple[LayerReport, ...]) -> tuple[UnitArea, ...]:
    """The largest face in every unit, largest unit first."""
    largest = max((f for x in layers for f in x.largest_faces), default=0.0)
    return tuple(
        UnitArea(unit=name, area_m2=largest * unit_m**2)
        for name, unit_m in sorted(UNITS_M.items(), key=lambda u: -u[1])
    )


def layers_of(drawn: Drawn) -> tuple[LayerReport, ...]:
    """Each layer with its counts and what it encloses."""
    tallies: dict[str, Counter[str]] = defaultdict(Counter)
    for _, layer, entity in by_layer(drawn):
        tallies[layer][entity] += 1
    for (layer, entity), count in drawn.unread.items():
        tallies[layer][entity] += count
    strokes = defaultdict(list)
    for s in drawn.strokes:
        strokes[s.origin.layer].append(s)
    hatches = defaultdict(list)
    for h in drawn.hatches:
        hatches[h.origin.layer].append(h)
    return tuple(
        _layer(name, Drawn(strokes=strokes[name], hatches=hatches[name]), tallies[name])
        for name in drawn.layers
    )


def _layer(name: str, drawn: Drawn, tally: Counter[str]) -> LayerReport:
    closed = Drawn(strokes=[s for s in drawn.strokes if s.closed], hatches=drawn.hatches)
    outlines = outlines_of(closed, name, gap=0.0, all_lines=False).polygons
    open_lines = len(drawn.strokes) - len(closed.strokes)
    faces: list[Polygon] = list(outlines)
    if open_lines:
        chains = [chain(s) for s in drawn.strokes]
        if len(chains) > MANY:
            faces = plain_faces(chains)
        else:
            faces = list(faces_of(chains, gap=0.0, leaks=False).faces)
        faces += [p for p in outlines if drawn.hatches]
    covered = _covered(outlines)
    ranked = sorted(faces, key=lambda p: (-p.area, p.bounds))
    seat = ranked[0].representative_point() if ranked else None
    return LayerReport(
        name=name,
        entities=tuple(sorted(tally.items())),
        closed_outlines=len(outlines),
        closed_area=covered,
        largest_area=max((p.area for p in outlines), default=0.0),
        open_lines=open_lines,
        faces=len(faces),
        face_area=_covered(faces) if open_lines else covered,
        largest_faces=tuple(p.area for p in ranked[:LARGEST]),
        at=None if seat is None else (seat.x, seat.y),
    )


def _covered(polygons: list[Polygon]) -> float:
    return float(shapely.disjoint_subset_union_all(polygons).area) if polygons else 0.0
