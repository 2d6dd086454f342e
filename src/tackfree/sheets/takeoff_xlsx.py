"""The takeoff as a workbook with live formulas, and as CSV.

Change an outline, an obstacle or a slope in *Zones* and the floor, the developed area
and the sums by build-up follow. Each formula carries Python's own answer as its cached
value.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import xlsxwriter

from tackfree.deck.takeoff_rows import TakeoffRow
from tackfree.deck.takeoff_types import Takeoff
from tackfree.deck.types import Deck
from tackfree.sheets.look import DAY
from tackfree.units import System, in_system
from tackfree.words import Message, say

FIRST = 4  # row of the headings on every sheet, 0 first


@dataclass(frozen=True, kw_only=True)
class TakeoffHeader:
    """What stands over the takeoff. ``as_of`` is also the file's date, so bytes repeat."""

    job_id: str
    job_name: str
    as_of: datetime
    units: System = "us"
    language: str = "en"
    invented: bool = False


def takeoff_xlsx(
    takeoff: Takeoff,
    decks: Sequence[Deck],
    rows: Sequence[TakeoffRow],
    messages: Sequence[Message],
    header: TakeoffHeader,
) -> bytes:
    """The workbook: zones, sums by build-up, features, and what was left out or doubted."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    created = header.as_of.replace(tzinfo=None, microsecond=0)
    book.set_properties({"title": _word(header, "title", name=header.job_name), "created": created})
    w = _Writer(book, header)
    w.zones(takeoff, decks)
    w.features(rows)
    w.notes(messages)
    book.close()
    return out.getvalue()


class _Writer:
    def __init__(self, book: Any, header: TakeoffHeader) -> None:
        self.book, self.h = book, header
        base = {"font_name": "Arial"}
        self.plain = book.add_format(base)
        self.wrap = book.add_format({**base, "text_wrap": True, "valign": "top"})
        self.bold = book.add_format({**base, "bold": True, "font_size": 14})
        self.head = book.add_format(
            {**base, "bold": True, "bottom": 2, "text_wrap": True, "valign": "bottom"}
        )
        self.given = book.add_format({**base, "num_format": "#,##0.00", "bg_color": DAY["paper"]})
        self.factor = book.add_format({**base, "num_format": "0.00000", "bg_color": DAY["paper"]})
        self.made = book.add_format({**base, "num_format": "#,##0.00"})
        self.whole = book.add_format({**base, "num_format": "#,##0", "bg_color": DAY["paper"]})
        self.total = book.add_format({**base, "num_format": "#,##0.00", "bold": True, "top": 1})

    def number(self, value: float, kind: str) -> float:
        if kind == "count":
            return value
        return in_system(value, "area" if kind == "area" else "length", self.h.units)[0]

    def sheet(self, key: str, words: Sequence[str], widths: Sequence[int]) -> Any:
        sheet = self.book.add_worksheet(_word(self.h, key))
        sheet.set_landscape()
        sheet.set_paper(1 if self.h.units == "us" else 9)
        sheet.fit_to_pages(1, 0)
        sheet.write_string(0, 0, _word(self.h, "title", name=self.h.job_name), self.bold)
        as_of = f"{self.h.as_of:%Y-%m-%d %H:%M}"
        sheet.write_string(1, 0, _word(self.h, "as-of", as_of=as_of), self.plain)
        if self.h.invented:
            sheet.write_string(2, 0, say("sheet.invented", self.h.language), self.plain)
        area = in_system(1.0, "area", self.h.units)[1]
        length = in_system(1.0, "length", self.h.units)[1]
        for i, (word, width) in enumerate(zip(words, widths, strict=True)):
            text = _word(self.h, word, area=area, length=length)
            sheet.write_string(FIRST, i, text, self.head)
            sheet.set_column(i, i, width)
        sheet.freeze_panes(FIRST + 1, 2)
        sheet.repeat_rows(FIRST)
        return sheet

    def zones(self, takeoff: Takeoff, decks: Sequence[Deck]) -> None:
        known = {z.id: z for d in decks for z in d.zones}
        words = ("deck", "zone", "build-up", "outline", "obstacles", "floor", "factor", "field",
                 "upturn", "upturn-area", "stalls", "basis")  # fmt: skip
        sheet = self.sheet("zones", words, (10, 16, 12, 13, 13, 13, 10, 13, 12, 12, 10, 10))
        first = FIRST + 2  # 1 first
        last = first + len(takeoff.zones) - 1
        for i, t in enumerate(takeoff.zones):
            r, n = FIRST + 1 + i, first + i
            outline, obstacles = (
                self.number(t.outline_m2, "area"),
                self.number(t.obstacles_m2, "area"),
            )
            sheet.write_string(r, 0, t.deck_id, self.plain)
            sheet.write_string(r, 1, t.zone_id, self.plain)
            sheet.write_string(r, 2, known[t.zone_id].build_up_id, self.plain)
            sheet.write_number(r, 3, outline, self.given)
            sheet.write_number(r, 4, obstacles, self.given)
            sheet.write_formula(r, 5, f"=D{n}-E{n}", self.made, outline - obstacles)
            sheet.write_number(r, 6, t.slope_factor, self.factor)
            field = (outline - obstacles) * t.slope_factor
            sheet.write_formula(r, 7, f"=F{n}*G{n}", self.made, field)
            sheet.write_number(r, 8, self.number(t.upturn_m, "length"), self.given)
            sheet.write_number(r, 9, self.number(t.upturn_m2, "area"), self.given)
            sheet.write_number(r, 10, t.stalls, self.whole)
            sheet.write_string(r, 11, _word(self.h, f"basis-{known[t.zone_id].source}"), self.plain)
        end = FIRST + 1 + len(takeoff.zones)
        sheet.write_string(end, 0, _word(self.h, "total"), self.total)
        columns = {3: "outline_m2", 4: "obstacles_m2", 5: "plan_m2", 7: "field_m2", 8: "upturn_m",
                   9: "upturn_m2", 10: "stalls"}  # fmt: skip
        for column, name in columns.items():
            letter = chr(65 + column)
            kind = "count" if name == "stalls" else "length" if name == "upturn_m" else "area"
            value = sum(self.number(getattr(t, name), kind) for t in takeoff.zones)
            sheet.write_formula(
                end, column, f"=SUM({letter}{first}:{letter}{last})", self.total, value
            )
        row = end + 2
        sheet.write_string(row, 0, _word(self.h, "by-build-up"), self.head)
        for k, name in enumerate(dict.fromkeys(z.build_up_id for z in known.values())):
            mine = [t for t in takeoff.zones if known[t.zone_id].build_up_id == name]
            n = row + 2 + k
            sheet.write_string(n - 1, 0, name, self.plain)
            for column, attribute in ((7, "field_m2"), (9, "upturn_m2")):
                letter = chr(65 + column)
                formula = f"=SUMIF($C${first}:$C${last},$A{n},{letter}${first}:{letter}${last})"
                value = sum(self.number(getattr(t, attribute), "area") for t in mine)
                sheet.write_formula(n - 1, column, formula, self.made, value)

    def features(self, rows: Sequence[TakeoffRow]) -> None:
        words = (
            "deck",
            "zone",
            "build-up",
            "item",
            "quantity",
            "unit",
            "width",
            "depth",
            "basis",
            "ignored",
        )
        sheet = self.sheet("features", words, (10, 16, 12, 34, 14, 8, 10, 10, 12, 30))  # fmt: skip
        kept = [r for r in rows if r.item not in ("outline", "obstacles", "field")]
        for i, r in enumerate(kept, FIRST + 1):
            for column, text in enumerate((r.deck_id, r.zone_id, r.build_up_id)):
                sheet.write_string(i, column, text, self.plain)
            sheet.write_string(i, 3, item_word(r.item, self.h.language), self.plain)
            look = self.whole if r.kind == "count" else self.given
            sheet.write_number(i, 4, self.number(r.value, r.kind), look)
            sheet.write_string(i, 5, _unit(r, self.h.units), self.plain)
            for column, size in ((6, r.width_m), (7, r.depth_m)):
                if size is not None:
                    sheet.write_string(i, column, _size(size, self.h.units), self.plain)
            sheet.write_string(i, 8, _word(self.h, f"basis-{r.basis}"), self.plain)
            sheet.write_string(i, 9, "; ".join(r.ignored), self.plain)
        if kept:
            sheet.autofilter(FIRST, 0, FIRST + len(kept), 9)

    def notes(self, messages: Sequence[Message]) -> None:
        sheet = self.sheet("notes", ("note",), (120,))
        for i, m in enumerate(messages, FIRST + 1):
            sheet.write_string(i, 0, say(m, self.h.language), self.wrap)


def takeoff_csv(rows: Sequence[TakeoffRow], units: System) -> str:
    """The same rows as CSV: one quantity a line, English column names."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            "deck",
            "zone",
            "build_up",
            "item",
            "quantity",
            "unit",
            "width_mm",
            "depth_mm",
            "basis",
            "ignored",
        ]
    )
    for r in rows:
        value = r.value
        if r.kind != "count":
            value = in_system(value, "area" if r.kind == "area" else "length", units)[0]
        sizes = ["" if s is None else f"{s * 1000:g}" for s in (r.width_m, r.depth_m)]
        writer.writerow(
            [
                _safe(r.deck_id),
                _safe(r.zone_id),
                _safe(r.build_up_id),
                r.item,
                f"{value:.6g}",
                _unit(r, units),
                *sizes,
                r.basis,
                _safe("; ".join(r.ignored)),
            ]
        )
    return out.getvalue()


def item_word(item: str, language: str = "en") -> str:
    """What an item of the takeoff is called."""
    return say(f"deck.item.{item}", language)


def _safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") else text


def _unit(row: TakeoffRow, units: System) -> str:
    if row.kind == "count":
        return "count"
    return in_system(1.0, "area" if row.kind == "area" else "length", units)[1]


def _size(metres: float, units: System) -> str:
    return f"{metres / 0.0254:.4g} in" if units == "us" else f"{metres * 1000:.3g} mm"


def _word(header: TakeoffHeader, key: str, /, **values: object) -> str:
    return say(f"deck.sheet.{key}", header.language, **values)
