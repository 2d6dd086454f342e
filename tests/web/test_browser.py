"""In a real browser: the drawing moves, sections answer, nothing overflows or complains."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from tests.web.field_tools import running
from tests.web.made import make_out

from tackfree.web.app import PATHS, create_app

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine"),
    # the driver leaves its event loop and pipes to the interpreter's end
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}


# Elements that show text of their own, and what is asked of each.
WITH_TEXT = """[...document.querySelectorAll("body :not(svg, svg *)")].filter(e =>
  e.checkVisibility() && [...e.childNodes].some(n => n.nodeType == 3 && n.data.trim()))"""
SMALL_TYPE = f"""() => {WITH_TEXT}.filter(e => parseFloat(getComputedStyle(e).fontSize) < 16)
  .map(e => e.outerHTML)"""
SMALL_TARGETS = """() => [...document.querySelectorAll("a:not(svg a), button, summary")]
  .filter(e => e.checkVisibility() && !e.closest(".skip"))
  .map(e => [e.outerHTML, e.getBoundingClientRect()])
  .filter(([, r]) => r.width < 47.5 || r.height < 47.5)
  .map(([h, r]) => `${r.width}x${r.height} ${h}`)"""
CONTRAST = f"""() => {{
  const light = c => {{
    const [r, g, b] = c.match(/[\\d.]+/g).map(v => v / 255)
      .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  }};
  const under = e => {{
    for (; e; e = e.parentElement) {{
      const c = getComputedStyle(e).backgroundColor;
      if (!c.endsWith(", 0)")) return c;
    }}
  }};
  return {WITH_TEXT}.map(e => {{
    const pair = [light(getComputedStyle(e).color), light(under(e))].sort((x, y) => y - x);
    return [(pair[0] + 0.05) / (pair[1] + 0.05), e.outerHTML.slice(0, 80)];
  }});
}}"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    out = make_out(tmp_path_factory.mktemp("browser") / "out", sections=6)
    app = create_app(out, Path("demo/job"), today=lambda zone: date(2027, 4, 22))
    with running(app) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture
def open_page(browser: Any, address: str) -> Iterator[Any]:
    """``open_page(path, size)``; at the end no message and no request went astray."""
    contexts, faults = [], []

    def go(path: str, size: dict[str, int], **more: Any) -> Any:
        context = browser.new_context(viewport=size, has_touch=size is PHONE, **more)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else 0)
        page.on("pageerror", lambda e: faults.append(str(e)))
        page.on("request", lambda r: None if r.url.startswith(address) else faults.append(r.url))
        page.goto(address + path)
        return page

    yield go
    for context in contexts:
        context.close()
    assert faults == []


def view(page: Any) -> list[float]:
    """The drawing's viewBox after the next frame."""
    page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    return [float(v) for v in page.get_attribute("#drawing svg", "viewBox").split()]


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_no_page_scrolls_sideways_and_type_and_targets_are_large(
    open_page: Any, size: dict[str, int], lang: str
) -> None:
    page = open_page(f"/?lang={lang}", size)
    for path in PATHS.values():
        page.goto(page.url[: page.url.index("/", 8)] + path)
        assert page.evaluate("document.documentElement.lang") == lang
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size["width"], path
        small = page.evaluate(SMALL_TYPE)
        assert small == [], path
        if size is PHONE:
            tight = page.evaluate(SMALL_TARGETS)
            assert tight == [], path


@pytest.mark.parametrize("ground", ["day", "night"])
def test_ink_stands_out_from_its_ground(open_page: Any, ground: str) -> None:
    page = open_page(f"/materials?ground={ground}", DESK)
    ratios = page.evaluate(CONTRAST)
    assert ratios
    # published: WCAG 2.2, 1.4.3: at least 4.5 : 1 for text
    assert [r for r in ratios if r[0] < 4.5] == []


def test_wheel_keys_and_buttons_move_the_drawing(open_page: Any) -> None:
    page = open_page("/plan", DESK)
    whole = view(page)
    page.mouse.move(300, 350)
    page.mouse.wheel(0, -600)
    near = view(page)
    assert near[2] < 0.6 * whole[2]
    assert near[2] / near[3] == pytest.approx(whole[2] / whole[3], rel=1e-6)
    page.focus("#drawing")
    page.keyboard.press("ArrowRight")
    assert view(page)[0] > near[0]
    page.keyboard.press("0")
    assert view(page) == whole
    page.click("[data-zoom=in]")
    assert view(page)[2] < whole[2]
    page.click("[data-zoom=all]")
    assert view(page) == whole


def test_a_drag_moves_and_does_not_tap(open_page: Any) -> None:
    page = open_page("/plan", DESK)
    page.click("[data-zoom=in]")
    before = view(page)
    page.mouse.move(400, 400)
    page.mouse.down()
    page.mouse.move(340, 370, steps=4)
    page.mouse.up()
    after = view(page)
    assert after[0] > before[0]
    assert "#" not in page.url


def test_pinch_zooms_around_the_fingers(open_page: Any) -> None:
    page = open_page("/plan", PHONE)
    whole = view(page)
    session = page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        touches = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    touch("touchStart", (150, 300), (210, 300))
    for k in range(1, 7):
        touch("touchMove", (150 - 10 * k, 300), (210 + 10 * k, 300))
    touch("touchEnd")
    # by hand: fingers from 60 px to 180 px apart: three times as near
    assert view(page)[2] == pytest.approx(whole[2] / 3, rel=0.1)


def test_a_tap_shows_the_sections_lines(open_page: Any) -> None:
    page = open_page("/materials", PHONE)
    page.locator("#sec-S03 .ground-of").tap()
    page.wait_for_url("**#s-S03")
    assert page.evaluate("document.querySelector('.chosen').id") == "sec-S03"
    place = page.locator("#s-S03").bounding_box()
    sheet = page.locator(".sheet").bounding_box()
    assert sheet["y"] + sheet["height"] - 8 <= place["y"] < 740


def test_a_section_is_reached_by_keyboard(open_page: Any) -> None:
    page = open_page("/clocks", DESK)
    page.focus("#drawing")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.section") == "S01"
    page.keyboard.press("Enter")
    page.wait_for_url("**#s-S01")
    assert page.evaluate("document.activeElement.id") == "s-S01"


def test_a_day_of_the_strip_opens_in_view(open_page: Any) -> None:
    page = open_page("/plan?day=2027-05-02", PHONE)
    here = page.locator(".days [aria-current]").bounding_box()
    assert here["x"] >= 0
    assert here["x"] + here["width"] <= 360
    page.locator(".days [rel=prev]").tap()
    page.wait_for_url("**day=2027-05-01*")


def test_pages_can_be_read_without_script(open_page: Any) -> None:
    page = open_page("/deck", PHONE, java_script_enabled=False)
    page.locator(".why summary").first.tap()
    assert page.locator(".because").first.is_visible()
    assert not page.locator(".zoom").is_visible()


def test_night_ground_follows_the_system(open_page: Any) -> None:
    page = open_page("/", DESK, color_scheme="dark")
    night = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    page.goto(page.url + "?ground=day")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") != night


def test_print_leaves_out_what_paper_cannot_press(open_page: Any) -> None:
    page = open_page("/shift?day=2027-04-22", DESK)
    page.emulate_media(media="print")
    for name in (".stages", ".switches", ".zoom", ".days"):
        assert not page.locator(name).first.is_visible()
    assert page.locator("#drawing svg").is_visible()
    assert page.locator(".cautions").is_visible()
