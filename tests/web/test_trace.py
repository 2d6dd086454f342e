"""Tracing in a real browser: by mouse, by keys alone, by fingers, and what must never be lost."""

from __future__ import annotations

import json
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.web.tracing import FT, FT2, PLAN, PT_PER_FT, Hand, chromium, pt, ready, served, takeoff

CHROMIUM = chromium()
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}
M_PER_PT = FT / PT_PER_FT


@pytest.fixture
def site(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    with served(tmp_path) as found:
        yield found


@pytest.fixture
def open_page(browser: Any, site: tuple[str, Path]) -> Iterator[Any]:
    """``open_page(path, size)``; at the end no message and no request went astray."""
    contexts, faults = [], []

    def go(path: str, size: dict[str, int], **more: Any) -> Any:
        context = browser.new_context(viewport=size, has_touch=size is PHONE, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else 0)
        page.on("pageerror", lambda e: faults.append(str(e)))
        page.on("response", lambda r: faults.append(r.url) if r.status >= 400 else None)
        page.on("request", lambda r: None if r.url.startswith(site[0]) else faults.append(r.url))
        page.goto(site[0] + path)
        return page

    go.faults = faults  # type: ignore[attr-defined]
    yield go
    for context in contexts:
        context.close()
    assert faults == []


def bring(page: Any, tmp_path: Path, data: bytes = PLAN, name: str = "plan.pdf") -> None:
    """Choose the file; the editor opens on its page."""
    path = tmp_path / name
    path.write_bytes(data)
    page.set_input_files("#bring-form [name=file]", path)
    ready(page)


def set_scale(hand: Hand, a: tuple[float, float], b: tuple[float, float], text: str) -> None:
    hand.click(a, think=True)
    hand.click(b)
    hand.page.wait_for_selector("#options [name=measured]")
    hand.type(text)
    hand.keys("Enter")
    hand.page.wait_for_selector("[data-kind=zone][aria-pressed=true]")


def test_a_pdf_page_becomes_a_takeoff_by_mouse(
    open_page: Any, site: tuple[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = open_page("/trace?begin=1", DESK)
    hand = Hand(page)
    begun = time.perf_counter()
    hand.acts.update(think=2, point=2, press=2)  # the file's button and its line in a list
    bring(page, tmp_path)
    set_scale(hand, pt(0, 0), pt(200, 0), "200 ft")
    hand.calibrated(M_PER_PT)
    hand.press("[data-kind=scale]")
    set_scale(hand, pt(0, 0), pt(0, 100), "100 ft")
    assert float(page.get_attribute("#off", "data-percent")) == pytest.approx(0, abs=1e-9)
    hand.choose("build_up", "BU-STALL")
    for k, corner in enumerate([pt(0, 0), pt(100, 0), pt(100, 100), pt(0, 100), pt(0, 0)]):
        hand.click(corner, think=k == 0)
    hand.choose("build_up", "BU-LANE")
    hand.choose("way", "box")
    hand.click(pt(100, 0), think=True)
    hand.click(pt(200, 100))
    hand.press("[data-kind=column]")
    hand.choose("way", "outline")
    for k, corner in enumerate([pt(150, 48.8889), pt(152, 48.8889), pt(152, 50.8889),
                                pt(150, 50.8889), pt(150, 48.8889)]):  # fmt: skip
        hand.click(corner, think=k == 0)
    hand.press("[data-kind=crack]")
    hand.choose("crack", "0.003175")
    hand.click(pt(18, 20), think=True)
    hand.click(pt(38, 46.6667))
    hand.press("#end")
    hand.press("#save")
    found = takeoff(page)
    took = time.perf_counter() - begun

    # by hand: 100 × 100 ft each; the column of 2 × 2 ft is taken out of the second;
    # the crack runs 20 ft over and 26 2/3 ft up: 33 1/3 ft
    assert found["D1-Z1", "field"] == pytest.approx(10_000 * FT2, rel=1e-6)
    assert found["D1-Z2", "outline"] == pytest.approx(10_000 * FT2, rel=1e-6)
    assert found["D1-Z2", "obstacles"] == pytest.approx(4 * FT2, rel=1e-5)
    assert found["D1-Z2", "field"] == pytest.approx(9_996 * FT2, rel=1e-6)
    assert found["D1-Z1", "rout"] == pytest.approx(100 / 3 * FT, rel=1e-6)
    deck = tomllib.loads((site[1] / "decks/D1.toml").read_text())
    assert [(z["build_up"], z["duty"]) for z in deck["zones"]] == [
        ("BU-STALL", "light"), ("BU-LANE", "heavy"),
    ]  # fmt: skip
    assert [c["length"] for c in deck["calibration"]] == ["200 ft", "100 ft"]
    rows = json.loads((site[1] / "decks/D1.geojson").read_text())["features"]
    assert sorted(r["properties"]["kind"] for r in rows) == ["column", "crack", "zone", "zone"]
    with capsys.disabled():
        print(
            f"\nTracing by mouse: {dict(hand.acts)}; a person, by the keystroke-level model, "
            f"{hand.seconds():.0f} s; this driver {took:.1f} s"
        )
    assert hand.seconds() < 180


def jump(hand: Hand, *ways: str) -> None:
    """Go from end to end of the drawing by Control and arrows."""
    for way in ways:
        hand.keys(f"Control+{way}")


def test_the_same_by_keys_alone(
    open_page: Any, site: tuple[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = open_page("/trace?begin=1", DESK)
    hand = Hand(page)
    bring(page, tmp_path)
    reach(page, "#board")
    # the crosshair begins in the middle of the sheet, inside the right half of the plan
    jump(hand, "ArrowDown", "ArrowLeft")
    assert_at(page, hand, pt(0, 0))
    hand.keys("Enter", think=True)
    jump(hand, "ArrowRight", "ArrowRight")
    assert_at(page, hand, pt(200, 0))
    hand.keys("Enter")
    page.wait_for_selector("#options [name=measured]:focus")
    hand.type("60,96 m")  # 200 ft with a decimal comma
    hand.keys("Enter")
    page.wait_for_selector("[data-kind=zone][aria-pressed=true]")
    hand.calibrated(M_PER_PT)
    # zone 1: the build-up by its list, then corners round by end to end
    page.keyboard.press("Shift+Tab")  # from the board back into the options
    while page.evaluate("document.activeElement.name") != "build_up":
        hand.keys("Shift+Tab")
    hand.type("BU-STALL")
    reach(page, "#board")
    jump(hand, "ArrowDown", "ArrowLeft", "ArrowLeft")
    assert_at(page, hand, pt(0, 0))
    hand.keys("Enter", think=True)
    for way in ("ArrowRight", "ArrowUp", "ArrowLeft"):
        jump(hand, way)
        hand.keys("Enter")
    hand.keys("Escape")  # ends, and so closes
    # zone 2 by typed lengths: the deck is 100 ft from its wall to its end
    jump(hand, "ArrowDown", "ArrowRight")
    assert_at(page, hand, pt(100, 0))
    hand.keys("Enter", think=True)
    for way, text in (("ArrowRight", "100 ft"), ("ArrowUp", "100 ft"), ("ArrowLeft", "100'")):
        hand.keys(*[way] * 2)
        hand.type(text)
        hand.keys("Enter")
        page.wait_for_selector("#board:focus")
    hand.keys("Escape")
    reach(page, "#board")
    hand.keys("v", "Enter", think=True)
    page.wait_for_selector("#one:not([hidden])")
    # a column of 2 ft by its middle, and a crack
    hand.keys("c", think=True)
    hand.keys(*["ArrowDown"] * 8, *["ArrowRight"] * 6)
    hand.keys("Enter")
    hand.keys("k", think=True)
    hand.keys(*["ArrowDown"] * 4, "Enter", *["ArrowRight"] * 8, "Enter", "Escape")
    reach(page, "#save")
    hand.keys("Enter")
    found = takeoff(page)
    # by hand: 100 × 100 ft, and as much less 2 × 2 ft
    assert found["D1-Z1", "field"] == pytest.approx(10_000 * FT2, rel=1e-6)
    assert found["D1-Z2", "outline"] == pytest.approx(10_000 * FT2, rel=1e-6)
    assert found["D1-Z2", "obstacles"] == pytest.approx(4 * FT2, rel=1e-5)
    assert found["D1-Z2", "rout"] > 1
    assert hand.acts["point"] == hand.acts["press"] == 0
    with capsys.disabled():
        print(f"\nTracing by keys: {dict(hand.acts)}; a person {hand.seconds():.0f} s")


def reach(page: Any, selector: str) -> None:
    """By Tab alone, forwards or back, as far as it takes."""
    for key in ("Tab", "Shift+Tab"):
        for _ in range(60):
            if page.evaluate("s => document.activeElement === document.querySelector(s)", selector):
                return
            page.keyboard.press(key)
    raise AssertionError(f"{selector} is not reached by Tab")


def assert_at(page: Any, hand: Hand, place: tuple[float, float]) -> None:
    """The crosshair stands on a place of the plan."""
    spot = page.evaluate(
        """() => {
          const m = document.querySelector('.cursor').transform.baseVal[0].matrix;
          const b = document.querySelector('#board').getBoundingClientRect();
          return [b.left + m.e, b.top + m.f];
        }"""
    )
    assert spot == pytest.approx(hand.screen(place), abs=0.2)


class Fingers(Hand):
    """A person at a phone: taps and drags through the browser's own touch events.

    The point falls 64 px above the finger, where the crosshair is. A drag to the place is
    charged as two pointings: the finger goes down near it, then moves until it is right.
    """

    ABOVE = 64

    def __init__(self, page: Any) -> None:
        super().__init__(page)
        self.session = page.context.new_cdp_session(page)

    def touch(self, kind: str, *points: tuple[float, float]) -> None:
        touches = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    def click(
        self, place: tuple[float, float], *, think: bool = False, whole: bool = False
    ) -> None:
        self._to("mouse")
        self.acts["think"] += think
        self.acts["point"] += 2
        self.acts["press"] += 1
        x, y = self.screen(place)
        self.touch("touchStart", (x + 8, y))  # on the board, then down off it if need be
        self.touch("touchMove", (x + 12, y + self.ABOVE + 9))
        self.touch("touchMove", (x, y + self.ABOVE))
        self.touch("touchEnd")

    def press(self, selector: str) -> None:
        self._to("mouse")
        self.acts.update(think=1, point=1, press=1)
        self.page.locator(selector).tap()


def test_the_same_by_touch_on_a_phone(
    open_page: Any, site: tuple[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = open_page("/trace?begin=1&lang=es&ground=night", PHONE)
    hand = Fingers(page)
    hand.acts.update(think=2, point=2, press=2)
    bring(page, tmp_path)
    set_scale(hand, pt(0, 0), pt(200, 0), "200 ft")
    hand.calibrated(M_PER_PT)
    hand.choose("build_up", "BU-STALL")
    for k, corner in enumerate([pt(0, 0), pt(100, 0), pt(100, 100), pt(0, 100)]):
        hand.click(corner, think=k == 0)
    hand.press("#end")
    hand.choose("build_up", "BU-LANE")
    hand.choose("way", "box")
    hand.click(pt(100, 0), think=True)
    hand.click(pt(200, 100))
    hand.press("[data-kind=column]")
    hand.click(pt(150, 75), think=True)
    hand.press("[data-kind=crack]")
    hand.click(pt(18, 20), think=True)
    hand.click(pt(38, 46.6667))
    hand.press("#end")
    hand.press("#save")
    found = takeoff(page)
    # by hand: as by mouse; the column of 2 ft is set down by its middle
    assert found["D1-Z1", "field"] == pytest.approx(10_000 * FT2, rel=1e-6)
    assert found["D1-Z2", "field"] == pytest.approx(9_996 * FT2, rel=1e-6)
    assert found["D1-Z1", "rout"] == pytest.approx(100 / 3 * FT, rel=1e-6)
    with capsys.disabled():
        print(f"\nTracing by touch: {dict(hand.acts)}; a person {hand.seconds():.0f} s")
    assert hand.seconds() < 180


def test_two_fingers_move_and_zoom_and_place_nothing(open_page: Any, tmp_path: Path) -> None:
    page = open_page("/trace?open=P1&lang=en", PHONE)
    ready(page)
    hand = Fingers(page)
    page.locator("[data-kind=zone]").tap()
    box = page.locator("#board").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    matrix = "() => document.querySelector('#world').transform.baseVal[0].matrix.a"
    before = page.evaluate(matrix)
    hand.touch("touchStart", (x - 30, y))
    hand.touch("touchStart", (x - 30, y), (x + 30, y))
    for k in range(1, 7):
        hand.touch("touchMove", (x - 30 - 10 * k, y), (x + 30 + 10 * k, y))
    hand.touch("touchEnd")
    # by hand: fingers from 60 to 180 px apart
    assert page.evaluate(matrix) == pytest.approx(3 * before, rel=0.02)
    assert page.locator("#drop").is_hidden()


def test_a_finger_never_covers_its_point(open_page: Any, tmp_path: Path) -> None:
    page = open_page("/trace?open=P1&lang=en", PHONE)
    ready(page)
    hand = Fingers(page)
    page.locator("[data-kind=zone]").tap()
    box = page.locator("#board").bounding_box()
    x, y = box["x"] + 150, box["y"] + 220
    hand.touch("touchStart", (x, y))
    hand.touch("touchMove", (x, y - 20))
    spot = page.locator(".cursor").bounding_box()
    assert spot["y"] + spot["height"] < y - 20 - 16  # clear of the fingertip
    assert page.locator("#loupe").is_visible()
    hand.touch("touchEnd")
    assert page.locator("#loupe").is_hidden()
    assert page.locator("#drop").is_visible()
