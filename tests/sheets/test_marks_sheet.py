"""The marks sheet, its drawing and its files."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import ezdxf
import pypdfium2
import pytest
import shapely
from shapely import Point, box

from tackfree.marks.cell_types import Wishes
from tackfree.marks.layout import lay
from tackfree.sheets.marks_files import marks_dxf, marks_geojson
from tackfree.sheets.marks_sheet import MarksSheet, drawing, lines_of, render_marks_pdf

FT = 0.3048


@pytest.fixture(scope="module")
def sheet() -> MarksSheet:
    floor = box(0, 0, 100 * FT, 54 * FT)
    layout = lay(
        floor,
        target_m2=270 * FT * FT,
        wishes=Wishes(exits=(Point(100 * FT, 27 * FT),)),
        direction_rad=math.pi / 2,
    )
    return MarksSheet(
        job="Invented <job> & [more]",
        section_id="S-1",
        coat_id="BASE",
        product="HEN-B",
        layout_id="MK-0",
        reach="270 ft²",
        cells=layout.cells,
        parts=(layout,),
        languages=("en", "es"),
        system="us",
        paper="us-letter",
        made_utc_s=0,
        invented=True,
    )


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


@pytest.mark.parametrize(
    ("paper", "width_pt"),
    [("us-letter", 612), ("a4", 595.28)],  # published: ISO 216; letter is 8 1/2 by 11 in
)
def test_the_sheet_prints_on_both_papers(sheet, paper, width_pt):
    pdf = render_marks_pdf(replace(sheet, paper=paper))
    page = pypdfium2.PdfDocument(pdf)[0]
    assert page.get_width() == pytest.approx(width_pt, abs=0.1)
    said = text_of(pdf)
    assert "S-1" in said
    assert "Invented <job> & [more]" in " ".join(said.split())
    assert "Marcas de kits" in said


def test_every_cut_is_printed_from_the_corner(sheet):
    printed = {(row["x0"], row["y0"], row["x1"], row["y1"]) for row in lines_of(sheet)}
    # By hand: ten lanes of 10 ft, each cut in two at 27 ft.
    for k in range(10):
        low, high = (f"{10 * k}'-0\"" if k else '0"'), f"{10 * k + 10}'-0\""
        assert ("27'-0\"", low, "27'-0\"", high) in printed
    assert len(printed) == 19  # and nine lane lines


def test_the_same_sheet_is_the_same_bytes(sheet):
    assert render_marks_pdf(sheet) == render_marks_pdf(sheet)
    assert drawing(sheet) == drawing(sheet)
    assert marks_dxf(sheet.cells, feet=True) == marks_dxf(sheet.cells, feet=True)


def test_every_cell_can_be_tapped(sheet):
    svg = drawing(sheet)
    assert svg.count("data-cell=") == len(sheet.cells) == 20


@pytest.mark.parametrize(("feet", "unit"), [(True, FT), (False, 1.0)])
def test_a_drawing_read_back_has_the_same_areas(sheet, feet, unit):
    space = ezdxf.read(io.StringIO(marks_dxf(sheet.cells, feet=feet))).modelspace()
    found = sorted(
        shapely.Polygon(e.get_points("xy")).area * unit**2
        for e in space.query("LWPOLYLINE[layer=='KIT-CELL']")
    )
    assert found == pytest.approx(sorted(c.plan_m2 for c in sheet.cells), rel=1e-9)
    numbers = {int(e.dxf.text) for e in space.query("TEXT")}
    assert numbers == set(range(1, 21))


def test_geojson_keeps_order_and_areas(sheet):
    document = json.loads(marks_geojson(sheet.cells, {"layout": "MK-0"}))
    assert [f["properties"]["cell"] for f in document["features"]] == list(range(1, 21))
    for feature, cell in zip(document["features"], sheet.cells, strict=True):
        shape = shapely.from_geojson(json.dumps(feature["geometry"]))
        assert shape.area == pytest.approx(cell.plan_m2, rel=1e-5)
