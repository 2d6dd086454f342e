"""The plan board in the web app: moves by form, by keys and by hand; saving; papers."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from tests.service.plan_board_made import plan_out
from tests.web.client import TestClient, own
from tests.web.looks import assert_fits_a_phone, listened
from tests.web.made import slot
from tests.web.test_browser import (
    CHROMIUM,
    CONTRAST,
    DESK,
    PHONE,
)

from tackfree.plan.drafts import GOALS
from tackfree.plan.types import Stage
from tackfree.service.plan_board import keep
from tackfree.service.plan_board.moves import Move, moved
from tackfree.service.plan_board.sheet import built_sheet
from tackfree.service.planning import searching
from tackfree.service.planning.seek import Best
from tackfree.web.app import create_app

PAGES = ("/plan/board", "/plan/stalls", "/plan/ahead", "/plan/ask", "/plan/again", "/plan/why",
         "/plan/jobs")  # fmt: skip


@pytest.fixture
def app(app_over: Any) -> FastAPI:
    found: FastAPI = app_over(plan_out)
    return found


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    return own(app)


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("lang", ["en", "es"])
def test_every_face_opens(client: TestClient, path: str, lang: str) -> None:
    page = client.get(path, params={"lang": lang, "day": "2027-04-22"})
    assert page.status_code == 200
    assert not re.search(r"planboard\.(?!css|js)", page.text)  # every sentence has its words
    assert "style=" not in page.text


def test_a_form_moves_a_step_and_saving_keeps_it(client: TestClient, bundle: Path) -> None:
    form = {
        "task": "S01/PREP",
        "to": "2027-04-19T09:00",
        "crew": "CREW-1",
        "moves": "",
        "day": "2027-04-19",
    }
    page = client.get("/plan/board", params=form)
    moves = re.search(
        r'action="/plan/board/save"><input type="hidden" name="moves" value="(.+?)"', page.text
    )
    assert moves
    assert moves[1] == f"S01/PREP@{slot(0, 9)}@CREW-1"
    saved = client.post("/plan/board/save", data={"moves": moves[1]})
    assert saved.status_code == 200
    assert "placed them: 1." in saved.text
    assert (bundle / keep.FILE).read_text("utf-8").count("[[moves]]") == 1
    client.post("/plan/board/save", data={"act": "forget"})
    assert "[[moves]]" not in (bundle / keep.FILE).read_text("utf-8")


def test_a_broken_rule_is_told_and_not_saved(client: TestClient, bundle: Path) -> None:
    moves = f"S01/PREP@{slot(0, 14)}@CREW-1"
    page = client.get("/plan/board", params={"moves": moves})
    assert "Shift: it does not lie inside one shift of CREW-1." in page.text
    assert "<button>Save" not in page.text
    answer = client.post("/plan/board/save", data={"moves": moves})
    assert answer.status_code == 400
    assert not (bundle / keep.FILE).exists()


@pytest.mark.parametrize(
    "asked",
    [{"moves": "nonsense"}, {"moves": "S99/PREP@1@CREW-1"}, {"task": "S01/PREP", "to": "soon"},
     {"task": "S01/PREP", "to": "2027-04-19T09:00", "crew": "<b>"}, {"day": "2031-01-01"}],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(client: TestClient, asked: dict[str, str]) -> None:
    answer = client.get("/plan/board", params=asked)
    assert answer.status_code == 400
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    ("name", "head"),
    [("ahead.pdf", b"%PDF"), ("plan.xlsx", b"PK"), ("crew-CREW-1.ics", b"BEGIN:VCALENDAR")],
)
def test_papers(client: TestClient, name: str, head: bytes) -> None:
    answer = client.get(f"/plan/paper/{name}")
    assert answer.status_code == 200
    assert answer.content.startswith(head)
    assert client.get("/plan/paper/crew-X.ics").status_code == 404
    assert client.get("/plan/paper/../job.toml").status_code == 404


def test_the_daily_questions_are_two_taps_away(client: TestClient) -> None:
    assert "/plan/ask" in client.get("/plan/board").text
    asked = {"day": "2027-04-19", "short": "2", "by": "14:00"}
    page = client.get("/plan/ask", params=asked).text.replace("\u00a0", " ")
    assert "CREW-1, 2 of 6 short" in page
    # PREP takes 2.5 h from 13 h; with 2 of 6 missing 3.75 h, the shift ends at 15:30: 2/3
    assert "3,333 ft²" in page
    assert "no placed coat yet" in page
    for bad in ({"short": "x"}, {"by": "soon"}, {"short": "6"}):
        answer = client.get("/plan/ask", params=asked | bad)
        assert answer.status_code == 400
        assert "Traceback" not in answer.text


def test_planning_again_is_for_who_may_and_for_spans_it_knows(client: TestClient) -> None:
    page = client.get("/plan/again")
    assert "Nothing is being searched." in page.text
    assert "/plan/again" in client.get("/plan/board").text
    assert client.post("/plan/again/start", data={"seconds": "9"}).status_code == 400
    assert client.post("/plan/again/take").status_code == 404
    assert "Nothing is being searched." in client.post("/plan/again/leave").text


@pytest.fixture
def slow_search(monkeypatch: pytest.MonkeyPatch, app: FastAPI) -> None:
    """A search over the built plan that finds one earlier step, then nothing until stopped."""
    sheet = built_sheet(app.state.site.out)
    goals = (Stage(name="finish", value=500, bound=400, bound_source="CP-SAT"),
             Stage(name="stall-slots", value=96, bound=0, bound_source="none"))  # fmt: skip
    move = Move(task_id="S01/PREP", start=slot(0, 9), crew_id="CREW-1")
    plan = moved(sheet.problem, sheet.plan, (move,))
    plan = replace(plan, status="feasible", stages=goals)

    def search(problem: Any, was: Any, *, stop: Any, told: Any, better: Any, **more: Any) -> Any:
        told(500, 400)
        better(Best(plan=plan, rounds=1))
        while not stop():
            time.sleep(0.02)
        return plan

    monkeypatch.setattr(searching, "seek", search)
    monkeypatch.setattr(searching, "is_better", lambda problem, a, b: True)
    monkeypatch.setattr(searching, "_posed", lambda bundle, language: (sheet, GOALS))


def test_long_questions_are_two_taps_from_the_board(client: TestClient) -> None:
    board = client.get("/plan/board").text
    assert "/plan/why" in board
    assert "/plan/jobs" in board
    page = client.get("/plan/why").text
    for kind in ("not", "weather", "stalls"):
        assert f'action="/plan/why/{kind}"' in page
    assert client.post("/plan/why/when").status_code == 404
    for bad in ({}, {"by": "soon"}, {"open": "half"}, {"by": "2027-06-14", "open": "900"}):
        answer = client.post("/plan/why/not", data=bad)
        assert answer.status_code == 400
        assert "Traceback" not in answer.text


def test_several_jobs_stand_by_deadline_and_name_who_is_booked_twice(tmp_path: Path) -> None:
    outs = [plan_out(tmp_path / n, job_id=n) for n in ("ALDER-ROW", "ELM-ROW")]
    site = create_app(outs[0], today=lambda zone: date(2027, 4, 19), beside=(outs[1],))
    page = own(site).get("/plan/jobs").text
    # Both jobs are the same plan, so every crew is at both; S01/PREP begins 13 h for 2.5 h.
    assert "Mon 19 Apr 13:00–15:30" in page
    assert "ALDER-ROW S01/PREP<br>ELM-ROW S01/PREP" in page
    assert page.index("Booked twice") < page.index("Next deadlines")
    alone = own(create_app(outs[0], today=lambda zone: date(2027, 4, 19))).get("/plan/jobs").text
    assert "Only this job is served." in alone
    assert "No crew and no machine is booked twice." in alone


def test_an_output_folder_alone_is_looked_at(tmp_path: Path) -> None:
    app = create_app(plan_out(tmp_path / "out"), today=lambda zone: date(2027, 4, 22))
    client = own(app)
    page = client.get("/plan/board", params={"moves": f"S01/PREP@{slot(0, 9)}@CREW-1"})
    assert "no bundle here" in page.text
    assert "/plan/board/save" not in page.text
    assert client.post("/plan/board/save", data={"moves": ""}).status_code == 404


in_browser = [
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.mark.usefixtures("app")
class TestInABrowser:
    pytestmark = in_browser

    def test_a_phone_has_a_list_and_a_form(self, browser: Any, address: str) -> None:
        context = browser.new_context(viewport=PHONE, has_touch=True)
        page = context.new_page()
        faults = listened(page)
        for path in PAGES:
            page.goto(f"{address}{path}?day=2027-04-19")
            assert_fits_a_phone(page)
        page.goto(f"{address}/plan/board?day=2027-04-19")
        assert not page.locator(".board").is_visible()
        page.locator(".entry summary").first.tap()
        page.locator("input[name=to]").first.fill("2027-04-19T09:00")
        page.locator(".entry form button").first.tap()
        page.wait_for_url("**moves=**")
        assert page.locator(".entry .span b").first.inner_text() == "09:00–11:30"
        context.close()
        assert faults == []

    def test_keys_and_hand_move_a_bar(self, browser: Any, address: str) -> None:
        context = browser.new_context(viewport=DESK)
        page = context.new_page()
        faults = listened(page)
        page.goto(f"{address}/plan/board?day=2027-04-19")
        bar = page.locator("[data-task='S01/PREP']")
        at = int(bar.get_attribute("data-start"))
        bar.focus()
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("ArrowLeft")
        page.wait_for_selector(f"[data-task='S01/PREP'][data-start='{at - 2}'].is-moved")
        page.keyboard.press("ArrowRight")
        page.wait_for_selector(f"[data-task='S01/PREP'][data-start='{at - 1}'].is-moved")
        bar.scroll_into_view_if_needed()
        box = bar.bounding_box()
        page.mouse.move(box["x"] + 5, box["y"] + 10)
        page.mouse.down()
        page.mouse.move(box["x"] + 5 - 15, box["y"] + 10, steps=4)  # 3 px a slot
        page.mouse.up()
        page.wait_for_selector(f"[data-task='S01/PREP'][data-start='{at - 6}'].is-moved")
        page.locator("[data-act=undo]").click()
        page.wait_for_selector(f"[data-task='S01/PREP'][data-start='{at}']")
        context.close()
        assert faults == []

    def test_planning_again_is_watched_stopped_and_taken(
        self, browser: Any, address: str, slow_search: None, bundle: Path
    ) -> None:
        context = browser.new_context(viewport=PHONE, has_touch=True)
        page = context.new_page()
        faults = listened(page)
        page.goto(f"{address}/plan/board")
        page.get_by_role("link", name="Plan again").tap()
        page.get_by_role("button", name="Plan again").tap()
        page.wait_for_selector("[data-state=searching] .best")
        assert "s of at most two minutes" in page.locator(".spent").inner_text()
        page.close()  # the search goes on
        page = context.new_page()
        page.goto(f"{address}/plan/again?lang=es")
        stop = page.get_by_role("button", name="Parar y quedarse con el mejor")
        assert_fits_a_phone(page)
        stop.tap()
        page.wait_for_selector("[data-state=proposed]")
        assert page.locator(".change .about").all_inner_texts() == ["S01 1 de 5 pasos"]
        assert page.locator(".change s").all_inner_texts() == ["lun 19 abr 13:00"]
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        page.goto(f"{address}/plan/again?lang=en")
        page.get_by_role("button", name="Leave it").tap()
        page.wait_for_selector("[data-state=none]")
        assert not (bundle / keep.FILE).exists()
        context.close()
        assert faults == []

    @pytest.mark.parametrize("ground", ["day", "night"])
    def test_it_stands_out(self, browser: Any, address: str, ground: str) -> None:
        context = browser.new_context(viewport=DESK)
        page = context.new_page()
        page.goto(f"{address}/plan/board?day=2027-04-19&ground={ground}")
        # published: WCAG 2.2, 1.4.3: at least 4.5 : 1 for text
        assert [r for r in page.evaluate(CONTRAST) if r[0] < 4.5] == []
        context.close()
