"""The strip chart of one zone on paper."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.strip_chart import StripChart, strip_chart_svg
from tackfree.sheets.typeset import typeset

PAPER_PX = 1040.0


@dataclass(frozen=True, kw_only=True)
class StripSheet:
    """A chart with its clocks as a table. ``notes`` are sentences, ``rows`` cells of text."""

    job: str
    zone_id: str
    about: str
    chart: StripChart
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    language: str
    paper: str  # us-letter or a4
    made_utc_s: int
    invented: str = ""


def render_strip_pdf(sheet: StripSheet) -> bytes:
    """The chart, its clocks and its notes as one PDF.

    Raises
    ------
    SheetError
        If the setter warns of anything.
    """
    svg = strip_chart_svg(sheet.chart, palette="print", width=PAPER_PX)
    data = {
        "title": sheet.chart.words.title,
        "zone": sheet.zone_id,
        "job": sheet.job,
        "about": sheet.about,
        "svg": svg,
        "alt": sheet.chart.words.title,
        "head": list(sheet.head),
        "rows": [list(r) for r in sheet.rows],
        "notes": list(sheet.notes),
        "language": sheet.language,
        "paper": sheet.paper,
        "look": dict(look.PRINT),
        "invented": sheet.invented or None,
    }
    where = f"strip chart {sheet.zone_id}"
    return typeset("strip", data, made_utc_s=sheet.made_utc_s, where=where)
