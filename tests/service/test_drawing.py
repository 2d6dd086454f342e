"""A look into any drawing: areas, the unit, several drawings on one sheet, a clear no."""

from __future__ import annotations

import json
import struct
import zlib

import pytest
from tests.intake.dxf_cases import Draft

from tackfree.errors import InputError, ToolError
from tackfree.service import drawing as service

FT2 = 0.3048**2


def look(path, **more):
    report, faults = service.read_drawing(path, **more)
    return service.document(report), faults


def saved(draft, folder, name="x.dxf"):
    path = folder / name
    draft.document.saveas(path)
    return path


@pytest.mark.outside
def test_a_vector_page_has_the_areas_of_its_building(shared):
    path = shared / "drawings" / "pavilion_plan_vector.pdf"
    found, _ = look(path, measured=["227.1,0 4126.8,0 = 52 m"])
    (row,) = [x for x in found["layers"] if x["name"].startswith("2.62 pt")]
    # published: the manifest, 46.957 and 7.700 m² (also the building's DXF)
    assert row["largest_faces_m2"][:2] == pytest.approx([46.957, 7.700], rel=2e-4)


@pytest.mark.outside
def test_tiles_and_walls_of_a_pavilion(shared):
    found, _ = look(shared / "drawings" / "pavilion_plan_metres.dxf")
    layers = {x["name"]: x for x in found["layers"]}
    # published: the manifest
    assert layers["Flooring"]["faces"] == 412
    assert layers["Flooring"]["face_area_m2"] == pytest.approx(498.40, abs=0.005)
    assert layers["Walls"]["face_area_m2"] == pytest.approx(17.05, abs=0.005)


@pytest.mark.outside
def test_a_header_that_lies_is_protested(shared):
    path = shared / "drawings" / "house_plan_inches_labelled_mm.dxf"
    for unit in (None, "mm"):
        report, _ = service.read_drawing(path, unit=unit)
        assert "intake.header-lies" in [m.id for m in report.messages]


@pytest.mark.outside
def test_parking_lots_in_degrees(shared):
    found, faults = look(shared / "drawings" / "parking_lots_cary.geojson")
    assert faults == ()
    areas = {x["name"]: x["closed_area_m2"] / FT2 for x in found["layers"]}
    assert len(found["layers"]) == 20
    # published: the manifest, two methods agree to 5e-7
    for name, ft2 in {
        "Cary Arts Center": 16_981.7,
        "Faculty Ave Street": 1_871.1,
        "Library": 16_584.7,
        "Cary Elementary": 47_722.9,
        "Methodist Church": 96_835.1,
        "Johnsons Jewelers": 3_654.1,
    }.items():
        assert areas[name] == pytest.approx(ft2, abs=0.06)


def test_an_inch_room_under_a_millimetre_header(tmp_path):
    d = Draft().box(0, 0, 254, 250)
    d.document.header["$INSUNITS"] = 4
    d.space.add_text("21'2 x 20'10").set_placement((120, 120))
    found, faults = look(saved(d, tmp_path))
    assert (found["proposed"], faults) == ("in", ())
    area = max(x["closed_area_m2"] for x in found["layers"]) / FT2
    assert area == pytest.approx(254 * 250 / 144, rel=1e-9)  # exact: 440.97
    assert "intake.header-lies" in [m["id"] for m in found["messages"]]


def test_without_evidence_the_figures_of_each_unit(tmp_path):
    d = Draft().box(0, 0, 400, 250)
    d.document.header["$INSUNITS"] = 0
    found, (fault,) = look(saved(d, tmp_path))
    assert found["proposed"] is None
    by_unit = {c["unit"]: c["area_m2"] / FT2 for c in found["candidates"]}
    # exact: 100,000 square units
    assert by_unit["ft"] == pytest.approx(100_000)
    assert by_unit["in"] == pytest.approx(694.444, abs=0.001)
    assert by_unit["m"] == pytest.approx(1_076_391, abs=0.5)
    assert "100,000.0 ft²" in fault.what
    assert "694.4 ft²" in fault.what
    confirmed, faults = look(saved(d, tmp_path), unit="ft")
    assert faults == ()
    assert confirmed["unit_confirmed"]


def sheet(border):
    d = Draft()
    for x in (0, 200):  # two plans with twelve rooms each
        for i in range(12):
            d.box(x + 10 * i, 0, x + 10 * i + 10, 60)
    if border:
        d.box(-20, -20, 400, 80, layer="BORDER")
    return d


@pytest.mark.parametrize("border", [False, True])
def test_drawings_that_lie_apart(tmp_path, border):
    path = saved(sheet(border), tmp_path)
    found, _ = look(path, unit="ft")
    rich = [p for p in found["parts"] if p["strokes"] == 12]
    assert [(p["box"][0], p["box"][2]) for p in rich] == [(0, 120), (200, 320)]  # exact
    one, _ = look(path, unit="ft", part=rich[1]["number"])
    assert sum(x["face_area"] for x in one["layers"]) == pytest.approx(120 * 60)  # exact
    with pytest.raises(InputError, match="there is no drawing 9"):
        look(path, unit="ft", part=9)


def test_things_inside_a_plan_are_no_drawing_of_their_own(tmp_path):
    d = Draft().box(0, 0, 200, 100).box(80, 40, 110, 60)
    found, _ = look(saved(d, tmp_path), unit="ft")
    assert [p["strokes"] for p in found["parts"]] == [2]


def square(lat, lon=-100.0, clockwise=False, closed=True):
    ring = [[lon, lat], [lon + 0.001, lat], [lon + 0.001, lat + 0.001], [lon, lat + 0.001]]
    ring = ring[::-1] if clockwise else ring
    ring = [*ring, ring[0]] if closed else ring
    geometry = {"type": "Polygon", "coordinates": [ring]}
    row = {"type": "Feature", "properties": {"name": "lot"}, "geometry": geometry}
    return json.dumps({"type": "FeatureCollection", "features": [row]})


@pytest.mark.parametrize(("clockwise", "closed"), [(False, True), (True, True), (False, False)])
def test_a_square_in_degrees(tmp_path, clockwise, closed):
    path = tmp_path / "x.geojson"
    path.write_text(square(40, clockwise=clockwise, closed=closed), "utf-8")
    found, faults = look(path)
    assert faults == ()
    # library: geometry notes, case 27, by an authalic equal-area shoelace
    assert found["layers"][0]["closed_area_m2"] == pytest.approx(9481.6, rel=2e-5)
    assert ("intake.ring-closed" in [m["id"] for m in found["messages"]]) is not closed


def test_longitude_and_latitude_swapped(tmp_path):
    path = tmp_path / "x.geojson"
    path.write_text(square(-100, lon=40), "utf-8")
    with pytest.raises(InputError, match="swapped"):
        look(path)


def png(wide, high):
    head = struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)

    def chunk(kind, data):
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")


def test_pictures(tmp_path):
    small, huge, none = (tmp_path / n for n in ("a.png", "b.png", "c.png"))
    small.write_bytes(png(800, 600))
    huge.write_bytes(png(30_000, 30_000))
    none.write_bytes(b"no picture")
    report, (fault,) = service.read_drawing(small)
    assert report.size == (800, 600)
    assert "holds no lines" in fault.what
    with pytest.raises(InputError, match=r"30000|far too large"):
        service.read_drawing(huge)
    with pytest.raises(InputError, match="no picture"):
        service.read_drawing(none)


@pytest.mark.parametrize("name", ["x.dxf", "x.pdf", "x.geojson"])
def test_a_file_of_200_megabytes_is_not_even_opened(tmp_path, name):
    path = tmp_path / name
    with path.open("wb") as file:
        file.truncate(200_000_000)
    with pytest.raises(InputError, match="larger than"):
        service.read_drawing(path)


@pytest.mark.parametrize("name", ["x.dxf", "x.pdf", "x.geojson", "x.png", "x"])
@pytest.mark.parametrize("content", [b"", b"PK\x03\x04" + b"\x00" * 50, b"\x1f\x8b\x08", b"{}"])
def test_junk_is_refused_in_words(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(ToolError) as caught:
        service.read_drawing(path)
    assert all(f.what and f.do for f in caught.value.faults)


def test_outlines_to_start_from(tmp_path):
    path = saved(sheet(False), tmp_path)
    report, _ = service.read_drawing(path, unit="ft")
    (out,) = service.write_outlines(path, report, tmp_path / "deck.geojson")
    again, faults = look(out)
    assert faults == ()
    assert sum(x["closed_area_m2"] for x in again["layers"]) / FT2 == pytest.approx(2 * 7200)


def test_each_drawing_of_a_sheet_at_its_scale(tmp_path):
    """Two plans of 120 by 60 units: chosen by number, or each in a file of its own."""
    path = saved(sheet(False), tmp_path)

    def covered(file):
        return sum(x["closed_area_m2"] for x in look(file)[0]["layers"]) / FT2

    report, _ = service.read_drawing(path, unit="ft", part=2)
    (out,) = service.write_outlines(path, report, tmp_path / "second.geojson")
    assert covered(out) == pytest.approx(120 * 60)
    report, _ = service.read_drawing(path, unit="ft")
    out = service.write_outlines(path, report, tmp_path / "each")
    assert [p.name for p in out] == ["x-1.geojson", "x-2.geojson"]
    assert [covered(p) for p in out] == pytest.approx([120 * 60] * 2)
    # a sheet stretched in y: 60 units are 90 ft, 320 units 320 ft
    lengths = ["0,0 320,0 = 320 ft", "0,0 0,60 = 90 ft"]
    report, _ = service.read_drawing(path, measured=lengths, use_both=True, part=1)
    (out,) = service.write_outlines(path, report, tmp_path / "high.geojson")
    assert covered(out) == pytest.approx(120 * 90)
    (row,) = [x for x in service.document(report)["layers"] if x["closed_outlines"]]
    assert row["closed_area_m2"] / FT2 == pytest.approx(120 * 90)


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ({"unit": "yard"}, "no unit of a drawing"),
        ({"measured": ["200 ft"]}, "no measured length"),
    ],
)
def test_options_that_make_no_sense(tmp_path, options, why):
    path = saved(Draft().box(0, 0, 400, 250), tmp_path)
    with pytest.raises(InputError, match=why):
        service.read_drawing(path, **options)
