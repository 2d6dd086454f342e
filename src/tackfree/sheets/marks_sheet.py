"""The marks sheet on paper: what a person with a tape and a kit list needs.

Letter or A4, the same bytes each time. The template holds places only; all text goes
in as JSON, so that nothing typed can be read as markup.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from shapely import Point

from tackfree.marks.cell_types import Cell, Layout
from tackfree.marks.chalk import EIGHTH_INCH_M, ChalkLine, chalk_lines, corner_of
from tackfree.marks.lanes import out_of
from tackfree.sheets import look
from tackfree.sheets.marks_svg import MarkedFloor, marks_svg
from tackfree.sheets.typeset import typeset
from tackfree.units import System, show
from tackfree.units.show import feet_and_inches
from tackfree.words import say

TWO_MM_M = 0.002
_WORDS = (
    "coat", "lane", "kits", "cells", "tally", "cut", "from", "to", "along", "across", "how", "lid",
    "order", "lines", "station", "advises",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class MarksSheet:
    """One section and coat on paper; ``notes`` are sentences in each language."""

    job: str
    section_id: str
    coat_id: str
    product: str
    layout_id: str
    reach: str
    cells: tuple[Cell, ...]
    parts: tuple[Layout, ...]
    languages: tuple[str, ...]
    system: System
    paper: str  # us-letter or a4
    made_utc_s: int
    notes: tuple[tuple[str, ...], ...] = ()
    invented: bool = False


def render_marks_pdf(sheet: MarksSheet) -> bytes:
    """The sheet as one PDF: plan, kits by lane with boxes to tick, lines to mark.

    Raises
    ------
    SheetError
        If the setter warns of anything (a missing font, a missing text).
    """
    return typeset(
        "marks",
        page(sheet),
        made_utc_s=sheet.made_utc_s,
        where=f"marks sheet {sheet.section_id} {sheet.coat_id}",
    )


def page(sheet: MarksSheet) -> dict[str, Any]:
    """Everything the template places, as plain data."""

    def said(name: str, **values: object) -> list[str]:
        found = [say(f"marks.sheet.{name}", lang, **values) for lang in sheet.languages]
        return list(dict.fromkeys(found))

    title = said("title")
    return {
        "languages": list(sheet.languages),
        "look": dict(look.PRINT),
        "paper": sheet.paper,
        "title": f"{title[0]} {sheet.section_id} {sheet.coat_id}",
        "heading": title,
        "section": f"{sheet.section_id} · {sheet.coat_id}",
        "job": sheet.job,
        "product": sheet.product,
        "layout": sheet.layout_id,
        "words": {name: said(name) for name in _WORDS},
        "reach": said("reach", area=sheet.reach),
        "notes": [list(dict.fromkeys(n)) for n in sheet.notes],
        "invented": said("invented") if sheet.invented else None,
        "drawing": {"svg": drawing(sheet), "alt": f"{title[0]} {sheet.section_id}"},
        "lanes": _lanes(sheet.cells, said),
        "lines": lines_of(sheet),
    }


def drawing(sheet: MarksSheet) -> str:
    """The plan of the sheet, with corner and exits."""
    floor = MarkedFloor(
        section_id=sheet.section_id,
        cells=sheet.cells,
        exits=tuple(e for p in sheet.parts for e in p.exits),
        corners=tuple(_corner(p) for p in sheet.parts),
    )
    language = sheet.languages[0]
    return marks_svg(
        [floor],
        title=f"{sheet.section_id} {sheet.coat_id}",
        desc=say("marks.sheet.order", language),
        exit_word=say("marks.sheet.exit", language),
        corner_word=say("marks.sheet.corner", language),
        width=740,
        height=520,
    )


def _corner(layout: Layout) -> Point:
    place = out_of(Point(*corner_of(layout)), layout.frame)
    assert isinstance(place, Point)
    return place


def _lanes(cells: Sequence[Cell], said: Callable[..., list[str]]) -> list[dict[str, Any]]:
    by_lane: dict[int, list[Cell]] = defaultdict(list)
    for c in cells:
        by_lane[c.lane].append(c)
    return [
        {
            "lane": str(lane),
            "kits": f"{sum(c.kits for c in mine):.2f}".rstrip("0").rstrip("."),
            "boxes": [
                {"number": str(c.number),
                 "part": [] if c.full else said("part", share=f"{c.kits:.2f}")}
                for c in mine
            ],
        }
        for lane, mine in sorted(by_lane.items())
    ]  # fmt: skip


def lines_of(sheet: MarksSheet) -> list[dict[str, str]]:
    """Every line to mark: the cells beside it and both ends from the corner."""
    out = []
    shift = 0
    for part in sheet.parts:
        known = {c.number for c in sheet.cells}
        for line in chalk_lines(part, step_of(sheet.system)):
            a, b = line.cells[0] + shift, line.cells[1] + shift
            if a in known or b in known:
                out.append(
                    {
                        "cells": f"{min(a, b)}{' | ' if line.across else '–'}{max(a, b)}",
                        **_ends(line, sheet.system),
                    }
                )
        shift += len(part.cells)
    return out


def step_of(system: System) -> float:
    """The smallest division of the tape. [m]"""
    return EIGHTH_INCH_M if system == "us" else TWO_MM_M


def _ends(line: ChalkLine, system: System) -> dict[str, str]:
    def length(m: float) -> str:
        return feet_and_inches(m) if system == "us" else f"{m:.3f} m"

    return {
        "x0": length(line.x0_m),
        "y0": length(line.y0_m),
        "x1": length(line.x1_m),
        "y1": length(line.y1_m),
    }


def reach_text(reach_m2: float, system: System) -> str:
    """An area as on paper."""
    return show(reach_m2, "area", system)
