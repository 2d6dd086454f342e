"""The marks page: taps, take back, short and far, a re-cut, as forms and in a browser."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from tests.service.test_marks import FT, job
from tests.web.client import TestClient, own
from tests.web.looks import assert_fits_a_phone, listened
from tests.web.made import make_out
from tests.web.test_browser import (
    CHROMIUM,
    CONTRAST,
    DESK,
    PHONE,
    view,
)

from tackfree.service import record
from tackfree.service.kept import KeptPipeline
from tackfree.service.marks import lay_marks
from tackfree.service.marks_papers import document
from tackfree.service.marks_types import Ask
from tackfree.service.save import dumps
from tackfree.web.app import create_app

HERE = {"section": "S01", "coat": "BASE"}


def marks_out(out: Path) -> Path:
    """Four lanes of four kits, 27 ft each, and another coat of larger kits."""
    make_out(out)
    layouts = []
    for coat, reach in (("BASE", 270), ("TOP", 540)):
        along = Ask(direction_rad=0.0, lane_m=10 * FT)
        marks = lay_marks(job([(0, 0, 108, 40)], reach_ft2=reach), "S-1", "BASE", along)
        one = document([marks])["layouts"][0]
        layouts.append({**one, "section_id": "S01", "coat_id": coat, "notes": []})
    (out / "stages/marks.json").write_text(
        dumps({"schema": "tackfree.marks/1", "layouts": layouts}), "utf-8"
    )
    return out


@pytest.fixture
def app(app_over: Any) -> FastAPI:
    found: FastAPI = app_over(marks_out)
    return found


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    return own(app)


def layout_of(page: str) -> str:
    found = re.search(r'name="layout" value="(MK-[0-9A-F]+)"', page)
    assert found
    return found[1]


def post(client: TestClient, action: str, **fields: str) -> Any:
    page = client.get("/marks", params=HERE).text
    sent = {**HERE, "layout": layout_of(page), **fields}
    return client.post(f"/marks/{action}", data=sent)


def states(page: str) -> list[str]:
    return re.findall(r'class="entry is-(\w+)" id="c-\d+"', page)


def test_the_page_shows_every_cell_and_what_is_next(client: TestClient) -> None:
    answer = client.get("/marks", params=HERE)
    assert answer.status_code == 200
    assert states(answer.text) == ["next"] + ["bare"] * 15
    assert answer.text.count("data-tap=") == 16
    assert "0 of 16 kits are in" in answer.text
    assert "Kit 1 is in" in answer.text
    # The lanes' baselines and cuts for a tape, 27 ft apart.
    for text in ("27&#39;-0&#34;", "54&#39;-0&#34;", "81&#39;-0&#34;", "30&#39;-0&#34;"):
        assert text in answer.text


def test_forms_alone_mark_kits_and_take_them_back(client: TestClient, bundle: Path) -> None:
    assert states(post(client, "tap", cell="1").text)[:2] == ["in", "next"]
    page = post(client, "through", cell="6").text
    assert states(page) == ["in"] * 6 + ["next"] + ["bare"] * 9
    page = post(client, "undo", cell="6").text
    assert states(page)[5] == "next"
    kinds = [e.kind for e in record.listed(bundle)]
    assert kinds == ["batch", "placement"] * 6 + ["correction"] * 2
    count, faults = record.verified(bundle)
    assert (count, faults) == (14, ())


@pytest.mark.parametrize(
    ("side", "typed", "says"),
    # By hand with 254 µm + 40 µm of fill: 294 * 27 / 33 - 40 = 200.5 µm = 7.9 mil;
    # 294 * 27 / 24 - 40 = 290.8 µm = 11.4 mil.
    [
        ("past", "6", "6 ft past mark 2: about 8 mil"),
        ("short", "3 ft", "3 ft short of mark 2: about 11 mil"),
    ],
)
def test_short_and_far_are_said_and_marks_stay(
    client: TestClient, side: str, typed: str, says: str
) -> None:
    post(client, "through", cell="2")
    page = post(client, "reached", cell="2", distance=typed, side=side)
    assert says in page.text
    spanish = client.get("/marks", params={**HERE, "lang": "es"}).text
    assert (
        "de la marca 2" in spanish
        or "antes de la marca 2" in spanish
        or "allá de la marca 2" in spanish
    )


def test_a_recut_is_a_new_layout_and_old_numbers_stay(client: TestClient) -> None:
    before = layout_of(client.get("/marks", params=HERE).text)
    post(client, "through", cell="6")
    page = post(client, "recut", left_out="15-16").text
    after = layout_of(page)
    assert after != before
    assert states(page)[:8] == ["in"] * 6 + ["next", "bare"]
    stale = client.post("/marks/tap", data={**HERE, "layout": before, "cell": "7"})
    assert stale.status_code == 400
    assert "cut anew" in stale.text
    assert states(post(client, "tap", cell="7").text)[6] == "in"


@pytest.mark.parametrize(
    ("action", "fields", "says"),
    [
        ("tap", {"cell": "99"}, "no cell 99"),
        ("tap", {"cell": "-1"}, "no cell"),
        ("tap", {"cell": "x" * 3000}, "no cell"),
        ("undo", {"cell": "3"}, "bare"),
        ("reached", {"cell": "1", "distance": "", "side": "past"}, "25 ft"),
        ("recut", {"left_out": "a few"}, "no cell"),
        ("tap", {"section": "NOWHERE", "cell": "1"}, "no marks"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    client: TestClient, bundle: Path, action: str, fields: dict[str, str], says: str
) -> None:
    answer = post(client, action, **fields)
    assert answer.status_code in (400, 404)
    assert says in answer.text
    assert [e for e in record.listed(bundle) if e.kind == "placement"] == []


def test_a_form_of_another_site_marks_nothing(client: TestClient) -> None:
    page = client.get("/marks", params=HERE).text
    sent = {**HERE, "layout": layout_of(page), "cell": "1"}
    answer = client.post("/marks/tap", data=sent, headers={"origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert client.get("/marks", params=HERE).text.count("is-in") == 0


def test_an_output_folder_alone_is_looked_at(tmp_path: Path) -> None:
    app = create_app(marks_out(tmp_path / "out"), today=lambda zone: date(2027, 4, 22))
    page = own(app).get("/marks", params=HERE)
    assert page.status_code == 200
    assert "<form" not in page.text
    assert "no record is kept here" in page.text


@pytest.fixture
def choosing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bundle's section S01 is the floor whose marks are shown."""
    made = job([(0, 0, 108, 40)], reach_ft2=270)
    made.sections.sections = (replace(made.sections.sections[0], id="S01"),)
    made.materials.coats[0].section_id = "S01"
    monkeypatch.setattr(KeptPipeline, "pipeline", lambda self: made)


@pytest.mark.usefixtures("choosing")
def test_another_layout_is_chosen_before_the_first_kit(client: TestClient, bundle: Path) -> None:
    before = layout_of(client.get("/marks", params=HERE).text)
    page = client.get("/marks/choose", params=HERE)
    assert page.text.count('<div class="picture"><svg') == 3
    assert "Longest wait at a seam" in page.text
    assert "Espera más larga" in client.get("/marks/choose", params={**HERE, "lang": "es"}).text
    picks = re.findall(r'name="pick" value="(MK-[0-9A-F]+)"', page.text)
    sent = {**HERE, "layout": before, "pick": picks[-1]}
    after = client.post("/marks/choose", data=sent)
    assert layout_of(after.text) == picks[-1]
    assert f"{picks[-1]} " in record.listed(bundle)[-1].body["text"]
    assert client.post("/marks/choose", data=sent).status_code == 400  # no longer those marks
    assert states(post(client, "tap", cell="1").text)[0] == "in"
    page = client.get("/marks/choose", params={**HERE, "lang": "en"}).text
    assert "Kits are in" in page
    assert "<form" not in page
    sent = {**HERE, "layout": picks[-1], "pick": before}
    assert client.post("/marks/choose", data=sent).status_code == 400


@pytest.mark.usefixtures("choosing")
def test_a_layout_that_is_not_offered_is_not_marked(client: TestClient) -> None:
    layout = layout_of(client.get("/marks", params=HERE).text)
    answer = client.post("/marks/choose", data={**HERE, "layout": layout, "pick": "MK-0"})
    assert answer.status_code == 400
    assert "not among the best" in answer.text


def test_what_is_known_of_the_marks_stands_on_the_page(tmp_path: Path, bundle: Path) -> None:
    out = marks_out(tmp_path / "out")
    path = out / "stages/marks.json"
    stage = json.loads(path.read_text("utf-8"))
    values = {"section": "S01", "coat": "BASE", "cell": 1, "other": 8, "minutes": 70,
              "open_min": 45, "more": 4, "lane_ft": 80, "lane_m": 24}  # fmt: skip
    stage["layouts"][0]["notes"] = [{"id": "marks.wet-edge.late", "values": values}]
    path.write_text(dumps(stage), "utf-8")
    app = create_app(out, bundle, today=lambda zone: date(2027, 4, 22))
    page = own(app).get("/marks", params=HERE)
    assert "waits 70 min, longer than the 45 min" in page.text


# Words of the drawing that reach beyond it.
CUT_WORDS = """() => {
  const box = document.querySelector("#drawing").getBoundingClientRect();
  return [...document.querySelectorAll("#drawing svg text")].filter((t) => {
    const r = t.getBoundingClientRect();
    return r.left < box.left || r.right > box.right || r.top < box.top || r.bottom > box.bottom;
  }).map((t) => t.textContent);
}"""
in_browser = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")


@in_browser
@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_gloved_tap_a_key_and_a_form_mark_kits(browser: Any, address: str) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True)
    page = context.new_page()
    faults = listened(page)
    page.goto(f"{address}/marks?section=S01&coat=BASE")
    assert_fits_a_phone(page)
    assert page.evaluate(CUT_WORDS) == []
    page.locator("[data-zoom=in]").tap()
    near = view(page)
    page.locator("[data-tap='1']").tap()
    page.wait_for_selector("#c-1.is-in")
    assert view(page) == near  # the view stays where it was
    page.locator("[data-tap='2']").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#c-2.is-in")
    page.locator("#next .big").tap()
    page.wait_for_selector("#c-3.is-in")
    page.locator("form[action='/marks/through'] input[name=cell]").fill("5")
    page.locator("form[action='/marks/through'] button").tap()
    page.wait_for_selector("#c-5.is-in")
    assert page.locator("#drawing .is-in").count() == 5
    context.close()
    assert faults == []


@in_browser
@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("ground", ["day", "night"])
def test_it_works_without_script_and_stands_out(browser: Any, address: str, ground: str) -> None:
    context = browser.new_context(viewport=DESK, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/marks?section=S01&coat=BASE&lang=es&ground={ground}")
    page.locator("#next .big").click()
    page.wait_for_selector("#c-1.is-in")
    context.close()
    context = browser.new_context(viewport=DESK)
    page = context.new_page()
    page.goto(f"{address}/marks?section=S01&coat=BASE&ground={ground}")
    # published: WCAG 2.2, 1.4.3: at least 4.5 : 1 for text
    assert [r for r in page.evaluate(CONTRAST) if r[0] < 4.5] == []
    context.close()


@in_browser
@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.usefixtures("choosing")
@pytest.mark.parametrize("ground", ["day", "night"])
def test_layouts_are_compared_and_chosen_with_a_glove(
    browser: Any, address: str, ground: str
) -> None:
    context = browser.new_context(viewport=PHONE, has_touch=True)
    page = context.new_page()
    page.goto(f"{address}/marks/choose?section=S01&coat=BASE&ground={ground}")
    assert_fits_a_phone(page)
    assert [r for r in page.evaluate(CONTRAST) if r[0] < 4.5] == []
    pick = page.locator("input[name=pick]").last
    layout = pick.input_value()
    page.locator(".choices button").last.tap()
    page.wait_for_selector("#next")
    assert page.locator("#next input[name=layout]").input_value() == layout
    context.close()
