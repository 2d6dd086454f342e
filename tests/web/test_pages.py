"""Every page: what it says, in both languages and both unit systems, and what it never does."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from tests.web.client import TestClient
from tests.web.made import make_out

from tackfree.service.pages import PAGES, STAGES
from tackfree.web.app import PATHS, create_app

VOID = {"meta", "link", "br", "hr", "img", "input"}
SVG_SINGLE = {"path", "rect", "line", "circle", "polygon", "polyline", "use"}


class Reader(HTMLParser):
    """Reads a page: tags with their attributes, and whether they nest."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.faults: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if len({k for k, _ in attrs}) != len(attrs):
            self.faults.append(f"<{tag}> has an attribute twice")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> closes something else")

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [a for t, a in self.tags if t == tag]


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    return reader


def words(html: str) -> str:
    return " ".join(" ".join(read(html).text).split())


def test_every_stage_has_a_page() -> None:
    assert set(PAGES) == set(STAGES) == set(PATHS)


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("stage", STAGES)
def test_pages_are_sound_html(client: TestClient, stage: str, lang: str) -> None:
    answer = client.get(PATHS[stage], params={"lang": lang})
    assert answer.status_code == 200
    page = read(answer.text)
    assert page.faults == []
    assert page.open == []
    assert page.all("html")[0]["lang"] == lang
    assert len(page.all("h1")) == 1
    assert len(page.all("main")) == 1
    assert len(page.all("title")) > 1  # the page's own, and the drawing's
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids)), "an id is used twice"
    names = set(ids)
    for _, a in page.tags:
        for key in ("aria-labelledby", "aria-describedby"):
            assert set((a.get(key) or "").split()) <= names
        if (a.get("href") or "").startswith("#"):
            assert (a["href"] or "")[1:] in names, a
    for svg in page.all("svg"):
        assert svg.get("aria-label") or svg.get("aria-labelledby") or svg.get("aria-hidden")
    for nav in page.all("nav"):
        assert nav.get("aria-label")
    for button in page.all("button"):
        assert button.get("aria-label")
    levels = [int(t[1]) for t, _ in page.tags if t in ("h1", "h2", "h3")]
    assert all(b - a <= 1 for a, b in pairwise(levels))


@pytest.mark.parametrize("stage", STAGES)
def test_pages_act_only_through_their_own_files(client: TestClient, stage: str) -> None:
    page = read(client.get(PATHS[stage]).text)
    for tag, a in page.tags:
        assert "style" not in a, tag
        assert not any(k.startswith("on") for k in a), tag
        for key in ("href", "src"):
            assert re.match(r"^(/|#|\?|$)", a.get(key) or ""), a
    scripts = [str(s.get("src")) for s in page.all("script")]
    assert scripts[0] == "/static/drawing.js"
    assert all(re.fullmatch(r"/static/[a-z0-9-]+\.js", s) for s in scripts)
    assert page.all("style") == []


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize(
    ("lang", "said"), [("en", "People certify"), ("es", "Certifican las personas")]
)
def test_each_page_says_that_people_certify_and_how_old_it_is(
    client: TestClient, stage: str, lang: str, said: str
) -> None:
    text = words(client.get(PATHS[stage], params={"lang": lang}).text)
    assert said in text
    assert "2027-04-12 07:00" in text
    assert {"en": "It is no forecast", "es": "No es un pronóstico"}[lang] in text
    assert {"en": "safety data sheet", "es": "hoja"}[lang] in text


@pytest.mark.parametrize("stage", STAGES)
def test_tendons_unknown_ask_for_the_engineers_word(client: TestClient, stage: str) -> None:
    said = "until the engineer has cleared the place"
    assert said in words(client.get(PATHS[stage], params={"deck": "P2"}).text)
    assert said not in words(client.get(PATHS[stage], params={"deck": "P1"}).text)


def test_areas_in_both_unit_systems(client: TestClient) -> None:
    # published: 1 ft = 0.3048 m exactly, so 2787.1 m² is 30,000 ft²
    assert "30,000 ft²" in words(client.get("/deck?units=us").text)
    assert "2,787 m²" in words(client.get("/deck?units=si").text)


def test_why_shows_formula_inputs_and_source(client: TestClient) -> None:
    text = words(client.get("/deck").text)
    assert "outline − obstacles" in text
    assert "outline = 2,800 m² (30,139 ft²) drawing: P1.dxf" in text


def test_materials_count_kits_of_each_coat(client: TestClient) -> None:
    text = words(client.get("/materials").text)
    assert "Primer HEN-P Kits 16" in text
    assert "ceil(gross / kit)" in text
    assert "HEN-B + SAND-1630" in text


def test_clocks_round_to_the_safe_side(client: TestClient) -> None:
    text = words(client.get("/clocks?units=us").text)
    # by hand: primer down Wed 21 Apr 13:00-15:30; after + 6 h 00 min 70 s, up to 5 min
    assert "Recoat after, count on Wed 21 Apr, 21:35" in text
    # by hand: first kit 13:00 + 48 h 70 s, down to 5 min
    assert "Recoat before Fri 23 Apr, 13:00" in text
    assert "Recoat before no limit stated" in text


def test_plan_of_a_day_tells_steps_and_stalls(client: TestClient) -> None:
    text = words(client.get("/plan?day=2027-04-22").text)
    # by hand: S01 begun 19 Apr and S02 21 Apr, both shut: 36 of 108 stalls closed
    assert "Stalls open 72 Stalls closed 36 of at most 54" in text
    assert "S01 · Base coat CREW-1" in text
    assert "Proven best" in text


def test_a_section_in_two_shifts_of_a_day_is_anchored_once(tmp_path: Path) -> None:
    make_out(tmp_path / "out")
    path = tmp_path / "out/stages/plan.json"
    stage = json.loads(path.read_text())
    again = dict(stage["plan"]["placed"][0], step_id="DETAILS")
    again.update(start=again["start"] + 8, end=again["end"] + 8)
    stage["plan"]["placed"].append(again)
    path.write_text(json.dumps(stage))
    (tmp_path / "out/shift/2027-04-19-EVE-P1-CREW-1.pdf").write_bytes(b"%PDF-1.7")
    with TestClient(create_app(tmp_path / "out"), base_url="http://127.0.0.1") as c:
        html = c.get("/shift?day=2027-04-19", headers={"accept": "text/html"}).text
    assert html.count('id="s-S01"') == 1
    assert 'id="s-S01-EVE"' in html
    assert 'href="/files/shift/2027-04-19-EVE-P1-CREW-1.pdf"' in html


def test_the_shift_page_links_its_sheet_and_the_deadline(client: TestClient) -> None:
    text = client.get("/shift?day=2027-04-19").text
    assert 'href="/files/shift/2027-04-19-DAY.pdf"' in text
    later = words(client.get("/shift?day=2027-04-22").text)
    # by hand: base over the primer whose first kit was Wed 13:00 + 48 h
    assert "Down by, over Primer Fri 23 Apr, 13:00" in later


def test_weather_shows_the_windows_with_their_reason(client: TestClient) -> None:
    text = words(client.get("/weather?day=2027-04-19").text)
    assert "07:00–13:00 GO" in text
    assert "13:00–18:00 WAIT Before tack-free, the slab is only 4 °F (2.2 K) above" in text
    assert "covered, bare concrete" in text
    assert "open sky, bare concrete" in words(client.get("/weather?deck=P2").text)


def test_the_start_page_leads_with_the_next_shifts(client: TestClient) -> None:
    text = words(client.get("/").text)
    assert "Next shifts Thu 22 Apr · DAY 07:00–15:30 S01 · Base coat" in text


def test_states_are_told_by_hatch_and_word(client: TestClient) -> None:
    html = client.get("/plan?day=2027-04-26").text
    assert 'class="sec state-working"' in html or 'class="sec state-closed"' in html
    assert "url(#page-hatch-wet)" in html
    assert re.search(r'aria-label="S01: closed, curing', html)


def test_language_from_the_browser_and_kept_in_a_cookie(client: TestClient) -> None:
    assert 'lang="es"' in client.get("/", headers={"accept-language": "es-MX,en;q=0.8"}).text
    assert '<html lang="en"' in client.get("/", headers={"accept-language": "de"}).text
    client.get("/?lang=es&units=si&ground=night")
    kept = client.get("/deck").text
    assert '<html lang="es" data-ground="night">' in kept
    assert "2,787 m²" in words(kept)


def test_the_view_is_kept_from_page_to_page(client: TestClient) -> None:
    page = read(client.get("/plan?deck=P2&day=2027-04-21").text)
    links = [a["href"] for a in page.all("a")]
    assert "/weather?deck=P2&day=2027-04-21" in links


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("lang", ["en", "es"])
def test_an_empty_folder_says_what_to_run(tmp_path: Path, stage: str, lang: str) -> None:
    (tmp_path / "out").mkdir()
    app = create_app(tmp_path / "out", Path("demo/job"))
    with TestClient(app, base_url="http://127.0.0.1") as c:
        answer = c.get(PATHS[stage], params={"lang": lang}, headers={"accept": "text/html"})
    assert answer.status_code == 200
    assert "tackfree job build demo/job" in answer.text
    assert read(answer.text).faults == []


@pytest.mark.parametrize("broken", ["{", "[]", '{"schema": "tackfree.plan/1"}', '{"schema": "x"}'])
def test_a_torn_stage_is_named_and_the_rest_shows(out: Path, tmp_path: Path, broken: str) -> None:
    shutil.copytree(out, tmp_path / "out")
    (tmp_path / "out/stages/plan.json").write_text(broken)
    with TestClient(create_app(tmp_path / "out"), base_url="http://127.0.0.1") as c:
        c.headers["accept"] = "text/html"
        assert "stages/plan.json" in c.get("/plan").text
        deck = c.get("/deck")
    assert "stages/plan.json" not in deck.text
    assert "30,000" in deck.text


def test_a_rebuilt_folder_is_read_again(tmp_path: Path) -> None:
    make_out(tmp_path / "out")
    with TestClient(create_app(tmp_path / "out"), base_url="http://127.0.0.1") as c:
        c.headers["accept"] = "text/html"
        assert "Alder Row" in c.get("/").text
        path = tmp_path / "out/summary.json"
        path.write_text(path.read_text().replace("Alder Row", "Birch Row and"))
        assert "Birch Row" in c.get("/").text


def test_text_of_the_job_stays_text(tmp_path: Path) -> None:
    make_out(tmp_path / "out")
    path = tmp_path / "out/stages/takeoff.json"
    takeoff = json.loads(path.read_text())
    takeoff["zones"][0]["name"] = "<script>alert(1)</script>"
    takeoff["notes"] = ["<img src=x onerror=alert(1)>"]
    path.write_text(json.dumps(takeoff))
    svg = tmp_path / "out/drawings/P1.svg"
    svg.write_text(
        svg.read_text().replace(
            "</svg>",
            '<script>alert(1)</script><a href="http://example.com/"><text>x</text></a>'
            '<rect onclick="alert(1)" style="fill:red" fill="url(http://example.com/a)"/></svg>',
        )
    )
    with TestClient(create_app(tmp_path / "out"), base_url="http://127.0.0.1") as c:
        html = c.get("/deck", headers={"accept": "text/html"}).text
    page = read(html)
    assert len(page.all("script")) == 1
    assert page.all("img") == []
    assert "example.com" not in html
    assert not any("onclick" in a or "style" in a for _, a in page.tags)


def test_a_day_with_a_clock_change_is_whole(tmp_path: Path) -> None:
    from zoneinfo import ZoneInfo

    from tackfree.service.pages.said import day_span

    zone = ZoneInfo("America/New_York")
    # published: US Energy Policy Act of 2005, s. 110: the second Sunday in March and the
    # first in November, 14 March and 7 November in 2027
    for on, hours in ((date(2027, 3, 14), 23), (date(2027, 11, 7), 25), (date(2027, 4, 19), 24)):
        begin, end = day_span(on, zone)
        assert (end - begin) / 3600 == hours
