"""The nasty cases of geometry that concern reading a deck, by number, and where each is held.

What no other test says of a case stands here. Each answer was worked out anew; where a
case leaves something open, the derivation is in docs/design.md.
"""

from __future__ import annotations

import ast
import math
from pathlib import Path

import numpy as np
import pytest
from shapely import box
from tests.conftest import ROOT
from tests.deck.test_takeoff import K, feature, one
from tests.intake.dxf_cases import Draft, areas, deck_doc, zone_doc

from tackfree.errors import Refused
from tackfree.intake.dxf.faces import faces_of
from tackfree.service import drawing as service

FT, FT2 = 0.3048, 0.3048**2

AREA, TAKE, MORE, TAPE = (f"deck/test_{n}.py" for n in ("area", "takeoff", "takeoff_depth", "tape"))
SHAPES, REFUSED = "intake/test_dxf_shapes.py", "intake/test_dxf_refusals.py"
PDF, LOOK, HERE = "intake/test_pdf.py", "service/test_drawing.py", "intake/test_geometry_cases.py"

CASES: dict[int, tuple[tuple[str, str], ...]] = {
    1: ((TAKE, "test_opening_and_twelve_columns"), (HERE, "test_edges_of_case_1")),
    2: ((TAKE, "test_a_column_half_over_the_edge"), (HERE, "test_outer_edge_of_case_2")),
    3: ((TAKE, "test_the_same_column_twice_is_taken_out_once"),),
    4: ((TAKE, "test_a_column_inside_an_opening"),),
    5: (
        (AREA, "test_a_ramp_of_60_by_100_ft"),
        (AREA, "test_slope_factor"),
        (MORE, "test_a_fall_both_ways"),
    ),
    6: ((AREA, "test_helical_ramp"), (MORE, "test_a_helical_ramp")),
    7: ((AREA, "test_an_outline_in_space"), (AREA, "test_a_warped_slab")),
    8: ((SHAPES, "test_a_mirrored_block_off_the_origin"),),
    9: ((SHAPES, "test_a_block_stretched_one_way_keeps_one_outline"),),
    10: ((SHAPES, "test_blocks_in_blocks"), (SHAPES, "test_base_point_and_rows_of_blocks")),
    11: ((SHAPES, "test_lines_and_a_mirrored_arc_close"),),
    12: (
        (LOOK, "test_an_inch_room_under_a_millimetre_header"),
        (HERE, "test_millimetres_are_not_taken_without_protest"),
    ),
    13: ((LOOK, "test_without_evidence_the_figures_of_each_unit"),),
    14: ((SHAPES, "test_corner_gaps_are_closed_and_listed"), (HERE, "test_no_tolerance_no_face")),
    15: ((SHAPES, "test_a_divider_that_stops_short_still_divides"),),
    16: ((SHAPES, "test_doubled_and_nearly_doubled_lines_make_no_sliver"),),
    17: ((SHAPES, "test_an_open_polyline_that_returns_to_its_start_is_closed"),),
    18: ((SHAPES, "test_two_vertices_with_bulges_are_a_circle"),),
    19: ((SHAPES, "test_rounded_corners"), (AREA, "test_rounded_corners")),
    20: (
        (SHAPES, "test_a_hatch_with_nested_rings"),
        (SHAPES, "test_a_hatch_with_two_outer_rings"),
    ),
    21: ((SHAPES, "test_layers_off_and_frozen"),),
    22: ((SHAPES, "test_a_drawing_far_from_its_origin"),),
    23: ((REFUSED, "test_a_dimension_whose_text_is_not_what_it_measures"),),
    24: ((REFUSED, "test_a_bow_tie"),),
    25: (
        (PDF, "test_a_plain_page"),
        (PDF, "test_a_turned_page_is_read_as_it_is_shown"),
        (PDF, "test_forms_inside_forms"),
    ),
    26: ((PDF, "test_a_stretched_sheet"),),
    27: (
        (LOOK, "test_a_square_in_degrees"),
        (LOOK, "test_longitude_and_latitude_swapped"),
    ),
    28: (
        (TAPE, "test_a_traverse_that_misses_its_start"),
        (TAPE, "test_a_traverse_that_misses_by_far_is_refused"),
    ),
    29: ((TAPE, "test_four_sides_and_a_diagonal"), (TAPE, "test_four_sides_alone_are_refused")),
}


@pytest.mark.parametrize("number", range(1, 30))
def test_every_case_has_its_test(number: int) -> None:
    for file, name in CASES[number]:
        tree = ast.parse(Path(ROOT / "tests" / file).read_text("utf-8"))
        assert name in {f.name for f in tree.body if isinstance(f, ast.FunctionDef)}, (file, name)


def test_edges_of_case_1():
    """Outer 640, opening 168, columns 96; a strip of 4 in along the columns is 32 ft²."""
    columns = [
        feature(K.COLUMN, box(x, y, x + 2, y + 2), i)
        for i, (x, y) in enumerate([(x, y) for x in (19, 39, 159, 179) for y in (19, 79, 109)])
    ]
    z = one(box(0, 0, 200, 120), *columns)
    assert z.obstacle_edge_m == pytest.approx(96)  # exact: 12 × 8
    assert z.obstacle_edge_m * 4 / 12 == pytest.approx(32)  # exact
    assert z.floor.length - z.obstacle_edge_m == pytest.approx(640)  # exact: 2 × (200 + 120)
    z = one(box(0, 0, 200, 120), feature(K.OPENING, box(80, 40, 140, 64)))
    assert z.obstacle_edge_m == pytest.approx(168)  # exact: 2 × (60 + 24)


def test_outer_edge_of_case_2():
    z = one(box(0, 0, 100, 50), feature(K.COLUMN, box(49, -1, 51, 1)))
    assert z.floor.length - z.obstacle_edge_m == pytest.approx(298)  # exact: 300 less 2


def test_millimetres_are_not_taken_without_protest(tmp_path):
    d = Draft().box(0, 0, 254, 250)
    d.document.header["$INSUNITS"] = 4
    d.space.add_text("21'2 x 20'10").set_placement((120, 120))
    path = tmp_path / "x.dxf"
    d.document.saveas(path)
    report, faults = service.read_drawing(path, unit="mm")
    assert faults == ()  # the user has the last word
    assert report.proposed == "in"
    assert "intake.header-lies" in [m.id for m in report.messages]


def test_no_tolerance_no_face():
    """Corners open by 0.03 to 0.06 ft: one face within a tenth of a foot, none without."""
    legs = [(0.05, 0, 100, 0), (100, 0.06, 100, 50), (99.97, 50, 0, 50), (0, 49.95, 0, 0)]

    def chains():
        return [np.array([(a, b), (c, d)], dtype=float) for a, b, c, d in legs]

    assert faces_of(chains(), gap=0.0).faces == ()
    (face,) = faces_of(chains(), gap=0.1).faces
    assert face.area == pytest.approx(5000, rel=1e-3)  # exact: 100 × 50


@pytest.mark.parametrize(("unit", "factor"), [("in", 12), ("mm", 25.4)])
def test_a_unit_off_by_12_or_25_4_is_protested(tmp_path, unit, factor):
    """Feet confirmed as inches, inches as millimetres: a dimension of the drawing says no."""
    wide = 200.0 if unit == "in" else 2400.0
    right = "ft" if unit == "in" else "in"
    d = Draft().box(0, 0, wide, wide / 2)
    d.space.add_linear_dim(base=(0, -5), p1=(0, 0), p2=(wide, 0), text="200'-0\"")
    size = {"ft": FT, "in": FT / 12, "mm": 0.001}
    assert size[right] / size[unit] == pytest.approx(factor)  # exact
    deck, messages = d.read(tmp_path, deck_doc(unit_m=size[unit]))
    (said,) = [m for m in messages if m.id == "intake.dimension-text"]
    assert said.values["length_percent"] == pytest.approx(100 * (1 / factor - 1), abs=0.001)
    assert areas(deck)[0] / FT2 == pytest.approx(20_000 / factor**2, rel=1e-9)
    assert math.isclose(sum(areas(d.read(tmp_path, deck_doc(unit_m=size[right]))[0])) / FT2, 20_000)


def test_the_same_zone_twice_is_refused(tmp_path):
    d = Draft().box(0, 0, 10, 10).box(0, 0, 10, 10, layer="B")
    with pytest.raises(Refused, match=r"zones Z1 and Z2.*100\.00 m²"):
        d.read(tmp_path, deck_doc(zone_doc("Z1"), zone_doc("Z2", "B")))


def test_the_same_outline_twice_on_one_layer_is_one_floor(tmp_path):
    deck, _ = Draft().box(0, 0, 10, 10).box(0, 0, 10, 10).read(tmp_path)
    assert areas(deck) == [pytest.approx(100)]  # exact


def test_an_end_that_lies_on_a_line_is_not_pulled_to_the_line_beside_it() -> None:
    # by hand: 4 × 3; the left side ends 10 mm beside the end of a line drawn apart
    left = np.array([[0.0, 0.0], [0.0, 3.0]])
    rest = np.array([[-1.0, 0.0], [4.0, 0.0], [4.0, 3.0], [-1.0, 3.0]])
    beside = np.array([[-0.01, -2.0], [-0.01, -0.005]])
    found = faces_of([left, rest, beside], gap=0.03)
    assert max(p.area for p in found.faces) == pytest.approx(12.0, rel=1e-12)
    assert [g.size for g in found.closed_gaps] == pytest.approx([0.005])
