"""How far the film must lie above what is asked for, to be shown by so many readings.

One line for each way of measuring, told apart by its dashes; where the first of them
meets the crew's aim a mark says how many readings that takes. Many readings bring the
lines down to a floor: a gauge nobody checked keeps its own error. The key holds all words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.svg import Box, Pen, document, line_d, nice_step, text_width

PREFIX = "tf-readings"
DASHES = ("", "9 4", "2 4")
ASKED, AIM = "7 4", "12 3 2 3"


@dataclass(frozen=True, kw_only=True)
class Reach:
    """One way of measuring: the film that must be there, for each number of readings."""

    word: str
    film: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Everything is said already; films are in the unit of ``up``."""

    title: str
    readings: tuple[int, ...]
    reaches: tuple[Reach, ...]
    asked: float
    asked_word: str
    aim: float
    aim_word: str
    wanted: int | None  # readings at which the first way meets the aim
    across: str
    up: str


def readings_curve_svg(
    c: Curve,
    *,
    palette: str = "day",
    width: float = 640.0,
    type_px: float = 15.0,
    prefix: str = PREFIX,
) -> str:
    """The curve as SVG; the same bytes for the same arguments.

    Parameters
    ----------
    c : Curve
    palette : "day", "night" or "print"
    width : px
    type_px : size of type [px]
    prefix : of ids, where several pictures stand on one page
    """
    t = type_px
    pen = Pen(look.PALETTES[palette], prefix)
    left, right, top, tall = 3.6 * t, 1.2 * t, 2.0 * t, 15.0 * t
    every = [*(v for r in c.reaches for v in r.film), c.aim, c.asked]
    step = nice_step(max(every) - c.asked)
    low = step * math.floor(c.asked / step - 1e-9)
    high = step * math.ceil(max(every) / step - 1e-9)
    most = c.readings[-1]

    def x(readings: float) -> float:
        return left + readings / most * (width - left - right)

    def y(film: float) -> float:
        return top + tall * (1 - (film - low) / (high - low))

    body = [pen.rect(Box(x=0, y=0, w=width, h=0), pen.fill("paper"))]
    body.append(pen.text(0.4 * t, top - 0.8 * t, c.up, t, role="ink-2"))
    for k in range(round((high - low) / step) + 1):
        at = low + k * step
        body.append(pen.line(left, y(at), width - right, y(at), "line", look.THIN))
        body.append(
            pen.text(left - 0.5 * t, y(at) + 0.35 * t, f"{at:g}", t, anchor="end", role="ink-2")
        )
    base = top + tall
    last = -math.inf
    for n in c.readings:
        body.append(pen.line(x(n), base, x(n), base + 0.4 * t, "ink", look.THIN))
        half = 0.5 * text_width(str(n), t)
        if x(n) - half > last:
            last = x(n) + half + 0.6 * t
            body.append(pen.text(x(n), base + 1.6 * t, str(n), t, anchor="middle", role="ink-2"))
    body.append(pen.text(left, base + 3.1 * t, c.across, t, role="ink-2"))
    for reach, dash in zip(c.reaches, DASHES, strict=True):
        points = [(x(n), y(v)) for n, v in zip(c.readings, reach.film, strict=True)]
        body.append(f'<path d="{line_d(points)}" {pen.stroke("ink", look.HEAVY, dash)}/>')
    body += _marks(c, x, y, pen, t, width - right, base)
    lines = [(r.word, "ink", d) for r, d in zip(c.reaches, DASHES, strict=True)]
    lines += [(c.aim_word, "accent", AIM), (c.asked_word, "accent", ASKED)]
    foot, y_key = _key(lines, pen, t, base + 5.0 * t, width)
    body += foot
    height = y_key + 1.0 * t
    body[0] = pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))
    desc = "; ".join(
        f"{r.word}: " + ", ".join(f"{n}: {v:.1f}" for n, v in zip(c.readings, r.film, strict=True))
        for r in c.reaches
    )
    return document(body, width=width, height=height, title=c.title, desc=desc, prefix=prefix)


def _marks(
    c: Curve, x: Callable[[float], float], y: Callable[[float], float], pen: Pen, t: float,
    right: float, base: float,
) -> list[str]:  # fmt: skip
    """What is asked for, the crew's aim, and the number of readings where a line meets it."""
    out = []
    for film, dash in ((c.asked, ASKED), (c.aim, AIM)):
        out.append(pen.line(x(0), y(film), right, y(film), "accent", look.MEDIUM, dash=dash))
    if c.wanted is not None:
        at = x(min(max(c.wanted, c.readings[0]), c.readings[-1]))
        out.append(pen.line(at, y(c.aim), at, base, "accent", look.MEDIUM))
        out.append(pen.text(at + 0.4 * t, base - 0.5 * t, str(c.wanted), t, bold=True, halo=True))
    return out


def _key(
    lines: Sequence[tuple[str, str, str]], pen: Pen, t: float, y: float, width: float
) -> tuple[list[str], float]:
    """Each line with its word, role and dashes; and where the last of them stands."""
    out = []
    at = 0.6 * t
    for word, role, dash in lines:
        need = 4.2 * t + text_width(word, t) * 1.1
        if at + need > width and at > t:
            at, y = 0.6 * t, y + 1.5 * t
        weight = look.HEAVY if role == "ink" else look.MEDIUM
        out.append(pen.line(at, y - 0.3 * t, at + 3 * t, y - 0.3 * t, role, weight, dash=dash))
        out.append(pen.text(at + 3.5 * t, y, word, t))
        at += need
    return out, y
