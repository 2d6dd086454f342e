"""Kit marks of a job: the cells of each section and coat, laid as the foreman asks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Section
from tackfree.errors import Fault, InputError, NotFound, Refused
from tackfree.marks.cell_types import Cell, Layout
from tackfree.marks.layout import BEST, OFF_FLOOR_M
from tackfree.marks.pace import both_areas
from tackfree.marks.sweep import only_areas
from tackfree.marks.tempo import truck_clock
from tackfree.service.marks_parts import (
    coat_of,
    lay_part,
    rates_of,
    said_before,
    section_slope,
    slope_of,
    whole_parts,
)
from tackfree.service.marks_types import Ask, Marks, content_id
from tackfree.service.pipeline import Pipeline
from tackfree.supply.types import CoatLine
from tackfree.words import Message

PERSON_M = 0.3  # practice: nobody works through less


def marks_of(made: Pipeline) -> tuple[Marks, ...]:
    """Every section × coat of a job; each coat runs the way that suits its own kits."""
    return tuple(
        lay_marks(made, c.section_id, c.coat_id, search=False) for c in made.materials.coats
    )


def lay_some(
    made: Pipeline,
    section_ids: Sequence[str],
    coat_id: str | None,
    ask: Ask,
    *,
    count: int = 1,
) -> tuple[Marks, ...]:
    """Layouts of the named sections in that order; of all where none is named.

    Kits at hand go to the sections one after the other, for each coat. ``count`` layouts
    of each are given to choose from.
    """
    known = [s.id for s in made.sections.sections]
    out: list[Marks] = []
    left: dict[str, int] = {}
    for section_id in section_ids or known:
        lines = [c for c in made.materials.coats if c.section_id == section_id]
        wanted = [c for c in lines if coat_id in (None, c.coat_id)]
        if not wanted and (section_ids or coat_id is None):
            _found(made, section_id, coat_id or "")
        for line in wanted:
            one = ask
            if ask.kits is not None:
                have = left.setdefault(line.coat_id, ask.kits)
                if have < 1:
                    continue
                one = replace(ask, kits=have)
            found = lay_choices(made, section_id, line.coat_id, one, count=count,
                                search=bool(section_ids))  # fmt: skip
            out += found
            if ask.kits is not None:
                used = len(found[0].cells) + _detail_kits(line)
                left[line.coat_id] = int(left[line.coat_id] - used + 1e-9)
    if not out:
        _found(made, known[0], coat_id or "")
    return tuple(out)


def lay_marks(
    made: Pipeline, section_id: str, coat_id: str, ask: Ask | None = None, *, search: bool = True
) -> Marks:
    """Cells of one section for one coat: the best layout; see `lay_choices`.

    ``search`` tries all directions; False only along and across where nothing is at fault.
    """
    return lay_choices(made, section_id, coat_id, ask, count=1, search=search)[0]


def lay_choices(
    made: Pipeline,
    section_id: str,
    coat_id: str,
    ask: Ask | None = None,
    *,
    count: int = BEST,
    search: bool = True,
) -> tuple[Marks, ...]:
    """The best layouts of one section and coat that differ, best first.

    Parameters
    ----------
    made : Pipeline
    section_id, coat_id : str
    ask : Ask, optional
        What is fixed.
    count : int
        At most so many.

    Raises
    ------
    NotFound
        If the section or its coat is not in the job.
    InputError
        If a number cannot be right, or nothing is left to coat.
    Refused
        If an exit lies off the floor.
    """
    ask = ask or Ask()
    section, line = _found(made, section_id, coat_id)
    _sound(ask, section)
    if ask.placed:
        return _after_placed(made, section, line, ask, count, search)
    floor: Polygon | MultiPolygon = section.floor
    if ask.kept_out is not None:
        floor = _without(floor, ask.kept_out, section_id)
    return _choices(made, section, line, ask, floor, 0, count, search)


def _after_placed(
    made: Pipeline, section: Section, line: CoatLine, ask: Ask, count: int, search: bool
) -> tuple[Marks, ...]:
    """What is left after the cells that are down, as new layouts; numbers go on."""
    whole = replace(ask, placed=0, kits=None, kept_out=None, open_minutes=ask.open_minutes)
    first = lay_marks(made, section.id, line.coat_id, whole, search=search)
    if ask.placed >= len(first.cells):
        raise InputError(
            f"{ask.placed} cells are placed; the section has {len(first.cells)}.",
            where=section.id, do="Nothing is left to lay out.",
        )  # fmt: skip
    left = left_of(first.cells, ask.placed)
    if ask.kept_out is not None:
        left = _without(left, ask.kept_out, section.id)
    return _choices(made, section, line, ask, left, ask.placed, count, search)


def left_of(cells: Sequence[Cell], placed: int) -> Polygon | MultiPolygon:
    """The floor of the cells after the first ``placed``. [m]"""
    left = shapely.union_all([c.outline for c in cells if c.number > placed], grid_size=1e-7)
    return only_areas(left)


def _choices(
    made: Pipeline,
    section: Section,
    line: CoatLine,
    ask: Ask,
    floor: Polygon | MultiPolygon,
    shift: int,
    count: int,
    search: bool,
) -> tuple[Marks, ...]:
    parts = [p for p in shapely.get_parts(floor) if isinstance(p, Polygon) and p.area > 1e-6]
    slopes = [slope_of(made, section, p) for p in parts]
    said = said_before(made, section, line, ask)
    true = [p.area * s for p, s in zip(parts, slopes, strict=True)]
    if len(parts) > 1 and max(true) <= line.reach_m2:
        cells = whole_parts(parts, slopes, line.reach_m2, shift)
        said.append(_about(section, line, "marks.cells.whole-parts"))
        return (_marks(section, line, ask, cells, (), slopes[0], said, ()),)
    if len(parts) > 1:
        said.append(_about(section, line, "marks.cells.apart", count=len(parts)))
    if sum(true) < line.reach_m2 * (1 - 1e-3):
        share = f"{sum(true) / line.reach_m2:.2f}"
        said.append(_about(section, line, "marks.cells.kit-larger", share=share))
    deck = next(d for d in made.drawings.decks if d.id == section.deck_id)
    laid = [lay_part(made, section, line, ask, deck, p, s, count, search)
            for p, s in zip(parts, slopes, strict=True)]  # fmt: skip
    out: list[Marks] = []
    for k in range(min(count, max(len(one.choices) for one in laid))):
        at = shift
        cells, found, told = [], [], list(said)
        lines: list[BaseGeometry] = []
        for one in laid:
            chosen = one.choices[min(k, len(one.choices) - 1)]
            for layout in chosen.layouts:
                found.append((at, layout))
                cells += [replace(c, number=c.number + at) for c in layout.cells]
                told += [_numbered(m, at) for m in layout.messages]
                at += len(layout.cells)
            told += [m for m in (*one.messages, *one.tempo(chosen.layouts)) if m not in told]
            lines += chosen.lines
        marks = _marks(section, line, ask, cells, found, section_slope(section), told, lines)
        marks = replace(marks, messages=(*marks.messages, *_truck(made, section, line, ask, marks)))
        if all(marks.id != o.id for o in out):
            out.append(marks)
    return tuple(out)


def _about(section: Section, line: CoatLine, id_: str, **values: object) -> Message:
    return Message(id=id_, values={"section": section.id, "coat": line.coat_id, **values})


def _marks(
    section: Section,
    line: CoatLine,
    ask: Ask,
    cells: Sequence[Cell],
    parts: Sequence[tuple[int, Layout]],
    slope: float,
    told: Sequence[Message],
    lines: Sequence[BaseGeometry],
) -> Marks:
    """Cells cut to the kits at hand, with their id."""
    kept = list(cells)
    messages = list(told)
    bare = 0.0
    if ask.kits is not None:
        have = _kits_for_floor(line, ask.kits, section.id)
        end = min(have, len(cells))
        if ask.lane_end and end < len(cells):
            end = lane_end_before(cells, end)
        kept = list(cells[:end])
        bare = sum(c.kits for c in cells[end:]) * line.reach_m2
        covered = sum(c.kits for c in kept) * line.reach_m2
        left = {k.replace("area", "left"): v for k, v in both_areas(bare).items()}
        values = {"section": section.id, "coat": line.coat_id, "kits": ask.kits, "cell": 0,
                  **both_areas(covered), **left}  # fmt: skip
        if kept:
            values["cell"] = kept[-1].number
        messages.append(
            Message(id="marks.cells.fewer-kits" if bare else "marks.cells.all-kits", values=values)
        )
    return Marks(
        id=content_id(section.id, line.coat_id, line.reach_m2 / slope, kept),
        section_id=section.id,
        deck_id=section.deck_id,
        coat_id=line.coat_id,
        product_id=line.product_id,
        kit_l=line.kit_l,
        reach_m2=line.reach_m2,
        detail_l=line.detail_l,
        cells=tuple(kept),
        parts=tuple(parts),
        bare_m2=bare,
        messages=tuple(messages),
        lines=tuple(lines),
    )


def _truck(
    made: Pipeline, section: Section, line: CoatLine, ask: Ask, marks: Marks
) -> tuple[Message, ...]:
    """The clock of a late truck, at the slowest crew's rate; nothing where none is awaited."""
    if ask.truck_min is None or ask.down_by_min is None or not marks.bare_m2:
        return ()
    rates = rates_of(made, coat_of(made, section, line))
    if not rates:
        return (_about(section, line, "marks.truck.no-rate"),)
    return truck_clock(
        section_id=section.id, coat_id=line.coat_id, rest_m2=marks.bare_m2,
        first_m2=sum(c.kits for c in marks.cells) * line.reach_m2,
        rate_m2_per_h=min(r for _, r in rates),
        down_by_min=ask.down_by_min, truck_min=ask.truck_min,
    )  # fmt: skip


def lane_end_before(cells: Sequence[Cell], most: int) -> int:
    """The largest number of first cells, up to ``most``, that leaves no lane begun.

    ``most`` itself where the first lane is longer.
    """
    for end in range(most, 0, -1):
        ahead = {c.lane for c in cells[end:]}
        if not any(c.lane in ahead for c in cells[:end]):
            return end
    return most


def _detail_kits(line: CoatLine) -> float:
    return line.detail_l / line.kit_l if line.kit_l else 0.0


def _kits_for_floor(line: CoatLine, kits: int, section_id: str) -> int:
    """Whole kits left for the floor once the details are done."""
    have = int(kits - _detail_kits(line) + 1e-9)
    if have < 1:
        raise InputError(
            f"{kits} kits cover no floor: details take {_detail_kits(line):.2f} of them first.",
            where=section_id, do="Wait for more kits, or do the details alone.",
        )  # fmt: skip
    return have


def _numbered(message: Message, shift: int) -> Message:
    """A message about cells, with their numbers in the whole section."""
    cells = [n + shift for n in message.values["cells"]]
    return Message(id=message.id, values={**message.values, "cells": cells})


def _sound(ask: Ask, section: Section) -> None:
    section_id = section.id
    off = [e for e in ask.exits if section.floor.distance(e) > OFF_FLOOR_M]
    if off:
        raise Refused([
            Fault(where=f"{section_id}, exit at ({e.x:g}, {e.y:g}) m",
                  what=f"The exit lies {section.floor.distance(e):.1f} m off the floor.",
                  do="Put it on the edge of the floor.")
            for e in off
        ])  # fmt: skip
    if ask.passage_m is not None and not ask.passage_m >= PERSON_M:
        raise InputError(f"a passage of {ask.passage_m:g} m is narrower than a person.",
                         where=section_id, do="Give at least 1 ft (0.3 m).")  # fmt: skip
    if ask.kits is not None and ask.kits < 1:
        raise InputError(f"{ask.kits} kits cover no floor.", where=section_id,
                         do="Give at least one kit.")  # fmt: skip
    if (ask.truck_min is None) != (ask.down_by_min is None) or (
        ask.truck_min is not None and ask.kits is None
    ):
        raise InputError("the clock of a late truck lacks a number.", where=section_id,
                         do="Give the kits at hand, when the truck is promised, and when the "
                         "last kit must be down.")  # fmt: skip
    if ask.lane_m is not None and not ask.lane_m >= 0.3:
        raise InputError(f"a lane of {ask.lane_m:g} m is narrower than a person.",
                         where=section_id, do="Give a width of at least 1 ft (0.3 m).")  # fmt: skip
    if ask.placed < 0:
        raise InputError(f"{ask.placed} cells cannot be placed.", where=section_id,
                         do="Give 0 or more.")  # fmt: skip
    if ask.open_minutes is not None and not ask.open_minutes > 0:
        raise InputError(f"an edge that stays open {ask.open_minutes:g} min is none.",
                         where=section_id, do="Give minutes above 0.")  # fmt: skip


def _without(
    floor: Polygon | MultiPolygon, out: BaseGeometry, section_id: str
) -> Polygon | MultiPolygon:
    left = only_areas(shapely.difference(floor, out))
    if left.is_empty:
        raise InputError("nothing of the section is left to coat.", where=section_id,
                         do="Make the kept-out area smaller.")  # fmt: skip
    return left


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
