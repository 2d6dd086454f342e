"""A workbook that people print: its formats, its words, and the head of each page."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import xlsxwriter

from tackfree.words import say

HEAD = 4  # row of the headings, 0 first
_PLAIN = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


class BookPen:
    """One workbook; ``area`` is where its words lie, as ``price.sheet``.

    Text from people is always text: never a formula, never a link. ``as_of`` is also the
    file's date, so bytes repeat.
    """

    def __init__(
        self, path: Path, area: str, *, job_name: str, as_of: datetime, language: str, letter: bool
    ) -> None:
        self.book: Any = xlsxwriter.Workbook(str(path), _PLAIN)
        self.area, self.job_name, self.as_of = area, job_name, as_of
        self.language, self.letter = language, letter
        self._formats: dict[tuple[tuple[str, Any], ...], Any] = {}
        created = as_of.replace(tzinfo=None, microsecond=0)
        title = self.word("title", name=job_name)
        self.book.set_properties({"title": title, "created": created})

    def look(self, **traits: Any) -> Any:
        """A format, made once."""
        key = tuple(sorted(traits.items()))
        if key not in self._formats:
            self._formats[key] = self.book.add_format({"font_name": "Arial", **traits})
        return self._formats[key]

    def word(self, key: str, **values: object) -> str:
        return say(f"{self.area}.{key}", self.language, **values)

    def page(self, name: str, *, made: str, fit: tuple[int, int], invented: bool) -> Any:
        """A sheet with paper, footer, title, when it was made (the word ``made``)."""
        sheet = self.book.add_worksheet(self.word(name)[:31])
        sheet.set_landscape()
        sheet.set_paper(1 if self.letter else 9)
        sheet.fit_to_pages(*fit)
        sheet.set_footer(f"&L{self.as_of:%Y-%m-%d}&R&P / &N")
        big = self.look(bold=True, font_size=14)
        sheet.write_string(0, 0, self.word("title", name=self.job_name), big)
        sheet.write_string(1, 0, self.word(made, as_of=f"{self.as_of:%Y-%m-%d %H:%M}"), self.look())
        if invented:
            sheet.write_string(2, 0, self.word("invented"), self.look(italic=True))
        return sheet
