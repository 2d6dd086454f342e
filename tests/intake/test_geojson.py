"""A deck's own GeoJSON: what it must hold, and what it is refused for."""

from __future__ import annotations

import json
import math

import pytest
from tests.intake.dxf_cases import deck_doc, zone_doc

from tackfree.deck.types import FeatureKind
from tackfree.errors import InputError, NotFound, Refused
from tackfree.intake.geojson import read_geojson, write_geojson

SQUARE = [[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]]


def row(ident, kind="zone", geometry=None, **properties):
    return {
        "type": "Feature",
        "properties": {"id": ident, "kind": kind, **properties},
        "geometry": geometry or {"type": "Polygon", "coordinates": [SQUARE]},
    }


def read(folder, *rows, doc=None):
    path = folder / "d.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}), "utf-8")
    return read_geojson(path, doc or deck_doc(zone_doc(layer=None)))


def refusal(folder, *rows, doc=None):
    with pytest.raises(Refused) as caught:
        read(folder, *rows, doc=doc)
    return str(caught.value)


def test_zones_and_features(tmp_path):
    crack = {"type": "LineString", "coordinates": [[1, 1], [4, 5]]}
    deck, messages = read(
        tmp_path,
        row("Z"),
        row("C1", "crack", crack, width_m=0.002),
        row("N1", "penetration", {"type": "Point", "coordinates": [2, 2, 7]}, count=4),
        row("L1", "lane", label="Lane A", connects=["street"]),
    )
    assert messages == ()
    assert deck.zones[0].outline.area == 100  # exact
    c, n, lane = deck.features
    assert (c.kind, c.geometry.length, c.width_m) == (FeatureKind.CRACK, 5, 0.002)  # exact: 3-4-5
    assert (n.count, n.geometry.has_z) == (4, False)
    assert (lane.label, lane.connects) == ("Lane A", ("street",))


@pytest.mark.parametrize("ring", [SQUARE, SQUARE[::-1], SQUARE[:-1]])
def test_direction_and_closing_do_not_matter(tmp_path, ring):
    deck, messages = read(tmp_path, row("Z", geometry={"type": "Polygon", "coordinates": [ring]}))
    assert deck.zones[0].outline.area == 100  # exact
    assert [m.id for m in messages] == (["intake.ring-closed"] if len(ring) == 4 else [])


def test_the_same_deck_gives_the_same_bytes(tmp_path):
    deck, _ = read(tmp_path, row("Z"), row("C", "column"))
    text = write_geojson(deck)
    (tmp_path / "d.geojson").write_text(text, "utf-8")
    again, _ = read_geojson(tmp_path / "d.geojson", deck_doc(zone_doc(layer=None)))
    assert write_geojson(again) == text


def test_no_such_file(tmp_path):
    with pytest.raises(NotFound, match="no such file"):
        read_geojson(tmp_path / "x.geojson", deck_doc())


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"type": "Feature"}', "\x00"])
def test_not_a_collection(tmp_path, text):
    (tmp_path / "x.geojson").write_text(text, "utf-8")
    with pytest.raises(InputError, match="not a GeoJSON feature collection"):
        read_geojson(tmp_path / "x.geojson", deck_doc())


@pytest.mark.parametrize(
    "geometry",
    [
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]},
        {"type": "Point", "coordinates": [None, 1]},
        {"type": "Nonsense", "coordinates": []},
        {"type": "Polygon", "coordinates": []},
        {"type": "Point"},
        [],
    ],
)
def test_a_feature_that_cannot_be_read(tmp_path, geometry):
    bad = {"type": "Feature", "properties": {"id": "BAD", "kind": "drain"}, "geometry": geometry}
    assert "feature BAD: it cannot be read" in refusal(tmp_path, row("Z"), bad)


@pytest.mark.parametrize("bad", [{}, {"properties": None}, {"properties": {"id": "X"}}, 7, None])
def test_a_row_without_id_or_kind(tmp_path, bad):
    assert "feature" in refusal(tmp_path, row("Z"), bad)


def test_faults_of_zones(tmp_path):
    bow = {"type": "Polygon", "coordinates": [[[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]]]}
    line = {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}
    doc = deck_doc(*(zone_doc(i, None) for i in ("BOW", "LINE", "NONE")))
    said = refusal(tmp_path, row("BOW", geometry=bow), row("LINE", geometry=line), doc=doc)
    for part in ("crosses itself", "is no area", "there is no feature NONE"):
        assert part in said


def test_zones_that_overlap(tmp_path):
    doc = deck_doc(zone_doc("A", None), zone_doc("B", None))
    assert "overlap by 100.00 m²" in refusal(tmp_path, row("A"), row("B"), doc=doc)


def test_an_id_used_twice(tmp_path):
    assert "used twice" in refusal(tmp_path, row("Z"), row("Z"))


def test_a_column_must_be_an_area(tmp_path):
    point = {"type": "Point", "coordinates": [1, 1]}
    assert "a column is an area" in refusal(tmp_path, row("Z"), row("C", "column", point))


def test_a_column_must_not_cross_itself(tmp_path):
    bow = {"type": "Polygon", "coordinates": [[[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]]]}
    assert "feature C: its outline crosses" in refusal(tmp_path, row("Z"), row("C", "column", bow))


def test_an_unknown_kind_is_left_out_and_said(tmp_path):
    deck, messages = read(tmp_path, row("Z"), row("T", "tree"))
    assert deck.features == ()
    assert [m.id for m in messages] == ["intake.feature-kind"]


def test_degrees_become_metres(tmp_path):
    here = [[-79.95, 36.10], [-79.949, 36.10], [-79.949, 36.101], [-79.95, 36.101]]
    deck, messages = read(tmp_path, row("Z", geometry={"type": "Polygon", "coordinates": [here]}))
    # published: a minute of latitude is about a nautical mile, 1852 m, and one of longitude
    # about cos(latitude) of it; the ellipsoid differs by up to 0.5 %
    minute = 0.06 * 1852
    want = minute**2 * math.cos(math.radians(36.1005))
    assert deck.zones[0].outline.area == pytest.approx(want, rel=5e-3)
    assert {m.id for m in messages} == {"intake.degrees", "intake.ring-closed"}
