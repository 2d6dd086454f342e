"""Kit marks of a job: the cells of each section and coat, on screen, paper and file."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from tackfree.buildup.types import Coat
from tackfree.bundle.types import Job
from tackfree.deck.types import Deck, FeatureKind, Section
from tackfree.errors import InputError, NotFound
from tackfree.marks.cell_types import Cell, Layout, Wishes
from tackfree.marks.layout import best_layouts, directions, lay, rank
from tackfree.marks.pace import both_areas, rate_of
from tackfree.marks.sweep import only_areas
from tackfree.marks.tempo import keeps_wet_edge, minutes_per_kit
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.sheets.marks_files import marks_dxf, marks_geojson
from tackfree.sheets.marks_sheet import MarksSheet, drawing, render_marks_pdf
from tackfree.sheets.marks_svg import MarkedFloor, marks_svg
from tackfree.supply.types import CoatLine
from tackfree.units import System, show
from tackfree.words import Message, say

_FAR_M = 30.0  # an exit farther away than this is not this section's


@dataclass(frozen=True, kw_only=True)
class Marks:
    """The cells of one section for one coat; ``id`` is a hash of what is marked.

    ``parts`` are the layouts of its separate floors; cell numbers run through all.
    ``cells`` are those to be coated now, ``bare`` what stays uncoated.
    """

    id: str
    section_id: str
    deck_id: str
    coat_id: str
    product_id: str
    kit_l: float
    reach_m2: float
    detail_l: float
    cells: tuple[Cell, ...]
    parts: tuple[Layout, ...]
    bare_m2: float
    messages: tuple[Message, ...]


def marks_of(made: Pipeline) -> tuple[Marks, ...]:
    """Every section × coat of a job; all coats of a section run the same way."""
    out: list[Marks] = []
    ways: dict[str, float] = {}
    for line in made.materials.coats:
        way = ways.get(line.section_id)
        out.append(lay_marks(made, line.section_id, line.coat_id, direction_rad=way, search=False))
        if out[-1].parts:
            ways.setdefault(line.section_id, out[-1].parts[0].direction_rad)
    return tuple(out)


def lay_marks(
    made: Pipeline,
    section_id: str,
    coat_id: str,
    *,
    direction_rad: float | None = None,
    lane_m: float | None = None,
    module: bool = False,
    exits: Sequence[Point] = (),
    start: Point | None = None,
    kits: int | None = None,
    kept_out: BaseGeometry | None = None,
    open_minutes: float | None = None,
    search: bool = True,
) -> Marks:
    """Cells of one section for one coat.

    Parameters
    ----------
    made : Pipeline
    section_id, coat_id : str
    direction_rad, lane_m, module, exits, start
        What the user fixes; otherwise the best direction and the drawn exits count.
    kits : int, optional
        Only so many full kits are at hand: the floor that they cover.
    kept_out : geometry, optional
        An area that cannot be coated now (parked cars, rain). [m]
    open_minutes : float, optional
        How long a wet edge stays open. [min]
    search : bool
        Try all directions; False only along and across where nothing is at fault.

    Returns
    -------
    Marks

    Raises
    ------
    NotFound
        If the section or its coat is not in the job.
    InputError
        If ``kits`` is below 1 or nothing is left to coat.
    """
    section, line = _found(made, section_id, coat_id)
    deck = next(d for d in made.drawings.decks if d.id == section.deck_id)
    if kits is not None and kits < 1:
        raise InputError(f"{kits} kits cover no floor.", do="Give at least one kit.")
    floor: Polygon | MultiPolygon = section.floor
    if kept_out is not None:
        floor = only_areas(shapely.difference(floor, kept_out))
        if floor.is_empty:
            raise InputError("nothing of the section is left to coat.", where=section_id,
                             do="Make the kept-out area smaller.")  # fmt: skip
    slope = section.developed_m2 / section.floor.area
    target = line.reach_m2 / slope
    messages: list[Message] = []
    wishes = Wishes(exits=(Point(0, 0),), direction_rad=direction_rad, module=module, start=start,
                    stop_lines=_stop_lines(deck))  # fmt: skip
    if lane_m is not None:
        wishes = replace(wishes, lane_m=lane_m)
    if line.detail_l > 0:
        values = {"section": section_id, "coat": coat_id, "litres": round(line.detail_l, 1),
                  "gallons": round(line.detail_l / 3.785411784, 1)}  # fmt: skip
        messages.append(Message(id="marks.cells.details-first", values=values))
    parts = [p for p in shapely.get_parts(floor) if isinstance(p, Polygon)]
    cells: list[Cell] = []
    layouts: list[Layout] = []
    if len(parts) > 1 and max(p.area for p in parts) <= target:
        cells = _whole_parts(parts, target)
        messages.append(
            Message(id="marks.cells.whole-parts", values={"section": section_id, "coat": coat_id})
        )
    else:
        for part in parts:
            ways = [nearest_points(part, e)[0] for e in exits] or _exits(deck, part)
            if not ways:
                x, y = part.bounds[:2]
                ways = [nearest_points(part, Point(x, y))[0]]
                messages.append(Message(id="marks.cells.no-exit", values={"section": section_id}))
            one = _best(part, target, replace(wishes, exits=tuple(ways)), search)
            shift = len(cells)
            cells += [replace(c, number=c.number + shift) for c in one.cells]
            layouts.append(one)
            messages += one.messages
            told = _tempo(made.job, section, line, one, open_minutes)
            messages += [m for k, m in enumerate(told) if m not in told[:k]]
    bare = 0.0
    if kits is not None:
        bare = sum(c.plan_m2 for c in cells[kits:]) * slope
        covered = sum(c.plan_m2 for c in cells[:kits]) * slope
        cells = cells[:kits]
        areas = both_areas(covered)
        left = {k.replace("area", "left"): v for k, v in both_areas(bare).items()}
        messages.append(
            Message(
                id="marks.cells.fewer-kits" if bare else "marks.cells.all-kits",
                values={"section": section_id, "coat": coat_id, "kits": kits, **areas, **left},
            )
        )
    return Marks(
        id=_content_id(section_id, coat_id, target, cells),
        section_id=section_id,
        deck_id=section.deck_id,
        coat_id=coat_id,
        product_id=line.product_id,
        kit_l=line.kit_l,
        reach_m2=line.reach_m2,
        detail_l=line.detail_l,
        cells=tuple(cells),
        parts=tuple(layouts),
        bare_m2=bare,
        messages=tuple(messages),
    )


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
        "part_kits": sum(not c.full for c in m.cells),
        "age_kits": max((p.check.age_kits for p in m.parts), default=0),
        "jumps": sum(p.check.jumps for p in m.parts),
        "unreachable": sum(len(p.check.unreachable) for p in m.parts),
        "direction_rad": [round(p.direction_rad, 9) for p in m.parts],
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


def rings(outline: Polygon | MultiPolygon) -> list[list[list[list[float]]]]:
    """Coordinates of a multipolygon as GeoJSON has them, rounded to 1e-6 m."""
    return [
        [
            [[round(x, 6) + 0.0, round(y, 6) + 0.0] for x, y in ring.coords]
            for ring in (p.exterior, *p.interiors)
        ]
        for p in shapely.get_parts(shapely.orient_polygons(outline))
    ]


def _content_id(section_id: str, coat_id: str, target_m2: float, cells: Sequence[Cell]) -> str:
    what = [section_id, coat_id, round(target_m2, 9), [[c.number, rings(c.outline)] for c in cells]]
    return "MK-" + hashlib.sha256(json.dumps(what).encode()).hexdigest()[:12].upper()


def _whole_parts(parts: Sequence[Polygon], target_m2: float) -> list[Cell]:
    """Separate parts, in their order, as many whole ones as a kit covers."""
    groups: list[list[Polygon]] = [[]]
    for p in sorted(parts, key=lambda p: (round(p.centroid.y, 3), p.centroid.x)):
        if groups[-1] and sum(q.area for q in groups[-1]) + p.area > target_m2 * 1.001:
            groups.append([])
        groups[-1].append(p)
    out = []
    for n, group in enumerate(groups, 1):
        area = sum(p.area for p in group)
        out.append(
            Cell(number=n, outline=MultiPolygon(group), plan_m2=area, kits=area / target_m2,
                 full=abs(area / target_m2 - 1) <= 1e-3, lane=1)
        )  # fmt: skip
    return out


def _best(part: Polygon, target_m2: float, wishes: Wishes, search: bool) -> Layout:
    if not search and not wishes.module:
        ways = directions(part, wishes.direction_rad)[:2]
        tried = [lay(part, target_m2=target_m2, wishes=wishes, direction_rad=w) for w in ways]
        one = min(tried, key=rank)
        if not one.check.faults and len(one.check.slivers) <= 1:
            return one
    return best_layouts(part, target_m2=target_m2, wishes=wishes, count=1)[0]


def _found(made: Pipeline, section_id: str, coat_id: str) -> tuple[Section, CoatLine]:
    section = next((s for s in made.sections.sections if s.id == section_id), None)
    if section is None:
        raise NotFound(f"section {section_id} is not in the job.",
                       do="Take an id from the sections of the build.")  # fmt: skip
    lines = [c for c in made.materials.coats if c.section_id == section_id]
    line = next((c for c in lines if c.coat_id == coat_id), None)
    if line is None:
        raise NotFound(
            f"section {section_id} has no coat {coat_id}.",
            do=f"Its coats are {', '.join(c.coat_id for c in lines)}.",
        )
    return section, line


def _exits(deck: Deck, part: Polygon) -> list[Point]:
    """Where the crew leaves: the floor's nearest point to the nearest way off the deck."""
    ways = [f for f in deck.features if f.kind in (FeatureKind.EXIT, FeatureKind.ENTRANCE)]
    near = sorted((part.distance(f.geometry), f.id, f) for f in ways)
    if not near or near[0][0] > max(_FAR_M, part.length):
        return []
    return [nearest_points(part, near[0][2].geometry)[0]]


def _stop_lines(deck: Deck) -> tuple[Any, ...]:
    kinds = (FeatureKind.STOP_LINE, FeatureKind.JOINT)
    return tuple(f.geometry for f in deck.features if f.kind in kinds)


def _tempo(
    job: Job, section: Section, line: CoatLine, layout: Layout, open_minutes: float | None
) -> list[Message]:
    coat: Coat = next(c for c in job.build_ups[section.build_up_id].coats if c.id == line.coat_id)
    out = []
    for crew in job.crews:
        rate = rate_of(coat, crew.rates)
        if rate and open_minutes is not None:
            out.append(
                keeps_wet_edge(
                    layout,
                    section_id=section.id,
                    coat_id=coat.id,
                    kit_minutes=minutes_per_kit(reach_m2=line.reach_m2, rate_m2_per_h=rate),
                    open_minutes=open_minutes,
                    people=crew.people,
                )
            )
    return out


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
        languages=tuple(job.languages),
        system="us" if us else "si",
        paper=paper or ("us-letter" if us else "a4"),
        made_utc_s=int(job.as_of.timestamp()),
        notes=tuple(tuple(say(m, lang) for lang in job.languages) for m in marks.messages),
        invented=job.invented,
    )


def write_marks(made: Pipeline, marks: Marks, out: Path) -> list[Path]:
    """Sheet, drawing, DXF, GeoJSON and data of one layout in a folder."""
    sheet = sheet_of(made, marks)
    name = f"{marks.section_id}-{marks.coat_id}"
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
                        exits=tuple(e for p in m.parts for e in p.exits),
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
    for part in marks.parts:
        c = part.check
        rows.append(
            f"  lanes at {math.degrees(part.direction_rad) % 180:.1f}°, part kits "
            f"{part.part_kits}, seam waits {c.age_kits} kits, steps aside {c.jumps}, "
            f"trapped {len(c.trapped)}, unreachable {len(c.unreachable)}"
        )
    rows += [f"  {say(m)}" for m in marks.messages]
    return "\n".join(rows)


def lay_some(
    made: Pipeline,
    section_id: str | None,
    coat_id: str | None,
    *,
    direction_deg: float | None = None,
    lane_m: float | None = None,
    module: bool = False,
    kits: int | None = None,
    open_minutes: float | None = None,
) -> tuple[Marks, ...]:
    """Layouts of the named section and coat; all sections or coats where none is named."""
    wanted = [
        line
        for line in made.materials.coats
        if section_id in (None, line.section_id) and coat_id in (None, line.coat_id)
    ]
    if not wanted:
        _found(made, section_id or made.sections.sections[0].id, coat_id or "")
    if lane_m is not None and not lane_m > 0:
        raise InputError(f"a lane of {lane_m:g} m has no width.", do="Give a width above 0.")
    return tuple(
        lay_marks(
            made,
            line.section_id,
            line.coat_id,
            direction_rad=None if direction_deg is None else math.radians(direction_deg),
            lane_m=lane_m,
            module=module,
            kits=kits,
            open_minutes=open_minutes,
            search=section_id is not None,
        )
        for line in wanted
    )
