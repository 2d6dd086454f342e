"""A look into a DXF drawing before anything is declared: layers, areas, the unit."""

from __future__ import annotations

from pathlib import Path

from tackfree.intake.dxf import unit
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.strokes import collect
from tackfree.intake.parts import parts_of, size_of
from tackfree.intake.report import DrawingReport, candidates, layers_of, proposal
from tackfree.words import Message

FINENESS = 1e-6  # arcs within this part of the drawing's size
COARSE = 1e-3  # the first pass, which only finds the size


def report_drawing(path: Path) -> DrawingReport:
    """Look into a drawing.

    Nothing is decided: the unit guesses come with their evidence, likeliest first.

    Raises
    ------
    NotFound, InputError
        As `read_deck`.
    """
    document, opened = load(path)
    drawn = collect(document, tolerance=COARSE)
    size = size_of(drawn)
    fine = max(FINENESS * max(size), 1e-9)
    if fine < COARSE / 10 and any(s.origin.entity not in STRAIGHT for s in drawn.strokes):
        drawn = collect(document, tolerance=fine)
    layers = layers_of(drawn)
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
    units = unit.guesses(document, drawn, size, file=path.name)
    proposed = proposal(units)
    header = unit.header_unit_m(document)
    if proposed and header and unit.name_of(header) != proposed:
        said.append(
            Message(
                id="intake.header-lies",
                values={"file": path.name, "header": unit.name_of(header), "unit": proposed},
            )
        )
    return DrawingReport(
        file=path.name,
        layers=layers,
        size=size,
        units=units,
        messages=(*opened, *said),
        parts=parts_of(drawn),
        proposed=proposed,
        candidates=candidates(layers),
    )


STRAIGHT = {"LINE", "POINT"}
