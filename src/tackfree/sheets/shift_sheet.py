"""The shift sheet on paper: PDF/A-3a and PDF/UA-1, the same bytes each time.

The template holds places and words' order only. All text goes in as JSON, so
that nothing a user typed can be read as markup.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from tackfree.sheets import look
from tackfree.sheets.shift_types import Said, ShiftRow, ShiftSheet
from tackfree.sheets.typeset import typeset
from tackfree.words import say

ROOMY = 2  # with more placements the checks stand overleaf
COLUMNS = 4  # placements side by side in one table
PX_PER_PT = 4.0 / 3.0
_WORDS = (
    "title", "stop", "order", "checks", "legend", "cautions", "cautions-over", "all-over", "mixing",
    "mix-whole", "mix-clean-pail", "mix-log", "signs", "foreman", "who-said-go", "readings",
    "advises",
)  # fmt: skip
# label id, value, reason beside it, type size [pt], bold; a row no column fills is left out
_Cell = Callable[[ShiftRow], str]
_Why = Callable[[ShiftRow], Said]
_ROWS: tuple[tuple[str, _Cell, _Why, float, bool], ...] = (
    ("planned", lambda r: r.planned, lambda r: (), 10, False),
    ("start", lambda r: r.start_not_before, lambda r: r.start_why, 14, True),
    ("finish", lambda r: r.finish_by, lambda r: r.finish_why, 14, True),
    ("area", lambda r: r.area, lambda r: (), 10, False),
    ("kits", lambda r: _kits(r), lambda r: (), 14, True),
    ("reach", lambda r: r.reach, lambda r: (), 14, True),
    ("wet-film", lambda r: r.wet_film, lambda r: (), 14, True),
    ("sand", lambda r: r.sand, lambda r: (), 10, True),
    ("kit-minutes", lambda r: r.kit_minutes, lambda r: (), 10, False),
    ("pot-life", lambda r: r.pot_life, lambda r: (), 10, False),
    ("next-coat", lambda r: "", lambda r: r.next_coat, 9, False),
)


def _kits(row: ShiftRow) -> str:
    return f"{row.kits} × {row.product}" if row.kits.isdigit() else row.kits


def render_pdf(sheet: ShiftSheet) -> bytes:
    """The sheet as one PDF: a page to pin up, cautions and mixing overleaf.

    Raises
    ------
    SheetError
        If the setter warns of anything (a missing font, a missing text).
    """
    return typeset(
        "shift", page(sheet), made_utc_s=sheet.made_utc_s, where=f"shift sheet {sheet.name}"
    )


def page(sheet: ShiftSheet) -> dict[str, Any]:
    """Everything the template places, as plain data."""

    def said(name: str, **values: object) -> list[str]:
        return _once([say(f"sheet.{name}", lang, **values) for lang in sheet.languages])

    people = " / ".join(said("people", count=sheet.people))
    revision = " / ".join(said("revision", revision=sheet.revision))
    chunks = [sheet.rows[i : i + COLUMNS] for i in range(0, len(sheet.rows), COLUMNS)]
    return {
        "languages": list(sheet.languages),
        "look": dict(look.PRINT),
        "words": {name: said(name) for name in _WORDS},
        "title": f"{say('sheet.title', sheet.languages[0])} {sheet.name}",
        "job": f"{sheet.job_name} ({sheet.job_id})",
        "deck": f"{sheet.deck_id} {sheet.deck_name}".strip(),
        "dates": list(dict.fromkeys(sheet.date)),
        "shift": f"{sheet.shift_id} {sheet.shift_hours} · {sheet.crew_id}, {people} · {revision}",
        "weather": _once(sheet.weather),
        "invented": said("invented") if sheet.invented else None,
        "stop": sheet.stop,
        "stop_why": _once(sheet.stop_why),
        "strip": {"svg": sheet.strip_svg, "alt": sheet.strip_alt},
        "drawing": {
            "svg": sheet.drawing_svg,
            "alt": sheet.drawing_alt,
            "width": _width_px(sheet.drawing_svg) / PX_PER_PT,
        },
        "compact": len(sheet.rows) > ROOMY,
        "checks": [_once(c) for c in sheet.checks],
        "notes": [_once(n) for n in sheet.notes],
        "cautions": [list(c) for c in sheet.cautions],
        "mixing": [
            {"product": m.product, "parts": m.parts, "steps": list(m.steps)} for m in sheet.mixing
        ],
        "tables": [_table(chunk, said) for chunk in chunks],
        "foot": f"{sheet.job_id} · {sheet.deck_id} · {sheet.date[0]} · {sheet.shift_id} · "
        f"{sheet.crew_id} · {revision}",
    }


def _table(rows: Sequence[ShiftRow], said: Callable[[str], list[str]]) -> dict[str, Any]:
    lines = []
    for name, value, why, size, bold in _ROWS:
        if name == "planned" and len(rows) > ROOMY:
            continue  # the day strip shows it
        cells = [{"value": value(r), "why": _once(why(r))} for r in rows]
        if name == "next-coat":  # the sentence is the value
            cells = [{"value": " · ".join(_once(r.next_coat)), "why": []} for r in rows]
        if any(c["value"] for c in cells):
            lines.append({"label": said(name), "cells": cells, "size": size, "bold": bold})
    return {
        "columns": [
            {
                "number": str(r.number),
                "section": f"{r.section_id} {r.step_id}",
                "step": _once(r.step),
            }
            for r in rows
        ],
        "rows": lines,
    }


def _once(said: Sequence[str]) -> list[str]:
    """The same text in two languages is printed once."""
    return list(dict.fromkeys(said))


def _width_px(svg: str) -> float:
    found = re.search(r'width="([0-9.]+)"', svg)
    return float(found.group(1)) if found else 408.0
