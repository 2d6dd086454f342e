"""Vector PDF pages: rotation, forms, calibration, and what is no drawing."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.intake.dxf_cases import deck_doc, feature_doc, zone_doc
from tests.intake.pdf_cases import DECK, HOLES, PLAIN, pdf

from tackfree.deck.declared import Measured
from tackfree.deck.takeoff import take_off
from tackfree.errors import InputError, NotFound, Refused
from tackfree.intake.pdf import read_page, read_pdf_deck, report_page

FT, FT2 = 0.3048, 0.3048**2
LONG = Measured(start=(40, 40), end=(760, 40), length_m=200 * FT)
NET = 200 * 100 - 20 * 30 - math.pi * 20**2  # exact: geometry notes, case 25: 18,143.36


def doc(*measured, **more):
    return replace(
        deck_doc(
            zone_doc(layer="2.00 pt #000000"),
            features=[feature_doc("1.00 pt #ff0000", "opening")],
        ),
        calibration=measured,
        **more,
    )


def net_ft2(path, declared):
    deck, _ = read_pdf_deck(path, declared)
    (zone,) = take_off([deck], rout_from_m={}).zones
    return zone.plan_m2 / FT2


@pytest.fixture
def page(tmp_path):
    def write(content, name="plan.pdf", **more):
        path = tmp_path / name
        path.write_bytes(pdf(content, **more))
        return path

    return write


def test_a_plain_page(page):
    assert net_ft2(page(PLAIN), doc(LONG)) == pytest.approx(NET, rel=3e-5)


@pytest.mark.parametrize(
    ("turn", "start", "end"),
    [
        # exact: the lower edge of an 800 × 600 page, turned clockwise
        (90, (40, 760), (40, 40)),
        (180, (760, 560), (40, 560)),
        (270, (560, 40), (560, 760)),
    ],
)
def test_a_turned_page_is_read_as_it_is_shown(page, turn, start, end):
    path = page(PLAIN, rotate=turn)
    long = Measured(start=start, end=end, length_m=200 * FT)
    assert net_ft2(path, doc(long)) == pytest.approx(NET, rel=3e-5)
    corners = {tuple(p) for s in read_page(path).drawn.strokes for p in s.points.round(3)}
    assert {start, end} <= corners


def test_a_crop_box_moves_the_origin(page):
    path = page(PLAIN, extra="/CropBox [30 30 790 500]")
    corners = {tuple(p) for s in read_page(path).drawn.strokes for p in s.points.round(3)}
    assert (10.0, 10.0) in corners  # exact: 40 - 30


def test_forms_inside_forms(page):
    """A form at half size inside a form moved by 5: widths and lengths halve."""
    path = page(
        "/Outer Do",
        forms=[
            ("Outer", (1, 0, 0, 1, 5, 0), "/Inner Do", "/Inner 7 0 R"),
            ("Inner", (0.5, 0, 0, 0.5, 0, 0), f"{DECK} {HOLES}", ""),
        ],
    )
    half = replace(LONG, start=(25, 20), end=(385, 20))
    declared = replace(
        doc(half),
        zones=(zone_doc(layer="1.00 pt #000000"),),
        features=(feature_doc("0.50 pt #ff0000", "opening"),),
    )
    assert net_ft2(path, declared) == pytest.approx(NET, rel=3e-5)


def test_a_stretched_sheet(page):
    """200 ft are 720 pt along, 100 ft only 354 pt up: 1.7 % apart (notes, case 26)."""
    path = page("2 w 40 40 720 354 re S")
    plain = replace(doc(LONG), features=())
    up = Measured(start=(40, 40), end=(40, 394), length_m=100 * FT)
    deck, said = read_pdf_deck(path, replace(plain, calibration=(LONG, up)))
    (warning,) = [m for m in said if m.id == "intake.stretched"]
    # exact: (100/354) / (200/720) - 1
    assert warning.values["length_percent"] == pytest.approx(100 * (720 / 2 / 354 - 1), abs=0.005)
    assert deck.zones[0].outline.area / FT2 == pytest.approx(200 * 354 / 3.6, rel=1e-6)
    both, said = read_pdf_deck(path, replace(plain, calibration=(LONG, up), stretched=True))
    assert both.zones[0].outline.area / FT2 == pytest.approx(20_000, rel=1e-6)  # exact
    assert "intake.stretched" not in [m.id for m in said]


@pytest.mark.parametrize(
    ("measured", "stretched", "why"),
    [
        ((), False, "no unit"),
        ((replace(LONG, end=LONG.start),), False, "two different points"),
        ((replace(LONG, length_m=0.0),), False, "above zero"),
        ((LONG, replace(LONG, length_m=61.0)), False, "nearly the same way"),
        ((LONG,), True, "needs two"),
    ],
)
def test_lengths_that_cannot_calibrate(page, measured, stretched, why):
    with pytest.raises((InputError, Refused), match=why):
        read_pdf_deck(page(PLAIN), doc(*measured, stretched=stretched))


def test_filled_shapes_are_layers_of_their_own(page):
    report = report_page(page("0 0 1 rg 10 10 100 50 re f 300 10 10 10 re W n"))
    (layer,) = report.layers
    assert (layer.name, layer.closed_area) == ("fill #0000ff", pytest.approx(5000))  # exact


def test_what_lies_off_the_page_is_left_out(page):
    report = report_page(page(f"{DECK} 2 w 900 900 50 50 re S"))
    assert [x.closed_outlines for x in report.layers] == [1]


def test_a_scanned_page(page):
    picture = "q 800 0 0 600 0 0 cm BI /W 1 /H 1 /CS /G /BPC 8 ID \x80 EI Q"
    path = page(picture)
    report = report_page(path)
    assert [m.id for m in report.messages] == ["intake.only-picture"]
    with pytest.raises(Refused, match="is a picture"):
        read_pdf_deck(path, doc(LONG))


def test_a_locked_file(page):
    lock = "<< /Filter /Standard /V 1 /R 2 /P -44 /O <" + "ab" * 32 + "> /U <" + "cd" * 32 + "> >>"
    path = page(PLAIN, trailer=f"/Encrypt {lock} /ID [<00> <00>]")
    with pytest.raises(InputError, match="locked by a password"):
        report_page(path)


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7\nnothing", b"PK\x03\x04", b"\x00" * 100])
def test_not_a_pdf(tmp_path, content):
    path = tmp_path / "x.pdf"
    path.write_bytes(content)
    with pytest.raises(InputError, match="not a PDF"):
        report_page(path)


def test_no_such_file_or_page(page, tmp_path):
    with pytest.raises(NotFound):
        report_page(tmp_path / "none.pdf")
    with pytest.raises(InputError, match="there is no page 2"):
        report_page(page(PLAIN), 2)
