"""What is packed inside a PDF: layers, enlarged points, bombs; room labels and scans."""

from __future__ import annotations

import zlib
from dataclasses import replace

import pytest
from tests.intake.dxf_cases import Draft, deck_doc, zone_doc
from tests.intake.pdf_cases import DECK, pdf, text, with_packed_objects
from tests.intake.test_pdf import FT, LONG

from tackfree.errors import InputError
from tackfree.intake.dxf import report_drawing
from tackfree.intake.pdf import read_page, read_pdf_deck, report_page
from tackfree.intake.pdf.scale import printed_scale
from tackfree.service import drawing as service


@pytest.fixture
def saved(tmp_path):
    def write(data, name="plan.pdf"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return write


@pytest.mark.parametrize(("page", "unit"), [("", 1.0), ("/UserUnit 2.0", 2.0)])
def test_a_user_unit_in_a_packed_object(saved, page, unit):
    found = read_page(saved(with_packed_objects(f"{DECK} {text('1:100', 50, 10)}", page)))
    assert found.user_unit == unit
    assert [s.closed for s in found.drawn.strokes] == [True]
    # exact: two 72nds of an inch to the point, so twice as many metres
    assert printed_scale("1:100", user_unit=unit) == unit * printed_scale("1:100")


def with_layers(content, **names):
    groups = " ".join(f"/{k} << /Type /OCG /Name ({v}) >>" for k, v in names.items())
    plain = pdf(content)
    return plain.replace(b"/XObject <<", f"/Properties << {groups} >> /XObject <<".encode(), 1)


def test_layers_of_the_drawing_program_are_named(saved):
    content = (
        f"/OC /MC0 BDC {DECK} EMC /OC /MC1 BDC 2 w 100 100 30 20 re S EMC "
        "/Span << >> BDC 1 w 10 10 m 20 20 l S EMC 0 0 1 rg 300 10 10 10 re f"
    )
    path = saved(with_layers(content, MC0="A-SLAB", MC1="A-COLS"))
    assert read_page(path).drawn.layers == (
        "1.00 pt #000000",
        "A-COLS: 2.00 pt #000000",
        "A-SLAB: 2.00 pt #000000",
        "fill #0000ff",
    )
    doc = replace(deck_doc(zone_doc(layer="A-SLAB: 2.00 pt #000000")), calibration=(LONG,))
    deck, _ = read_pdf_deck(path, doc)
    assert deck.zones[0].outline.area / FT**2 == pytest.approx(20_000, rel=1e-6)  # exact


def test_a_stream_packed_twice_is_not_opened(saved):
    once = zlib.compress(zlib.compress(b" " * 1_000_000))
    body = f"<< /Length {len(once)} /Filter [/FlateDecode /FlateDecode] >>".encode()
    data = pdf("@@").replace(b"<< /Length 2 >>", body).replace(b"@@", once)
    with pytest.raises(InputError, match="packed twice"):
        report_page(saved(data))


def room(x, y, wide, high, words):
    return f"1 w {x} {y} {wide} {high} re S {text(words, x + wide / 2 - 20, y + high / 2, high=6)}"


def test_room_labels_speak_for_a_scale_and_against_a_wrong_one(saved):
    """Rooms of 20 by 10 ft and 15 by 10 ft, drawn 3.6 points to the foot."""
    rooms = room(100, 100, 72, 36, "20'0 x 10'0") + " " + room(200, 100, 54, 36, "15'0 x 10'0")
    report = report_page(saved(pdf(f"{DECK} {rooms}")))
    (guess,) = report.units
    assert [m.id for m in guess.evidence] == ["intake.speaks-room-page"]
    assert FT / guess.unit_m == pytest.approx(3.6, rel=1e-9)  # exact
    assert report.proposed is None  # labels are rounded: they propose nothing alone
    path = saved(pdf(f"{DECK} {rooms}"), "again.pdf")
    right, _ = service.read_drawing(path, measured=["40,40 760,40 = 200 ft"])
    wrong, _ = service.read_drawing(path, measured=["40,40 760,40 = 180 ft"])
    assert "intake.room-off" not in [m.id for m in right.messages]
    (said,) = [m for m in wrong.messages if m.id == "intake.room-off"]
    assert (said.values["count"], said.values["all"]) == (2, 2)


def test_a_scan_is_sent_to_the_tracing_page(saved):
    picture = "q 800 0 0 600 0 0 cm BI /W 1 /H 1 /CS /G /BPC 8 ID \x80 EI Q"
    _, (fault,) = service.read_drawing(saved(pdf(picture)))
    assert "is a picture" in fault.what
    assert "/trace" in fault.do


def test_layers_that_no_printed_sheet_shows(tmp_path):
    d = Draft().box(0, 0, 10, 10).box(0, 0, 5, 5, layer="DEMO").box(1, 1, 4, 4, layer="ONCE")
    for name, frozen in (("Layout1", ["DEMO"]), ("S2", ["DEMO", "ONCE"])):
        sheet = d.document.layouts.get(name) if name == "Layout1" else d.document.layouts.new(name)
        view = sheet.add_viewport(center=(5, 5), size=(9, 9), view_center_point=(5, 5),
                                  view_height=12)  # fmt: skip
        for layer in ("DEMO", "ONCE"):
            if not d.document.layers.has_entry(layer):
                d.document.layers.add(layer)
        view.frozen_layers = frozen
    path = tmp_path / "x.dxf"
    d.document.saveas(path)
    said = [m.values for m in report_drawing(path).messages if m.id == "intake.viewport-frozen"]
    assert [(v["layer"], v["sheets"]) for v in said] == [("DEMO", 2)]
