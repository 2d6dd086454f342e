"""The material order as a workbook with live formulas.

Change an area, a film, a fill, a loss or a kit in *Section × coat* and the kits, the
leftovers and the order follow. Each formula carries Python's own answer as its cached
value, so that a reader without a calculator shows the same numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import xlsxwriter

from tackfree.sheets.order_book import FIRST, Column, OrderHeader, Table, Writer, word_of
from tackfree.sheets.order_ranges import Deliveries, range_cells, range_columns
from tackfree.supply.fill import MISSING
from tackfree.supply.range_types import KitRange
from tackfree.supply.types import CoatLine, DetailLine, Materials, OrderLine
from tackfree.units import FT2_MIL_PER_GAL, UM_PER_L_PER_M2, Kind
from tackfree.words import Message, say


def write_order(
    materials: Materials,
    header: OrderHeader,
    path: Path,
    ranges: Sequence[KitRange] = (),
    currency: str = "",
) -> Path:
    """Write the order workbook.

    Parameters
    ----------
    materials : Materials
    header : OrderHeader
        Job, date, units and language.
    path : Path
        Where the file goes; an old one is replaced.
    ranges : sequence of KitRange
        Likely ranges, what to have and the deliveries, of every line of the order or none.
    currency : str
        Of what goes back; "" where nothing is priced.

    Returns
    -------
    Path
        The same path.

    Notes
    -----
    Sheets: order, section × coat, details, sand, deliveries. Text from people is always text:
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
    book.set_properties(
        {"title": word_of(header, "title", name=header.job_name), "created": created}
    )
    writer = Writer(book, header)
    keys = ("order", "coats", "details", "sand", *(("deliveries",) if ranges else ()))
    names = {k: word_of(header, k) for k in keys}
    sheets = {k: writer.sheet(n) for k, n in names.items()}
    coats = _Coats(writer, sheets["coats"], names["coats"], materials.coats)
    sand = _Sand(writer, sheets["sand"], names["sand"], materials.coats)
    details = _Details(writer, sheets["details"], names["details"], materials.details)
    coats.write(details)
    sand.write()
    details.write(materials.coats)
    beside = None
    if ranges:
        beside = Deliveries(writer, sheets["deliveries"], names["deliveries"], ranges)
        beside.write()
    _order(writer, sheets["order"], materials, (coats, details, sand), beside, currency)
    book.close()
    return path


class _Coats(Table):
    def __init__(self, w: Writer, sheet: Any, name: str, lines: Sequence[CoatLine]) -> None:
        super().__init__(w, sheet, name, len(lines))
        self.lines = lines
        area, film, volume = (w.unit(k) for k in _AREA_FILM_VOLUME)
        self.columns = (
            Column(word="section", width=18, text=True),
            Column(word="coat", width=10, text=True),
            Column(word="product", width=12, text=True),
            Column(word="area", unit=area, digits=1),
            Column(word="film", unit=film, digits=w.film_digits),
            Column(word="fill", unit=film, digits=w.film_digits),
            Column(word="loss", width=8),
            Column(word="net", unit=volume, digits=2),
            Column(word="gross", unit=volume, digits=2),
            Column(word="in-kits", unit=volume, digits=2),
            Column(word="kit", unit=volume, width=9, digits=2),
            Column(word="kits", width=8),
            Column(word="leftover", unit=volume, digits=2),
            Column(word="reach", unit=area, width=14, digits=1),
            Column(word="basis", width=48, text=True),
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
            w.row(self.sheet, FIRST + 1 + i, self.columns, (
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


class _Details(Table):
    def __init__(self, w: Writer, sheet: Any, name: str, lines: Sequence[DetailLine]) -> None:
        super().__init__(w, sheet, name, len(lines))
        self.lines = lines
        length, area, volume = w.unit("length"), w.unit("area"), w.unit("volume")
        self.columns = (
            Column(word="section", width=18, text=True),
            Column(word="kind", width=22, text=True),
            Column(word="product", width=12, text=True),
            Column(word="length", unit=length, digits=1),
            Column(word="area", unit=area, digits=1),
            Column(word="volume", unit=volume, digits=2),
            Column(word="packed-with", width=16, text=True),
            Column(word="shared", unit=volume, width=16, digits=2),
            Column(word="package", unit=volume, digits=2),
            Column(word="packages", width=10),
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
            w.row(self.sheet, FIRST + 1 + i, self.columns, (
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


class _Sand(Table):
    def __init__(self, w: Writer, sheet: Any, name: str, lines: Sequence[CoatLine]) -> None:
        self.lines = [(i, c) for i, c in enumerate(lines) if c.aggregate_product_id is not None]
        super().__init__(w, sheet, name, len(self.lines))
        self.columns = (
            Column(word="section", width=18, text=True),
            Column(word="coat", width=10, text=True),
            Column(word="product", width=14, text=True),
            Column(word="area", unit=w.unit("area"), digits=1),
            Column(word="rate", unit=w.unit("areal_mass"), width=16, digits=2),
            Column(word="mass", unit=w.unit("mass"), digits=1),
            Column(word="bag", unit=w.unit("mass"), digits=1),
            Column(word="bags", width=8),
        )

    def write(self) -> None:
        w = self.w
        per = "/100" if w.header.units == "us" else ""
        w.head(self.sheet, self.columns, self.rows)
        for i, (_, c) in enumerate(self.lines):
            area, rate, mass, bag = (self.at(x, i) for x in ("area", "rate", "mass", "bag"))
            w.row(self.sheet, FIRST + 1 + i, self.columns, (
                c.section_id, c.coat_id, c.aggregate_product_id,
                w.number(c.area_m2, "area"),
                w.number(c.aggregate_kg / c.area_m2, "areal_mass"),
                (f"{area}*{rate}{per}", w.number(c.aggregate_kg, "mass")),
                w.number(c.bag_kg, "mass"),
                (f"MAX(0,ROUNDUP({mass}/{bag}-0.000000001,0))", c.bags),
            ))  # fmt: skip


def _order(
    w: Writer,
    sheet: Any,
    materials: Materials,
    tables: tuple[_Coats, _Details, _Sand],
    deliveries: Deliveries | None,
    currency: str,
) -> None:
    unit = f"{w.unit('volume')}, {w.unit('mass')}"
    columns: tuple[Column, ...] = (
        Column(word="product", width=18, text=True),
        Column(word="unit", width=12, text=True),
        Column(word="needed", unit=unit, width=16, digits=1),
        Column(word="count", width=12),
        Column(word="leftover", unit=unit, width=16, digits=1),
        Column(word="each", unit=unit, width=16, digits=2),
    )
    if deliveries is not None:
        columns += range_columns(currency)
    w.head(sheet, columns, len(materials.order))
    for i, line in enumerate(materials.order):
        row = FIRST + 2 + i
        needed, count, left = _sums(line, f"A{row}", f"C{row}", *tables)
        kind: Kind = "mass" if line.unit == "bag" else "volume"
        cells: tuple[Any, ...] = (
            line.product_id, say(f"supply.unit.{line.unit}", w.header.language),
            (needed, w.number(line.needed, kind)),
            (count, line.count),
            (left, w.number(line.leftover, kind)),
            (f"(C{row}+E{row})/MAX(1,D{row})",
             w.number((line.needed + line.leftover) / line.count, kind)),
        )  # fmt: skip
        if deliveries is not None:
            cells += range_cells(deliveries, line, row, currency)
        w.row(sheet, row - 1, columns, cells)
    if materials.messages:
        row = FIRST + 2 + len(materials.order)
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
    tables: tuple[tuple[Table, str, str, str], ...] = (
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
