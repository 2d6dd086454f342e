"""The marks sheet on paper: what a person with a tape and a kit list needs.

Letter, A4 or A3, the same bytes each time. The template holds places only; all text
goes in as JSON, so that nothing typed can be read as markup.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from shapely import Point
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import Cell, Layout
from tackfree.marks.chalk import corner_of
from tackfree.marks.lanes import out_of
from tackfree.sheets import look
from tackfree.sheets.marks_lines import Measured, measured, on_paper, pair_text, step_of
from tackfree.sheets.marks_svg import Dimension, MarkedFloor, marks_svg
from tackfree.sheets.marks_tiles import tiling
from tackfree.sheets.typeset import typeset
from tackfree.units import System
from tackfree.words import say

_WORDS = (
    "lane", "lanes", "kits", "tally", "from", "to", "along", "across", "how", "lid", "order",
    "station", "advises", "lane-lines", "cuts", "others", "between", "laser", "tile", "match",
    "print-full", "cautions", "wait",
)  # fmt: skip
_TALL = 0.45  # width over height below which the plan stands beside the tables
_NARROW_PT = 210.0


@dataclass(frozen=True, kw_only=True)
class MarksSheet:
    """One section and coat on paper; ``notes`` are sentences in each language.

    ``parts`` are its layouts, each with the number of its first cell less 1; ``lines``
    where a stretch ends on purpose.
    """

    job: str
    section_id: str
    coat_id: str
    product: str
    layout_id: str
    reach: str
    cells: tuple[Cell, ...]
    parts: tuple[tuple[int, Layout], ...]
    languages: tuple[str, ...]
    system: System
    paper: str  # us-letter, a4 or a3
    made_utc_s: int
    lines: tuple[BaseGeometry, ...] = ()
    notes: tuple[tuple[str, ...], ...] = ()
    cautions: tuple[tuple[str, ...], ...] = ()
    invented: bool = False


def render_marks_pdf(sheet: MarksSheet) -> bytes:
    """The sheet as one PDF: plan, kits by lane with boxes to tick, lines to mark, tiles.

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
    sorted_out = _sorted_out(sheet)
    floor = _floor(sheet, sorted_out)
    box = _bounds(sheet.cells)
    tall = (box[2] - box[0]) / max(box[3] - box[1], 0.1) < _TALL
    notes = [list(dict.fromkeys(n)) for n in sheet.notes]
    if not all(m.corner_on_floor for m in sorted_out):
        notes.append(said("corner-off"))
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
        "total": said("total", cells=len(sheet.cells), full=sum(c.full for c in sheet.cells)),
        "notes": notes,
        "cautions": [list(dict.fromkeys(c)) for c in sheet.cautions],
        "invented": said("invented") if sheet.invented else None,
        "tall": tall,
        "drawing": {
            "svg": _drawn(sheet, floor, *((_NARROW_PT, 600.0) if tall else (740.0, 520.0))),
            "alt": f"{title[0]} {sheet.section_id}",
        },
        "lanes": _lanes(sheet.cells, said),
        "parts": [_tables(m, sheet.system, len(sorted_out) > 1, k, said)
                  for k, m in enumerate(sorted_out, 1)],
        "tiling": _tiling(sheet, floor, said),
    }  # fmt: skip


def drawing(sheet: MarksSheet) -> str:
    """The plan of the sheet, with corner, exits, station and running dimensions."""
    return _drawn(sheet, _floor(sheet, _sorted_out(sheet)), 740.0, 520.0)


def _sorted_out(sheet: MarksSheet) -> list[Measured]:
    shown = [c.number for c in sheet.cells]
    step = step_of(sheet.system)
    return [measured(one, shift, shown, step) for shift, one in sheet.parts]


def _floor(sheet: MarksSheet, sorted_out: Sequence[Measured]) -> MarkedFloor:
    layouts = [one for _, one in sheet.parts]
    found = zip(layouts, sorted_out, strict=True)
    return MarkedFloor(
        section_id=sheet.section_id,
        cells=sheet.cells,
        exits=tuple(e for one in layouts for e in one.exits),
        corners=tuple(_at(one, 0.0, 0.0) for one in layouts),
        stop_lines=sheet.lines,
        dimensions=tuple(d for one, m in found for d in _dimensions(one, m, sheet.system)),
    )


def _drawn(
    sheet: MarksSheet,
    floor: MarkedFloor,
    width: float = 0.0,
    height: float = 0.0,
    px_per_m: float | None = None,
) -> str:
    language = sheet.languages[0]
    return marks_svg(
        [floor],
        title=f"{sheet.section_id} {sheet.coat_id}",
        desc=say("marks.sheet.order", language),
        exit_word=say("marks.sheet.exit", language),
        corner_word=say("marks.sheet.corner", language),
        station_word=say("marks.sheet.mix", language),
        width=width,
        height=height,
        px_per_m=px_per_m,
    )


def _bounds(cells: Sequence[Cell]) -> tuple[float, float, float, float]:
    boxes = [c.outline.bounds for c in cells]
    return (
        min(b[0] for b in boxes), min(b[1] for b in boxes),
        max(b[2] for b in boxes), max(b[3] for b in boxes),
    )  # fmt: skip


def _at(layout: Layout, x_m: float, y_m: float) -> Point:
    """A place measured from the corner, on the deck."""
    cx, cy = corner_of(layout)
    place = out_of(Point(cx + x_m, cy + y_m), layout.frame)
    assert isinstance(place, Point)
    return place


def _dimensions(layout: Layout, found: Measured, system: System) -> list[Dimension]:
    """Cuts dimensioned along their lane's baseline, lane lines along their near end."""
    foot, right, up = (_at(layout, *xy) for xy in ((0, 0), (1, 0), (0, 1)))
    along = math.atan2(right.y - foot.y, right.x - foot.x)
    across = math.atan2(up.y - foot.y, up.x - foot.x)
    cuts = [
        Dimension(
            text=on_paper(c.x0_m, system),
            at=_at(layout, c.x0_m, c.y0_m),
            toward_rad=across,
            room_m=c.y1_m - c.y0_m,
        )
        for lane in sorted(found.cuts)
        for c in found.cuts[lane]
    ]
    lanes = [
        Dimension(text=on_paper(c.y0_m, system), at=_at(layout, c.x0_m, c.y0_m),
                  toward_rad=along, room_m=c.x1_m - c.x0_m)
        for c in found.lanes
    ]  # fmt: skip
    return cuts + lanes


def _lanes(cells: Sequence[Cell], said: Callable[..., list[str]]) -> list[dict[str, Any]]:
    """Kits of each lane in walking order; lanes of one kit each share a row."""
    by_lane: dict[int, list[Cell]] = defaultdict(list)
    for c in cells:
        by_lane[c.lane].append(c)
    every = f"{min(by_lane)}–{max(by_lane)}"
    if all(len(mine) == 1 for mine in by_lane.values()):
        by_lane = {0: list(cells)}
    return [
        {
            "lane": str(lane) if lane else every,
            "kits": f"{sum(c.kits for c in mine):.2f}".rstrip("0").rstrip("."),
            "boxes": [
                {"number": str(c.number),
                 "part": [] if c.full else said("part", share=f"{c.kits:.2f}")}
                for c in mine
            ],
        }
        for lane, mine in sorted(by_lane.items())
    ]  # fmt: skip


def _tables(
    found: Measured, system: System, several: bool, number: int, said: Callable[..., list[str]]
) -> dict[str, Any]:
    """The lines of one layout as rows of text."""

    def length(m: float) -> str:
        return on_paper(m, system)

    laser = found.laser_m
    return {
        "name": said("corner-of", number=number) if several else [],
        "laser": said("laser-set", at=length(laser)) if laser is not None else [],
        "lanes": [
            {"lanes": found.lanes_beside(c), "y": length(c.y0_m), "x0": length(c.x0_m),
             "x1": length(c.x1_m), "laser": _signed(found.offset(c), system),
             "wait": str(found.waits.get(found.lane_before(c), ""))}
            for c in found.lanes
        ],
        "cuts": [
            {"lane": str(lane),
             "at": [{"cells": pair_text(c), "x": length(c.x0_m)} for c in cuts]}
            for lane, cuts in sorted(found.cuts.items())
        ],
        "others": [
            {"cells": pair_text(c), "x0": length(c.x0_m), "y0": length(c.y0_m),
             "x1": length(c.x1_m), "y1": length(c.y1_m)}
            for c in found.others
        ],
    }  # fmt: skip


def _signed(length_m: float, system: System) -> str:
    return ("+" if length_m > 0 else "") + on_paper(length_m, system)


def _tiling(
    sheet: MarksSheet, floor: MarkedFloor, said: Callable[..., list[str]]
) -> dict[str, Any]:
    cut = tiling([floor], sheet.paper, sheet.system)
    paper = (
        f"{cut.bar_pt / 72:.3g} in" if sheet.system == "us" else f"{cut.bar_pt / 72 * 2.54:.3g} cm"
    )
    deck = on_paper(cut.bar_m, "us") if sheet.system == "us" else f"{cut.bar_m:g} m"
    return {
        "svg": _drawn(sheet, floor, px_per_m=cut.px_per_m),
        "width": cut.width,
        "height": cut.height,
        "name": said("scale", scale=cut.name),
        "bar": cut.bar_pt,
        "bar_text": said("bar", paper=paper, deck=deck),
        "tiles": [asdict(replace(t)) for t in cut.tiles],
    }
