"""Film evidence of one section and coat on paper, for the closeout."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.evidence_map import FilmMap, film_map_svg
from tackfree.sheets.typeset import typeset

PAPER_PX = 1040.0
TALL = 40.0  # ems; map and rule stand on one page
Rows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class FilmSheet:
    """A map with its verdicts, readings and sources; everything is said already."""

    title: str
    job: str
    word: str
    asked: str
    rule: str
    rules: tuple[str, ...]
    beside: tuple[str, ...]
    clash: tuple[str, ...]
    picture: FilmMap
    patches_title: str
    patch_head: tuple[str, ...]
    patches: Rows
    until: str
    numbers: tuple[str, ...]
    notes: tuple[str, ...]
    readings_title: str
    reading_head: tuple[str, ...]
    readings: Rows
    sources: str
    language: str
    paper: str  # us-letter or a4
    made_utc_s: int
    invented: str = ""


def render_film_pdf(sheet: FilmSheet) -> bytes:
    """The figure as PDF; the same bytes each time.

    Raises
    ------
    SheetError
        If the setter warns of anything.
    """
    svg = film_map_svg(sheet.picture, width=PAPER_PX, type_px=15.0, tall=TALL)
    wide, high = (float(n) for n in re.findall(r'(?:width|height)="([\d.]+)"', svg)[:2])
    data = {
        "title": sheet.title, "job": sheet.job, "word": sheet.word, "asked": sheet.asked,
        "rule": sheet.rule, "rules": list(sheet.rules), "beside": list(sheet.beside),
        "clash": list(sheet.clash),
        "svg": svg, "ratio": high / wide,
        "alt": "; ".join([sheet.title, *(f"{p.id}: {p.word}" for p in sheet.picture.patches)]),
        "patches-title": sheet.patches_title, "patch-head": list(sheet.patch_head),
        "patches": [list(r) for r in sheet.patches], "until": sheet.until,
        "numbers": list(sheet.numbers), "notes": list(sheet.notes),
        "readings-title": sheet.readings_title, "reading-head": list(sheet.reading_head),
        "readings": [list(r) for r in sheet.readings], "sources": sheet.sources,
        "language": sheet.language, "paper": sheet.paper, "look": dict(look.PRINT),
        "invented": sheet.invented or None,
    }  # fmt: skip
    return typeset("film", data, made_utc_s=sheet.made_utc_s, where=sheet.title)
