"""A look into a drawing: layers, and what speaks for which unit."""

from __future__ import annotations

import pytest
from tests.intake.dxf_cases import Draft

from tackfree.intake.dxf import report_drawing
from tackfree.intake.dxf.unit import length_m


def look(draft, folder):
    path = folder / "x.dxf"
    draft.document.saveas(path)
    return report_drawing(path)


@pytest.mark.parametrize(
    ("text", "feet"),
    [
        ("200'-0\"", 200),  # exact
        ("12'-6 1/2\"", 12 + 6.5 / 12),  # exact
        ("12' 6.5\"", 12 + 6.5 / 12),  # exact
        ("21'2", 21 + 2 / 12),  # exact
        ("12'-1/2\"", 12 + 0.5 / 12),  # exact
        ("5'", 5),  # exact
        ("12.5 ft", 12.5),  # exact
        ('30"', 2.5),  # exact
        ("3.81 m", 12.5),  # exact: 12.5 × 0.3048
        ("3,81 m", 12.5),  # exact
        ("3810 mm", 12.5),  # exact
    ],
)
def test_written_lengths(text, feet):
    assert length_m(text) / 0.3048 == pytest.approx(feet, rel=1e-12)


@pytest.mark.parametrize("text", ["", "<>", "12.5", "12-6", "TYP.", "0'", "abc m"])
def test_what_is_no_length_with_a_unit(text):
    assert length_m(text) is None


def test_layers(tmp_path):
    d = Draft().box(0, 0, 10, 10).box(5, 0, 20, 10).lines((0, 0, 5, 5), layer="W")
    d.space.add_text("T", dxfattribs={"layer": "W"})
    report = look(d, tmp_path)
    a, w = (x for x in report.layers if x.name in "AW")
    assert (a.closed_outlines, a.closed_area, a.largest_area) == (2, 200, 150)  # exact
    assert a.entities == (("LWPOLYLINE", 2),)
    assert w.entities == (("LINE", 1), ("TEXT", 1))
    assert (w.closed_outlines, w.open_lines) == (0, 1)
    assert report.size == (20, 10)


def test_no_evidence_no_guess_is_preferred(tmp_path):
    """400 by 250 units may be feet, inches or metres: all are offered, none is taken."""
    d = Draft().box(0, 0, 400, 250)
    d.document.header["$INSUNITS"] = 0
    units = look(d, tmp_path).units
    assert [u.unit for u in units] == ["m", "ft"]
    assert len({u.weight for u in units}) == 1


def test_a_dimension_outweighs_the_header(tmp_path):
    d = Draft().box(0, 0, 2400, 1200)
    d.document.header["$INSUNITS"] = 4
    d.space.add_linear_dim(base=(0, -5), p1=(0, 0), p2=(2400, 0), text="200'-0\"").render()
    report = look(d, tmp_path)
    assert report.units[0].unit == "in"
    assert report.units[0].weight > report.units[1].weight


@pytest.mark.outside
def test_a_house_in_inches_labelled_millimetres(shared):
    report = report_drawing(shared / "drawings" / "house_plan_inches_labelled_mm.dxf")
    # published: the manifest, one unit is one inch, the header says millimetres
    assert report.units[0].unit == "in"
    assert "mm" in [u.unit for u in report.units]


def test_an_empty_drawing(tmp_path):
    report = look(Draft(), tmp_path)
    assert report.size == (0, 0)
