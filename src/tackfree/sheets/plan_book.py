"""The plan as a workbook: sections, crews and stalls by day; sums are live formulas."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from tackfree.sheets.book_pen import HEAD, BookPen
from tackfree.sheets.look import DAY


@dataclass(frozen=True, kw_only=True)
class BookHead:
    """What stands over the plan. ``as_of`` is also the file's date, so bytes repeat."""

    job_name: str
    as_of: datetime
    language: str
    letter: bool
    invented: bool = False


@dataclass(frozen=True, kw_only=True)
class GridRow:
    """A section: by day, its steps and whether its stalls are closed at some time."""

    id: str
    deck_id: str
    stalls: int
    steps: tuple[str, ...]
    closed: tuple[bool, ...]


@dataclass(frozen=True, kw_only=True)
class PlanGrid:
    """The plan by date; crews are (id, hours by date)."""

    days: tuple[date, ...]
    sections: tuple[GridRow, ...]
    crews: tuple[tuple[str, tuple[float, ...]], ...]
    stalls_total: int
    stalls_closed_max: int
    cut: tuple[int, ...] = ()  # stalls cut off at some time of each date


def write_plan_book(head: BookHead, grid: PlanGrid, path: Path) -> Path:
    """Write the workbook; the same plan gives the same bytes.

    Sheets: sections by day, crews by day (with sums of hours), stalls by day (each
    section's stalls as a formula of its count, sums, what is open and what room is left).
    """
    pen = _Pen(path, head, grid)
    _sections(pen)
    _crews(pen)
    _stalls(pen)
    pen.book.close()
    return path


class _Pen(BookPen):
    def __init__(self, path: Path, head: BookHead, grid: PlanGrid) -> None:
        super().__init__(
            path, "planboard.book", job_name=head.job_name, as_of=head.as_of,
            language=head.language, letter=head.letter,
        )  # fmt: skip
        self.head, self.grid = head, grid

    def sheet(
        self, name: str, first: Sequence[tuple[str, int]], day_width: int, *, days: int
    ) -> Any:
        """A page with its head and one column for each day; ``days`` go on one printed page."""
        wide = max(1, -(-len(self.grid.days) // days))
        sheet = self.page(name, made="made", fit=(wide, 1), invented=self.head.invented)
        title = self.word("title", name=self.head.job_name)
        note = self.word("invented") if self.head.invented else ""
        sheet.set_header(f"&L&B{_plain(title)}&R{_plain(self.word(name))}")
        sheet.set_footer(f"&L{self.head.as_of:%Y-%m-%d}&C{_plain(note)}&R&P / &N")
        for i, (text, width) in enumerate(first):
            sheet.write_string(HEAD, i, text, self.look(bold=True, bottom=2))
            sheet.set_column(i, i, width)
        style = self.look(bold=True, bottom=2, num_format="ddd d mmm", align="left", rotation=60)
        for i, d in enumerate(self.grid.days):
            sheet.write_datetime(HEAD, len(first) + i, datetime(d.year, d.month, d.day), style)
        sheet.set_column(len(first), len(first) + len(self.grid.days) - 1, day_width)
        sheet.set_row(HEAD, 56)
        sheet.freeze_panes(HEAD + 1, len(first))
        sheet.repeat_rows(HEAD)
        sheet.repeat_columns(0, len(first) - 1)
        return sheet

    def printed(self, sheet: Any, last_row: int, first: int) -> None:
        """Print from the headings on: the title over them stands in the page's head."""
        sheet.print_area(HEAD, 0, last_row, first + len(self.grid.days) - 1)


def _plain(text: str) -> str:
    """Text that a page's head or foot prints as it is."""
    return text.replace("&", "&&")


def _sections(pen: _Pen) -> None:
    first = [(pen.word("section"), 18), (pen.word("deck"), 8)]
    sheet = pen.sheet("sections", first, 11, days=14)
    worked = pen.look(text_wrap=True, font_size=9, valign="top", pattern=1,
                      bg_color=DAY["accent-ground"])  # fmt: skip
    shut = pen.look(pattern=14, fg_color=DAY["line"])  # thin diagonal hatch
    for r, row in enumerate(pen.grid.sections):
        at = HEAD + 1 + r
        sheet.set_row(at, 15 * max([1, *(s.count(",") + 1 for s in row.steps)]))
        sheet.write_string(at, 0, row.id, pen.look(bold=True, valign="top"))
        sheet.write_string(at, 1, row.deck_id, pen.look(valign="top"))
        for i, (steps, closed) in enumerate(zip(row.steps, row.closed, strict=True)):
            if steps:
                sheet.write_string(at, 2 + i, steps.replace(", ", ",\n"), worked)
            elif closed:
                sheet.write_blank(at, 2 + i, None, shut)
    pen.printed(sheet, HEAD + len(pen.grid.sections), len(first))


def _crews(pen: _Pen) -> None:
    days = len(pen.grid.days)
    sheet = pen.sheet("crews", [(pen.word("crew"), 18), (pen.word("total"), 10)], 7, days=21)
    hours = pen.look(num_format="0.0;;", bg_color=DAY["paper"])
    bold = pen.look(num_format="0.0", bold=True, top=1)
    last = xl_col_to_name(1 + days)
    for r, (name, by_day) in enumerate(pen.grid.crews):
        at = HEAD + 1 + r
        sheet.write_string(at, 0, name, pen.look(bold=True))
        sheet.write_formula(at, 1, f"=SUM(C{at + 1}:{last}{at + 1})",
                            pen.look(num_format="0.0"), sum(by_day))  # fmt: skip
        for i, h in enumerate(by_day):
            sheet.write_number(at, 2 + i, h, hours)
    at, top = HEAD + 1 + len(pen.grid.crews), HEAD + 2
    sheet.write_string(at, 0, f"{pen.word('total')} ({pen.word('hours')})", bold)
    columns = list(zip(*(by_day for _, by_day in pen.grid.crews), strict=True)) if days else []
    for i, values in enumerate([[sum(map(sum, columns))], *columns]):
        column = xl_col_to_name(1 + i)
        sheet.write_formula(at, 1 + i, f"=SUM({column}{top}:{column}{at})", bold, sum(values))
    pen.printed(sheet, at, 2)


def _stalls(pen: _Pen) -> None:
    """1 where closed; counts are the section's stalls times that, by formula."""
    rows = [r for r in pen.grid.sections if r.stalls]
    first = [(pen.word("section"), 18), (pen.word("deck"), 8), (pen.word("all-stalls"), 8)]
    sheet = pen.sheet("stalls", first, 6, days=21)
    mark = pen.look(num_format="0;;", align="center", bg_color=DAY["paper"])
    for r, row in enumerate(rows):
        at = HEAD + 1 + r
        sheet.write_string(at, 0, row.id, pen.look(bold=True))
        sheet.write_string(at, 1, row.deck_id, pen.look())
        sheet.write_number(at, 2, row.stalls, pen.look())
        for i, closed in enumerate(row.closed):
            sheet.write_number(at, 3 + i, int(closed), mark)
    end = HEAD + 1 + len(rows)
    total = sum(r.stalls for r in rows)
    most = pen.grid.stalls_closed_max
    names = ("closed-day", "cut-day", "most", "room", "open")
    for k, name in enumerate(names):
        sheet.write_string(end + k, 0, pen.word(name), pen.look(bold=True, top=int(k == 0)))
    sheet.write_formula(end, 2, f"=SUM(C{HEAD + 2}:C{end})", pen.look(top=1), total)
    sheet.write_number(end + 2, 2, most, pen.look())
    for i in range(len(pen.grid.days)):
        c = xl_col_to_name(3 + i)
        shut = sum(r.stalls for r in rows if r.closed[i])
        cut = pen.grid.cut[i] if pen.grid.cut else 0
        span = f"$C${HEAD + 2}:$C${end},{c}{HEAD + 2}:{c}{end}"
        sheet.write_formula(end, 3 + i, f"=SUMPRODUCT({span})", pen.look(top=1, bold=True), shut)
        sheet.write_number(end + 1, 3 + i, cut, pen.look())
        sheet.write_formula(end + 2, 3 + i, f"=$C${end + 3}", pen.look(), most)
        gone = f"{xl_rowcol_to_cell(end, 3 + i)}-{xl_rowcol_to_cell(end + 1, 3 + i)}"
        left = shut + cut
        sheet.write_formula(end + 3, 3 + i, f"={c}{end + 3}-{gone}", pen.look(), most - left)
        sheet.write_formula(end + 4, 3 + i, f"=$C${end + 1}-{gone}", pen.look(), total - left)
    sheet.write_string(end + 6, 3, pen.word("by-day"), pen.look(italic=True))
    pen.printed(sheet, end + 6, len(first))
