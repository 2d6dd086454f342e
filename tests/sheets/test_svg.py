"""Small pieces of SVG: widths, numbers, escaping, the turn of y."""

from __future__ import annotations

from importlib import resources
from xml.etree import ElementTree as ET

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from tackfree.sheets import look, svg
from tackfree.sheets.svg import Box, Frame


@pytest.mark.outside
@pytest.mark.parametrize("weight", ["Regular", "Bold"])
def test_widths_are_those_of_the_packaged_font(weight: str) -> None:
    path = resources.files("tackfree") / "assets" / "fonts" / f"B612-{weight}.otf"
    with resources.as_file(path) as file:
        font = TTFont(file)
    letters, metrics = font.getBestCmap(), font["hmtx"]
    em = font["head"].unitsPerEm
    for ch, width in svg._WIDTH.items():
        # library: fontTools reads the font's own advance widths
        assert width / 1000 == pytest.approx(metrics[letters[ord(ch)]][0] / em, abs=0.0006), ch


def test_digits_share_one_width() -> None:
    assert len({svg.text_width(d, 100) for d in "0123456789"}) == 1  # tabular figures


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (-0.001, "0"), (1.0, "1"), (1.005, "1"), (12.3456, "12.35"), (-2.5, "-2.5"),
     (100.0, "100")],
)  # fmt: skip
def test_numbers_are_short(value: float, text: str) -> None:
    assert svg.num(value) == text


@given(st.text())
def test_any_text_is_safe_in_a_drawing(text: str) -> None:
    clean = "".join(c for c in text if c not in "\ud800\udfff\ufffe\uffff")
    pen = svg.Pen(look.DAY, "t")
    drawn = svg.document(
        [pen.text(0, 0, clean, 16)], width=1, height=1, title=clean, desc=clean, prefix="t"
    )
    root = ET.fromstring(drawn)
    assert [e.tag.rsplit("}")[-1] for e in root] == ["title", "desc", "text"]


@given(st.floats(-500, 500), st.floats(-500, 500), st.floats(0.5, 60))
def test_metres_up_are_px_down(x: float, y: float, scale: float) -> None:
    frame = Frame(x0_m=-10, y1_m=20, px_per_m=scale, left=30, top=40)
    (x1, y1), (x2, y2) = frame.at(x, y), frame.at(x + 1, y + 1)
    assert x2 - x1 == pytest.approx(scale, rel=1e-6)
    assert y1 - y2 == pytest.approx(scale, rel=1e-6)


def test_paths_keep_holes_and_parts() -> None:
    frame = Frame(x0_m=0, y1_m=10, px_per_m=1, left=0, top=0)
    shape = box(0, 0, 10, 10).difference(box(4, 4, 6, 6))
    d = svg.path_d(MultiPolygon([shape, box(20, 0, 21, 1)]), frame)
    assert d.count("M") == d.count("Z") == 3
    assert svg.path_d(Point(1, 1), frame) == ""
    assert svg.path_d(box(0, 0, 1, 1).intersection(box(5, 5, 6, 6)), frame) == ""


def test_boxes_that_touch_do_not_meet() -> None:
    a = Box(x=0, y=0, w=10, h=10)
    assert not a.meets(Box(x=10, y=0, w=5, h=5))
    assert a.meets(Box(x=9.9, y=9.9, w=5, h=5))


@pytest.mark.parametrize("name", sorted(look.PALETTES))
def test_ink_on_paper_is_seven_to_one(name: str) -> None:
    def light(colour: str) -> float:
        # published: relative luminance, WCAG 2.2, definitions
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        lin = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * lin[0] + 0.7152 * lin[1] + 0.0722 * lin[2]

    palette = look.PALETTES[name]
    paper = light(palette["paper"])
    for role in ("ink", "ink-2", "accent"):
        a, b = sorted((paper, light(palette[role])), reverse=True)
        # published: 7:1 for text, WCAG 2.2 criterion 1.4.6
        assert (a + 0.05) / (b + 0.05) >= 7, (name, role)
