"""The sheets' own deck drawing, made ready for a page."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely import MultiPolygon, box

from tackfree.deck.types import Deck, Duty, Exposure, Section, Zone
from tackfree.errors import NotFound
from tackfree.service.pages.drawing import Mark, drawing
from tackfree.sheets.deck_svg import deck_svg


@pytest.fixture
def drawn(tmp_path: Path) -> Path:
    """A deck of 40 m × 20 m: S1 is 30 m wide, S2 a strip of 10 m."""
    floors = {"P1-S1": box(0, 0, 30, 20), "P1-S2": box(30, 0, 40, 20)}
    zone = Zone(
        id="P1-Z", deck_id="P1", name="all", outline=box(0, 0, 40, 20), duty=Duty.LIGHT,
        exposure=Exposure.COVERED, build_up_id="BU-STALL",
    )  # fmt: skip
    sections = [
        Section(
            id=k, deck_id="P1", zone_ids=("P1-Z",), build_up_id="BU-STALL", duty=Duty.LIGHT,
            exposure=Exposure.COVERED, floor=MultiPolygon([f]), developed_m2=f.area,
        )
        for k, f in floors.items()
    ]  # fmt: skip
    svg = deck_svg(
        Deck(id="P1", name="Level 1", zones=(zone,), features=()),
        sections,
        labels=dict.fromkeys(floors, ("100 m²",)),
        tappable=True,
    )
    path = tmp_path / "P1.svg"
    path.write_text(svg, "utf-8")
    return path


def test_one_label_and_one_link_for_each_section(drawn: Path) -> None:
    marks = {
        "P1-S1": Mark(state="closed", word="closed", title="P1-S1: closed, curing"),
        "P1-S2": Mark(state="waiting", word="", title="P1-S2: not begun"),
    }
    svg = drawing(drawn, marks, deck_id="P1", label="Deck P1")
    assert svg.count(">S1<") == svg.count(">S2<") == 1
    assert ">P1-S1<" not in svg  # the sheet's own label gave way
    assert "100 m²" not in svg
    assert svg.count('href="#s-P1-S1"') == svg.count('href="#s-P1-S2"') == 1
    assert svg.count('class="hatch"') == 1  # only the closed one
    assert 'role="button"' not in svg


def test_a_strip_is_labelled_along_its_length(drawn: Path) -> None:
    marks = {k: Mark(state="waiting", word="", title=k) for k in ("P1-S1", "P1-S2")}
    svg = drawing(drawn, marks, deck_id="P1", label="Deck P1")
    assert svg.count("rotate(-90") - drawn.read_text("utf-8").count("rotate(-90") == 1


def test_the_same_drawing_is_the_same_bytes(drawn: Path) -> None:
    marks = {"P1-S1": Mark(state="working", word="Base coat", title="P1-S1")}
    first = drawing(drawn, marks, deck_id="P1", label="Deck P1")
    assert drawing(drawn, marks, deck_id="P1", label="Deck P1") == first


def test_what_is_no_drawing_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "P1.svg"
    path.write_text("<svg", "utf-8")
    with pytest.raises(NotFound, match="Build the job again"):
        drawing(path, {}, deck_id="P1", label="Deck P1")
