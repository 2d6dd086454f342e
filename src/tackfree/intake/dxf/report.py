"""A look into a drawing before anything is declared: layers, areas, the unit."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from tackfree.intake.dxf import unit
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.outlines import outlines_of
from tackfree.intake.dxf.strokes import Drawn, by_layer, collect
from tackfree.words import Message

FINENESS = 1e-6  # arcs within this part of the drawing's size
COARSE = 1e-3  # the first pass, which only finds the size


@dataclass(frozen=True, kw_only=True)
class LayerReport:
    """What one layer holds. Areas are in square drawing units.

    ``closed_area`` is what its closed polylines, circles and hatches cover together;
    ``open_lines`` counts lines that may still close to outlines.
    """

    name: str
    entities: tuple[tuple[str, int], ...]
    closed_outlines: int
    closed_area: float
    largest_area: float
    open_lines: int


@dataclass(frozen=True, kw_only=True)
class DrawingReport:
    """A drawing's layers, its size in drawing units, and what its unit may be."""

    file: str
    layers: tuple[LayerReport, ...]
    size: tuple[float, float]
    units: tuple[unit.UnitGuess, ...]
    messages: tuple[Message, ...]


def report_drawing(path: Path) -> DrawingReport:
    """Look into a drawing.

    Nothing is decided: the unit guesses come with their evidence, likeliest first.

    Raises
    ------
    NotFound, InputError
        As `read_deck`.
    """
    document, opened = load(path)
    size = _size(collect(document, tolerance=COARSE))
    drawn = collect(document, tolerance=max(FINENESS * max(size), 1e-9))
    tallies: dict[str, Counter[str]] = defaultdict(Counter)
    for _, layer, entity in by_layer(drawn):
        tallies[layer][entity] += 1
    for (layer, entity), count in drawn.unread.items():
        tallies[layer][entity] += count
    layers = tuple(_layer(drawn, name, tallies[name]) for name in drawn.layers)
    said = [
        Message(
            id="intake.hidden",
            values={"file": path.name, "layer": layer, "entity": entity, "count": count},
        )
        for (layer, entity), count in sorted(drawn.hidden.items())
    ]
    said += [
        Message(id="intake.absent", values={"file": path.name, "drawing": name})
        for name in sorted(set(drawn.absent))
    ]
    return DrawingReport(
        file=path.name,
        layers=layers,
        size=size,
        units=unit.guesses(document, drawn, size, file=path.name),
        messages=(*opened, *said),
    )


def _size(drawn: Drawn) -> tuple[float, float]:
    if not drawn.strokes:
        return (0.0, 0.0)
    low = np.min([s.points.min(axis=0) for s in drawn.strokes], axis=0)
    high = np.max([s.points.max(axis=0) for s in drawn.strokes], axis=0)
    return (float(high[0] - low[0]), float(high[1] - low[1]))


def _layer(drawn: Drawn, name: str, tally: Counter[str]) -> LayerReport:
    closed = Drawn(
        strokes=[s for s in drawn.strokes if s.closed and s.origin.layer == name],
        hatches=[h for h in drawn.hatches if h.origin.layer == name],
    )
    polygons = outlines_of(closed, name, gap=0.0, all_lines=False).polygons
    return LayerReport(
        name=name,
        entities=tuple(sorted(tally.items())),
        closed_outlines=len(polygons),
        closed_area=float(shapely.union_all(polygons).area) if polygons else 0.0,
        largest_area=max((p.area for p in polygons), default=0.0),
        open_lines=sum(1 for s in drawn.strokes if not s.closed and s.origin.layer == name),
    )
