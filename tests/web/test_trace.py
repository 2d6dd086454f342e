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


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        found = p.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
        )
        yield found
        found.close()


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
        page.set_default_timeout(10_000)
        page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else 0)
        page.on("pageerror", lambda e: faults.append(str(e)))
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
