"""The takeoff workbook: formulas that give what they show."""

from __future__ import annotations

import io
import re
from datetime import datetime

import openpyxl
import pytest
from shapely import box

from tackfree.deck.takeoff import take_off
from tackfree.deck.takeoff_rows import takeoff_rows
from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, Zone
from tackfree.sheets.takeoff_xlsx import TakeoffHeader, takeoff_csv, takeoff_xlsx
from tackfree.words import Message

FT = 0.3048
HEADER = TakeoffHeader(job_id="J", job_name="=J+1", as_of=datetime(2027, 4, 12, 7))


@pytest.fixture(scope="module")
def parts():
    zones = tuple(
        Zone(
            id=f"Z-{i}",
            deck_id="D",
            name="",
            outline=box(100 * i * FT, 0, (100 * i + 100) * FT, 60 * FT),
            duty=Duty.LIGHT,
            exposure=Exposure.OPEN_SKY,
            build_up_id="BU-A" if i else "BU-B",
            slope_y=0.15 * i,
        )
        for i in range(3)
    )
    column = Feature(
        id="C", kind=FeatureKind.COLUMN, geometry=box(10 * FT, 10 * FT, 12 * FT, 12 * FT)
    )
    deck = Deck(id="D", name="D", zones=zones, features=(column,))
    return take_off([deck], rout_from_m={}), [deck]


@pytest.fixture(scope="module")
def book(parts):
    taken, decks = parts
    said = [Message(id="deck.no-floor", values={"deck": "D", "zone": "Z"})]
    return takeoff_xlsx(taken, decks, takeoff_rows(taken, decks), said, HEADER)


def sheet(book, name, *, values):
    return openpyxl.load_workbook(io.BytesIO(book), data_only=values)[name]


def test_formulas_and_their_answers(book):
    shown, live = (sheet(book, "Zones", values=v) for v in (True, False))
    for row in range(6, 9):
        outline, obstacles, floor, factor, field = (shown.cell(row, c).value for c in range(4, 9))
        assert live.cell(row, 6).value == f"=D{row}-E{row}"
        assert live.cell(row, 8).value == f"=F{row}*G{row}"
        assert floor == pytest.approx(outline - obstacles)
        assert field == pytest.approx(floor * factor)
    # exact: three 6,000 ft², one column of 4 ft²; slopes 0, 15 and 30 %
    want = 5996 + 6000 * (1 + 0.15**2) ** 0.5 + 6000 * (1 + 0.3**2) ** 0.5
    assert live["H9"].value == "=SUM(H6:H8)"
    assert shown["H9"].value == pytest.approx(want, rel=1e-9)
    by_build_up = {shown.cell(r, 1).value: shown.cell(r, 8).value for r in (12, 13)}
    assert by_build_up["BU-B"] == pytest.approx(5996)
    assert by_build_up["BU-A"] == pytest.approx(want - 5996)
    assert re.match(r"=SUMIF\(", live["H12"].value)


def test_text_is_never_a_formula(book):
    assert sheet(book, "Zones", values=False)["A1"].data_type == "s"


def test_the_same_takeoff_is_the_same_bytes(parts, book):
    taken, decks = parts
    said = [Message(id="deck.no-floor", values={"deck": "D", "zone": "Z"})]
    assert takeoff_xlsx(taken, decks, takeoff_rows(taken, decks), said, HEADER) == book


def test_lines_for_other_programs(parts):
    taken, decks = parts
    text = takeoff_csv(takeoff_rows(taken, decks), "us")
    assert text.splitlines()[1] == "D,Z-0,BU-B,outline,6000,ft²,,,drawn"  # exact
    assert "obstacles,4,ft²" in text
