"""The order workbook: live formulas that agree with Python, and text that stays text."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from tests.supply.test_scenarios import BALCONIES, materials, terraces
from tests.supply.trade import GAL, build_up, coat, has, section

from tackfree.deck.takeoff_types import CrackRun
from tackfree.deck.types import Substrate
from tackfree.sheets.order_book import OrderHeader
from tackfree.sheets.order_xlsx import write_order
from tackfree.supply.deliveries import Delivery
from tackfree.supply.materials import order
from tackfree.supply.range_types import KitRange
from tackfree.supply.types import Materials

HEADER = OrderHeader(
    job_id="ALDER-ROW", job_name="Alder Row & Flats", invented=True,
    as_of=datetime(2027, 4, 12, 11, 0, tzinfo=UTC),
)  # fmt: skip


def job():
    """Three sections: one with cracks, one empty of details, one whose base fills upturns."""
    cracked = has(
        cracks=(CrackRun(width_m=0.003, length_m=120.0, rout=True),), drains=2,
        obstacle_edge_m=40.0,
    )  # fmt: skip
    bu = build_up(
        coat("PRIMER", "HEN-P", 5),
        coat("BASE", "HEN-B", 25),
        coat("INTER", "HEN-I", 22, lb_per_100=60, sanding="to-refusal"),
        coat("LOCK", "HEN-T", 18),
    )
    one = materials([section(4200), section(37, "S-2")], bu, {"S-1": cracked})
    two = materials([section(612, "BAL-1")], terraces("HEN-B"), {"BAL-1": BALCONIES})
    coats, details = one.coats + two.coats, one.details + two.details
    return Materials(coats=coats, details=details, order=order(coats, details),
                     messages=one.messages + two.messages)  # fmt: skip


def ranges(found) -> tuple[KitRange, ...]:
    """Two trucks for each product of the order, and two spares on the second."""

    def truck(day: int, count: int, spare: int) -> Delivery:
        on = date(2027, 4, day)
        return Delivery(order_by=on - timedelta(days=7), arrives=on, first_use=on, last_use=on,
                        count=count, spare=spare)  # fmt: skip

    return tuple(
        KitRange(
            product_id=o.product_id, unit=o.unit, computed=o.count, p10=o.count - 1, p50=o.count,
            p90=o.count + 2, advised=o.count + 2, enough_share=0.93, by_cost=True, returnable=2,
            return_value=Decimal("410.40"), deliveries=(truck(16, 1, 0), truck(23, o.count + 1, 2)),
        )
        for o in found.order
    )  # fmt: skip


def written(tmp_path: Path, header: OrderHeader = HEADER, found=None, ranged: bool = False) -> Path:
    found = found or job()
    beside = {"ranges": ranges(found), "currency": "USD"} if ranged else {}
    return write_order(found, header, tmp_path / "order.xlsx", **beside)


class Calculator:
    """A small reader of the formulas this workbook uses; knows no spreadsheet code."""

    def __init__(self, path: Path) -> None:
        self.book = openpyxl.load_workbook(path)

    def value(self, sheet: str, cell: str):
        raw = self.book[sheet][cell].value
        if not (isinstance(raw, str) and raw.startswith("=")):
            return raw
        return self.formula(raw[1:], sheet)

    def formula(self, text: str, sheet: str) -> float:
        held: list[list[object]] = []

        def column(m: re.Match[str]) -> str:
            name = m[1].replace("''", "'")
            letter, first, last = m[2], int(m[3]), int(m[4])
            held.append([self.value(name, f"{letter}{r}") for r in range(first, last + 1)])
            return f"held[{len(held) - 1}]"

        text = re.sub(r"'((?:[^']|'')+)'!\$([A-Z]+)\$(\d+):\$[A-Z]+\$(\d+)", column, text)
        text = re.sub(
            r"SUMPRODUCT\(\((held\[\d+\])=([A-Z]+\d+)\)\*(held\[\d+\])\*(held\[\d+\])\)",
            r"matching(\1,\2,\3,\4)", text,
        )  # fmt: skip
        cells = set(re.findall(r"\b[A-Z]{1,2}\d+\b", text))
        names = {c: self.value(sheet, c) or 0 for c in cells}
        return eval(text, {"__builtins__": {}}, {  # the test's own workbook
            **names, "held": held, "MAX": max, "ROUNDUP": self.roundup, "SUMIFS": self.sumifs,
            "matching": self.matching,
        })  # fmt: skip

    @staticmethod
    def roundup(x: float, digits: int) -> float:
        assert digits == 0
        whole = int(abs(x)) + (1 if abs(x) % 1 else 0)
        return whole if x >= 0 else -whole

    @staticmethod
    def sumifs(values, *rules):
        keep = [all(c[i] == want for c, want in zip(rules[::2], rules[1::2], strict=True))
                for i in range(len(values))]  # fmt: skip
        return sum(v or 0 for v, k in zip(values, keep, strict=True) if k)

    @staticmethod
    def matching(names, name, counts, sizes):
        return sum((c or 0) * (s or 0) for n, c, s in zip(names, counts, sizes, strict=True)
                   if n == name)  # fmt: skip


def formulas(path: Path) -> list[tuple[str, str, float]]:
    """Every formula cell: sheet, cell, cached answer."""
    live, cached = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
    return [
        (ws.title, cell.coordinate, cached[ws.title][cell.coordinate].value)
        for ws in live
        for row in ws.iter_rows()
        for cell in row
        if isinstance(cell.value, str) and cell.value.startswith("=")
    ]


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_formula_gives_python_s_answer(tmp_path, units, language) -> None:
    path = written(tmp_path, replace(HEADER, units=units, language=language), ranged=True)
    found = formulas(path)
    assert len(found) > 50
    calculator = Calculator(path)
    for sheet, cell, cached in found:
        assert calculator.value(sheet, cell) == pytest.approx(cached, rel=1e-9, abs=1e-9), cell


def test_the_order_sheet_shows_what_python_counted(tmp_path) -> None:
    found = job()
    book = openpyxl.load_workbook(written(tmp_path, found=found), data_only=True)
    rows = list(book["Order"].iter_rows(min_row=6, max_row=5 + len(found.order), values_only=True))
    assert [(r[0], r[3]) for r in rows] == [(o.product_id, o.count) for o in found.order]
    litres = [o.needed / GAL for o in found.order if o.unit != "bag"]
    assert [r[2] for r in rows if r[1] != "bags"] == pytest.approx(litres)


def test_a_changed_area_moves_kits_and_order(tmp_path) -> None:
    path = written(tmp_path)
    calculator = Calculator(path)
    before = calculator.value("Order", "D6")
    ws = calculator.book["Section × coat"]
    row = next(r for r in range(6, 40) if ws[f"C{r}"].value == calculator.book["Order"]["A6"].value)
    ws[f"D{row}"] = ws[f"D{row}"].value * 10
    assert calculator.value("Order", "D6") > before


def test_ranges_and_trucks_stand_beside_the_count(tmp_path) -> None:
    found = job()
    book = openpyxl.load_workbook(written(tmp_path, found=found, ranged=True), data_only=True)
    rows = list(book["Order"].iter_rows(min_row=5, max_row=5 + len(found.order), values_only=True))
    heads = rows[0][6:]
    assert heads[:4] == ("P10", "P50", "P90", "To have")
    for o, row in zip(found.order, rows[1:], strict=True):
        n = o.count
        assert row[6:12] == (n - 1, n, n + 2, n + 2, 2, 0.93)
        assert row[12:14] == (2, 410.40)
        assert row[14] == datetime(2027, 4, 9)  # a week before the first truck
        assert row[15] == n + 2
    trucks = list(book["Deliveries"].iter_rows(min_row=6, values_only=True))
    assert len(trucks) == 2 * len(found.order)
    assert trucks[0][2:7] == ("1 of 2", datetime(2027, 4, 9), *[datetime(2027, 4, 16)] * 3)
    assert trucks[1][7:] == (found.order[0].count + 1, 2, None)


def test_what_to_have_may_be_typed_over(tmp_path) -> None:
    calculator = Calculator(written(tmp_path, ranged=True))
    sheet = calculator.book["Order"]
    sheet["J6"] = sheet["J6"].value + 5
    assert calculator.value("Order", "K6") == 7


def test_the_same_order_gives_the_same_bytes(tmp_path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    assert written(tmp_path / "a").read_bytes() == written(tmp_path / "b").read_bytes()


@pytest.mark.parametrize("name", ["=Z0+1", "http://example.org", "+1", "007", "@x", "A & B"])
def test_text_from_people_stays_text(tmp_path, name) -> None:
    found = materials([section(400, name)], build_up(coat("BASE", "HEN-B", 25, fill_mil=0)))
    path = written(tmp_path, found=found)
    cell = openpyxl.load_workbook(path)["Section × coat"]["A6"]
    assert (cell.value, cell.data_type, cell.hyperlink) == (name, "s", None)


def test_sheets_are_set_up_to_be_read_and_printed(tmp_path) -> None:
    book = openpyxl.load_workbook(written(tmp_path))
    assert book.sheetnames == ["Order", "Section × coat", "Details", "Sand"]
    for ws in book:
        assert ws.freeze_panes == "C6"
        assert ws.page_setup.orientation == "landscape"
        assert ws.sheet_properties.pageSetUpPr.fitToPage
        assert ws.page_setup.fitToHeight == 0  # as many pages down as it takes, one across
        assert ws.print_title_rows == "$5:$5"
        assert ws.oddFooter.right.text == "&P / &N"
        assert ws.oddHeader.left.text == "Alder Row && Flats"
        assert ws["A3"].value == "Invented job and products, for demonstration."


def test_a_fill_that_is_not_known_is_left_blank_and_named(tmp_path) -> None:
    bu = build_up(coat("BASE", "HEN-B", 25))
    found = materials([section(1000)], bu, substrate=Substrate())
    ws = openpyxl.load_workbook(written(tmp_path, found=found))["Section × coat"]
    assert ws["F6"].value is None
    assert "not known" in ws["O6"].value


def test_an_empty_job_still_gives_a_readable_order(tmp_path) -> None:
    path = written(tmp_path, found=materials([], build_up()))
    assert formulas(path) == []


@pytest.mark.slow
def test_an_office_program_recalculates_the_same(tmp_path) -> None:
    office = shutil.which("soffice")
    if office is None:
        pytest.skip("LibreOffice Calc is not installed")
    path = written(tmp_path, ranged=True)
    before = {(s, c): v for s, c, v in formulas(path)}
    profile = tmp_path / "profile" / "user"
    profile.mkdir(parents=True)
    (profile / "registrymodifications.xcu").write_text(
        '<?xml version="1.0" encoding="UTF-8"?><oor:items '
        'xmlns:oor="http://openoffice.org/2001/registry"><item '
        'oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" '
        'oor:op="fuse"><value>0</value></prop></item></oor:items>',
        "utf-8",
    )
    # A wrong area in the file proves that the program works the formulas out itself.
    for change in (False, True):
        book = openpyxl.load_workbook(path)
        if change:
            book["Section × coat"]["D6"] = 1.0
        given = tmp_path / f"given{change}.xlsx"
        book.save(given)
        out = tmp_path / f"out{change}"
        subprocess.run(
            [office, f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless",
             "--convert-to", "xlsx", "--outdir", str(out), str(given)],
            check=True, capture_output=True, timeout=120,
        )  # fmt: skip
        done = openpyxl.load_workbook(out / given.name, data_only=True)
        calculator = Calculator(given)
        for sheet, cell in before:
            want = calculator.value(sheet, cell)
            assert done[sheet][cell].value == pytest.approx(want, rel=1e-9, abs=1e-9), (sheet, cell)
            if not change:
                assert want == pytest.approx(before[sheet, cell], rel=1e-9, abs=1e-9)


def test_drums_metered_by_ratio_are_rounded_once(tmp_path) -> None:
    found = job()
    coats = tuple(replace(c, metered=c.product_id == "HEN-B") for c in found.coats)
    bought = order(coats, found.details)
    path = written(tmp_path, found=replace(found, coats=coats, order=bought))
    calculator = Calculator(path)
    sheet = calculator.book["Order"]
    row = next(r[0].row for r in sheet.iter_rows() if r[0].value == "HEN-B")
    line = next(o for o in bought if o.product_id == "HEN-B")
    assert calculator.value("Order", f"D{row}") == line.count
    whole = next(o for o in found.order if o.product_id == "HEN-B")
    assert line.count <= whole.count
