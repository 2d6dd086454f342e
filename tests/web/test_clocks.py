"""The board of clocks and the strip chart, as pages."""

from __future__ import annotations

import re
import threading
from datetime import datetime
from html import unescape
from pathlib import Path

import pytest
from tests.web.client import TestClient
from tests.web.field_tools import make_job
from tests.web.made import ZONE, make_out

from tackfree.service.pages import Reader
from tackfree.service.pages.clocks import board_of, left, state_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.recording.keep import take_file
from tackfree.web import clocks
from tackfree.web.app import create_app


def utc(*parts: int) -> float:
    return datetime(*parts, tzinfo=ZONE).timestamp()  # type: ignore[misc]


def clock(section: str, coat: str, first: float, **more: object) -> dict[str, object]:
    hour = 3600.0
    return {
        "section_id": section, "coat_id": coat, "product_id": "HEN-B",
        "placed_from_utc_s": first, "placed_to_utc_s": first + 2 * hour,
        "tack_free": {"careful_utc_s": first + 6 * hour},
        "recoat_after": {"careful_utc_s": first + 14 * hour},
        "recoat_before_utc_s": first + 24 * hour,
        "cars_after": {"careful_utc_s": first + 50 * hour},
        "no_legal_moment": False, "ways_out": [],
        "if_missed": [{"id": "cure.remedy.abrade_tie", "values": {
            "hours": 3.5, "gal": 12.5, "l": 47.3, "ft2_per_gal": 400}}], **more,
    }  # fmt: skip


SECTIONS = [{"id": name, "deck_id": "P1", "developed_m2": 100.0} for name in ("S01", "S02", "S03")]
EN = Reader(language="en", units="us", zone=ZONE)
START = utc(2027, 4, 20, 8)


@pytest.mark.parametrize(
    ("hours", "state", "due", "by_h"),
    [
        (3, "wet_film", "tack_free", 6),
        (8, "curing", "recoat_after", 14),
        (15, "open", "recoat_before", 24),
        (24, "past", "missed", 24),  # exact: the window ends at its hour
    ],
)
def test_a_section_passes_from_state_to_state(hours, state, due, by_h):
    found = state_of(clock("S01", "BASE", START), START + hours * 3600, follows=True)
    assert found == (state, due, START + by_h * 3600)


def test_the_last_coat_waits_for_cars():
    one = clock("S01", "TOP", START)
    assert state_of(one, START + 3600, follows=False) == ("done", "cars_after", START + 50 * 3600)
    assert state_of(one, START + 60 * 3600, follows=False) == ("done", "cars_after", None)


def test_the_missed_come_first_then_the_next_deadline():
    rows = [
        *(clock("S01", c, START + k * 90 * 3600) for k, c in enumerate(("BASE", "TOP"))),
        *(clock("S02", c, START + (20 + k * 90) * 3600) for k, c in enumerate(("BASE", "TOP"))),
        clock("S03", "BASE", START + 200 * 3600),
    ]
    board = board_of(EN, rows, SECTIONS, at_utc_s=START + 30 * 3600, live=False)
    assert [(r.section_id, r.state) for r in board.rows] == [
        ("S01", "past"), ("S02", "curing"), ("S03", "bare"),
    ]  # fmt: skip
    assert "1 of 3 sections, 1,076 ft²" in board.missed  # exact: 100 m²
    assert board.rows[0].needs == (
        "Abrade and tie-coat: about 3.5 h and 12.5 gal (47.3 L) at 400 ft²/gal before waste.",
    )
    assert board.rows[1].left == "in 4 h 0 min"
    stopped = board_of(
        EN, rows, SECTIONS, at_utc_s=START + 30 * 3600, live=False, stop_utc_s=START - 3600
    )
    assert {r.state for r in stopped.rows} == {"bare"}


def test_the_record_wins_over_the_plan_and_says_so():
    rows = [
        clock("S01", "BASE", START), clock("S01", "TOP", START + 20 * 3600),
        clock("S01", "BASE", START + 3600, **{
            "from": "record", "kits": 9, "void": {"id": "cure.void.dew", "values": {}},
            "cells": [{"cell": "04", "tack_free": {"careful_utc_s": START + 7 * 3600}}],
        }),
    ]  # fmt: skip
    one = board_of(EN, rows, SECTIONS[:1], at_utc_s=START + 2 * 3600, live=True).rows[0]
    assert (one.state, one.source) == ("wet_film", "from the record, 9 kits")
    assert one.by_utc_s == START + 7 * 3600
    assert one.void.startswith("Dew was read")
    assert one.cells == (("04", "Tue 20 Apr, 15:00"),)
    # the plan's top coat is not yet logged: it does not count as placed
    late = board_of(EN, rows, SECTIONS[:1], at_utc_s=START + 30 * 3600, live=True).rows[0]
    assert late.state == "past"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(12000, "in 3 h 20 min"), (-300, "5 min ago"), (260000, "in 3 d 0 h"), (59, "in 0 min")],
)
def test_time_left_is_said_plainly(seconds, text):
    assert left(EN, seconds) == text


def read(client: TestClient, path: str, **query: str) -> str:
    answer = client.get(path, params=query)
    assert answer.status_code == 200, answer.text
    return unescape(re.sub(r"\s+", " ", answer.text))


def test_the_clocks_page_leads_with_the_board(client: TestClient) -> None:
    text = read(client, "/clocks", at="2027-04-21T10:00")
    assert text.index("What is due next") < text.index("Recoat clocks by section and coat")
    assert "Wed 21 Apr, 10:00, as asked." in text
    assert 'data-live="yes"' not in text
    assert "by the plan" in text
    spanish = read(client, "/clocks", at="2027-04-21T10:00", lang="es")
    assert "Lo que toca ahora" in spanish
    assert 'value="2027-04-21T10:00"' in spanish


def test_a_bad_hour_is_refused(client: TestClient) -> None:
    answer = client.get("/clocks", params={"at": "noon"})
    assert answer.status_code == 400
    assert "is no time" in unescape(answer.text)


def plan_of(out: Path, text: str, days: int) -> None:
    """The plan and its weather moved by whole days."""
    moved = int(re.search(r'"slot0_utc_s": (\d+)', text)[1]) + days * 86400  # type: ignore[index]
    for name in ("plan", "climate"):
        path = out / "stages" / f"{name}.json"
        path.write_text(
            re.sub(r'"slot0_utc_s": \d+', f'"slot0_utc_s": {moved}', path.read_text("utf-8")),
            "utf-8",
        )


def test_today_counts_down(tmp_path: Path) -> None:
    """Where the plan holds this very day, the board is live."""
    out = make_out(tmp_path / "out")
    plan = (out / "stages" / "plan.json").read_text("utf-8")
    page = TestClient(
        create_app(out, None), base_url="http://127.0.0.1", headers={"accept": "text/html"}
    )
    text = ""
    for _ in range(2):  # once more where midnight passed in between
        today = datetime.now(ZONE).date()
        plan_of(out, plan, (today - datetime(2027, 4, 20).date()).days)
        text = read(page, "/clocks")
        if datetime.now(ZONE).date() == today:
            break
    assert 'data-live="yes"' in text


def test_the_board_waits_for_no_pipeline(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Clocks of logged kits that are still worked out leave the plan's board at once."""
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    out, bundle = make_job(tmp_path)
    for path in (out / "stages").glob("*.json"):  # a section that the record knows
        path.write_text(path.read_text("utf-8").replace('"S01"', '"P1-LANE-A-1"'), "utf-8")
    take_file(bundle, bundle / "record-example.jsonl")
    go, made, real = threading.Event(), [], Pipeline.of

    def slow(folder: Path) -> Pipeline:
        made.append(folder)
        assert go.wait(60)
        return real(folder)

    monkeypatch.setattr(Pipeline, "of", slow)
    monkeypatch.setattr(clocks, "PATIENCE_S", 0.05)
    app = create_app(out, bundle)
    page = TestClient(app, base_url="http://127.0.0.1", headers={"accept": "text/html"})
    for path in ("/clocks", "/strip", "/clocks"):
        assert "being worked out" in read(page, path), path
    assert "by the plan" in read(page, "/clocks")
    go.set()
    monkeypatch.setattr(clocks, "PATIENCE_S", 60)
    text = read(page, "/clocks")
    assert "from the record" in text
    assert "being worked out" not in text
    assert "from the record" in read(page, "/clocks")
    assert made == [bundle]  # once for all who asked


def test_the_strip_chart_is_there_for_phone_and_desk(client: TestClient) -> None:
    text = read(client, "/strip", zone="P1-STALLS", day="2027-04-19")
    assert text.count('<figure class="chart') == 2
    assert "Strip chart of P1-STALLS from Mon 19 Apr" in text
    assert "May a coat begin?" in text
    assert ">GO<" in text
    assert "¿Puede empezar una capa?" in read(client, "/strip", zone="P1-STALLS", lang="es")
    assert "zone=P1-STALLS" in text  # the days keep the zone


def test_an_unknown_zone_is_not_found(client: TestClient) -> None:
    answer = client.get("/strip", params={"zone": "P9"})
    assert answer.status_code == 404
    assert "P1-STALLS" in unescape(answer.text)
