"""The material order as a workbook with live formulas.

Change an area, a film, a fill, a loss or a kit in *Section × coat* and the kits, the
leftovers and the order follow. Each formula carries Python's own answer as its cached
value, so that a reader without a calculator shows the same numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from tackfree.sheets.look import DAY
from tackfree.supply.fill import MISSING
from tackfree.supply.types import CoatLine, DetailLine, Materials, OrderLine
from tackfree.units import FT2_MIL_PER_GAL, UM_PER_L_PER_M2, Kind, System, in_system
from tackfree.words import Message, say


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
class _Column:
    """One column: message id of its heading, unit, width, decimals, or text."""

    word: str
    unit: str = ""
    width: int = 12
    digits: int | None = None
    text: bool = False


_FIRST = 4  # row of the headings on every sheet, 0 first


def write_order(materials: Materials, header: OrderHeader, path: Path) -> Path:
    """Write the order workbook.

    Parameters
    ----------
    materials : Materials
    header : OrderHeader
        Job, date, units and language.
    path : Path
        Where the file goes; an old one is replaced.

    Returns
    -------
    Path
        The same path.

    Notes
    -----
    Sheets: order, section × coat, details, sand. Text from people is always text:
    never a formula, never a link.
    """
    book = xlsxwriter.Workbook(
        str(path),
        {
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    created = header.as_of.replace(tzinfo=None, microsecond=0)
    book.set_properties({"title": _word(header, "title", name=header.job_name), "created": created})
    writer = _Writer(book, header)
    names = {k: _word(header, k) for k in ("order", "coats", "details", "sand")}
    sheets = {k: writer.sheet(n) for k, n in names.items()}
    coats = _Coats(writer, sheets["coats"], names["coats"], materials.coats)
    sand = _Sand(writer, sheets["sand"], names["sand"], materials.coats)
    details = _Details(writer, sheets["details"], names["details"], materials.details)
    coats.write(details)
    sand.write()
    details.write(materials.coats)
    _order(writer, sheets["order"], materials, coats, details, sand)
    book.close()
    return path


class _Writer:
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
        return _word(self.header, key, **values)

    def sheet(self, name: str) -> Any:
        h = self.header
        sheet = self.book.add_worksheet(name)
        sheet.set_landscape()
        sheet.set_paper(1 if h.units == "us" else 9)
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(left=0.5, right=0.5, top=0.8, bottom=0.7)
        sheet.set_header("&L" + _plain(h.job_name) + "&R" + _plain(f"{h.job_id} · {name}"))
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

    def head(self, sheet: Any, columns: Sequence[_Column], rows: int) -> None:
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
            sheet.write_string(_FIRST, i, self.word(c.word, unit=c.unit), look)
            sheet.set_column(i, i, c.width)
        sheet.set_row(_FIRST, 46)
        sheet.freeze_panes(_FIRST + 1, 2)
        sheet.repeat_rows(_FIRST)
        if rows:
            sheet.autofilter(_FIRST, 0, _FIRST + rows, len(columns) - 1)

    def row(self, sheet: Any, row: int, columns: Sequence[_Column], cells: Iterable[Any]) -> None:
        """Text, a number, or a (formula, answer) pair in each column."""
        for i, (column, cell) in enumerate(zip(columns, cells, strict=True)):
            decimals = "." + "0" * column.digits if column.digits else ""
            shown = "0.0%" if column.word == "loss" else "#,##0" + decimals
            if isinstance(cell, str):
                indent = 1 if i and not columns[i - 1].text else 0
                sheet.write_string(row, i, cell, self.format(align="left", indent=indent))
            elif isinstance(cell, tuple):
                sheet.write_formula(row, i, "=" + cell[0], self.format(num_format=shown), cell[1])
            elif cell is not None:
                given = self.format(num_format=shown, bg_color=DAY["paper"])
                sheet.write_number(row, i, cell, given)


class _Table:
    """A sheet whose rows other sheets add up."""

    columns: tuple[_Column, ...]

    def __init__(self, writer: _Writer, sheet: Any, name: str, rows: int) -> None:
        self.w, self.sheet, self.name, self.rows = writer, sheet, name, rows

    def at(self, word: str, line: int) -> str:
        """The cell of a column in the row of a line, 0 first."""
        return f"{self._letter(word)}{_FIRST + 2 + line}"

    def all(self, word: str) -> str:
        """The whole column, as another sheet names it."""
        letter = self._letter(word)
        last = _FIRST + 1 + max(self.rows, 1)
        return f"{_quoted(self.name)}!${letter}${_FIRST + 2}:${letter}${last}"

    def _letter(self, word: str) -> str:
        return str(xl_col_to_name([c.word for c in self.columns].index(word)))


class _Coats(_Table):
    def __init__(self, w: _Writer, sheet: Any, name: str, lines: Sequence[CoatLine]) -> None:
        super().__init__(w, sheet, name, len(lines))
        self.lines = lines
        area, film, volume = (w.unit(k) for k in _AREA_FILM_VOLUME)
        self.columns = (
            _Column(word="section", width=18, text=True),
            _Column(word="coat", width=10, text=True),
            _Column(word="product", width=12, text=True),
            _Column(word="area", unit=area, digits=1),
            _Column(word="film", unit=film, digits=w.film_digits),
            _Column(word="fill", unit=film, digits=w.film_digits),
            _Column(word="loss", width=8),
            _Column(word="net", unit=volume, digits=2),
            _Column(word="gross", unit=volume, digits=2),
            _Column(word="in-kits", unit=volume, digits=2),
            _Column(word="kit", unit=volume, width=9, digits=2),
            _Column(word="kits", width=8),
            _Column(word="leftover", unit=volume, digits=2),
            _Column(word="reach", unit=area, width=14, digits=1),
            _Column(word="basis", width=48, text=True),
        )

    def write(self, details: _Details) -> None:
        w = self.w
        # area × film fills a volume: 1604.17 ft²·mil a gallon, 1000 m²·µm a litre
        per = FT2_MIL_PER_GAL if w.header.units == "us" else UM_PER_L_PER_M2
        depth = "231000/144" if w.header.units == "us" else "1000"
        w.head(self.sheet, self.columns, self.rows)
        for i, c in enumerate(self.lines):
            a, f, t, loss, net, gross, held, kit, kits = (
                self.at(x, i)
                for x in ("area", "film", "fill", "loss", "net", "gross", "in-kits", "kit", "kits")
            )
            area, film = w.number(c.area_m2, "area"), w.number(c.wft_um, "film")
            fill = w.number(c.fill_um, "film")
            w.row(self.sheet, _FIRST + 1 + i, self.columns, (
                c.section_id, c.coat_id, c.product_id, area, film,
                None if c.fill_basis == MISSING else fill, c.loss,
                (f"{a}*({f}+{t})/({depth})", area * (film + fill) / per),
                (f"{net}*(1+{loss})", w.number(c.gross_l, "volume")),
                (details.held_by(self.at("section", i), self.at("coat", i)),
                 w.number(c.detail_l, "volume")),
                w.number(c.kit_l, "volume"),
                (f"MAX(0,ROUNDUP(({gross}+{held})/{kit}-0.000000001,0))", c.kits),
                (f"{kits}*{kit}-{gross}-{held}", w.number(c.leftover_l, "volume")),
                (f"{kit}/(1+{loss})*({depth})/({f}+{t})", w.number(c.reach_m2, "area")),
                say(Message(id=c.fill_basis), w.header.language),
            ))  # fmt: skip


class _Details(_Table):
    def __init__(self, w: _Writer, sheet: Any, name: str, lines: Sequence[DetailLine]) -> None:
        super().__init__(w, sheet, name, len(lines))
        self.lines = lines
        length, area, volume = w.unit("length"), w.unit("area"), w.unit("volume")
        self.columns = (
            _Column(word="section", width=18, text=True),
            _Column(word="kind", width=22, text=True),
            _Column(word="product", width=12, text=True),
            _Column(word="length", unit=length, digits=1),
            _Column(word="area", unit=area, digits=1),
            _Column(word="volume", unit=volume, digits=2),
            _Column(word="packed-with", width=16, text=True),
            _Column(word="shared", unit=volume, width=16, digits=2),
            _Column(word="package", unit=volume, digits=2),
            _Column(word="packages", width=10),
        )

    def held_by(self, section: str, coat: str) -> str:
        """Volume of details that a coat's kits of a section hold."""
        return (
            f"SUMIFS({self.all('volume')},{self.all('section')},{section},"
            f"{self.all('packed-with')},{coat})"
        )

    def write(self, coats: Sequence[CoatLine]) -> None:
        w = self.w
        w.head(self.sheet, self.columns, self.rows)
        coat_ids = {(c.section_id, c.coat_id) for c in coats}
        for i, d in enumerate(self.lines):
            own = not d.packed_with
            coat = (d.section_id, d.packed_with) in coat_ids
            kind = self._kind(d.kind)
            volume, shared, package = (self.at(x, i) for x in ("volume", "shared", "package"))
            section, here = self.at("section", i), self.at("kind", i)
            # Each line's volume is written as worked out; its packages follow it.
            shared_cell = (
                f"SUMIFS({self.all('volume')},{self.all('section')},{section},"
                f"{self.all('packed-with')},{here})"
            )
            w.row(self.sheet, _FIRST + 1 + i, self.columns, (
                d.section_id, kind, d.product_id,
                w.number(d.length_m, "length") if d.length_m else None,
                w.number(d.area_m2, "area") if d.area_m2 else None,
                w.number(d.volume_l, "volume"),
                d.packed_with if coat or own else self._kind(d.packed_with),
                (shared_cell, w.number(d.shared_l, "volume")) if own else None,
                w.number(d.package_l, "volume") if own else None,
                (f"MAX(0,ROUNDUP(({volume}+{shared})/{package}-0.000000001,0))", d.packages)
                if own else None,
            ))  # fmt: skip

    def _kind(self, kind: str) -> str:
        return say(f"supply.detail.{kind}", self.w.header.language)


class _Sand(_Table):
    def __init__(self, w: _Writer, sheet: Any, name: str, lines: Sequence[CoatLine]) -> None:
        self.lines = [(i, c) for i, c in enumerate(lines) if c.aggregate_product_id is not None]
        super().__init__(w, sheet, name, len(self.lines))
        self.columns = (
            _Column(word="section", width=18, text=True),
            _Column(word="coat", width=10, text=True),
            _Column(word="product", width=14, text=True),
            _Column(word="area", unit=w.unit("area"), digits=1),
            _Column(word="rate", unit=w.unit("areal_mass"), width=16, digits=2),
            _Column(word="mass", unit=w.unit("mass"), digits=1),
            _Column(word="bag", unit=w.unit("mass"), digits=1),
            _Column(word="bags", width=8),
        )

    def write(self) -> None:
        w = self.w
        per = "/100" if w.header.units == "us" else ""
        w.head(self.sheet, self.columns, self.rows)
        for i, (_, c) in enumerate(self.lines):
            area, rate, mass, bag = (self.at(x, i) for x in ("area", "rate", "mass", "bag"))
            w.row(self.sheet, _FIRST + 1 + i, self.columns, (
                c.section_id, c.coat_id, c.aggregate_product_id,
                w.number(c.area_m2, "area"),
                w.number(c.aggregate_kg / c.area_m2, "areal_mass"),
                (f"{area}*{rate}{per}", w.number(c.aggregate_kg, "mass")),
                w.number(c.bag_kg, "mass"),
                (f"MAX(0,ROUNDUP({mass}/{bag}-0.000000001,0))", c.bags),
            ))  # fmt: skip


def _order(
    w: _Writer, sheet: Any, materials: Materials, coats: _Coats, details: _Details, sand: _Sand
) -> None:
    unit = f"{w.unit('volume')}, {w.unit('mass')}"
    columns = (
        _Column(word="product", width=18, text=True),
        _Column(word="unit", width=12, text=True),
        _Column(word="needed", unit=unit, width=16, digits=1),
        _Column(word="count", width=12),
        _Column(word="leftover", unit=unit, width=16, digits=1),
        _Column(word="each", unit=unit, width=16, digits=2),
    )
    w.head(sheet, columns, len(materials.order))
    for i, line in enumerate(materials.order):
        row = _FIRST + 2 + i
        needed, count, left = _sums(line, f"A{row}", f"C{row}", coats, details, sand)
        kind: Kind = "mass" if line.unit == "bag" else "volume"
        w.row(sheet, row - 1, columns, (
            line.product_id, say(f"supply.unit.{line.unit}", w.header.language),
            (needed, w.number(line.needed, kind)),
            (count, line.count),
            (left, w.number(line.leftover, kind)),
            (f"(C{row}+E{row})/MAX(1,D{row})",
             w.number((line.needed + line.leftover) / line.count, kind)),
        ))  # fmt: skip
    if materials.messages:
        row = _FIRST + 2 + len(materials.order)
        sheet.write_string(row, 0, w.word("notes"), w.format(bold=True))
        wrap = w.format(text_wrap=True, valign="top")
        for i, message in enumerate(materials.messages, 1):
            text = say(message, w.header.language)
            sheet.merge_range(row + i, 0, row + i, 5, "", wrap)
            sheet.write_string(row + i, 0, text, wrap)
            sheet.set_row(row + i, 15 * (1 + len(text) // 80))


def _sums(
    line: OrderLine, product: str, needed: str, coats: _Coats, details: _Details, sand: _Sand
) -> tuple[str, str, str]:
    """Formulas for what is needed, how many packages, and what they hold beyond it."""
    tables: tuple[tuple[_Table, str, str, str], ...] = (
        ((sand, "mass", "bags", "bag"),)
        if line.unit == "bag"
        else (
            (coats, "gross", "kits", "kit"),
            (details, "volume", "packages", "package"),
        )
    )
    total, pieces, bought = [], [], []
    for table, volume, count, size in tables:
        mine = table.all("product")
        total.append(f"SUMIFS({table.all(volume)},{mine},{product})")
        pieces.append(f"SUMIFS({table.all(count)},{mine},{product})")
        bought.append(f"SUMPRODUCT(({mine}={product})*{table.all(count)}*{table.all(size)})")
    metered = next((c for c in coats.lines if c.product_id == line.product_id and c.metered), None)
    if metered is not None:
        # Metered by ratio: packages are whole for the job, not in each section.
        kit = coats.w.number(metered.kit_l, "volume")
        count = f"MAX(0,ROUNDUP({needed}/{kit!r}-0.000000001,0))"
        return "+".join(total), count, f"{count}*{kit!r}-{needed}"
    return "+".join(total), "+".join(pieces), f"{'+'.join(bought)}-{needed}"


_AREA_FILM_VOLUME: tuple[Kind, ...] = ("area", "film", "volume")


def _word(header: OrderHeader, key: str, /, **values: object) -> str:
    return say(f"supply.sheet.{key}", header.language, **values)


def _plain(text: str) -> str:
    """Text for a page header, where & begins a code."""
    return text.replace("&", "&&")[:80]


def _quoted(name: str) -> str:
    return "'" + name.replace("'", "''") + "'"
