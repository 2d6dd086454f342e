"""What the tracing tests share: a plan with known sizes, a served job, and a hand that counts.

The plan is 200 × 100 ft at 3.6 pt to the foot (1 in = 20 ft), its lower left corner at
(40, 40) pt, with a wall at half its length, a column of 2 × 2 ft and a crack.
"""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.intake.pdf_cases import pdf
from tests.web.field_tools import running

from tackfree.service import job
from tackfree.web.app import create_app

PT_PER_FT = 3.6
CORNER = (40.0, 40.0)
PLAN = pdf(
    "2 w 40 40 720 360 re S 1 w 400 40 m 400 400 l S "
    "580 216 7.2 7.2 re S 0.5 w 1 0 0 RG 104.8 112 m 176.8 208 l S"
)
FT = 0.3048
FT2 = FT**2

# published: keystroke-level model, Card, Moran and Newell, Communications of the ACM 23
# (1980) 396: point 1.10 s, press a button 0.10 s each way, keystroke of an average
# typist 0.28 s, hand between mouse and keys 0.40 s, mental act 1.35 s. A click is a
# pointing, a press and a release.
SECONDS = {"point": 1.10, "press": 0.20, "key": 0.28, "home": 0.40, "think": 1.35}


def pt(x_ft: float, y_ft: float) -> tuple[float, float]:
    """A place of the plan in feet from its corner, in points of the page."""
    return CORNER[0] + PT_PER_FT * x_ft, CORNER[1] + PT_PER_FT * y_ft


@contextmanager
def served(folder: Path, *, demo: bool = True) -> Iterator[tuple[str, Path]]:
    """A new job that nobody has built, and its address."""
    bundle = folder / "job"
    if not bundle.exists():
        job.new(bundle, demo=demo)
    out = folder / "out"
    out.mkdir(exist_ok=True)
    with running(create_app(out, bundle)) as port:
        yield f"http://127.0.0.1:{port}", bundle


def chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Hand:
    """A person at the page: every act is done and counted.

    ``think`` is charged before each deliberate act, not before the second corner of a
    figure already decided on.
    """

    def __init__(self, page: Any) -> None:
        self.page = page
        self.acts: Counter[str] = Counter()
        self.on_keys = False

    def seconds(self) -> float:
        """What a practised person takes, by the keystroke-level model."""
        return sum(SECONDS[k] * n for k, n in self.acts.items())

    def screen(self, place: tuple[float, float]) -> tuple[float, float]:
        """Where a place of the page [pt] lies once what was pressed is drawn. [CSS px]"""
        x, y = self.page.evaluate(
            """async ([u, v]) => {
              for (const _ of [1, 2]) await new Promise(requestAnimationFrame);
              const scale = window.__scale ?? [1, 1];
              const m = document.querySelector('#world').transform.baseVal[0].matrix;
              const b = document.querySelector('#board').getBoundingClientRect();
              return [b.left + m.a * u * scale[0] + m.e, b.top + m.d * v * scale[1] + m.f];
            }""",
            list(place),
        )
        return x, y

    def calibrated(self, metres_per_pt: float) -> None:
        """From now on the board counts in metres."""
        self.page.evaluate("k => { window.__scale = [k, k]; }", metres_per_pt)

    def _to(self, kind: str) -> None:
        if (kind == "keys") != self.on_keys:
            self.acts["home"] += 1
            self.on_keys = kind == "keys"

    def click(
        self, place: tuple[float, float], *, think: bool = False, whole: bool = False
    ) -> None:
        self._to("mouse")
        self.acts["think"] += think
        self.acts["point"] += 1
        self.acts["press"] += 1
        x, y = self.screen(place)
        if whole:
            x, y = round(x), round(y)
        self.page.mouse.move(x, y)
        self.page.mouse.click(x, y)

    def press(self, selector: str) -> None:
        """Find a button and press it."""
        self._to("mouse")
        self.acts["think"] += 1
        self.acts["point"] += 1
        self.acts["press"] += 1
        self.page.click(selector)

    def choose(self, name: str, value: str) -> None:
        """Open a list, point at a line of it, press."""
        self._to("mouse")
        self.acts["think"] += 1
        self.acts["point"] += 2
        self.acts["press"] += 2
        self.page.select_option(f"#options select[name={name}]", value)

    def keys(self, *names: str, think: bool = False) -> None:
        self._to("keys")
        self.acts["think"] += think
        for name in names:
            self.acts["key"] += 1
            self.page.keyboard.press(name)

    def type(self, text: str) -> None:
        """Read a figure off the drawing and type it."""
        self._to("keys")
        self.acts["think"] += 1
        self.acts["key"] += len(text)
        self.page.keyboard.type(text)


def ready(page: Any) -> None:
    """Until the drawing and its ends are there."""
    page.wait_for_selector("#trace[data-ready=yes]")


def takeoff(page: Any) -> dict[tuple[str, str], float]:
    """The takeoff shown, as zone and item → plain number in SI."""
    try:
        page.wait_for_selector("#takeoff .total[data-saved=yes]")
    except Exception as fault:
        said = page.text_content("#news"), page.text_content("#takeoff"), page.text_content("#hint")
        raise AssertionError(f"nothing was saved: {said}") from fault
    rows = page.eval_on_selector_all(
        "#takeoff tr[data-item]",
        "rows => rows.map(r => [r.parentElement.dataset.zone, r.dataset.item, +r.dataset.value])",
    )
    return {(z, k): v for z, k, v in rows}
