"""The page of film evidence in a real browser: phone and desk, both languages, a tap, the key."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from tests.web.made import make_out
from tests.web.test_browser import SMALL_TARGETS, SMALL_TYPE

from tackfree.service import job
from tackfree.service.recording import keep
from tackfree.web.app import create_app

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
    # the driver leaves its event loop and pipes to the interpreter's end
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}

DRAWN = """[...document.querySelectorAll("main figure svg text, #drawing svg text")]
  .filter(e => e.checkVisibility() && e.getBoundingClientRect().width)"""
SMALL_DRAWN = f"""() => {DRAWN}.map(e => {{
    const m = e.getScreenCTM();
    return [parseFloat(getComputedStyle(e).fontSize) * Math.hypot(m.a, m.b), e.textContent];
  }}).filter(([px]) => px < 15.95)"""
CLIPPED = f"""() => {DRAWN}.filter(e => {{
    const r = e.getBoundingClientRect(), s = e.ownerSVGElement.getBoundingClientRect();
    return e.closest("figure, .lab") && (r.left < s.left - 1 || r.right > s.right + 1);
  }}).map(e => e.textContent)"""
OVER = """() => {
  const words = [...document.querySelectorAll("#drawing .lab:not(.tight) text")]
    .map(e => [e.getBoundingClientRect(), e.textContent]);
  return words.flatMap(([a, one], k) => words.slice(k + 1).filter(([b]) =>
    a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom)
    .map(([, other]) => `${one} over ${other}`));
}"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("film-browser")
    job.new(folder / "job", demo=True)
    keep.take_file(folder / "job", folder / "job" / "record-example.jsonl")
    app = create_app(make_out(folder / "out"), folder / "job")
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    for _ in range(200):
        if server.started:
            break
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(5)


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


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_deck_section_and_kits(browser: Any, address: str, size: dict[str, int], lang: str) -> None:
    context = browser.new_context(viewport=size, has_touch=size is PHONE)
    page = context.new_page()
    page.set_default_timeout(60_000)
    faults: list[str] = []
    page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else 0)
    page.on("pageerror", lambda e: faults.append(str(e)))

    def sound() -> None:
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        assert page.evaluate(SMALL_TYPE) == []
        if size is PHONE:
            assert page.evaluate(SMALL_TARGETS) == []
        page.wait_for_timeout(100)  # words of the drawing find their places
        assert page.evaluate(SMALL_DRAWN) == []
        assert page.evaluate(CLIPPED) == []
        assert page.evaluate(OVER) == []

    page.goto(f"{address}/film?lang={lang}&units=us")
    sound()
    words = {"en": ("SHOWN", "SHORT", "NOT SHOWN"), "es": ("DEMOSTRADO", "FALTA", "NO DEMOSTRADO")}
    said = page.locator("#lines").inner_text()
    for word in words[lang]:
        assert word in said
    assert "P1-STALL-D BASE" in said  # zone by zone
    assert page.locator(".filmkey .swatch").count() == 5  # one square for each class of chance
    assert page.locator('#drawing [fill="url(#tf-film-dense)"]').count() > 0

    part = page.locator("#sec-P1-STALL-D-1 .ground-of")
    part.tap() if size is PHONE else part.click()
    page.wait_for_url("**section=P1-STALL-D-1**")
    sound()
    heads = page.locator("#lines h2").all_inner_texts()
    rule = next(k for k, h in enumerate(heads) if {"en": "contract", "es": "contrato"}[lang] in h)
    sure = {"en": "Then how sure", "es": "Después, con qué seguridad"}[lang]
    chance = next(k for k, h in enumerate(heads) if h.startswith(sure))
    assert rule < chance
    shown = page.locator("#drawing .lab:not(.tight)").count()
    assert shown > 5  # of a section as tall as ten of its widths
    page.locator("[data-zoom=in]").click()
    from playwright.sync_api import expect

    expect(page.locator("#drawing .lab:not(.tight)")).not_to_have_count(shown)
    sound()

    if size is PHONE and lang == "es":  # the longest words in the least room
        page.goto(f"{address}/film/readings?section=P2-LANE-A-1&coat=BASE&lang={lang}")
        sound()
    page.goto(f"{address}/materials/forecast?lang={lang}")
    sound()
    shown = "figure.narrow svg" if size is PHONE else "figure.wide svg"
    assert page.locator(shown).first.is_visible()
    context.close()
    assert faults == []
