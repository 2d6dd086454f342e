"""The price as a workbook with live formulas, to the cent.

Change a quantity or a price and lines, overhead, margin and total follow. Each formula
carries Python's own answer as its cached value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from tackfree.sheets.book_pen import HEAD, BookPen
from tackfree.sheets.look import DAY
from tackfree.supply.price_types import Price
from tackfree.words import say

_MONEY = "#,##0.00"


@dataclass(frozen=True, kw_only=True)
class PriceHeader:
    """What stands over the price. ``as_of`` is also the file's date, so bytes repeat."""

    job_id: str
    job_name: str
    as_of: datetime
    language: str = "en"
    letter: bool = True  # paper: letter, or A4


def write_price(price: Price, header: PriceHeader, path: Path) -> Path:
    """Write the price workbook.

    Parameters
    ----------
    price : Price
    header : PriceHeader
    path : Path
        Where the file goes; an old one is replaced.

    Notes
    -----
    Sheets: price, bid form, unit prices, range, alternates. Text from people is always
    text: never a formula, never a link.
    """
    pen = _Pen(path, price, header)
    total_cell = _lines(pen)
    _bid(pen, total_cell)
    _unit_prices(pen)
    _range(pen)
    if price.alternates:
        _alternates(pen)
    pen.book.close()
    return path


class _Pen(BookPen):
    def __init__(self, path: Path, price: Price, header: PriceHeader) -> None:
        super().__init__(
            path, "price.sheet", job_name=header.job_name, as_of=header.as_of,
            language=header.language, letter=header.letter,
        )  # fmt: skip
        self.price, self.header = price, header

    def unit(self, unit: str) -> str:
        found = say(f"price.unit.{unit}", self.header.language)
        return unit if found.startswith("price.") else found

    def sheet(self, name: str, columns: Sequence[tuple[str, int, bool]]) -> Any:
        """A page with its head; columns are (words, width, is a number)."""
        sheet = self.page(name, made="printed", fit=(1, 0), invented=self.price.invented)
        for i, (text, width, number) in enumerate(columns):
            style = self.look(
                bold=True,
                bottom=2,
                text_wrap=True,
                align="right" if number else "left",
                indent=1 if i and not number and columns[i - 1][2] else 0,
            )
            sheet.write_string(HEAD, i, text, style)
            sheet.set_column(i, i, width)
        sheet.freeze_panes(HEAD + 1, 0)
        sheet.repeat_rows(HEAD)
        return sheet

    def given(self, sheet: Any, row: int, column: int, value: Decimal, form: str = _MONEY) -> None:
        style = self.look(num_format=form, bg_color=DAY["paper"])
        sheet.write_number(row, column, float(value), style)

    def worked(
        self, sheet: Any, row: int, column: int, formula: str, value: Decimal, **traits: Any
    ) -> None:
        style = self.look(num_format=_MONEY, **traits)
        sheet.write_formula(row, column, "=" + formula, style, float(value))


def _lines(pen: _Pen) -> str:
    """The price itself; returns the cell of its total as other sheets name it."""
    price, word = pen.price, pen.word
    money = {"currency": price.currency}
    sheet = pen.sheet("price", (
        (word("group"), 18, False), (word("text"), 58, False), (word("quantity"), 12, True),
        (word("unit"), 12, False), (word("each", **money), 16, True),
        (word("amount", **money), 18, True),
    ))  # fmt: skip
    first = HEAD + 1
    for i, x in enumerate(price.lines):
        row = first + i
        sheet.write_string(row, 0, say(f"price.group.{x.group}", pen.header.language), pen.look())
        sheet.write_string(row, 1, x.name, pen.look())
        pen.given(sheet, row, 2, x.quantity)
        sheet.write_string(row, 3, pen.unit(x.unit), pen.look(indent=1))
        pen.given(sheet, row, 4, x.each)
        pen.worked(sheet, row, 5, f"ROUND(C{row + 1}*E{row + 1},2)", x.amount)
    row = first + len(price.lines)
    last = max(row, first + 1)
    foot = row + 1
    d, o, m, t = (f"F{foot + k}" for k in range(1, 5))
    rates = (None, price.overhead_rate, price.margin_rate, None)
    formulas = (
        f"SUM(F{first + 1}:F{last})",
        f"ROUND({d}*E{foot + 2},2)",
        f"ROUND(({d}+{o})*E{foot + 3}/(1-E{foot + 3}),2)",
        f"{d}+{o}+{m}",
    )
    sums = (price.direct, price.overhead, price.margin, price.total)
    for k, name in enumerate(("direct", "overhead", "margin", "total")):
        bold = name == "total"
        traits: dict[str, Any] = {"bold": bold, "top": 1 if k == 0 else (2 if bold else 0)}
        sheet.write_string(foot + k, 1, word(name), pen.look(bold=bold))
        rate = rates[k]
        if rate is not None:
            pen.given(sheet, foot + k, 4, rate, "0.00%")
        pen.worked(sheet, foot + k, 5, formulas[k], sums[k], **traits)
    sheet.write_string(foot + 5, 1, word("leftover"), pen.look(italic=True))
    pen.given(sheet, foot + 5, 5, price.leftover)
    name = word("price").replace("'", "''")
    return f"'{name}'!{t}"


def _bid(pen: _Pen, total: str) -> None:
    price, word = pen.price, pen.word
    money = {"currency": price.currency}
    sheet = pen.sheet("bid", (
        (word("item"), 10, False), (word("text"), 58, False), (word("quantity"), 14, True),
        (word("unit"), 10, False), (word("each", **money), 18, True),
        (word("amount", **money), 18, True), (word("share"), 14, True),
    ))  # fmt: skip
    first, last = HEAD + 1, HEAD + len(price.bid)
    for i, x in enumerate(price.bid):
        row = first + i
        sheet.write_string(row, 0, x.item, pen.look())
        sheet.write_string(row, 1, x.text, pen.look())
        pen.given(sheet, row, 2, x.quantity, "#,##0")
        sheet.write_string(row, 3, pen.unit(x.unit), pen.look(indent=1))
        pen.worked(sheet, row, 4, f"ROUND(F{row + 1}/C{row + 1},2)", x.unit_price)
        rest = f"{total}-SUM(F{first + 1}:F{row})" if i else total
        formula = rest if row == last else f"ROUND({total}*G{row + 1},2)"
        pen.worked(sheet, row, 5, formula, x.amount)
        pen.given(sheet, row, 6, x.share, "0.000000%")
    row = first + len(price.bid)
    sheet.write_string(row, 1, word("sum"), pen.look(bold=True))
    amounts = sum((x.amount for x in price.bid), Decimal(0))
    pen.worked(sheet, row, 5, f"SUM(F{first + 1}:F{row})", amounts, bold=True, top=2)
    sheet.write_string(row + 1, 1, word("total"), pen.look())
    pen.worked(sheet, row + 1, 5, total, price.total)


def _unit_prices(pen: _Pen) -> None:
    price, word = pen.price, pen.word
    sheet = pen.sheet("unit-prices", (
        (word("item"), 12, False), (word("text"), 58, False), (word("unit"), 10, False),
        (word("each", currency=price.currency), 18, True), (word("included"), 14, True),
    ))  # fmt: skip
    for i, x in enumerate(price.unit_prices):
        row = HEAD + 1 + i
        sheet.write_string(row, 0, x.id, pen.look())
        sheet.write_string(row, 1, x.name, pen.look())
        sheet.write_string(row, 2, pen.unit(x.unit), pen.look())
        pen.given(sheet, row, 3, x.price)
        pen.given(sheet, row, 4, x.allowance, "#,##0.##")


def _range(pen: _Pen) -> None:
    price, word = pen.price, pen.word
    money = {"currency": price.currency}
    sheet = pen.sheet("range", (
        (word("driver"), 58, False), (word("low") + f" ({money['currency']})", 18, True),
        (word("high") + f" ({money['currency']})", 18, True),
    ))  # fmt: skip
    if price.odds is None:
        return
    for k, (name, value) in enumerate((("p50", price.odds.p50), ("p80", price.odds.p80))):
        sheet.write_string(HEAD + 1 + k, 0, word(name), pen.look())
        pen.given(sheet, HEAD + 1 + k, 2, value)
    first = HEAD + 4
    for i, x in enumerate(price.odds.drivers):
        sheet.write_string(first + i, 0, x.name, pen.look())
        pen.given(sheet, first + i, 1, x.low)
        pen.given(sheet, first + i, 2, x.high)


def _alternates(pen: _Pen) -> None:
    price, word, language = pen.price, pen.word, pen.header.language
    base: dict[str, Decimal] = {}
    for x in price.lines:
        base[x.group] = base.get(x.group, Decimal(0)) + x.amount
    head = [(word("group"), 30, False), (word("base"), 22, True)]
    head += [(f"{a.id}: {a.name}", 26, True) for a in price.alternates]
    sheet = pen.sheet("alternates", head)
    groups = list(dict.fromkeys([*base, *(g for a in price.alternates for g in a.groups)]))
    rows = []
    for g in groups:
        every = [base.get(g, Decimal(0)), *(a.groups.get(g, Decimal(0)) for a in price.alternates)]
        rows.append((say(f"price.group.{g}", language), every))
    rows.append((word("total"), [price.total, *(a.total for a in price.alternates)]))
    for i, (name, values) in enumerate(rows):
        sheet.write_string(HEAD + 1 + i, 0, name, pen.look(bold=i == len(rows) - 1))
        for k, value in enumerate(values):
            pen.given(sheet, HEAD + 1 + i, 1 + k, value)
    row = HEAD + 1 + len(rows)
    sheet.write_string(row, 0, word("difference"), pen.look(italic=True))
    for k, a in enumerate(price.alternates):
        column = chr(ord("C") + k)
        pen.worked(sheet, row, 2 + k, f"{column}{row}-B{row}", a.difference, italic=True)
