"""Pages that the record drives: a day, a section, instruments, the inspector's spots and copy."""

from __future__ import annotations

import hashlib
import io
import json
import re
import time
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from shapely import Point, box
from tests.record.conftest import Phone
from tests.web.client import TestClient
from tests.web.field_tools import CHROMIUM, DESK, PHONE, Served, beside, make_job
from tests.web.test_field_page import look

from tackfree.service.pages import Reader, read_out
from tackfree.service.people import view_link
from tackfree.service.recording.desk import Desk
from tackfree.service.recording.inspector import draw_spots
from tackfree.service.recording.standing import windows_of
from tackfree.sheets.window_calendar import windows_calendar
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
    for _ in range(30):  # a busy machine takes longer than a page waits for clocks
        if "being worked out" not in text:
            break
        time.sleep(0.5)
        text = plain(site.get("/section/S01").text)
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
    paths = ("/daily", "/daily/bring", "/section/S01", "/section/S01/spots", "/daily/instruments")
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


def test_the_day_says_what_stands_now(site: TestClient) -> None:
    now = datetime.now(UTC) - timedelta(minutes=5)
    phone = Phone("PHONE-7")
    made = a_day(now)
    ready = wall(now + timedelta(hours=2))
    for point in ("HP-1 before the base coat", "HP-2 before the top coat"):
        made.append(phone.note(kind="notice", wall=wall(now), body={
            "point": point, "to": "I. Invented", "ready_at": ready, "section": "S01"}))  # fmt: skip
    answer = {"notice": made[-1]["id"], "answer": "comes", "who": "I. Invented"}
    made.append(phone.note(kind="notice-answer", wall=wall(now), body=answer))
    send(site, made)
    for lang, stands, comes, none in (
        ("en", "As it stands now", "I. Invented comes", "No answer yet"),
        ("es", "Como está ahora", "I. Invented viene", "Sin respuesta"),
    ):
        page = plain(site.get(f"/daily?lang={lang}").text)
        assert stands in page
        assert "wet spot at the drain" in page.split(stands)[1]
        assert f"{none}." in page
        assert f"{comes}." in page
    site.cookies.clear()
    page = plain(site.get("/daily").text)
    # the gauge says 60 mil and more where three kits on 72 m² can have left less: it is named
    assert "S01 base coat: The gauge says" in page
    printed = site.get("/daily/report.pdf")
    assert printed.content[:5] == b"%PDF-"
    section = plain(site.get("/section/S01").text)
    assert "HP-1 before the base coat: told I. Invented" in section
    # the check of its gauge stands beside each reading
    assert re.search(r"Film reading.{0,80}G-1 \(checked \d{4}-\d{2}-\d{2}\)", section)
    assert re.search(r"Film reading.{0,80}G-9 \(no check on record\)", section)


def test_a_table_comes_in_by_its_page_once(site: TestClient, bundle: Path) -> None:
    head = "Time;Section;Coat;X (ft);Y (ft);Wet tooth (mil);Dry tooth (mil);Gauge\r\n"
    row = "20/04/2027 09:15;S01;BASE;10,5;20;24;26;G-1\r\n"

    def post(text: str, **typed: str) -> Any:
        data = {"what": "readings", "person": "R. Roe", **typed}
        file = {"file": ("readings.csv", text.encode("cp1252"), "text/csv")}
        return site.post("/daily/bring", data=data, files=file)

    assert "Take in a table" in site.get("/daily/bring").text
    done = post(head + row)
    assert done.status_code == 200
    assert "1 entries taken in, 0 were there already" in done.text
    assert "from 2027-04-20 09:15" in done.text
    assert "0 entries taken in, 1 were there already" in post(head + row).text
    wrong = post(head + row.replace("20/04/2027", "03/04/2027") + row.replace("24;26", "x;26"))
    assert wrong.status_code == 400
    page = plain(wrong.text)
    assert "day first and month first" not in page  # 20/04 tells how the others are read
    assert "row 3 : Wet tooth (mil) cannot be read: &#39;x&#39;." in page
    assert 'value="R. Roe"' in wrong.text  # what was typed stays
    alone = post(head + row.replace("20/04/2027", "03/04/2027"))
    assert "can be read day first and month first" in alone.text
    assert "1 entries taken in" in post(head + row.replace("20/04", "03/04"), dates="day").text
    spanish = site.post("/daily/bring?lang=es", data={"what": "readings", "person": "R. Roe"},
                        files={"file": ("a.csv", head.encode(), "text/csv")})  # fmt: skip
    assert "no hay ninguna fila" in spanish.text
    site.cookies.clear()
    logger = "Time,Deck\n2027-04-20 08:00,71\n2027-04-20 09:00,72\n"
    sent = {"what": "logger", "person": "R. Roe", "instrument": "LOG-1"}
    file = {"file": ("log.csv", logger.encode("utf-16"), "text/csv")}
    asked = site.post("/daily/bring", data=sent, files=file)
    assert "time zone" in asked.text or "unit" in asked.text  # neither is guessed
    told = {**sent, "zone": "America/New_York", "unit": "F"}
    took = site.post("/daily/bring", data=told, files=file)
    assert "from 2027-04-20 08:00 to 2027-04-20 09:00" in took.text
    assert site.post("/daily/bring", data=sent).status_code == 400
    entries = site.get("/api/entries").json()["entries"]
    assert [e["kind"] for e in entries] == ["film-reading", "film-reading", "logged"]
    # published: (71 °F − 32) / 1.8 = 21.6667 °C
    assert entries[-1]["body"]["rows"][0] == [0, 21.6667]


def test_windows_of_logged_kits_are_a_calendar(bundle: Path) -> None:
    at = datetime(2027, 4, 20, 15, tzinfo=UTC)
    out = bundle.parent / "out"
    built, reader = read_out(out), Reader(language="es", units="us", zone=ZONE)
    planned = (built.stage("clocks") or {})["clocks"]
    first = next(c for c in planned if c["section_id"] == "S01" and c["coat_id"] == "PRIMER")
    placed = int(at.timestamp())
    logged = {**first, "from": "record", "placed_from_utc_s": placed - 3600,
              "placed_to_utc_s": placed, "recoat_before_utc_s": placed + 86_400}  # fmt: skip
    windows = windows_of(built, reader, [*planned, logged])
    assert [(w.section_id, w.coat, w.following) for w in windows] == [
        ("S01", "imprimador", "capa base")]  # fmt: skip
    body = windows_calendar("JOB", "Job", ZONE, windows, language="es")
    assert body == windows_calendar("JOB", "Job", ZONE, windows, language="es")
    (event,) = icalendar.Calendar.from_ical(body).walk("VEVENT")
    assert event.decoded("dtend") == at + timedelta(days=1)
    (alarm,) = event.walk("VALARM")
    assert alarm.decoded("trigger") == timedelta(hours=-3)
    assert alarm["trigger"].params["RELATED"] == "END"  # published: RFC 5545, 3.2.14


def test_a_calendar_subscribes_by_the_link_of_a_view(bundle: Path) -> None:
    team = create_app(bundle.parent / "out", bundle, team=True)
    desk = Desk(bundle=bundle)
    token = view_link(desk.record, label="Owner", by="office", days=5)
    with TestClient(team, base_url="http://127.0.0.1") as client:
        assert client.get("/clocks/windows.ics").status_code == 401
        found = client.get(f"/view/{token}/windows.ics")
        assert found.headers["content-type"].startswith("text/calendar")
        assert found.text.startswith("BEGIN:VCALENDAR")
        assert client.get("/view/wrong/windows.ics").status_code == 404
        assert not client.cookies  # a calendar keeps none, and gets none
    desk.close()


def test_every_kind_is_told_in_the_readers_words(site: TestClient) -> None:
    phone, at = Phone("PHONE-8"), datetime.now(UTC) - timedelta(minutes=9)
    here = {"section": "S01"}
    notice = phone.note(kind="notice", wall=wall(at), body={
        **here, "point": "HP-1", "to": "I. I.", "ready_at": wall(at), "by": "call"})  # fmt: skip
    bodies: dict[str, dict[str, Any]] = {
        "defect": {**here, "what": "thin"},
        "weather-event": {**here, "what": "fog", "began": wall(at), "sections": ["S01"]},
        "delay": {"cause": "weather", "hours": 1.5, "what": "niebla", "sections": ["S01"]},
        "detail-length": {**here, "detail": "cove", "length_m": 3.048},
        "aggregate": {**here, "coat": "BASE", "product": "SAND-1630", "bags": 4},
        "crew-hours": {**here, "crew": "CREW-DAY", "people": 4, "hours": 2},
        "readiness": {**here, "step": "BASE", "ready": True},
        "release": {**here, "of": "feet", "by": "F. F."},
        "flood": {**here, "started": wall(at), "leaked": False},
        "slip": {**here, "method": "pendulum", "value": 41},
        "hardness": {**here, "coat": "BASE", "shore_a": 70},
        "moisture": {**here, "method": "meter", "value": 0.04},
        "pull-off": {**here, "set": "1", "fixture": "a", "stress_pa": 2e6, "in_concrete": 1.0},
        "cure-seen": {**here, "coat": "BASE", "tack_free": True},
    }
    made = [notice, phone.note(kind="notice-answer", wall=wall(at), body={
        "notice": notice["id"], "answer": "waives"})]  # fmt: skip
    made += [phone.note(kind=k, body=b, wall=wall(at)) for k, b in bodies.items()]
    made.append(phone.note(kind="delivery", body={"product": "HEN-B", "kits": 12}, wall=wall(at)))
    send(site, made)
    section = plain(site.get("/section/S01?lang=es").text)
    told = section.split("Anotaciones")[1]
    assert "daily." not in told
    assert "record." not in told
    for word in ("call", "thin", "fog", "cove", "feet", "BASE", "waives", "pendulum", "meter"):
        assert not re.search(rf"\b{word}\b", told), word
    told = told.replace("&#39;", "'").replace("&#34;", '"').replace("\u00a0", " ")
    # published: 1 ft = 0.3048 m, 1 psi = 6894.757 Pa
    for word in ("niebla", "10'-0\"", "capa base", "290 psi"):
        assert word in told, word
    day = plain(site.get("/daily?lang=es").text)
    assert "daily." not in day
    assert "record." not in day
