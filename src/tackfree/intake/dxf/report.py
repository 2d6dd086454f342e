"""A look into a DXF drawing before anything is declared: layers, areas, the unit."""

from __future__ import annotations

from pathlib import Path

from ezdxf.document import Drawing

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
    said += viewport_frozen(document, file=path.name)
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


def viewport_frozen(document: Drawing, *, file: str) -> list[Message]:
    """Layers that the printed sheets do not show although they are on: a look at the
    model finds lines there that nobody sees on paper.

    Source
    ------
    A viewport freezes layers for itself alone: DXF reference, VIEWPORT, codes 331 and 341.
    """
    shown: dict[str, set[str]] = {}  # sheet -> layers frozen in all of its viewports
    for name in document.layout_names_in_taborder():
        if name == "Model":
            continue
        views = [v for v in document.layout(name).viewports() if v.dxf.get("id", 2) != 1]
        if views:
            frozen = [{layer.lower() for layer in v.frozen_layers} for v in views]
            shown[name] = set.intersection(*frozen)
    if not shown:
        return []
    never = set.intersection(*shown.values())
    names = sorted(e.dxf.name for e in document.layers if e.dxf.name.lower() in never)
    return [
        Message(
            id="intake.viewport-frozen", values={"file": file, "layer": n, "sheets": len(shown)}
        )
        for n in names
    ]


STRAIGHT = {"LINE", "POINT"}
