"""Layouts to choose from, beside each other on one sheet of paper."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.typeset import typeset


@dataclass(frozen=True, kw_only=True)
class ChoiceOnPaper:
    """One layout: its picture, its figures as (name, value), and sentences about it."""

    layout: str
    svg: str
    figures: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ChoiceSheet:
    """The best layouts of one section and coat, best first."""

    job: str
    title: str
    about: str
    choices: tuple[ChoiceOnPaper, ...]
    language: str
    paper: str  # us-letter or a4
    made_utc_s: int
    invented: str = ""


def render_choices_pdf(sheet: ChoiceSheet) -> bytes:
    """One landscape page; the same sheet gives the same bytes.

    Raises
    ------
    SheetError
        If the setter warns of anything.
    """
    data = {
        "title": sheet.title,
        "job": sheet.job,
        "about": sheet.about,
        "choices": [
            {
                "layout": c.layout,
                "svg": c.svg,
                "alt": c.layout,
                "figures": [list(f) for f in c.figures],
                "notes": list(c.notes),
            }
            for c in sheet.choices
        ],
        "language": sheet.language,
        "paper": sheet.paper,
        "look": dict(look.PRINT),
        "invented": sheet.invented or None,
    }
    return typeset("choices", data, made_utc_s=sheet.made_utc_s, where=f"choices of {sheet.about}")
