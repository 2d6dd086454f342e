"""Kit marks as people and machines take them along: data, text, sheet, drawing, DXF."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tackfree.service.marks_choice import choice_sheet
from tackfree.service.marks_types import Marks, figures, frame_data, rings
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.sheets.marks_choices import render_choices_pdf
from tackfree.sheets.marks_files import marks_dxf, marks_geojson
from tackfree.sheets.marks_sheet import MarksSheet, drawing, render_marks_pdf
from tackfree.sheets.marks_svg import MarkedFloor, marks_svg
from tackfree.units import System, show
from tackfree.words import say
from tackfree.words.cautions import cautions_for


def document(marks: Sequence[Marks]) -> dict[str, Any]:
    """Layouts as data: cells with outlines in the deck's frame, to 1e-6 m."""
    return {"layouts": [_one(m) for m in marks]}


def _one(m: Marks) -> dict[str, Any]:
    return {
        "id": m.id,
        "section_id": m.section_id,
        "deck_id": m.deck_id,
        "coat_id": m.coat_id,
        "product_id": m.product_id,
        "kit_l": m.kit_l,
        "reach_m2": m.reach_m2,
        "detail_l": m.detail_l,
        "bare_m2": round(m.bare_m2, 6),
        **figures(m),
        "direction_rad": [round(p.direction_rad, 9) for p in m.layouts],
        "exits": [[round(e.x, 6), round(e.y, 6)] for p in m.layouts for e in p.exits],
        "frames": [frame_data(at, p) for at, p in m.parts],
        "notes": list(m.messages),
        "cells": [
            {
                "number": c.number,
                "lane": c.lane,
                "plan_m2": round(c.plan_m2, 6),
                "kits": round(c.kits, 6),
                "full": c.full,
                "outline": rings(c.outline),
            }
            for c in m.cells
        ],
    }


def sheet_of(made: Pipeline, marks: Marks, paper: str | None = None) -> MarksSheet:
    """What the marks sheet prints, in the job's languages and units."""
    job = made.job
    us = job.units != "si"
    return MarksSheet(
        job=f"{job.name} ({job.id})",
        section_id=marks.section_id,
        coat_id=marks.coat_id,
        product=marks.product_id,
        layout_id=marks.id,
        reach=show(marks.reach_m2, "area", "us" if us else "si"),
        cells=marks.cells,
        parts=marks.parts,
        lines=marks.lines,
        cautions=_cautions(made, marks),
        languages=tuple(job.languages),
        system="us" if us else "si",
        paper=paper or ("us-letter" if us else "a4"),
        made_utc_s=int(job.as_of.timestamp()),
        notes=tuple(tuple(say(m, lang) for lang in job.languages) for m in marks.messages),
        invented=job.invented,
    )


def _cautions(made: Pipeline, marks: Marks) -> tuple[tuple[str, ...], ...]:
    section = next(s for s in made.sections.sections if s.id == marks.section_id)
    deck = next(d for d in made.drawings.decks if d.id == marks.deck_id)
    hazards = made.job.products[marks.product_id].hazards
    found = cautions_for(
        marks.coat_id, hazards, deck.post_tensioned.value, section.exposure.value, night=False
    )
    return tuple(tuple(say(m, lang) for lang in made.job.languages) for m in found)


def write_marks(made: Pipeline, marks: Marks, out: Path, name: str | None = None) -> list[Path]:
    """Sheet, drawing, DXF, GeoJSON and data of one layout in a folder."""
    sheet = sheet_of(made, marks)
    name = name or f"{marks.section_id}-{marks.coat_id}"
    about = {"layout": marks.id, "section_id": marks.section_id, "coat_id": marks.coat_id}
    files: dict[str, str | bytes] = {
        f"{name}-marks.pdf": render_marks_pdf(sheet),
        f"{name}-marks.svg": drawing(sheet),
        f"{name}-marks.dxf": marks_dxf(marks.cells, feet=made.job.units != "si"),
        f"{name}-marks.geojson": marks_geojson(marks.cells, about),
    }
    out.mkdir(parents=True, exist_ok=True)
    for file, data in files.items():
        write_atomic(out / file, data)
    return [out / file for file in files]


def write_all(made: Pipeline, marks: Sequence[Marks], out: Path) -> list[Path]:
    """`write_marks` of each; several layouts of one section and coat are numbered, and
    stand beside each other on one page."""
    by: dict[str, list[Marks]] = {}
    for m in marks:
        by.setdefault(f"{m.section_id}-{m.coat_id}", []).append(m)
    files = []
    for name, found in by.items():
        if len(found) == 1:
            files += write_marks(made, found[0], out, name)
            continue
        for k, m in enumerate(found, 1):
            files += write_marks(made, m, out, f"{name}-{k}")
        files.append(out / f"{name}-choices.pdf")
        write_atomic(files[-1], render_choices_pdf(choice_sheet(made, found)))
    return files


def drawings(made: Pipeline, marks: Sequence[Marks]) -> dict[str, str]:
    """One drawing for each deck, with the cells of each section's base coat."""
    out = {}
    for deck in made.drawings.decks:
        floors = []
        for section in made.sections.sections:
            mine = [m for m in marks if m.section_id == section.id and m.deck_id == deck.id]
            if mine:
                m = min(mine, key=lambda m: m.reach_m2)
                floors.append(
                    MarkedFloor(
                        section_id=m.section_id,
                        cells=m.cells,
                        exits=tuple(e for p in m.layouts for e in p.exits),
                        stop_lines=m.lines,
                    )
                )
        if floors:
            out[f"{deck.id}-marks"] = marks_svg(
                floors,
                title=f"{made.job.name} · {deck.name}",
                desc=say("marks.sheet.order"),
                exit_word=say("marks.sheet.exit"),
                corner_word=say("marks.sheet.corner"),
                prefix=f"marks-{deck.id}",
            )
    return out


def text_of(marks: Marks, system: System) -> str:
    """One layout for people."""
    full = sum(c.full for c in marks.cells)
    rows = [
        f"{marks.section_id} {marks.coat_id}: {len(marks.cells)} cells, {full} full kits of "
        f"{marks.product_id}, {show(marks.reach_m2, 'area', system)} each; layout {marks.id}",
    ]
    for part in marks.layouts:
        c = part.check
        rows.append(
            f"  lanes at {math.degrees(part.direction_rad) % 180:.1f}°, part kits "
            f"{part.part_kits}, seam waits {c.age_kits} kits, steps aside {c.jumps}, "
            f"trapped {len(c.trapped)}, unreachable {len(c.unreachable)}"
        )
    rows += [f"  {say(m)}" for m in marks.messages]
    return "\n".join(rows)
