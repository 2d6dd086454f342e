"""Around a deck: dimensions, scale bar, north, the corner block."""

from __future__ import annotations

import math

from tackfree.deck.types import Deck, PostTensioned
from tackfree.sheets import look
from tackfree.sheets.deck_frame import Corner, DeckWords, arrow, below, stacked
from tackfree.sheets.svg import Box, Frame, Pen, fit, text_width

FT = 0.3048


def dimensions(frame: Frame, pen: Pen, bounds: Box, type_px: float) -> list[str]:
    """Overall width above and height at the left, in feet and metres."""
    out = []
    x0, x1, y0, y1 = bounds.x, bounds.x + bounds.w, bounds.y, bounds.y + bounds.h
    y, x, tick = y0 - 0.9 * type_px, x0 - 0.9 * type_px, 0.3 * type_px
    out += [
        pen.line(x0, y, x1, y, "ink-2", look.THIN),
        pen.line(x, y0, x, y1, "ink-2", look.THIN),
    ]
    for a, b in ((x0, y), (x1, y), (x, y0), (x, y1)):
        out.append(pen.line(a - tick, b + tick, a + tick, b - tick, "ink", look.MEDIUM))
    across, down = (_both(v / frame.px_per_m) for v in (bounds.w, bounds.h))
    if text_width(across, type_px) <= bounds.w:
        out.append(pen.text((x0 + x1) / 2, y - 0.4 * type_px, across, type_px, anchor="middle"))
    if text_width(down, type_px) <= bounds.h:
        out.append(
            pen.text(x - 0.4 * type_px, (y0 + y1) / 2, down, type_px, anchor="middle", turn=-90)
        )
    return out


def _both(metres: float) -> str:
    return f"{metres / FT:.0f} ft · {metres:.1f} m"


def scale_and_north(
    frame: Frame,
    pen: Pen,
    say: DeckWords,
    page: Box,
    bounds: Box,
    type_px: float,
    north_deg: float | None,
) -> list[str]:
    """Scale bar at the left below the deck, north beside it where it is known."""
    y = below(bounds, type_px) + 2.4 * type_px
    narrow = stacked(page, type_px)
    out = _scale_bar(frame, pen, bounds.x, y, (0.62 if narrow else 0.34) * page.w, type_px)
    if north_deg is not None:
        x = page.w - 3.2 * type_px if narrow else bounds.x + 0.40 * page.w
        out += _north(pen, x, y + 0.3 * type_px, type_px, north_deg, say)
    return out


def corner_block(
    deck: Deck,
    corner: Corner | None,
    pen: Pen,
    say: DeckWords,
    page: Box,
    bounds: Box,
    type_px: float,
) -> list[str]:
    """Title and lines under a heavy rule, at the right or below the scale bar."""
    title, *lines = corner_lines(deck, corner, say)
    top = below(bounds, type_px) + 1.4 * type_px
    left, right = bounds.x + 0.46 * page.w, page.w - 0.6 * type_px
    if stacked(page, type_px):
        left, top = 0.6 * type_px, top + 4.2 * type_px
    big = 1.15 * type_px
    out = [pen.line(left, top, right, top, "ink", look.HEAVY)]
    out.append(pen.text(left, top + 1.35 * type_px, fit(title, big, right - left), big, bold=True))
    for k, line in enumerate(lines):
        base = top + (2.65 + 1.22 * k) * type_px
        out.append(pen.text(left, base, fit(line, type_px, right - left), type_px))
    return out


def corner_lines(deck: Deck, corner: Corner | None, say: DeckWords) -> list[str]:
    """Title and up to three lines; tendons are always named unless there are none."""
    corner = corner or Corner(title=f"{deck.id} {deck.name}".strip())
    lines = [corner.title, *corner.lines]
    if say.post_tensioned:
        lines.append(say.post_tensioned)
    elif deck.post_tensioned is not PostTensioned.NO:
        lines.append(f"post-tensioned: {deck.post_tensioned.value}")
    return lines[:4]


def _scale_bar(
    frame: Frame, pen: Pen, x: float, y: float, room: float, type_px: float
) -> list[str]:
    """Feet above the line, metres below it, in round steps that fit ``room`` px."""
    out = []
    for unit, metres, above in (("ft", FT, True), ("m", 1.0, False)):
        per = frame.px_per_m * metres
        steps = [s for n in range(0, 4) for s in (1 * 10**n, 2 * 10**n, 5 * 10**n)]
        end = text_width(f" {unit}", type_px) + 4
        fits = [s for s in steps if 2 * s * per + end <= room] or [steps[0]]
        step = fits[-1]
        side = -1 if above else 1
        out.append(pen.line(x, y, x + 2 * step * per, y, "ink", look.MEDIUM))
        solid = Box(x=x, y=y - 5 if above else y, w=step * per, h=5)
        out.append(pen.rect(solid, pen.fill("ink" if above else "ink-2")))
        for k in range(3):
            at = x + k * step * per
            out.append(pen.line(at, y, at, y + side * 8, "ink", look.MEDIUM))
            label = f"{k * step}" + (f" {unit}" if k == 2 else "")
            base = y - 11 if above else y + 11 + 0.75 * type_px
            first = text_width(f"{2 * step}", type_px) / 2
            out.append(
                pen.text(
                    at - (first if k == 2 else 0), base, label, type_px,
                    anchor="start" if k == 2 else "middle" if k else "start",
                )
            )  # fmt: skip
    return out


def _north(
    pen: Pen, x: float, y: float, type_px: float, north_deg: float, say: DeckWords
) -> list[str]:
    a = math.radians(north_deg)
    ux, uy = math.sin(a), -math.cos(a)
    r = 1.5 * type_px
    out = arrow(pen, x - ux * r, y - uy * r, x + ux * r, y + uy * r, "ink", look.MEDIUM)
    out.append(
        pen.text(x + ux * (r + 0.6 * type_px), y + uy * (r + 0.6 * type_px) + 0.375 * type_px,
                 say.north, type_px, anchor="middle", bold=True)
    )  # fmt: skip
    return out
