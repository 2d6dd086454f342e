"""Real drawings under open licences; areas by two other methods (drawings' manifest)."""

from __future__ import annotations

import pytest
from tests.intake.dxf_cases import areas, deck_doc, zone_doc

from tackfree.errors import Refused
from tackfree.intake.dxf import read_deck
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.outlines import hatch_polygons, outlines_of
from tackfree.intake.dxf.strokes import collect

FT2 = 0.3048**2


@pytest.fixture
def drawing(shared):
    return lambda name: shared / "drawings" / name


def drawn(path, tolerance=0.001):
    return collect(load(path)[0], tolerance=tolerance)


def faces(path, layer, gap=0.0):
    found = outlines_of(drawn(path), layer, gap=gap, all_lines=True)
    return sorted((p.area for p in found.polygons), reverse=True)


@pytest.mark.outside
def test_a_plan_in_inches_whose_header_says_millimetres(drawing):
    path = drawing("house_plan_inches_labelled_mm.dxf")
    deck, messages = read_deck(path, deck_doc(zone_doc(layer="A-FOOTPRINT"), unit_m=0.0254))
    # published: the manifest, four closed polylines side by side, 0.01 % by three methods
    assert sum(areas(deck)) / FT2 == pytest.approx(2261.278, rel=1e-6)
    layer = "xref-Bishop-Overland-08$0$A-FOOTPRINT"
    found = outlines_of(drawn(path), layer, gap=0.0, all_lines=False).polygons
    outlines = sorted((p.area for p in found), reverse=True)
    assert outlines == pytest.approx([235_856, 68_096, 17_200, 4_472], rel=1e-4)
    (doubt,) = [m for m in messages if m.id == "intake.unit-header"]
    assert (doubt.values["header"], doubt.values["unit"]) == ("mm", "in")


@pytest.mark.outside
def test_walls_with_doors_are_no_outline(drawing):
    path = drawing("house_plan_inches_labelled_mm.dxf")
    layer = "xref-Bishop-Overland-08$0$A-WALL"
    doc = deck_doc(zone_doc(layer=layer, at_m=(500, 500)), unit_m=0.0254)
    with pytest.raises(Refused, match=r"no closed outline around .* It is open at"):
        read_deck(path, doc)


@pytest.mark.outside
def test_a_plan_of_loose_lines_and_arcs(drawing):
    found = faces(drawing("pavilion_plan_metres.dxf"), "Projection", gap=0.001)
    # published: the manifest, 22.9 × 12.9 and 9.4 × 9.4 m by hand
    assert found[:2] == pytest.approx([295.41, 88.36], abs=0.005)


@pytest.mark.outside
def test_an_old_file_with_everything_in_blocks(drawing):
    path = drawing("pavilion_plan_r12_blocks_mm.dxf")
    strokes = drawn(path).strokes
    found = [a for layer in {s.origin.layer for s in strokes} for a in faces(path, layer)]
    # published: the manifest, also by the same building's vector plan
    assert sorted(found)[-2:] == pytest.approx([7_700_000, 46_956_600], rel=1e-5)


@pytest.mark.outside
def test_a_loop_of_lines_and_arcs(drawing):
    path = drawing("loop_lines_and_arcs.dxf")
    layers = {s.origin.layer for s in drawn(path).strokes}
    found = [a for layer in layers for a in faces(path, layer)]
    # published: the manifest, with true arcs
    assert sorted(found) == pytest.approx([4030.589, 7383.710], rel=1e-5)


@pytest.mark.outside
def test_ends_that_overlap(drawing):
    path = drawing("overlapping_end_loop.dxf")
    (layer,) = {s.origin.layer for s in drawn(path).strokes}
    assert faces(path, layer) == [pytest.approx(8.0, rel=1e-9)]  # published: the manifest, 2 × 4


@pytest.mark.outside
def test_hatches_with_islands(drawing):
    hatches = drawn(drawing("hatches_with_holes.dxf"), tolerance=1e-5).hatches
    # published: the manifest; outermost style, so two of ten differ from odd parity. The
    # loop 27.858 there came from curves fitted to its arcs; closed form gives 27.860.
    want = [31.230, 106.106, 69.099, 69.099, 7.095, 66.793, 27.858, 152.211, 77.857, 206.584]
    got = [sum(p.area for p in hatch_polygons(h)) for h in hatches]
    assert got == pytest.approx(want, rel=1e-4)


@pytest.mark.outside
def test_a_bulged_ring_far_away_without_a_header(drawing):
    path = drawing("closed_bulges_huge_coords_no_header.dxf")
    deck, messages = read_deck(path, deck_doc(zone_doc(layer="test")))
    assert [m.id for m in messages] == ["intake.no-header"]
    assert areas(deck) == [pytest.approx(10210.1313, abs=0.001)]  # published: the manifest


@pytest.mark.outside
def test_an_outline_with_a_hole_in_inches(drawing):
    path = drawing("wrench_lines_arcs_inch.dxf")
    layers = {s.origin.layer for s in drawn(path).strokes}
    found = sorted(a for layer in layers for a in faces(path, layer))
    # published: the manifest; the outer face comes without its hole
    assert found == pytest.approx([0.47068, 1.66722], abs=2e-5)
