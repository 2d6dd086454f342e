"""The shift sheet: what it says, and the paper it is on."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pypdfium2
import pytest
from tests.sheets import made
from tests.sheets import made_job as mj

from tackfree.deck.types import PostTensioned
from tackfree.plan.types import Placed
from tackfree.service.shift import ShiftClimate, shift_sheets
from tackfree.sheets.shift_sheet import page, render_pdf
from tackfree.sheets.shift_types import ShiftSheet


def sheets(languages: tuple[str, ...] = ("en", "es"), **more: object) -> list[ShiftSheet]:
    deck = made.level()
    arguments: dict[str, object] = {
        "job": mj.job(languages),
        "decks": [deck],
        "sections": made.sections(deck),
        "materials": mj.materials(),
        "plan": mj.plan(),
        "problem": mj.problem(),
        "climate": mj.climate(),
        "clocks": mj.clocks(),
        "revision": "3",
    }
    return list(shift_sheets(**{**arguments, **more}))  # type: ignore[arg-type]


def tonight(**more: object) -> ShiftSheet:
    return sheets(on=date(2027, 4, 23), **more)[0]  # type: ignore[arg-type]


def read(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [
            document[k].get_textpage().get_text_range().replace("\xa0", " ")
            for k in range(len(document))
        ]
    finally:
        document.close()


def test_one_sheet_for_each_shift_with_work() -> None:
    assert [s.name for s in sheets()] == ["2027-04-22-EVE-P1-CREW-1", "2027-04-23-EVE-P1-CREW-1"]
    assert sheets(on=date(2027, 4, 24)) == []


def test_rows_in_the_order_of_work() -> None:
    rows = tonight().rows
    assert [(r.number, r.section_id, r.step_id) for r in rows] == [
        (1, "S03", "BASE"),
        (2, "S04", "PRIMER"),
    ]
    base = rows[0]
    # made job: 21 kits of 295 ft² each over 5,964 ft², 635 µm
    assert (base.product, base.kits, base.area) == ("HEN-B", "21", "5,964\xa0ft²")
    assert base.reach == "295\xa0ft²"
    assert base.wet_film == "25.0\xa0mil"  # published: 25.4 µm/mil, exact
    assert base.sand == "18 × SAND-1630"
    # by hand: 295 ft² at 185.8 m²/h (2,000 ft²/h) is 8.85 min, rounded down
    assert base.kit_minutes == "8 min"
    # by hand: air at 16:00 is below 24 °C, so the store's 24 °C counts: 30 min
    assert base.pot_life == "30 min · 75\xa0°F"


def test_the_stop_time_is_the_last_placements_finish() -> None:
    sheet = tonight()
    assert sheet.stop == sheet.rows[-1].finish_by == "21:30"


def test_the_first_evening_checks_the_surface_the_second_the_coat_below() -> None:
    first, second = sheets(("en",))
    assert any("free of dust" in c[0] for c in first.checks)
    assert any("Coat below" in c[0] for c in second.checks)


def test_spread_limit_is_the_stricter() -> None:
    # made sheets say 5 °F; a specification of 4 K (7.2 °F) wins
    job = mj.job(("en",))
    strict = replace(job, spec=replace(job.spec, limits=replace(job.spec.limits, spread_min_k=4.0)))
    assert any("7.2\xa0°F" in c[0] for c in tonight(job=strict).checks)
    assert any("5.0\xa0°F" in c[0] for c in tonight(languages=("en",)).checks)
    none = {k: replace(p, limits=replace(p.limits, spread_min_k=None))
            for k, p in job.products.items()}  # fmt: skip
    ours = tonight(job=replace(job, products=none))
    # practice: 5 °F where neither specification nor sheet speaks
    assert any("5.0\xa0°F" in c[0] for c in ours.checks)


def test_tendons_unknown_are_on_the_first_page() -> None:
    deck = replace(made.level(), post_tensioned=PostTensioned.UNKNOWN)
    sheet = tonight(decks=[deck])
    assert any("unknown" in n[0] and "engineer" in n[0] for n in sheet.notes)
    assert tonight().notes == ()


def test_what_is_missing_is_said() -> None:
    sheet = tonight(climate=ShiftClimate(), languages=("en",))
    assert sheet.weather == ("Weather: no data",)
    assert any("No weather" in n[0] for n in sheet.notes)
    bare = replace(mj.materials(), coats=())
    sheet = tonight(materials=bare, languages=("en",))
    assert [r.kits for r in sheet.rows] == ["", ""]
    assert any("S03 base coat" in n[0] for n in sheet.notes)
    render_pdf(sheet)


def test_cautions_are_in_one_order_and_in_both_languages() -> None:
    cautions = tonight().cautions
    assert all(len(c) == 2 for c in cautions)
    heads = [c[0].split(":")[0] for c in cautions]
    assert heads[:3] == ["Cars and people", "Isocyanates", "Solvent"]
    assert "Work after dark" in heads
    assert heads[-1] == "Last word"


def test_a_page_to_pin_up_and_cautions_overleaf() -> None:
    pages = read(render_pdf(tonight()))
    assert len(pages) == 2
    front, back = pages
    wanted = [
        "21:30", "P1 Covered level", "21 × HEN-B", "295 ft²", "25.0 mil", "rev. 3",
        "No empezar antes de", "Start not before", "15:55", "Forecast, 3 h old",
    ]  # fmt: skip
    for words in wanted:
        assert words in front, words
    assert "Isocyanates" in back
    assert "Isocianatos" in back
    assert "certifies nothing" in front


def test_either_language_alone() -> None:
    spanish = read(render_pdf(tonight(languages=("es",))))
    assert "No empezar antes de" in spanish[0]
    assert "Start not before" not in "".join(spanish)
    english = read(render_pdf(tonight(languages=("en",))))
    assert "No empezar" not in "".join(english)


def test_same_bytes_twice_and_the_jobs_own_date() -> None:
    one, two = render_pdf(tonight()), render_pdf(tonight())
    assert one == two
    # the job's as_of, 2027-04-12 07:00 in New York, is 11:00 UTC
    assert b"2027-04-12T11:00:00" in one


def test_archive_and_accessible() -> None:
    pdf = render_pdf(tonight())
    # published: identification schemas of ISO 19005-3 and ISO 14289-1
    assert b"<pdfaid:part>3</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in pdf
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf


def test_only_the_packaged_font() -> None:
    names = set(re.findall(rb"/BaseFont/[A-Z]{6}\+([A-Za-z0-9-]+)", render_pdf(tonight())))
    names |= set(re.findall(rb"/FontName/[A-Z]{6}\+([A-Za-z0-9-]+)", render_pdf(tonight())))
    assert all(n.startswith(b"B612") for n in names), names


@pytest.mark.parametrize(
    "name",
    ['#panic("x")', "*bold* _it_ $x$ `raw` @ref <tag>", "\\ \" ' // /* */", "#sys.inputs", "= Head",
     "Überbau ñ"],
)  # fmt: skip
def test_what_people_type_is_text_never_markup(name: str) -> None:
    deck = replace(made.level(), name=name)
    front = read(render_pdf(tonight(decks=[deck])))[0]
    assert " ".join(f"P1 {name}".split()) in " ".join(front.split())


def test_letters_the_font_lacks_do_not_keep_the_sheet_back() -> None:
    front = read(render_pdf(tonight(decks=[replace(made.level(), name="日本 Deck")])))[0]
    assert "P1 ?? Deck" in front


def test_drawings_print_at_nine_points_or_more() -> None:
    sheet = tonight()
    data = page(sheet)
    sizes = [float(v) for v in re.findall(r'font-size="([\d.]+)"', sheet.drawing_svg)]
    width = float(re.findall(r'width="([\d.]+)"', sheet.drawing_svg)[0])
    assert min(sizes) * data["drawing"]["width"] / width >= 9 - 1e-6
    strip = [float(v) for v in re.findall(r'font-size="([\d.]+)"', sheet.strip_svg)]
    across = float(re.findall(r'width="([\d.]+)"', sheet.strip_svg)[0])
    assert min(strip) * 558 / across >= 9 - 1e-6  # letter less its margins is 558 pt


def test_a_busy_shift_still_fits() -> None:
    plan = mj.plan()
    extra = [
        Placed(task_id=f"S0{k}/{step}", section_id=f"S0{k}", step_id=step, crew_id="CREW-1",
               start=mj.slot(23, 20 + n), end=mj.slot(23, 20 + n, 30))
        for n, (k, step) in enumerate([(1, "PREP"), (2, "DETAILS"), (6, "STRIPE")])
    ]  # fmt: skip
    busy = tonight(plan=replace(plan, placed=(*plan.placed, *extra)))
    assert [r.number for r in busy.rows] == [1, 2, 3, 4, 5]
    three = tonight(plan=replace(plan, placed=(*plan.placed, extra[0])))
    assert len(three.rows) == 3
    pages = read(render_pdf(three))
    assert "Read and understood" in pages[0]  # all work and the signs on the page to pin up
    assert "Radar" in pages[1]  # the checks move overleaf
    text = "".join(read(render_pdf(busy)))
    for row in busy.rows:
        assert f"{row.section_id} {row.step_id}" in text


def test_metric_job() -> None:
    sheet = tonight(job=mj.job(("es",), units="si"))
    assert sheet.rows[0].wet_film == "635\xa0µm"
    assert sheet.rows[0].area == "554\xa0m²"
    assert "°C" in sheet.strip_svg
