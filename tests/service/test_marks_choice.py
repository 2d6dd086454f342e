"""The best layouts beside each other: figures, pictures, one page of paper."""

from __future__ import annotations

from datetime import UTC, datetime

import pypdfium2
import pytest
from tests.service.test_marks import CREW, job

from tackfree.marks.layout import rank
from tackfree.service.marks import lay_choices
from tackfree.service.marks_choice import choice_sheet, choices_view, figure_rows
from tackfree.service.marks_types import Ask
from tackfree.sheets.marks_choices import render_choices_pdf


@pytest.fixture
def made():
    found = job([(0, 0, 108, 40)], reach_ft2=270, crews=(CREW,))
    found.job.name, found.job.id, found.job.invented = "Plaza <1> #[x]", "PLAZA", True
    found.job.languages, found.job.as_of = ("en", "es"), datetime(2027, 4, 12, tzinfo=UTC)
    return found


def test_three_layouts_even_where_a_deck_has_two_directions(made) -> None:
    three = lay_choices(made, "S-1", "BASE")
    assert len({m.id for m in three}) == 3
    first = [rank(m.layouts[0]) for m in three]
    assert first[0] == min(first)


def test_a_layout_that_keeps_its_edge_comes_before_one_that_does_not(made) -> None:
    # By hand: along 108 ft a lane holds 4 kits, so a seam waits 7 × 10 min; across 40 ft a
    # lane of 6.75 ft holds one, so it waits 10 min.
    for count in (1, 3):
        found = lay_choices(made, "S-1", "BASE", Ask(open_minutes=30.0), count=count)
        ages = [max(one.check.age_kits for one in m.layouts) for m in found]
        assert ages[0] <= 3
        late = [age > 3 for age in ages]
        assert late == sorted(late)


def test_the_figures_are_those_of_the_layout(made) -> None:
    one = lay_choices(made, "S-1", "BASE", Ask(direction_rad=0.0))[0]
    rows = dict(figure_rows(one, lang="en", system="us"))
    assert rows["Kits"] == "16"  # by hand: 108 × 40 / 270
    assert rows["Part kits"] == "0"
    assert rows["Longest wait at a seam"] == f"{one.layouts[0].check.age_kits} kits"
    assert rows["Lanes"].startswith("0°, about ")
    assert "Kits parciales" in dict(figure_rows(one, lang="es", system="si"))


def test_one_page_holds_them_all(made) -> None:
    three = lay_choices(made, "S-1", "BASE")
    pdf = render_choices_pdf(choice_sheet(made, three))
    assert pdf == render_choices_pdf(choice_sheet(made, three))
    book = pypdfium2.PdfDocument(pdf)
    assert len(book) == 1
    text = book[0].get_textpage().get_text_range()
    for m in three:
        assert m.id in text
    assert "Plaza <1> #[x]" in text


def test_drawings_of_one_page_do_not_share_names(made) -> None:
    views = choices_view(lay_choices(made, "S-1", "BASE"), current="", lang="en", system="us")
    assert all(f'id="choice-{k}-S-1"' in v.svg for k, v in enumerate(views, 1))
