"""Pages that the record drives: a day, a section, instruments, the inspector's spots and copy."""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from shapely import Point, box
from tests.record.conftest import Phone
from tests.web.client import TestClient
from tests.web.field_tools import CHROMIUM, DESK, PHONE, Served, beside, make_job
from tests.web.test_field_page import look

from tackfree.service.recording.inspector import draw_spots
from tackfree.web.app import create_app

NOW = datetime(2026, 4, 20, 20, 30, tzinfo=UTC)  # half past four in the afternoon there
ZONE = ZoneInfo("America/New_York")
OWN = {"origin": "http://127.0.0.1", "accept": "text/html"}


def wall(at: datetime) -> str:
    return at.astimezone(ZONE).isoformat(timespec="seconds")


def a_day(now: datetime, kits: int = 3) -> list[dict[str, Any]]:
    """What a crew and an inspector write on one day, ending now."""
    phone = Phone("PHONE-1")
    made: list[dict[str, Any]] = []

    def add(kind: str, minutes: float, **body: Any) -> None:
        at = wall(now - timedelta(minutes=minutes))
        made.append(phone.note(kind=kind, body=body, wall=at))

    add("instrument-check", 300, instrument="G-1", what="notch-gauge", against="plate 20 mil",
        passed=True, due="2099-01-01")  # fmt: skip
    add("conditions", 290, slab_c=24.0, air_c=22.0, rh=0.5, instrument="H-1", called="go")
    add("crew-hours", 280, crew="CREW-DAY", people=5, hours=8.0, doing="base coat")
    add("area-prepared", 270, method="shot-blast", area_m2=144.0, section="S01")
    for k in range(kits):
        at = {"kit": f"K-{k}", "section": "S01", "coat": "BASE"}
        add("batch", 200 - 10 * k, product="HEN-B", volume_l=18.9, **at)
        add("placement", 195 - 10 * k, cell=str(k + 1), area_m2=24.0, **at)
    for k in range(4):
        add("film-reading", 150 - k, section="S01", coat="BASE", x_m=1.0 + k, y_m=2.0, unit="mil",
            wet_tooth=60 + k, dry_tooth=70, gauge="G-1" if k else "G-9",
            reader="inspector" if k % 2 else "crew")  # fmt: skip
    add("delay", 100, cause="weather", hours=2.0, people=5, what="Fog on the open deck")
    add("hold", 90, reason="wet spot at the drain", section="S01")
    add("visit", 60, who="I. Invented", of="inspector", saw="Base coat of S01", signed=True)
    return made


@pytest.fixture
def bundle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    return make_job(tmp_path)[1]


@pytest.fixture
def site(bundle: Path) -> Iterator[TestClient]:
    app = create_app(bundle.parent / "out", bundle, today=lambda zone: datetime.now(zone).date())
    with TestClient(app, base_url="http://127.0.0.1", headers=OWN) as client:
        yield client


def send(client: Any, entries: list[dict[str, Any]]) -> None:
    found = client.post("/api/entries", content=json.dumps({"entries": entries})).json()
    assert [(r["status"], r["faults"]) for r in found["results"]] == [("stored", [])] * len(entries)


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page))


def test_a_day_is_told_with_its_doubts_and_printed(site: TestClient) -> None:
    assert "Nothing was written down" in site.get("/daily").text
    send(site, a_day(NOW))
    text = plain(site.get("/daily").text)
    on = date(2026, 4, 20)
    assert on.isoformat() in text
    for word in ("40 person-hours", "shot blast", "Fog on the open deck", "1,550 ft²", "HEN-B",
                 "G-9 has no check on record"):  # fmt: skip
        assert word in text, word
    assert "40 horas-persona" in plain(site.get("/daily?lang=es").text)
    pdf = site.get(f"/daily/report.pdf?day={on}")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content[:5] == b"%PDF-"
    letter = site.get(f"/daily/letter.pdf?since={on}&until={on}&to=Owner")
    assert letter.content[:5] == b"%PDF-"
    none = site.get("/daily/letter.pdf?since=2020-01-01&until=2020-01-02")
    assert none.status_code == 400
    assert site.get("/daily?day=yesterday").status_code == 400
    tools = plain(site.get("/daily/instruments").text)
    assert tools.index("G-9") < tools.index("G-1")  # in doubt first


def test_a_section_tells_what_cannot_be_right(site: TestClient) -> None:
    assert site.get("/section/NOPE").status_code == 404
    send(site, a_day(NOW))
    text = plain(site.get("/section/S01").text)
    # by hand: three cells of 24 m² on a plan of 288 m², developed to 464.5 m²: 1,250 ft²
    assert "Covered 1,250 ft²" in text
    assert "Kits in 3 of 16" in text
    assert "On hold: wet spot at the drain" in text
    # by hand: 3 × 18.9 L over 116 m² is 0.49 mm, 19 mil wet; no gauge can read 60 there
    assert "more than both can be off" in text
    assert "12 entries" in text
    assert "clock: the weather" in text  # the weather of the demo is not in this bundle


def test_entries_of_a_section_come_page_by_page(site: TestClient) -> None:
    phone = Phone("PHONE-2")
    sent = [phone.note(body={"text": f"line {k}", "section": "S01"}) for k in range(150)]
    send(site, sent)
    first = site.get("/section/S01").text
    assert "line 149" in first
    assert "line 49<" not in first
    older = re.search(r"/section/S01\?before=\d+", first)
    assert older is not None
    second = site.get(older.group()).text
    assert "line 49<" in second
    assert "line 50<" not in second


def test_spots_are_drawn_by_lot_and_again_by_their_seed(site: TestClient) -> None:
    answer = site.post("/section/S01/spots", data={"coat": "BASE", "count": "12", "for": "I. I."})
    assert answer.status_code == 200
    seed = int(re.search(r"Seed (\d+)", answer.text)[1])  # type: ignore[index]
    # exact: the floor of the first section is the box of 24 m by 12 m at the zero
    again = draw_spots(box(0, 0, 24, 12), seed=seed, count=12)
    assert all(box(0, 0, 24, 12).contains(Point(p)) for p in again)
    shown = re.findall(r"x ([\d.]+) ft", plain(answer.text))
    assert [float(x) for x in shown] == pytest.approx([x / 0.3048 for x, _ in again], abs=0.06)
    for count in ("0", "201", "x"):
        bad = site.post("/section/S01/spots", data={"coat": "BASE", "count": count, "for": "I"})
        assert bad.status_code == 400
    assert site.post("/section/NOPE/spots", data={"coat": "B", "count": "1"}).status_code == 404


def test_every_spot_of_a_floor_has_the_same_chance() -> None:
    ell = box(0, 0, 10, 10).difference(box(5, 5, 10, 10))
    spots = draw_spots(ell, seed=1, count=3000)
    low = sum(y < 5 for _, y in spots)
    # exact: two thirds of the floor lie below; four standard deviations of a binomial
    assert abs(low - 2000) < 4 * (3000 * 2 / 9) ** 0.5
    assert draw_spots(ell, seed=1, count=3000) == spots
    assert draw_spots(ell, seed=2, count=3000) != spots


def test_the_inspector_takes_his_own_copy_along(site: TestClient) -> None:
    sent = a_day(NOW)
    send(site, sent)
    data = site.get("/daily/inspector.zip").content
    assert site.get("/daily/inspector.zip").content == data
    zipped = zipfile.ZipFile(io.BytesIO(data))
    manifest = json.loads(zipped.read("manifest.json"))
    for name, sha in manifest["files"].items():
        assert hashlib.sha256(zipped.read(name)).hexdigest() == sha
    kinds = [json.loads(x)["kind"] for x in zipped.read("entries.jsonl").decode().splitlines()]
    assert sorted(kinds) == ["film-reading", "film-reading", "instrument-check", "visit"]
    assert zipped.read("readings.pdf")[:5] == b"%PDF-"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with beside(tmp_path_factory.mktemp("daily")) as found:
        yield found


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_the_pages_can_be_read_hit_and_heard(server: Served) -> None:
    import httpx
    from playwright.sync_api import sync_playwright
    from tests.web.field_tools import ARGS

    with httpx.Client(base_url=server.url, headers={"origin": server.url}) as client:
        send(client, a_day(NOW))
        client.post("/section/S01/spots", data={"coat": "BASE", "count": "5", "for": "I. I."})
    faults: list[str] = []
    paths = ("/daily", "/section/S01", "/section/S01/spots", "/daily/instruments")
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        for size, lang, ground in ((PHONE, "es", "day"), (DESK, "en", "night")):
            context = browser.new_context(viewport=size, has_touch=size is PHONE)
            page = context.new_page()
            page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
            for path in paths:
                page.goto(f"{server.url}{path}?lang={lang}&ground={ground}")
                look(page, size, path)
            context.close()
        browser.close()
    assert faults == []
