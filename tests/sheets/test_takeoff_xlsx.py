"""The takeoff workbook: formulas that give what they show."""

from __future__ import annotations

import io
import math
import re
import shutil
import subprocess
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
    assert text.splitlines()[1] == "D,Z-0,BU-B,outline,6000,ft²,,,drawn,"  # exact
    assert "obstacles,4,ft²" in text


@pytest.mark.slow
def test_an_office_program_recalculates_the_same(book, tmp_path):
    office = shutil.which("soffice")
    if office is None:
        pytest.skip("LibreOffice Calc is not installed")
    profile = tmp_path / "profile" / "user"
    profile.mkdir(parents=True)
    (profile / "registrymodifications.xcu").write_text(
        '<?xml version="1.0" encoding="UTF-8"?><oor:items '
        'xmlns:oor="http://openoffice.org/2001/registry"><item '
        'oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" '
        'oor:op="fuse"><value>0</value></prop></item></oor:items>',
        "utf-8",
    )
    # A wider outline proves that the program works the formulas out itself.
    given = openpyxl.load_workbook(io.BytesIO(book))
    given["Zones"]["D6"] = 7000.0
    path = tmp_path / "changed.xlsx"
    given.save(path)
    subprocess.run(
        [office, f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless",
         "--convert-to", "xlsx", "--outdir", str(tmp_path / "out"), str(path)],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    zones = openpyxl.load_workbook(tmp_path / "out" / path.name, data_only=True)["Zones"]
    rise = [1.0, math.hypot(1, 0.15), math.hypot(1, 0.30)]
    # by hand: 100 × 60 ft each, a column of 2 × 2 ft in the first, whose outline is now 7,000
    floors = [7000 - 4, 6000, 6000]
    fields = [f * r for f, r in zip(floors, rise, strict=True)]
    got = [(zones.cell(r, 6).value, zones.cell(r, 8).value) for r in (6, 7, 8)]
    assert got == [pytest.approx(pair, rel=1e-9) for pair in zip(floors, fields, strict=True)]
    assert zones["H9"].value == pytest.approx(sum(fields), rel=1e-9)
    by_build_up = {zones.cell(r, 1).value: zones.cell(r, 8).value for r in (12, 13)}
    assert by_build_up == {
        "BU-B": pytest.approx(fields[0], rel=1e-9),
        "BU-A": pytest.approx(fields[1] + fields[2], rel=1e-9),
    }
