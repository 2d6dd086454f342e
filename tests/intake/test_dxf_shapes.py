"""Outlines however they were drawn: arcs, blocks, mirrors, hatches, loose lines.

Where a test works in metres its numbers are plain drawing units.
"""

from __future__ import annotations

import math

import pytest
from shapely import Point
from tests.intake.dxf_cases import Draft, areas, deck_doc, feature_doc, zone_doc

from tackfree.errors import Refused


def ids(messages):
    return [m.id for m in messages]


def test_two_vertices_with_bulges_are_a_circle(tmp_path):
    deck, _ = Draft().ring([(0, 0, 1), (10, 0, 1)]).read(tmp_path)
    assert areas(deck) == [pytest.approx(25 * math.pi, rel=1e-9)]  # exact: 78.5398


@pytest.mark.parametrize(
    ("bulge", "area"),
    [
        (math.tan(math.pi / 8), 19656.637),  # exact: 20,000 - (4 - π) 400
        (-math.tan(math.pi / 8), 18743.363),  # exact: 20,000 - π 400
    ],
)
def test_rounded_corners(tmp_path, bulge, area):
    ring = [(20, 0), (180, 0), (200, 20), (200, 80), (180, 100), (20, 100), (0, 80), (0, 20)]
    points = [(x, y, bulge if i % 2 else 0) for i, (x, y) in enumerate(ring)]
    deck, _ = Draft().ring(points).read(tmp_path)
    assert areas(deck) == [pytest.approx(area, abs=0.001)]


def test_arcs_are_followed_within_a_thousandth_of_a_foot(tmp_path):
    d = Draft()
    d.space.add_circle((30, 30), 25, dxfattribs={"layer": "A"})
    deck, _ = d.read(tmp_path, deck_doc(unit_m=0.3048))
    rim = Point(30 * 0.3048, 30 * 0.3048).buffer(25 * 0.3048, quad_segs=4096).exterior
    assert deck.zones[0].outline.exterior.hausdorff_distance(rim) <= 0.001 * 0.3048 * 1.01
    assert areas(deck) == [pytest.approx(math.pi * (25 * 0.3048) ** 2, rel=1e-9)]  # exact


def test_an_open_polyline_that_returns_to_its_start_is_closed(tmp_path):
    d = Draft()
    d.space.add_lwpolyline([(0, 0), (10, 0), (10, 5), (0, 5), (0, 0)], dxfattribs={"layer": "A"})
    deck, _ = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(50)]  # exact


def bullet(d):
    """10 by 4 with a round end at x = 10: 40 + 2π."""
    block = d.block("BULLET")
    block.add_lwpolyline(
        [(0, 0, 0), (10, 0, 1), (10, 4, 0), (0, 4, 0)],
        format="xyb", close=True, dxfattribs={"layer": "0"},
    )  # fmt: skip
    return d


def test_a_mirrored_block_off_the_origin(tmp_path):
    deck, _ = bullet(Draft()).insert("BULLET", (100, 50), xscale=-1).read(tmp_path)
    assert areas(deck) == [pytest.approx(40 + 2 * math.pi, rel=1e-9)]  # exact: 46.2832
    low_x, low_y, high_x, high_y = deck.zones[0].outline.bounds
    # exact: the round end reaches 12 from the insertion, to the left
    assert (low_x, high_x) == (pytest.approx(88, abs=3e-4), pytest.approx(100))
    assert (low_y, high_y) == (pytest.approx(50), pytest.approx(54))


def test_a_block_stretched_one_way_keeps_one_outline(tmp_path):
    deck, _ = bullet(Draft()).insert("BULLET", (0, 0), xscale=2).read(tmp_path)
    assert areas(deck) == [pytest.approx(80 + 4 * math.pi, rel=1e-9)]  # exact: 92.5664


def test_a_mirrored_plane(tmp_path):
    """An outline drawn in a plane that looks down: x runs the other way."""
    d = Draft().ring([(90, 0), (100, 0), (100, 5), (90, 5)], extrusion=(0, 0, -1))
    deck, _ = d.read(tmp_path)
    assert deck.zones[0].outline.bounds == pytest.approx((-100, 0, -90, 5))  # exact


def test_blocks_in_blocks(tmp_path):
    d = Draft()
    d.block("A1").add_lwpolyline([(0, 0), (2, 0), (2, 2), (0, 2)], close=True)
    d.block("B1").add_blockref("A1", (5, 0), dxfattribs={"rotation": 45})
    d.insert("B1", (0, 0), xscale=3, yscale=3, zscale=3, rotation=30)
    deck, _ = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(36, rel=1e-9)]  # exact: 4 × 3²


def test_base_point_and_rows_of_blocks(tmp_path):
    d = Draft()
    d.block("A1", base=(1, 1)).add_lwpolyline([(0, 0), (2, 0), (2, 2), (0, 2)], close=True)
    d.insert("A1", (1, 1), column_count=4, row_count=3, column_spacing=30, row_spacing=30)
    deck, _ = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(4)] * 12  # exact: 48 in all
    assert deck.zones[0].outline.bounds == pytest.approx((0, 0, 92, 62))  # exact


def test_a_block_that_holds_itself_is_left_out_and_said(tmp_path):
    d = Draft().box(0, 0, 10, 10)
    d.block("LOOP").add_blockref("LOOP", (1, 1))
    d.insert("LOOP", (0, 0), layer="B")
    deck, messages = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(100)]
    assert "intake.too-deep" in ids(messages)


def test_lines_and_a_mirrored_arc_close(tmp_path):
    d = Draft().lines((0, 0, 10, 0), (0, 10, 10, 10), (0, 0, 0, 10))
    d.space.add_arc((-10, 5), 5, 90, 270, dxfattribs={"layer": "A", "extrusion": (0, 0, -1)})
    deck, _ = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(100 + 12.5 * math.pi, rel=1e-9)]  # exact: 139.2699


@pytest.mark.parametrize(
    ("style", "area"),
    [
        (0, 100 - 36 + 4),  # exact: every other ring
        (1, 100 - 36),  # exact: outermost only
        (2, 100),  # exact: inner rings ignored
    ],
)
def test_a_hatch_with_nested_rings(tmp_path, style, area):
    d = Draft()
    hatch = d.space.add_hatch(dxfattribs={"layer": "A", "hatch_style": style})
    for low, high in ((4, 6), (0, 10), (2, 8)):  # listed in no order
        hatch.paths.add_polyline_path([(low, low), (high, low), (high, high), (low, high)])
    deck, _ = d.read(tmp_path)
    assert sum(areas(deck)) == pytest.approx(area)


def test_a_hatch_with_two_outer_rings(tmp_path):
    d = Draft()
    hatch = d.space.add_hatch(dxfattribs={"layer": "A"})
    hatch.paths.add_polyline_path([(0, 0), (10, 0), (10, 10), (0, 10)])
    hatch.paths.add_polyline_path([(20, 0), (25, 0), (25, 5), (20, 5)])
    deck, _ = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(100), pytest.approx(25)]  # exact


def test_a_hatch_bounded_by_edges(tmp_path):
    d = Draft()
    hatch = d.space.add_hatch(dxfattribs={"layer": "A"})
    edges = hatch.paths.add_edge_path()
    edges.add_line((0, 0), (10, 0))
    edges.add_arc((10, 2), radius=2, start_angle=-90, end_angle=90)
    edges.add_line((0, 4), (10, 4))  # drawn backwards
    edges.add_line((0, 4), (0, 0))
    deck, _ = d.read(tmp_path)
    assert areas(deck) == [pytest.approx(40 + 2 * math.pi, rel=1e-9)]  # exact


def test_corner_gaps_are_closed_and_listed(tmp_path):
    foot = 0.3048
    d = Draft().lines((0.05, 0, 100, 0), (100, 0.06, 100, 50), (99.97, 50, 0, 50), (0, 49.95, 0, 0))
    deck, messages = d.read(tmp_path, deck_doc(unit_m=foot))
    assert [a / foot**2 for a in areas(deck)] == [pytest.approx(5000, rel=1e-3)]  # exact: 100 × 50
    gaps = [m for m in messages if m.id == "intake.gap-closed"]
    assert len(gaps) == 4
    assert max(m.values["size"] for m in gaps) == pytest.approx(0.06, abs=0.001)


def test_a_gap_wider_than_a_tenth_of_a_foot_refuses_and_says_where(tmp_path):
    d = Draft().lines((0, 0, 100, 0), (100, 0, 100, 50), (100, 50, 0, 50), (0, 50, 0, 0.4))
    with pytest.raises(Refused, match=r"no closed outline.*\(0\.00, 0\.40\), 0\.400 short"):
        d.read(tmp_path, deck_doc(unit_m=0.3048))


def test_walls_with_openings_that_enclose_only_their_jambs_are_refused(tmp_path):
    d = Draft().lines((0, 0, 40, 0), (43, 0, 100, 0), (100, 0, 100, 50), (0, 50, 0, 3))
    d.box(40, 0, 40.5, 0.5)
    with pytest.raises(Refused, match=r"encloses only scraps.*It is open at"):
        d.read(tmp_path, deck_doc(unit_m=0.3048))


def test_loose_ends_beside_a_closed_outline_are_listed(tmp_path):
    d = Draft().box(0, 0, 100, 50).lines((120, 0, 120, 20))
    deck, messages = d.read(tmp_path, deck_doc(unit_m=0.3048))
    assert [a / 0.3048**2 for a in areas(deck)] == [pytest.approx(5000)]  # exact: 100 × 50
    (said,) = [m for m in messages if m.id == "intake.left-open"]
    assert said.values["count"] == 2  # exact: both ends of one line


def test_a_divider_that_stops_short_still_divides(tmp_path):
    d = Draft().box(0, 0, 100, 50).lines((50, 0.04, 50, 49.97))
    doc = deck_doc(zone_doc(at_m=(10 * 0.3048, 10 * 0.3048)), unit_m=0.3048)
    deck, messages = d.read(tmp_path, doc)
    assert [a / 0.3048**2 for a in areas(deck)] == [pytest.approx(2500)]  # exact
    assert ids(messages).count("intake.gap-closed") == 2


def test_doubled_and_nearly_doubled_lines_make_no_sliver(tmp_path):
    legs = [(0, 0, 100, 0), (100, 0, 100, 50), (100, 50, 0, 50), (0, 50, 0, 0)]
    d = Draft().lines(*legs, *legs, (20, 0, 80, 0), (0, 0.0005, 100, 0.0005))
    deck, _ = d.read(tmp_path, deck_doc(unit_m=0.3048))
    assert [a / 0.3048**2 for a in areas(deck)] == [pytest.approx(5000, abs=0.05)]  # exact


def test_a_point_picks_the_smallest_outline_around_it(tmp_path):
    d = Draft().box(0, 0, 100, 50).box(10, 10, 20, 20)
    deck, _ = d.read(tmp_path, deck_doc(zone_doc(at_m=(15, 15))))
    assert areas(deck) == [pytest.approx(100)]  # exact
    deck, _ = d.read(tmp_path, deck_doc(zone_doc(at_m=(5, 5))))
    assert areas(deck) == [pytest.approx(5000)]  # exact


def test_a_drawing_far_from_its_origin(tmp_path):
    east, north = 13_500_000, 4_200_000
    d = Draft().box(east, north, east + 100, north + 50)
    d.space.add_circle((east + 50, north + 25), 5, dxfattribs={"layer": "C"})
    doc = deck_doc(features=[feature_doc("C", "column")], unit_m=0.3048)
    deck, _ = d.read(tmp_path, doc)
    column = deck.features[0].geometry
    assert areas(deck)[0] / 0.3048**2 == pytest.approx(5000, rel=1e-7)  # exact
    net = deck.zones[0].outline.difference(column).area
    assert net / 0.3048**2 == pytest.approx(4921.46, abs=0.005)  # exact: less 25 π
    assert deck.offset_m == (math.floor(east * 0.3048), math.floor(north * 0.3048))
    assert max(map(abs, deck.zones[0].outline.bounds)) < 50


def test_layers_off_and_frozen(tmp_path):
    d = Draft().box(50, 0, 52, 2)
    d.document.layers.add("FROZEN").freeze()
    d.document.layers.add("OFF").off()
    block = d.block("B")
    block.add_lwpolyline([(0, 0), (2, 0), (2, 2), (0, 2)], close=True)  # layer 0
    other = d.block("C")
    other.add_lwpolyline([(0, 0), (3, 0), (3, 3), (0, 3)], close=True, dxfattribs={"layer": "A"})
    d.insert("B", (0, 0), layer="FROZEN").insert("C", (10, 0), layer="FROZEN")
    d.insert("B", (20, 0), layer="OFF").insert("C", (30, 0), layer="OFF")
    deck, messages = d.read(tmp_path)
    # exact: the loose 2 × 2, and the 3 × 3 whose own layer is on
    assert areas(deck) == [pytest.approx(9), pytest.approx(4)]
    hidden = {(m.values["layer"], m.values["entity"]) for m in messages if m.id == "intake.hidden"}
    assert hidden == {("FROZEN", "INSERT"), ("OFF", "LWPOLYLINE")}
