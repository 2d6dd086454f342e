"""A phone in a garage: no signal, closed browser, dead server, lost answers; nothing is lost."""

from __future__ import annotations

import hashlib
import os
import re
import signal
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.web.field_tools import (
    ARGS,
    CHROMIUM,
    PHONE,
    Served,
    app,
    beside,
    can_tap,
    installed,
    opened,
    picture,
    safe,
    serving,
    state,
    still,
    until,
)

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture
def mortal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """A server that can be killed."""
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    with serving(tmp_path) as found:
        yield found


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    with beside(tmp_path) as found:
        yield found


@pytest.fixture(scope="module")
def driver() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        yield p


def phone(driver: Any, folder: Path) -> Any:
    """A browser that keeps its store in a folder, as a phone does."""
    return driver.chromium.launch_persistent_context(
        str(folder), executable_path=CHROMIUM, args=ARGS, viewport=PHONE, has_touch=True,
        timezone_id="America/New_York", service_workers="allow",
    )  # fmt: skip


def dies(context: Any, folder: Path) -> None:
    """The browser of one folder, killed with no farewell to it or to its store."""
    mine = []
    for entry in Path("/proc").iterdir():
        try:
            said = (entry / "cmdline").read_bytes() if entry.name.isdigit() else b""
        except OSError:
            continue  # it has ended by itself
        if f"--user-data-dir={folder}".encode() in said.split(b"\0"):
            mine.append(int(entry.name))
    assert mine
    for pid in mine:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    with suppress(Exception):  # nobody answers it any more
        context.close()
    (folder / "SingletonLock").unlink(missing_ok=True)


FILL = {
    "number": lambda ask: {"temperature": "72", "share": "40"}.get(ask["of"], "0.5"),
    "whole": lambda ask: "3",
    "words": lambda ask: "typed with gloves",
    "text": lambda ask: "A line about it, ñ 😀",
}


def log_by_hand(page: Any, form: dict[str, Any], file: Path) -> None:
    """Fill a form as a person would: what is needed, and a picture where there is room."""
    kind = form["kind"]
    page.click("#nav-log")
    page.locator(".menu button", has_text=page.evaluate(
        f"import('/static/field-words.js').then(w => w.say('record.kind.{kind}'))"
    )).first.click()  # fmt: skip
    for ask in form["asks"]:
        name = f"f-{kind}-{ask['name']}"
        if not ask.get("needed"):
            continue
        if ask["takes"] in FILL:
            page.fill(f"#{name}", FILL[ask["takes"]](ask))
        elif ask["takes"] == "yes-no":
            page.locator(f"input[name={name}][value=yes]").check()
        elif ask["takes"] == "photo":
            page.set_input_files(f"#{name}", str(file))
            page.wait_for_selector(".row.photo .note:has-text('kB')")
        elif ask["takes"] == "choice" and len(ask["choices"]) <= 4:
            page.locator(f"input[name={name}][value={ask['choices'][0]}]").check()
        elif ask["takes"] in ("choice", "section", "coat", "product", "step", "crew", "entry"):
            page.select_option(f"#{name}", index=1)
    if kind == "defect":
        page.set_input_files("#f-defect-photos", str(file))
        page.wait_for_selector(".note:has-text('Pictures: 1')")
    page.click("dialog .save")
    page.wait_for_selector("dialog", state="detached")


def dead(page: Any, server: Served) -> None:
    """Let the phone try again and again until the server is gone."""
    for _ in range(300):
        app(page, "app.sync.nudge()")
        if server.process is None:
            break
        page.wait_for_timeout(100)
    assert server.process is None
    page.wait_for_selector("#sync:has-text('not reached')")


def test_thirty_entries_of_all_kinds_without_signal_arrive_once(
    driver: Any, mortal: Served, tmp_path: Path
) -> None:
    server = mortal
    pictures = []
    for name in ("pail.jpg", "spot.jpg"):
        (tmp_path / name).write_bytes(picture())
        pictures.append(tmp_path / name)
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    opened(page, server.url)
    installed(page)
    context.set_offline(True)
    server.kill()
    page.reload()  # from the first visit on it opens without signal
    page.wait_for_selector("#field[data-ready]")
    order = ["hold", "defect", "notice"]  # others name these
    forms = sorted(
        (f for f in app(page, "return app.doc.forms") if f["group"]),
        key=lambda f: f["kind"] not in order,
    )
    for form in forms:
        log_by_hand(page, form, pictures[form["kind"] == "photo"])
    log_by_hand(page, next(f for f in forms if f["kind"] == "conditions"), pictures[0])
    page.click("#nav-deck")
    page.click(".next .big >> nth=0")
    page.locator("dialog .big", has_text="B is in").click()
    page.locator("dialog .big", has_text="Kit is mixed").click()
    page.wait_for_selector("dialog", state="detached")
    page.click(".next .strong")  # spread on cell 1
    page.wait_for_selector("[data-cell='1'].done")
    can_tap(page)
    page.click(".modes button >> nth=1")
    still(page)
    page.click(".deck")
    page.click(".tooth.wanted")
    page.wait_for_selector("dialog", state="detached")
    page.click(".toast .undo")  # taken back within the minute
    kinds = [f["kind"] for f in forms]
    kinds += ["conditions", "batch", "placement", "film-reading", "correction"]
    assert len(kinds) >= 30
    # two pictures wait beside them
    page.wait_for_selector(f"#sync:has-text('{len(kinds) + 2} waiting')")
    assert "server not reached" in state(page)
    context.close()

    context = phone(driver, tmp_path / "phone")  # the browser again, still without signal
    page = context.pages[0]
    context.set_offline(True)
    page.goto(f"{server.url}/field")
    page.wait_for_selector("#field[data-ready]")
    assert f"{len(kinds) + 2} waiting" in state(page)
    # Back in signal: a line that takes small bodies only, and a server that dies twice.
    seen = {"live": False, "halves": 0, "pictures": 0}

    def die(route: Any) -> None:
        method = route.request.method
        if not seen["live"]:
            return route.abort()
        if method == "POST":
            if len(route.request.post_data_json["entries"]) > len(kinds) // 2:
                return route.fulfill(status=413, body="{}")  # sent again in halves
            seen["halves"] += 1
            if seen["halves"] == 2:  # one half is stored, the other never comes
                server.kill()
                return route.abort()
        if method == "PUT":
            seen["pictures"] += 1
            if seen["pictures"] == 1:
                route.fetch()  # the picture is stored, and its answer never arrives
                server.kill()
                return route.abort()
        return route.continue_()

    page.route("**/api/entries", die)
    page.route("**/api/photos/*", die)
    server.start()
    context.set_offline(False)
    seen["live"] = True
    dead(page, server)
    assert 0 < len(server.stored()) < len(kinds)
    server.start()
    dead(page, server)
    assert len(server.stored()) == len(kinds)
    assert len(list((server.bundle / "photos").iterdir())) == 1
    server.start()
    safe(page)
    assert seen["pictures"] >= 3
    sent = app(page, "return app.rows.map(r => [r.id, r.state, r.sha])")
    context.close()

    stored = server.stored()
    assert sorted(e.kind for e in stored) == sorted(kinds)
    assert {e.id: e.sha for e in stored} == {i: sha for i, _, sha in sent}
    assert {s for _, s, _ in sent} == {"safe"}
    assert server.faults() == ()
    assert [e.seq for e in stored] == list(range(1, len(kinds) + 1))
    named = {e.body["sha256"] for e in stored if e.kind == "photo"}
    named |= {p for e in stored for p in e.body.get("photos", ())}
    kept = {p.stem: p.read_bytes() for p in (server.bundle / "photos").iterdir()}
    assert len(named) == 2
    assert set(kept) == named
    assert all(hashlib.sha256(data).hexdigest() == name for name, data in kept.items())


MANY = """
for (let i = 0; i < value; i += 1) {
  app.saving = false;
  await app.save([{ kind: "note", body: { text: `line ${i}` } }], "x");
}
return app.rows.length;
"""


def test_server_killed_and_answers_lost_while_sending(
    driver: Any, mortal: Served, tmp_path: Path
) -> None:
    server = mortal
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    opened(page, server.url)
    installed(page)
    context.set_offline(True)
    app(page, MANY, 120)
    seen = {"posts": 0}

    def lose(route: Any) -> None:
        if route.request.method != "POST":
            return route.continue_()
        seen["posts"] += 1
        if seen["posts"] == 1:
            route.fetch()  # the server commits, and its answer never arrives
            return route.abort()
        if seen["posts"] == 3:
            server.kill()
            return route.abort()
        return route.continue_()

    page.route("**/api/entries", lose)
    context.set_offline(False)
    for _ in range(200):
        if seen["posts"] >= 3:
            break
        app(page, "app.sync.nudge()")
        page.wait_for_timeout(100)
    page.wait_for_selector("#sync:has-text('not reached')")
    some = len(server.stored())
    assert 50 <= some < 120
    server.start()
    safe(page)
    context.close()
    stored = server.stored()
    assert len(stored) == len({e.id for e in stored}) == 120
    assert server.faults() == ()
    assert seen["posts"] >= 4


def test_two_taps_are_one_entry_and_two_tabs_one_chain(
    driver: Any, server: Served, tmp_path: Path
) -> None:
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    opened(page, server.url)
    page.click("#nav-log")
    page.locator(".menu button", has_text="Note").last.click()
    page.locator(".row textarea").fill("once")
    page.evaluate("""() => { const b = document.querySelector('dialog .save');
      b.click(); b.click(); b.dispatchEvent(new MouseEvent('click')); }""")
    page.wait_for_selector("dialog", state="detached")
    safe(page)
    assert [e.body["text"] for e in server.stored() if e.kind == "note"] == ["once"]

    other = context.new_page()
    opened(other, server.url, name="")
    for tab in (page, other):
        tab.evaluate("""async () => { const { app } = await import('/static/field.js');
          window.work = (async () => { for (let i = 0; i < 20; i += 1)
            await app.save([{ kind: 'note', body: { text: `tab ${i}` } }], 'x'); })(); }""")
    for tab in (page, other):
        tab.evaluate("window.work")
    safe(page)
    context.close()
    stored = server.stored()
    assert sorted(e.seq for e in stored) == list(range(1, 42))
    assert len({e.device for e in stored}) == 1
    assert server.faults() == ()


def test_a_refused_entry_stays_with_its_reason_and_is_mended(
    driver: Any, server: Served, tmp_path: Path
) -> None:
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    opened(page, server.url)
    body = {"section": "S01", "coat": "BASE", "x_m": 1.5, "y_m": 2, "unit": "mil",
            "wet_tooth": 30, "dry_tooth": 25, "gauge": "G1"}  # fmt: skip
    app(page, "await app.save([{ kind: 'film-reading', body: value }], 'x')", body)
    app(page, "await app.save([{ kind: 'note', body: { text: 'behind it' } }], 'x')")
    page.wait_for_selector("#sync:has-text('1 to mend')")
    until(
        page,
        """async () => (await import('/static/field.js')).app.rows
      .some(r => r.sent.kind === 'note' && r.state === 'safe')""",
    )  # it blocks nothing behind it
    assert [e.kind for e in server.stored()] == ["note"]
    page.click("#nav-record")
    assert "next dry tooth must be higher" in page.inner_text(".held")
    page.click(".held .big")
    assert page.input_value("#f-film-reading-wet_tooth") == "30"  # nothing typed is lost
    page.fill("#f-film-reading-dry_tooth", "35")
    page.click("dialog .save")
    page.wait_for_selector("dialog", state="detached")
    safe(page)
    assert "to mend" not in state(page)
    context.close()
    reading = next(e for e in server.stored() if e.kind == "film-reading")
    said = {k: reading.body[k] for k in ("wet_tooth", "dry_tooth", "x_m", "y_m")}
    assert said == {"wet_tooth": 30, "dry_tooth": 35, "x_m": 1.5, "y_m": 2}
    assert reading.body["mends"]
    assert server.held() == ()
    assert server.faults() == ()


# How a browser's store fails: at the put of an entry or of its picture, or at the commit.
FULL = """(where) => {
  const put = IDBObjectStore.prototype.put;
  window.putBack = () => { IDBObjectStore.prototype.put = put; };
  IDBObjectStore.prototype.put = function (v, k) {
    if (this.name === where) throw new DOMException("no space", "QuotaExceededError");
    const asked = put.call(this, v, k);
    if (where === "commit" && this.name === "photos") {
      asked.addEventListener("success", () => this.transaction.abort());
    }
    return asked; }; }"""


def test_a_full_phone_says_so_and_keeps_what_was_typed(
    driver: Any, server: Served, tmp_path: Path
) -> None:
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    opened(page, server.url)
    page.click("#nav-log")
    page.locator(".menu button", has_text="Photo").last.click()
    (tmp_path / "p.jpg").write_bytes(picture())
    page.set_input_files("#f-photo-sha256", str(tmp_path / "p.jpg"))
    page.wait_for_selector(".row.photo .note:has-text('kB')")
    page.fill("#f-photo-shows", "kept")
    for where, said in (("entries", "full"), ("photos", "full"), ("commit", "Not saved")):
        page.evaluate(FULL, where)
        page.click("dialog .save")
        page.wait_for_selector(".toast.alarm")
        assert said in page.inner_text(".toast.alarm")
        assert page.input_value("#f-photo-shows") == "kept"
        assert said in state(page)
        assert app(page, "return app.rows.length") == 0
        page.evaluate("window.putBack()")
        page.click(".toast .close")
    page.click("dialog .save")  # somebody made room: the same form is saved, once
    page.wait_for_selector("dialog", state="detached")
    safe(page)
    context.close()
    (entry,) = server.stored()
    assert (entry.body["shows"], entry.seq) == ("kept", 1)
    (kept,) = (server.bundle / "photos").iterdir()
    assert kept.stem == entry.body["sha256"]
    assert server.faults() == ()


def test_a_battery_that_dies_after_the_tap_loses_nothing(
    driver: Any, server: Served, tmp_path: Path
) -> None:
    folder = tmp_path / "phone"
    (tmp_path / "p.jpg").write_bytes(picture())
    context = phone(driver, folder)
    page = context.pages[0]
    opened(page, server.url)
    installed(page)
    context.set_offline(True)
    page.click("#nav-log")
    page.locator(".menu button", has_text="Note").last.click()
    page.locator(".row textarea").fill("saved with the tick")
    page.click("dialog .save")
    page.wait_for_selector(".toast:has-text('✓')")
    dies(context, folder)  # the tick was shown: it must be there

    context = phone(driver, folder)
    page = context.pages[0]
    context.set_offline(True)
    page.goto(f"{server.url}/field")
    page.wait_for_selector("#field[data-ready]")
    texts = "return app.rows.map(r => r.sent.body.text)"
    assert app(page, texts) == ["saved with the tick"]
    page.click("#nav-log")
    page.locator(".menu button", has_text="Note").last.click()
    page.locator(".row textarea").fill("no tick yet")
    page.set_input_files("#f-note-photos", str(tmp_path / "p.jpg"))
    page.wait_for_selector(".note:has-text('Pictures: 1')")
    page.wait_for_timeout(300)  # nobody reaches for the button faster
    page.evaluate("document.querySelector('dialog .save').click()")
    dies(context, folder)  # in the middle of saving: saved whole, or still typed in its form

    context = phone(driver, folder)
    page = context.pages[0]
    page.goto(f"{server.url}/field")
    page.wait_for_selector("#field[data-ready]")
    there = app(page, texts)
    if "no tick yet" not in there:
        page.click("#nav-log")
        page.locator(".menu button", has_text="Note").last.click()
        assert page.locator(".row textarea").input_value() == "no tick yet"
        page.wait_for_selector(".note:has-text('Pictures: 1')")
        page.click("dialog .save")
        page.wait_for_selector("dialog", state="detached")
    safe(page)
    context.close()
    assert [e.body["text"] for e in server.stored()] == ["saved with the tick", "no tick yet"]
    assert [e.seq for e in server.stored()] == [1, 2]
    (name,) = server.stored()[1].body["photos"]
    assert [p.stem for p in (server.bundle / "photos").iterdir()] == [name]
    assert server.faults() == ()


def test_others_entries_arrive(driver: Any, server: Served, tmp_path: Path) -> None:
    first, second = phone(driver, tmp_path / "a"), phone(driver, tmp_path / "b")
    mine, theirs = first.pages[0], second.pages[0]
    opened(mine, server.url, "Ana")
    opened(theirs, server.url, "Beto")
    body = {"reason": "wet spot", "section": "S01"}
    app(theirs, "await app.save([{ kind: 'hold', body: value }], 'x')", body)
    safe(theirs)
    safe(mine)
    mine.click("#nav-today")
    mine.wait_for_selector(".alarm")
    assert "wet spot (Beto)" in mine.inner_text(".alarm")
    first.close()
    second.close()
    assert len({e.device for e in server.stored()}) == 1


def test_a_clock_wrong_by_a_day_is_shown_and_corrected(
    driver: Any, server: Served, tmp_path: Path
) -> None:
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    page.clock.install(time=datetime.now(UTC) + timedelta(days=1))
    opened(page, server.url)
    page.wait_for_selector(".banner")
    said = page.inner_text(".banner")
    assert "24 h 00 ahead" in said or "23 h 59 ahead" in said
    body = {"slab_c": 20, "air_c": 20, "rh": 0.5}
    app(page, "await app.save([{ kind: 'conditions', body: value }], 'x')", body)
    safe(page)
    page.click("#nav-today")
    # by the server's clock, not by the phone's: a day and a few minutes
    ago = re.search(r"Typed by .+ (\d+) min ago", page.inner_text("main"))
    assert ago, page.inner_text("main")
    assert int(ago[1]) <= 5
    context.close()
    (entry,) = server.stored()
    assert server.faults() == ()
    ahead = datetime.fromisoformat(entry.wall) - datetime.fromisoformat(entry.received)
    assert abs(ahead - timedelta(days=1)) < timedelta(minutes=2)  # as the phone saw it


def test_entries_across_both_changes_of_the_clock_are_taken(
    driver: Any, server: Served, tmp_path: Path
) -> None:
    context = phone(driver, tmp_path / "phone")
    page = context.pages[0]
    opened(page, server.url)
    # published: US daylight time of 2027: 14 March 07:00 UTC to 7 November 06:00 UTC
    spring = int(datetime(2027, 3, 14, 7, tzinfo=UTC).timestamp())
    autumn = int(datetime(2027, 11, 7, 6, tzinfo=UTC).timestamp())
    for utc_s in (spring - 1, spring, autumn - 1, autumn, autumn + 3599):
        app(page, """const real = Date.now; Date.now = () => value * 1000;
            try { await app.save([{ kind: 'note', body: { text: 'x' } }], 'x'); }
            finally { Date.now = real; }""", utc_s)  # fmt: skip
    safe(page)
    context.close()
    walls = [e.wall for e in sorted(server.stored(), key=lambda e: e.seq)]
    assert walls == [
        "2027-03-14T01:59:59-05:00", "2027-03-14T03:00:00-04:00", "2027-11-07T01:59:59-04:00",
        "2027-11-07T01:00:00-05:00", "2027-11-07T01:59:59-05:00",
    ]  # fmt: skip
    assert server.faults() == ()
