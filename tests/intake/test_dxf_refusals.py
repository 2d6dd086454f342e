"""What a drawing is refused for: each fault with its place and its remedy."""

from __future__ import annotations

import pytest
from tests.intake.dxf_cases import Draft, areas, deck_doc, feature_doc, zone_doc

from tackfree.errors import InputError, NotFound, Refused
from tackfree.intake.dxf import read_deck


def refusal(draft, folder, doc=None):
    with pytest.raises(Refused) as caught:
        draft.read(folder, doc)
    for fault in caught.value.faults:
        assert fault.where.startswith("x.dxf")
        assert fault.do
    return str(caught.value)


def test_no_such_file(tmp_path):
    with pytest.raises(NotFound, match=r"nowhere\.dxf: there is no such drawing"):
        read_deck(tmp_path / "nowhere.dxf", deck_doc())


@pytest.mark.parametrize("content", [b"", b"hello\nworld\n", b"%PDF-1.7\n", b"\x00\x01\x02"])
def test_not_a_drawing(tmp_path, content):
    path = tmp_path / "x.dxf"
    path.write_bytes(content)
    with pytest.raises(InputError, match="not a DXF drawing"):
        read_deck(path, deck_doc())


def test_an_archive_is_not_unpacked(tmp_path):
    path = tmp_path / "x.dxf"
    path.write_bytes(b"PK\x03\x04\x00\x00")
    with pytest.raises(InputError, match="packed archive"):
        read_deck(path, deck_doc())


def test_a_dwg_is_named_as_such(tmp_path):
    path = tmp_path / "x.dxf"
    path.write_bytes(b"AC1032" + bytes(100))
    with pytest.raises(InputError, match="DWG"):
        read_deck(path, deck_doc())


def test_a_missing_layer_names_the_layers_there_are(tmp_path):
    said = refusal(Draft().box(0, 0, 9, 9, layer="SLAB"), tmp_path)
    assert "zone Z" in said
    assert "no layer A" in said
    assert "SLAB" in said


def test_all_faults_at_once(tmp_path):
    doc = deck_doc(zone_doc("Z1", "NO-1"), zone_doc("Z2", "NO-2"),
                   features=[feature_doc("NO-3", "column")])  # fmt: skip
    said = refusal(Draft().box(0, 0, 9, 9), tmp_path, doc)
    assert all(name in said for name in ("NO-1", "NO-2", "NO-3"))


def test_layer_names_forgive_case_and_bound_prefixes(tmp_path):
    d = Draft().box(0, 0, 9, 9, layer="LEVEL-2$0$Slab")
    deck, _ = d.read(tmp_path, deck_doc(zone_doc(layer="SLAB")))
    assert areas(deck) == [pytest.approx(81)]


def test_an_empty_layer(tmp_path):
    d = Draft()
    d.document.layers.add("A")
    assert "no closed outline" in refusal(d, tmp_path)


def test_no_outline_around_the_point(tmp_path):
    said = refusal(Draft().box(0, 0, 9, 9), tmp_path, deck_doc(zone_doc(at_m=(20, 20))))
    assert "no closed outline around (20.00, 20.00)" in said


def test_a_bow_tie(tmp_path):
    said = refusal(Draft().ring([(0, 0), (10, 10), (10, 0), (0, 10)]), tmp_path)
    assert "crosses itself" in said
    assert "5 5" in said


@pytest.mark.parametrize(
    "points", [[(0, 0), (10, 0)], [(0, 0), (10, 0), (20, 0)], [(0, 0), (9, 0), (9, 9), (9, 0)]]
)
def test_an_outline_without_area(tmp_path, points):
    assert "encloses no area" in refusal(Draft().ring(points), tmp_path)


def test_a_ring_that_touches_itself_is_clear_and_said(tmp_path):
    """A hole that meets the shell in one point, drawn in one go."""
    points = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0), (2, 4), (4, 2)]
    deck, messages = Draft().ring(points).read(tmp_path)
    assert sum(areas(deck)) == pytest.approx(100 - 6)  # exact: triangle (0,0) (2,4) (4,2) is 6
    assert "intake.pinched" in [m.id for m in messages]


def test_zones_that_overlap(tmp_path):
    d = Draft().box(0, 0, 10, 10).box(8, 0, 20, 10, layer="B")
    said = refusal(d, tmp_path, deck_doc(zone_doc("Z1"), zone_doc("Z2", "B")))
    assert "zones Z1 and Z2" in said
    assert "20.00 m² (215.3 ft²)" in said  # exact: 2 × 10


def test_zones_that_share_an_edge_or_a_hair_do_not_overlap(tmp_path):
    d = Draft().box(0, 0, 10, 10).box(9.999, 0, 20, 10, layer="B")
    deck, _ = d.read(tmp_path, deck_doc(zone_doc("Z1"), zone_doc("Z2", "B")))
    assert len(deck.zones) == 2


def test_nested_outlines_are_one_area_and_said(tmp_path):
    deck, messages = Draft().box(0, 0, 10, 10).box(2, 2, 4, 4).read(tmp_path)
    assert areas(deck) == [pytest.approx(100)]
    assert "intake.nested" in [m.id for m in messages]


def broken(folder, name="x.dxf"):
    """A drawing in which one coordinate is not a number."""
    d = Draft().box(0, 0, 10, 10)
    d.space.add_line((7777.5, 1), (2, 2), dxfattribs={"layer": "A"})
    path = folder / name
    d.document.saveas(path)
    path.write_text(path.read_text("utf-8").replace("7777.5", "nan"), "utf-8")
    return path


def test_a_coordinate_that_is_not_a_number(tmp_path):
    with pytest.raises(Refused, match=r"layer A: LINE \w+ cannot be read"):
        read_deck(broken(tmp_path), deck_doc())


def test_open_columns_are_not_taken_for_floor(tmp_path):
    d = Draft().box(0, 0, 20, 20).lines((5, 5, 7, 5), (7, 5, 7, 7), (7, 7, 5, 7), layer="C")
    said = refusal(d, tmp_path, deck_doc(features=[feature_doc("C", "column")]))
    assert "features column" in said
    assert "ends open" in said


def test_what_is_not_used_is_listed(tmp_path):
    d = Draft().box(0, 0, 9, 9).lines((0, 0, 5, 5), (1, 1, 2, 2), layer="WALL")
    d.space.add_text("NOTES", dxfattribs={"layer": "TEXT"})
    d.space.add_text("on the zone's layer", dxfattribs={"layer": "A"})
    _, messages = d.read(tmp_path)
    got = {
        (m.values["layer"], m.values["entity"], m.values["count"])
        for m in messages
        if m.id == "intake.ignored"
    }
    assert got == {("WALL", "LINE", 2), ("TEXT", "TEXT", 1), ("A", "TEXT", 1)}


def test_an_external_drawing_is_named(tmp_path):
    d = Draft().box(0, 0, 9, 9)
    d.document.add_xref_def("level-3.dwg", "LEVEL-3")
    d.insert("LEVEL-3", (0, 0), layer="X")
    _, messages = d.read(tmp_path)
    absent = [m.values["drawing"] for m in messages if m.id == "intake.absent"]
    assert absent == ["LEVEL-3"]


@pytest.mark.parametrize(
    ("header", "unit_m", "doubt"),
    [(4, 0.0254, True), (2, 0.3048, False), (21, 0.3048, False), (0, 0.3048, False)],
)
def test_a_header_that_contradicts_the_confirmed_unit(tmp_path, header, unit_m, doubt):
    d = Draft().box(0, 0, 9, 9)
    d.document.header["$INSUNITS"] = header
    _, messages = d.read(tmp_path, deck_doc(unit_m=unit_m))
    assert ("intake.unit-header" in [m.id for m in messages]) == doubt


def test_a_dimension_whose_text_is_not_what_it_measures(tmp_path):
    d = Draft().box(0, 0, 199.75, 100)
    d.space.add_linear_dim(base=(0, -5), p1=(0, 0), p2=(199.75, 0), text="200'-0\"").render()
    d.space.add_linear_dim(base=(-5, 0), p1=(0, 0), p2=(0, 100), angle=90, text="100'-0\"").render()
    _, messages = d.read(tmp_path, deck_doc(unit_m=0.3048))
    (doubt,) = [m for m in messages if m.id == "intake.dimension-text"]
    assert doubt.values["length_percent"] == pytest.approx(-0.125)  # exact: 199.75 / 200
    assert doubt.values["area_percent"] == pytest.approx(-0.25, abs=0.001)


def test_rows_of_blocks_without_end(tmp_path):
    d = Draft().box(0, 0, 9, 9)
    d.block("B").add_line((0, 0), (1, 1))
    d.insert("B", (0, 0), layer="X", column_count=30000, row_count=30000,
             column_spacing=1, row_spacing=1)  # fmt: skip
    with pytest.raises(InputError, match="more than 500000 entities"):
        d.read(tmp_path)


def test_an_arc_without_measure(tmp_path):
    d = Draft().box(0, 0, 9, 9)
    d.space.add_circle((1, 1), 1e12, dxfattribs={"layer": "A"})
    assert "an arc of radius 1e+12" in refusal(d, tmp_path)


def test_drains_are_counted_once_each(tmp_path):
    d = Draft().box(0, 0, 100, 100)
    block = d.block("DRAIN")
    block.add_circle((0, 0), 0.5)
    block.add_line((-0.5, 0), (0.5, 0))
    block.add_point((0, 0))
    d.insert("DRAIN", (10, 10), layer="DR").insert("DRAIN", (20, 10), layer="DR")
    d.insert("DRAIN", (20, 10), layer="DR")  # the same again
    d.space.add_circle((30, 10), 0.5, dxfattribs={"layer": "DR"})
    d.space.add_point((40, 10), dxfattribs={"layer": "DR"})
    deck, messages = d.read(tmp_path, deck_doc(features=[feature_doc("DR", "drain")]))
    places = [(round(f.geometry.x, 6), round(f.geometry.y, 6)) for f in deck.features]
    assert places == [(10, 10), (20, 10), (30, 10), (40, 10)]
    assert [m.values["count"] for m in messages if m.id == "intake.doubled"] == [1]


def test_stalls_keep_their_painted_numbers(tmp_path):
    d = Draft().box(0, 0, 100, 100)
    for i, label in enumerate(["A-1", "A-2", "", "A-2"]):
        d.box(i * 9, 0, i * 9 + 9, 18, layer="ST")
        if label:
            d.space.add_text(label, dxfattribs={"layer": "NO", "insert": (i * 9 + 2, 5)})
    deck, messages = d.read(tmp_path, deck_doc(features=[feature_doc("ST", "stall")]))
    assert [f.label for f in deck.features] == ["A-1", "A-2", "", "A-2"]
    assert [m.id for m in messages] == ["intake.stall-twice", "intake.stall-blank"]


def test_the_order_of_drawing_moves_nothing(tmp_path):
    boxes = [(1, 1, 2, 2), (5, 1, 6, 2), (1, 7, 2, 8)]
    docs = deck_doc(features=[feature_doc("C", "column")])
    found = []
    for order in (boxes, boxes[::-1]):
        d = Draft().box(0, 0, 10, 10)
        for b in order:
            d.box(*b, layer="C")
        deck, _ = d.read(tmp_path, docs)
        found.append([(f.id, f.geometry.bounds) for f in deck.features])
    assert found[0] == found[1]
