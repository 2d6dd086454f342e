"""A workbook of the order: its head, formats, units, words, and tables that others add up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from xlsxwriter.utility import xl_col_to_name

from tackfree.sheets.look import DAY
from tackfree.units import Kind, System, in_system
from tackfree.words import say

FIRST = 4  # row of the headings on every sheet, 0 first
SHARES = ("loss", "enough")  # columns shown in %


@dataclass(frozen=True, kw_only=True)
class OrderHeader:
    """What stands over the order. ``as_of`` is also the file's date, so bytes repeat."""

    job_id: str
    job_name: str
    as_of: datetime
    units: System = "us"
    language: str = "en"
    invented: bool = False


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: message id of its heading, unit, width, decimals, or text."""

    word: str
    unit: str = ""
    width: int = 12
    digits: int | None = None
    text: bool = False


class Writer:
    """The workbook with its formats, units and words."""

    def __init__(self, book: Any, header: OrderHeader) -> None:
        self.book, self.header = book, header
        self.film_digits = 1 if header.units == "us" else 0
        self._formats: dict[tuple[tuple[str, Any], ...], Any] = {}

    def format(self, **traits: Any) -> Any:
        key = tuple(sorted(traits.items()))
        if key not in self._formats:
            self._formats[key] = self.book.add_format({"font_name": "Arial", **traits})
        return self._formats[key]

    def number(self, value: float, kind: Kind) -> float:
        return in_system(value, kind, self.header.units)[0]

    def unit(self, kind: Kind) -> str:
        return in_system(1.0, kind, self.header.units)[1]

    def word(self, key: str, /, **values: object) -> str:
        return word_of(self.header, key, **values)

    def sheet(self, name: str) -> Any:
        h = self.header
        sheet = self.book.add_worksheet(name)
        sheet.set_landscape()
        sheet.set_paper(1 if h.units == "us" else 9)
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(left=0.5, right=0.5, top=0.8, bottom=0.7)
        sheet.set_header("&L" + plain(h.job_name) + "&R" + plain(f"{h.job_id} · {name}"))
        sheet.set_footer(f"&L{h.as_of:%Y-%m-%d %H:%M}&R&P / &N")
        sheet.write_string(
            0, 0, self.word("title", name=h.job_name), self.format(bold=True, font_size=14)
        )
        sheet.write_string(
            1, 0, self.word("as-of", as_of=f"{h.as_of:%Y-%m-%d %H:%M}"), self.format()
        )
        if h.invented:
            sheet.write_string(2, 0, self.word("invented"), self.format(italic=True))
        return sheet

    def head(self, sheet: Any, columns: Sequence[Column], rows: int) -> None:
        """Headings in bold over a rule, frozen, repeated on each page."""
        for i, c in enumerate(columns):
            look = self.format(
                bold=True,
                text_wrap=True,
                valign="bottom",
                bottom=2,
                align="left" if c.text else "right",
                indent=1 if c.text and i and not columns[i - 1].text else 0,
            )
            sheet.write_string(FIRST, i, self.word(c.word, unit=c.unit), look)
            sheet.set_column(i, i, c.width)
        sheet.set_row(FIRST, 46)
        sheet.freeze_panes(FIRST + 1, 2)
        sheet.repeat_rows(FIRST)
        if rows:
            sheet.autofilter(FIRST, 0, FIRST + rows, len(columns) - 1)

    def row(self, sheet: Any, row: int, columns: Sequence[Column], cells: Iterable[Any]) -> None:
        """Text, a number, a day, or a (formula, answer) pair in each column; None is blank."""
        for i, (column, cell) in enumerate(zip(columns, cells, strict=True)):
            decimals = "." + "0" * column.digits if column.digits else ""
            shown = "0.0%" if column.word in SHARES else "#,##0" + decimals
            if isinstance(cell, str):
                indent = 1 if i and not columns[i - 1].text else 0
                sheet.write_string(row, i, cell, self.format(align="left", indent=indent))
            elif isinstance(cell, tuple):
                sheet.write_formula(row, i, "=" + cell[0], self.format(num_format=shown), cell[1])
            elif isinstance(cell, date):
                day = self.format(num_format="yyyy-mm-dd", align="right")
                sheet.write_datetime(row, i, datetime(cell.year, cell.month, cell.day), day)
            elif cell is not None:
                given = self.format(num_format=shown, bg_color=DAY["paper"])
                sheet.write_number(row, i, cell, given)


class Table:
    """A sheet whose rows other sheets add up."""

    columns: tuple[Column, ...]

    def __init__(self, writer: Writer, sheet: Any, name: str, rows: int) -> None:
        self.w, self.sheet, self.name, self.rows = writer, sheet, name, rows

    def at(self, word: str, line: int) -> str:
        """The cell of a column in the row of a line, 0 first."""
        return f"{self._letter(word)}{FIRST + 2 + line}"

    def all(self, word: str) -> str:
        """The whole column, as another sheet names it."""
        letter = self._letter(word)
        last = FIRST + 1 + max(self.rows, 1)
        return f"{quoted(self.name)}!${letter}${FIRST + 2}:${letter}${last}"

    def _letter(self, word: str) -> str:
        return str(xl_col_to_name([c.word for c in self.columns].index(word)))


def word_of(header: OrderHeader, key: str, /, **values: object) -> str:
    return say(f"supply.sheet.{key}", header.language, **values)


def plain(text: str) -> str:
    """Text for a page header, where & begins a code."""
    return text.replace("&", "&&")[:80]


def quoted(name: str) -> str:
    return "'" + name.replace("'", "''") + "'"
