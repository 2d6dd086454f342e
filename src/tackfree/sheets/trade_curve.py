"""When the job ends against the share of stalls kept open, as a curve with labels.

Each point is a plan: its day stands above it, the stall-days lost below the axis. A thin
upright from a point reaches down to the day before which no plan of that share ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tackfree.sheets import look
from tackfree.sheets.svg import Box, Pen, document, num, text_width

PREFIX = "tf-trade"


@dataclass(frozen=True, kw_only=True)
class Point:
    """One share of stalls: its plan's finish and bound in days of any count, and words."""

    share: str
    finish: float | None
    bound: float | None
    day: str  # of the finish; where there is no plan, why
    lost: str  # stall-days


@dataclass(frozen=True, kw_only=True)
class Trade:
    """Everything is said already."""

    title: str
    points: Sequence[Point]
    across: str
    up: str
    lost: str
    bound: str


def trade_curve_svg(
    c: Trade, *, width: float = 640.0, type_px: float = 16.0, prefix: str = PREFIX
) -> str:
    """The curve as SVG; the same bytes for the same arguments."""
    t = type_px
    pen = Pen(look.PALETTES["day"], prefix)
    found = [p for p in c.points if p.finish is not None]
    marks = [v for p in found for v in (p.finish, p.bound) if v is not None] or [0.0, 1.0]
    low, high = min(marks), max(max(marks), min(marks) + 1)
    wide = max([text_width(p.day, t) for p in found], default=0.0)
    left = right = max(2 * t, 0.55 * wide)
    top, tall = 4.2 * t, 11.0 * t
    gap = (width - left - right) / max(1, len(c.points) - 1)
    slant = wide > 0.92 * gap  # days side by side would touch: every second one stands lower

    def x(k: int) -> float:
        return left + k * gap

    def y(day: float) -> float:
        return top + tall * (1 - (day - low) / (high - low))

    base = top + tall + 2.2 * t
    body = [""]
    body.append(pen.text(0.4 * t, 1.4 * t, c.up, t, role="ink-2"))
    body.append(pen.line(0.4 * t, base, width - 0.4 * t, base, "ink", look.MEDIUM))
    path = "L".join(
        f"{num(x(k))} {num(y(p.finish))}" for k, p in enumerate(c.points) if p.finish is not None
    )
    if len(found) > 1:
        body.append(f'<path d="M{path}" {pen.stroke("ink", look.HEAVY)}/>')
    last = -1e9
    for k, p in enumerate(c.points):
        body.append(pen.line(x(k), base, x(k), base + 0.4 * t, "ink", look.THIN))
        body.append(pen.text(x(k), base + 1.6 * t, p.share, t, anchor="middle", bold=True))
        body.append(pen.text(x(k), base + 4.4 * t, p.lost, t, anchor="middle"))
        if p.finish is None:
            body.append(pen.text(x(k), base - 0.6 * t, "×", 1.4 * t, anchor="middle", bold=True))
            continue
        at = y(p.finish)
        if p.bound is not None and p.bound < p.finish:
            foot = y(p.bound)
            body.append(pen.line(x(k), at, x(k), foot, "ink-2", look.THIN, dash="2 4"))
            body.append(pen.line(x(k) - 0.6 * t, foot, x(k) + 0.6 * t, foot, "ink-2", look.MEDIUM))
        body.append(pen.rect(Box(x=x(k) - 5, y=at - 5, w=10, h=10), pen.fill("ink")))
        label = at - 0.8 * t
        half = 0.5 * text_width(p.day, t)
        if slant and x(k) - half < last:
            label -= 1.4 * t
        else:
            last = x(k) + half + 0.3 * t
        body.append(pen.text(x(k), label, p.day, t, anchor="middle", bold=True, halo=True))
    body.append(pen.text(0.4 * t, base + 3.0 * t, c.lost, t, role="ink-2"))
    body.append(pen.text(0.4 * t, base + 6.2 * t, c.across, t, role="ink-2"))
    body.append(pen.line(0.4 * t, base + 7.7 * t, 1.6 * t, base + 7.7 * t, "ink-2", look.MEDIUM))
    body.append(pen.text(2.1 * t, base + 8.0 * t, c.bound, t, role="ink-2"))
    height = base + 9.0 * t
    body[0] = pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))
    desc = "; ".join(f"{p.share}: {p.day}, {p.lost}" for p in c.points)
    return document(body, width=width, height=height, title=c.title, desc=desc, prefix=prefix)
