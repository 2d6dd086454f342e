"""The best layouts of one section and coat beside each other, to choose one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tackfree import words
from tackfree.service.marks_types import Marks, figures
from tackfree.service.pipeline import Pipeline
from tackfree.sheets.marks_choices import ChoiceOnPaper, ChoiceSheet
from tackfree.sheets.marks_svg import MarkedFloor, marks_svg
from tackfree.units import System, show


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One layout: its picture, its figures as (name, value), and what is said of it."""

    layout: str
    svg: str
    figures: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    current: bool


def choices_view(
    laid: Sequence[Marks],
    *,
    current: str,
    lang: str,
    system: System,
    palette: str = "day",
    size: tuple[float, float] = (420.0, 420.0),
) -> tuple[Choice, ...]:
    """Layouts in the reader's language and units; ``current`` is the id of the one marked."""
    return tuple(
        Choice(
            layout=m.id,
            svg=_picture(m, k, lang=lang, palette=palette, size=size),
            figures=figure_rows(m, lang=lang, system=system),
            notes=tuple(words.say(n, lang) for n in m.messages),
            current=m.id == current,
        )
        for k, m in enumerate(laid, 1)
    )


def figure_rows(m: Marks, *, lang: str, system: System) -> tuple[tuple[str, str], ...]:
    """What tells one layout from another, as a person weighs it."""

    def say(name: str, **values: object) -> str:
        return words.say(f"marks.choice.{name}", lang, **values)

    found = figures(m)
    lanes = [
        say(
            "lanes-value",
            degrees=f"{math.degrees(one.direction_rad) % 180:.0f}",
            width=show(one.lane_m, "length", system),
        )
        for one in m.layouts
    ]
    rows = [
        (say("kits"), f"{len(m.cells)}"),
        (say("part-kits"), f"{found['part_kits']}"),
        (say("seam"), say("seam-value", kits=found["age_kits"])),
        (say("jumps"), f"{found['jumps']}"),
        (say("bent"), f"{sum(one.bent for one in m.layouts)}"),
        (say("lanes"), "; ".join(dict.fromkeys(lanes)) or "–"),
    ]
    if found["unreachable"]:
        rows.append((say("unreachable"), f"{found['unreachable']}"))
    return tuple(rows)


def choice_sheet(made: Pipeline, laid: Sequence[Marks]) -> ChoiceSheet:
    """The choices of one section and coat on one sheet of paper."""
    job, first = made.job, laid[0]
    lang = job.languages[0]
    system: System = "si" if job.units == "si" else "us"
    found = choices_view(laid, current="", lang=lang, system=system, palette="print",
                         size=(240.0, 300.0))  # fmt: skip
    return ChoiceSheet(
        job=f"{job.name} ({job.id})",
        title=words.say("marks.choice.title", lang),
        about=f"{first.section_id} · {first.coat_id} · {first.product_id}",
        choices=tuple(
            ChoiceOnPaper(layout=c.layout, svg=c.svg, figures=c.figures, notes=c.notes)
            for c in found
        ),
        language=lang,
        paper="us-letter" if job.units != "si" else "a4",
        made_utc_s=int(job.as_of.timestamp()),
        invented=words.say("marks.sheet.invented", lang) if job.invented else "",
    )


def _picture(m: Marks, number: int, *, lang: str, palette: str, size: tuple[float, float]) -> str:
    floor = MarkedFloor(
        section_id=m.section_id,
        cells=m.cells,
        exits=tuple(e for one in m.layouts for e in one.exits),
        stop_lines=m.lines,
    )
    return marks_svg(
        [floor],
        title=f"{m.section_id} {m.coat_id} {number}",
        desc=words.say("marks.sheet.order", lang),
        exit_word=words.say("marks.sheet.exit", lang),
        corner_word="",
        palette=palette,
        width=size[0],
        height=size[1],
        prefix=f"choice-{number}",
    )
