"""Features by layer: obstacles, lines, counted points, stalls with their numbers."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry
from shapely.strtree import STRtree

from tackfree.deck.declared import FeatureDoc
from tackfree.deck.types import Feature, FeatureKind
from tackfree.intake.dxf.outlines import line_of
from tackfree.intake.dxf.strokes import Drawn, Lettering, Origin

if TYPE_CHECKING:
    from tackfree.intake.dxf.read import Reading

POLYGONS = {
    FeatureKind.COLUMN,
    FeatureKind.OPENING,
    FeatureKind.STALL,
    FeatureKind.LANE,
    FeatureKind.RAMP,
}
COUNTED = {FeatureKind.DRAIN, FeatureKind.PENETRATION}
SAME_PLACE_M = 0.05  # two marks this close are one drain drawn twice
NUMBER = re.compile(r"^[A-Z]{0,3}[- ]?\d{1,5}[A-Z]?$", re.IGNORECASE)


def features_of(reading: Reading) -> list[Feature]:
    """Features of every declared layer, in drawing units."""
    found: list[Feature] = []
    counts: dict[FeatureKind, int] = {}
    for declared in reading.doc.features:
        layer = reading.layer(declared.layer, f"features {declared.kind.value}")
        if layer is None:
            continue
        for shape in sorted(_shapes(reading, declared, layer), key=_place):
            counts[declared.kind] = number = counts.get(declared.kind, 0) + 1
            found.append(
                Feature(
                    id=f"{reading.doc.id}-{declared.kind.value.upper()}-{number:03d}",
                    kind=declared.kind,
                    geometry=shape,
                    width_m=declared.width_m,
                    depth_m=declared.depth_m,
                    height_m=declared.height_m,
                    connects=declared.connects,
                    accessible=declared.accessible,
                )
            )
    return _numbered(reading, found)


def _place(shape: BaseGeometry) -> tuple[float, float, bytes]:
    """Upward, then left to right, whatever order they were drawn in."""
    c = shape.centroid
    return (round(c.y, 3), round(c.x, 3), shape.normalize().wkb)


def _shapes(reading: Reading, declared: FeatureDoc, layer: str) -> list[BaseGeometry]:
    where = f"features {declared.kind.value}"
    drawn = reading.drawn
    if declared.kind in POLYGONS:
        outlines = reading.outlines(layer, all_lines=False, where=where)
        for gap in outlines.open_ends:
            x, y = gap.at
            reading.fault(
                where,
                f"a line on layer {layer} ends open at ({x:.2f}, {y:.2f}) and encloses nothing.",
                "Close the outline, or move the line to another layer.",
            )
        shapes: list[BaseGeometry] = list(outlines.polygons)
    elif declared.kind in COUNTED:
        shapes = _counted(reading, layer)
    else:
        reading.used |= {("strokes", layer), ("marks", layer)}
        shapes = [line_of(s) for s in drawn.strokes if s.origin.layer == layer]
        shapes += [
            Point(m.at)
            for m in drawn.marks
            if m.origin.layer == layer and m.origin.entity == "POINT"
        ]
    if not shapes:
        reading.say("layer-empty", layer=layer, kind=declared.kind.value)
    return shapes


def _counted(reading: Reading, layer: str) -> list[BaseGeometry]:
    """One point for each block reference on the layer, or each loose mark or figure."""
    drawn = reading.drawn
    reading.used |= {("strokes", layer), ("marks", layer)}
    groups: dict[str, list[BaseGeometry]] = {}
    for mark in drawn.marks:
        if mark.origin.layer == layer:
            groups.setdefault(_group(mark.origin, layer), []).append(Point(mark.at))
    for stroke in drawn.strokes:
        if stroke.origin.layer == layer:
            groups.setdefault(_group(stroke.origin, layer), []).append(line_of(stroke))
    places: list[BaseGeometry] = []
    for shapes in groups.values():
        box = [s.bounds for s in shapes if isinstance(s, LineString)] or [s.bounds for s in shapes]
        x = (min(b[0] for b in box) + max(b[2] for b in box)) / 2
        y = (min(b[1] for b in box) + max(b[3] for b in box)) / 2
        places.append(Point(x, y))
    near = SAME_PLACE_M / reading.doc.unit_m
    kept: list[BaseGeometry] = []
    for place in sorted(places, key=lambda p: (p.bounds[0], p.bounds[1])):
        if all(place.distance(k) > near for k in kept):
            kept.append(place)
    if len(kept) < len(places):
        reading.say("doubled", layer=layer, count=len(places) - len(kept))
    return kept


def _group(origin: Origin, layer: str) -> str:
    """The outermost reference on the same layer that a thing is inside, or the thing."""
    for block_layer, key in origin.blocks:
        if block_layer == layer:
            return key
    return f"{'/'.join(k for _, k in origin.blocks)}/{origin.handle}"


def _numbered(reading: Reading, features: list[Feature]) -> list[Feature]:
    """Painted numbers into the stalls that hold them."""
    stalls = [i for i, f in enumerate(features) if f.kind is FeatureKind.STALL]
    if not stalls:
        return features
    tree = STRtree([features[i].geometry for i in stalls])
    inside: dict[int, list[Lettering]] = {}
    for text in _numbers(reading.drawn):
        for k in tree.query(Point(text.at), predicate="within"):
            inside.setdefault(stalls[int(k)], []).append(text)
    out = list(features)
    blank = 0
    for i in stalls:
        texts = sorted(inside.get(i, []), key=lambda t: (t.text, t.at))
        names = sorted({t.text for t in texts})
        reading.used |= {("letterings", t.origin.layer) for t in texts}
        if not names:
            blank += 1
        elif len(names) > 1:
            reading.say("stall-numbers", stall=features[i].id, numbers=", ".join(names))
        if names:
            out[i] = replace(features[i], label=names[0])
    labels = [f.label for f in out if f.label]
    twice = sorted({n for n in labels if labels.count(n) > 1})
    if twice:
        reading.say("stall-twice", numbers=", ".join(twice))
    if blank:
        reading.say("stall-blank", count=blank)
    return out


def _numbers(drawn: Drawn) -> list[Lettering]:
    return [t for t in drawn.letterings if NUMBER.match(t.text)]
