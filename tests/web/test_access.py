"""Every page through axe: nothing serious for those who listen, use keys or see little."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import axe_playwright_python
import pytest
import uvicorn
from fastapi import FastAPI
from tests.service.plan_board_made import plan_out
from tests.service.test_marks import FT, job
from tests.web.field_tools import ARGS, CHROMIUM, DESK, PHONE, app, box, still
from tests.web.made import write

from tackfree.service import job as jobs
from tackfree.service import people
from tackfree.service.marks import lay_marks
from tackfree.service.marks_papers import document
from tackfree.service.marks_types import Ask
from tackfree.service.pipeline import Pipeline
from tackfree.service.quote import price_document
from tackfree.service.recording import keep
from tackfree.service.recording.book import Book
from tackfree.service.recording.desk import Desk
from tackfree.service.save import dumps
from tackfree.service.supply import order_stage
from tackfree.service.tls import Certificates
from tackfree.web import marks
from tackfree.web.app import create_app
from tackfree.web.lan import set_up_page
from tackfree.web.site import APART, MORE, PATHS

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text("utf-8")
# published: WCAG 2.2, levels A and AA, as axe-core 4 tags its rules
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# A row under the button that stays at the thumb counts as small until it is scrolled up;
# targets of 48 px are held where the screens are tested.
RUN = """async ({ only, bad }) => {
  const found = await axe.run(document, { runOnly: only, resultTypes: ["violations"],
    ...(only.includes("wcag2a") ? { rules: { "target-size": { enabled: false } } } : {}) });
  return found.violations.filter(v => bad.includes(v.impact)).flatMap(v => v.nodes.map(
    n => `${v.impact} ${v.id}: ${n.target.join(" ")}: ${n.failureSummary}`));
}"""
# What the width or the ground can change; the names are those the phone was asked about.
SEEN = ["color-contrast", "scrollable-region-focusable", "link-in-text-block"]
BAD = ["serious", "critical"]
# The made job's sections bear the names that the example record speaks of.
NAMES = {"S01": "P1-STALL-A-1", "S02": "P1-STALL-B-1", "S03": "P2-LANE-A-1"}
HERE = NAMES["S01"]
ONE = f"section={HERE}&coat=BASE"
FLOOR = job([(0, 0, 108, 40)], reach_ft2=270)
DEEPER = (
    "/nowhere", "/strip?zone=P1-STALLS", "/price/edit", "/plan/stalls", "/plan/ahead",
    f"/marks?{ONE}", f"/marks/choose?{ONE}", f"/film?{ONE}", "/materials/forecast",
    "/daily/instruments", "/daily/bring", f"/section/{HERE}", f"/section/{HERE}/spots",
    "/sign-in", "/api/docs", "/ask/spread?slab=68F&air=72F&rh=78%25",
    "/ask/kits?area=x&wft=25mil&kit=5gal",
)  # fmt: skip


@dataclass(kw_only=True)
class House:
    """The job's pages, and the one that sets a phone up."""

    url: str
    set_up: str
    desk: Desk


def full_out(folder: Path, bundle: Path) -> Path:
    """A small output with something on every page."""
    out = plan_out(folder / "made")
    for path in (*out.glob("stages/*.json"), *out.glob("drawings/*.svg")):
        text = path.read_text("utf-8")
        for short, name in NAMES.items():
            text = text.replace(short, name)
        path.write_text(text, "utf-8")
    path = out / "stages/sections.json"
    stage = json.loads(path.read_text("utf-8"))
    for k, section in enumerate(stage["sections"]):
        x = 40.0 * k
        section["floor"] = {"type": "MultiPolygon", "coordinates": [[box(x, 0, x + 33, 12.2)]]}
    marks = lay_marks(FLOOR, "S-1", "BASE", Ask(direction_rad=0.0, lane_m=10 * FT))
    layout = {**document([marks])["layouts"][0], "section_id": HERE, "notes": []}
    write(path, stage)
    write(out / "stages/marks.json", {"schema": "tackfree.marks/1", "layouts": [layout]})
    made = Pipeline.of(bundle)
    for name, found in (
        ("price", price_document(made)), ("order", order_stage(made, planned=False)),
    ):  # fmt: skip
        text = dumps({"schema": f"tackfree.{name}/1", **found})
        (out / f"stages/{name}.json").write_text(text, "utf-8")
    return out


@contextmanager
def serving(app: FastAPI) -> Iterator[str]:
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("access")
    bundle = folder / "job"
    jobs.new(bundle, demo=True)
    keep.take_file(bundle, bundle / "record-example.jsonl")
    desk = Desk(bundle=bundle)
    people.invite(desk.record, name="Ana Roe", role="crew", by="test")
    code = people.invite(desk.record, name="Beto Roe", role="foreman", by="test")
    people.redeem(desk.record, code, device_name="phone", password="")
    people.view_link(desk.record, label="Owner Roe", by="test", days=30)
    site = create_app(full_out(folder, bundle), bundle, today=lambda zone: date(2027, 4, 22))
    kept = Certificates(chain=folder, key=folder, authority=folder, names=("deck.local",),
                        fingerprint="AB:" * 31 + "AB")  # fmt: skip
    plain = set_up_page(kept, "https://deck.local:8443", desk.job.id)
    with ExitStack() as stack:
        patch = stack.enter_context(pytest.MonkeyPatch.context())
        # clocks and layouts that take seconds to work out say nothing of how a page is made
        patch.setattr(Book, "clock_rows", lambda self, now, patience_s: ())
        FLOOR.sections.sections = (replace(FLOOR.sections.sections[0], id=HERE),)
        FLOOR.materials.coats[0].section_id = HERE
        floor = SimpleNamespace(lock=nullcontext(), pipeline=lambda: FLOOR)
        patch.setattr(marks, "KeptPipeline", lambda root: floor)
        url = stack.enter_context(serving(site))
        yield House(url=url, set_up=stack.enter_context(serving(plain)), desk=desk)
    desk.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        found = p.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield found
        found.close()


class Reader:
    """A browser that asks axe about each page it opens."""

    def __init__(self, browser: Any, size: dict[str, int], rules: list[str]) -> None:
        self.rules = rules
        # the pages let no foreign script in; axe is one
        self.context = browser.new_context(viewport=size, bypass_csp=True)
        self.page = self.context.new_page()
        self.faults: list[str] = []

    def look(self, where: str, *, both: bool = False) -> None:
        """What is wrong as it stands, and with the colours of the other ground too."""
        page = self.page
        if not page.evaluate("'axe' in window"):
            page.evaluate(AXE)
        said = page.evaluate(RUN, {"only": self.rules, "bad": BAD})
        if both:
            ground = page.evaluate("document.documentElement.dataset.ground")
            turn = "g => { document.documentElement.dataset.ground = g; }"
            page.evaluate(turn, "day" if ground == "night" else "night")
            said += page.evaluate(RUN, {"only": ["color-contrast"], "bad": BAD})
            page.evaluate(turn, ground)
        self.faults += [f"{where}: {one}" for one in said]

    def open(self, url: str, where: str) -> None:
        answer = self.page.goto(url)
        assert answer.status == (404 if where == "/nowhere" else 200), where
        if "/trace" in where:
            self.page.wait_for_selector("#trace[data-ready=yes]")
        self.look(where)


WAYS = pytest.mark.parametrize(
    ("size", "lang", "ground"), [(PHONE, "en", "day"), (DESK, "es", "night")], ids=["phone", "desk"]
)


@pytest.fixture
def reader(browser: Any, size: dict[str, int], request: pytest.FixtureRequest) -> Iterator[Reader]:
    whole = size is PHONE or request.config.getoption("--trials")
    found = Reader(browser, size, TAGS if whole else SEEN)
    yield found
    found.context.close()


@WAYS
def test_no_page_has_a_serious_fault(reader: Reader, house: House, lang: str, ground: str) -> None:
    reader.page.goto(f"{house.url}/sign-in?lang={lang}&ground={ground}")
    code = people.invite(house.desk.record, name=f"New {lang}", role="office", by="test")
    every = [*PATHS.values(), *MORE.values(), *APART.values(), *DEEPER, f"/join/{code}"]
    for path in dict.fromkeys(every):
        if path != "/field":  # below, screen by screen
            reader.open(house.url + path, path)
    reader.open(f"{house.set_up}/?lang={lang}", "set-up")
    assert reader.faults == []


@WAYS
def test_no_screen_of_the_field_page_has_a_serious_fault(
    reader: Reader, house: House, lang: str, ground: str
) -> None:
    page = reader.page
    page.goto(f"{house.url}/field?lang={lang}&ground={ground}")
    page.wait_for_selector("#first-name")
    reader.look("name", both=True)
    page.fill("#first-name", "Ana")
    page.click("dialog .big")
    body = {"section": HERE, "coat": "BASE", "x_m": 1.5, "y_m": 2, "unit": "mil",
            "wet_tooth": 30, "dry_tooth": 25, "gauge": "G1"}  # fmt: skip
    said = [
        {"kind": "film-reading", "body": body},  # refused, and kept to be mended
        {"kind": "conditions", "body": {"slab_c": 24, "air_c": 22, "rh": 0.5}},
        {"kind": "hold", "body": {"section": HERE, "reason": "wet spot"}},
        {"kind": "batch", "body": {"kit": f"K-{lang}", "product": "HEN-B", "section": HERE,
                                   "coat": "BASE"}},
    ]  # fmt: skip
    app(page, "await app.save(value, 'x')", said)
    page.wait_for_selector("#sync.warn")
    for screen in ("today", "deck", "log", "record"):
        page.click(f"#nav-{screen}")
        still(page)
        reader.look(screen, both=True)
    page.click(".held .big")
    reader.look("mending")
    page.keyboard.press("Escape")
    for kind in ("conditions", "delivery", "defect"):
        app(page, "const s = await import('/static/field-screens.js'); s.openForm(app, value);",
            kind)  # fmt: skip
        page.click("dialog .save")  # with every fault shown
        reader.look(kind, both=kind == "conditions")
        page.keyboard.press("Escape")
    page.click("#nav-deck")
    page.select_option("#pick-section", HERE)
    page.select_option("#pick-coat", "BASE")
    page.click(".next .big >> nth=0")
    reader.look("mixing", both=True)
    page.keyboard.press("Escape")
    still(page)
    page.evaluate("document.querySelector('[data-cell=\"2\"]').focus()")
    page.keyboard.press("Enter")
    page.wait_for_selector("dialog")
    reader.look("cell")
    page.keyboard.press("Escape")
    page.click(".modes button >> nth=1")
    still(page)
    page.click(".deck")
    page.wait_for_selector(".tooth")
    reader.look("reading", both=True)
    assert reader.faults == []
