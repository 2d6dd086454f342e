"""Lettering on PDF pages: painted numbers, printed scales, dimensions against their lines."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.intake.dxf_cases import deck_doc, feature_doc, zone_doc
from tests.intake.pdf_cases import DECK, pdf, text
from tests.intake.test_pdf import FT, LONG

from tackfree.deck.types import FeatureKind
from tackfree.errors import InputError
from tackfree.intake.pdf import read_page, read_pdf_deck, report_page
from tackfree.intake.pdf.scale import printed_scale
from tackfree.service import drawing as service

PT_FT = 3.6  # the test deck: 720 pt are 200 ft


@pytest.fixture
def page(tmp_path):
    def write(content, name="plan.pdf", **more):
        path = tmp_path / name
        path.write_bytes(pdf(content, **more))
        return path

    return write


@pytest.mark.parametrize(
    ("words", "points_to_the_foot"),
    [
        # exact: 72 points to the inch of paper
        ('SCALE: 1/8" = 1\'-0"', 9.0),
        ("1/4\"=1'", 18.0),
        ('1 1/2" = 1\'-0"', 108.0),
        ("1\" = 20'", 3.6),
        ('1" = 20\'-0"', 3.6),
        ("1 in = 40 ft", 1.8),
        ("Scale 1:100", 72 * 12 / 100),
        ("1 : 96", 9.0),
        ("1:1,200", 72 * 12 / 1200),
    ],
)
def test_printed_scales(words, points_to_the_foot):
    scale = printed_scale(words)
    assert FT / scale == pytest.approx(points_to_the_foot)


@pytest.mark.parametrize("words", ["", "12:30", "SHEET 1 OF 3", "1:1", "21'2 x 20'10", "2021:100"])
def test_what_is_no_printed_scale(words):
    assert printed_scale(words) is None


def test_a_user_unit_enlarges_the_sheet(page):
    # exact: with 2/72 in to the point, 1:100 is twice as many metres for each
    found = read_page(page(f"{DECK} {text('1:100', 50, 10)}", extra="/UserUnit 2.0"))
    assert found.user_unit == 2.0
    assert printed_scale("1:100", user_unit=2.0) == pytest.approx(2 * printed_scale("1:100"))


def test_painted_numbers_go_into_their_stalls(page):
    stalls = " ".join(f"1 w 0 0 1 RG {60 + 40 * i} 60 40 60 re S" for i in range(3))
    numbers = " ".join(text(f"A{i + 1:02d}", 70 + 40 * i, 80) for i in range(3))
    declared = replace(
        deck_doc(
            zone_doc(layer="2.00 pt #000000"), features=[feature_doc("1.00 pt #0000ff", "stall")]
        ),
        calibration=(LONG,),
    )
    deck, messages = read_pdf_deck(page(f"{DECK} {stalls} {numbers}"), declared)
    labels = [f.label for f in deck.features if f.kind is FeatureKind.STALL]
    assert labels == ["A01", "A02", "A03"]
    assert "intake.stall-blank" not in [m.id for m in messages]


def test_pieces_of_one_line_are_joined(page):
    """Programs set words letter by letter, or word by word."""
    letters = " ".join(text(c, 100 + 6.7 * i, 200, high=12) for i, c in enumerate("P204"))
    words = f"{text('SCALE', 100, 100)} {text('1:100', 137, 100)} {text('OTHER', 100, 80)}"
    upright = text("21'2 x 20'10", 300, 100, turn=(0, 1))
    found = read_page(page(f"{DECK} {letters} {words} {upright}"))
    assert [w.lettering.text for w in found.written] == [
        "P204", "SCALE 1:100", "OTHER", "21'2 x 20'10",
    ]  # fmt: skip
    up = found.written[-1]
    assert up.along == pytest.approx((0, 1))
    assert up.lettering.at[0] < 300 < up.lettering.at[0] + 10
    assert up.lettering.at[1] > 110


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_lettering_turns_with_the_page(page, turn):
    found = read_page(page(f"{DECK} {text('MIDDLE', 380, 216)}", rotate=turn))
    at = found.written[0].lettering.at
    wide, high = found.size_pt
    # the word stands in the middle of the page, which stays the middle
    assert math.dist(at, (wide / 2, high / 2)) < 100


DIMENSIONS = " ".join(
    [
        "0.5 w 40 420 m 760 420 l S 800 40 m 800 400 l S",
        text("200'-0\"", 380, 424, high=8),
        text("100'-0\"", 796, 200, high=8, turn=(0, 1)),
        # broken by its text
        "40 20 m 380 20 l S 430 20 m 760 20 l S",
        text("200'-0\"", 385, 17, high=8),
    ]
)


def test_dimensions_that_agree_propose_a_scale(page):
    report = report_page(page(f"{DECK} {DIMENSIONS}", media=(0, 0, 900, 600)))
    best = report.units[0]
    assert FT / best.unit_m == pytest.approx(PT_FT, rel=1e-3)
    assert report.proposed == best.unit
    assert report.unit_m is None
    found, faults = service.read_drawing(page(f"{DECK} {DIMENSIONS}", media=(0, 0, 900, 600)))
    assert faults == ()
    assert "proposed; confirm it with --measured" in service.text(found, "us")


def test_a_printed_scale_alone_proposes_nothing(page):
    path = page(f"{DECK} {text('1 in = 20 ft', 50, 10)}")
    report, faults = service.read_drawing(path)
    assert [m.id for m in report.units[0].evidence] == ["intake.speaks-printed"]
    assert FT / report.units[0].unit_m == pytest.approx(PT_FT)
    assert report.proposed is None
    assert len(faults) == 1


def test_a_sheet_printed_smaller_than_it_says(page):
    """96 % of full size: the printed scale is protested, the measured one used."""
    shrunk = f"q .96 0 0 .96 0 0 cm {DECK} Q {text('1 in = 20 ft', 50, 10)}"
    length = f"{40 * 0.96},{40 * 0.96} {760 * 0.96},{40 * 0.96} = 200 ft"
    report, faults = service.read_drawing(page(shrunk), measured=[length])
    assert faults == ()
    (said,) = [m for m in report.messages if m.id == "intake.printed-smaller"]
    assert said.values["percent"] == pytest.approx(96)
    largest = max(x["closed_area_m2"] for x in service.document(report)["layers"])
    assert largest / FT**2 == pytest.approx(20_000, rel=1e-4)


def test_a_dimension_that_is_not_what_it_says(page):
    # 719.1 pt at 3.6 pt/ft are 199.75 ft: 0.125 % short of the 200 ft written is let pass,
    # 718 pt, 199.44 ft and 0.28 % short, is not
    for end, told in ((759.1, False), (758.0, True)):
        line = f"0.5 w 40 420 m {end} 420 l S {text(chr(50) + '00 ft', 380, 424, high=8)}"
        path = page(f"{DECK} {line}", name=f"{end}.pdf")
        _, messages = read_pdf_deck(path, doc_without_holes())
        assert ("intake.dimension-text" in [m.id for m in messages]) is told


def doc_without_holes():
    return replace(deck_doc(zone_doc(layer="2.00 pt #000000")), calibration=(LONG,))


def test_dashed_lines_are_a_layer_of_their_own(page):
    found = read_page(page(f"{DECK} q [6 3] 0 d 2 w 40 200 m 760 200 l S Q 4 w 0 9 m 9 9 l S"))
    assert found.drawn.layers == ("2.00 pt #000000", "2.00 pt #000000 dashed", "4.00 pt #000000")


def test_a_leg_after_closing_starts_where_the_ring_did(page):
    found = read_page(page("1 w 10 10 m 60 10 l 60 60 l h 10 90 l S"))
    ring, leg = found.drawn.strokes
    assert ring.closed
    assert leg.points.tolist() == [[10, 10], [10, 90]]


def test_a_scan_in_a_border_is_a_picture(page):
    picture = "q 700 0 0 500 50 50 cm BI /W 1 /H 1 /BPC 8 /CS /G ID \x7f EI Q"
    path = page(f"1 w 10 10 780 580 re S {picture}")
    found = read_page(path)
    assert found.only_picture
    assert [m.id for m in report_page(path).messages] == ["intake.only-picture"]
    small = read_page(page(f"1 w 10 10 780 580 re S {picture.replace('700', '7')}", name="s.pdf"))
    assert not small.only_picture


def test_a_pdf_has_no_unit_to_confirm(page):
    with pytest.raises(InputError, match="no unit of its own"):
        service.read_drawing(page(DECK), unit="ft")
