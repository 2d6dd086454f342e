"""Kits still to open as a fan over the days ahead, the stock as steps, the order's deadline.

The fan is a range, nine jobs in ten under its upper edge; where the steps fall inside it
a stop is in the cards.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from tackfree.sheets import look
from tackfree.sheets.svg import Box, Pen, document, line_d, nice_step, text_width, word_box, wrapped

PREFIX = "tf-fan"
Along = Callable[..., float]  # a day, and how much of it has gone, to px
Up = Callable[[float], float]  # kits to px


@dataclass(frozen=True, kw_only=True)
class FanDay:
    """Kits opened by the end of a day, counted from now."""

    on: date
    low: int
    likely: int
    high: int


@dataclass(frozen=True, kw_only=True)
class FanWords:
    """The words of the picture, in its reader's language."""

    likely: str
    range: str
    stock: str
    deadline: str
    kits: str
    day: tuple[str, ...]  # label of each day of the fan


@dataclass(frozen=True, kw_only=True)
class KitFan:
    """One product. ``stock`` are days with the kits there from that morning on."""

    title: str
    begin: date
    days: tuple[FanDay, ...]
    stock: tuple[tuple[date, int], ...]
    deadline: date | None
    words: FanWords


def kit_fan_svg(
    f: KitFan,
    *,
    palette: str = "day",
    width: float = 640.0,
    type_px: float = 15.0,
    prefix: str = PREFIX,
) -> str:
    """The fan as SVG; the same bytes for the same arguments.

    Parameters
    ----------
    f : KitFan
    palette : "day", "night" or "print"
    width : px
    type_px : size of type [px]
    prefix : of ids, where several pictures stand on one page
    """
    t = type_px
    pen = Pen(look.PALETTES[palette], prefix)
    left, right, tall = 3.6 * t, 1.2 * t, 14.0 * t
    top = (2.0 if f.deadline is None else 3.4) * t
    key, bottom = _key(f, pen, t, top + tall + 3.4 * t, width)
    height = bottom + 0.8 * t
    first, last = f.begin, max([d.on for d in f.days] + [d for d, _ in f.stock])
    span = max((last - first).days + 1, 1)
    most = max([d.high for d in f.days] + [n for _, n in f.stock] + [1])
    step = int(nice_step(max(most, 5)))  # whole kits
    ceiling = step * math.ceil(most / step)

    def x(day: date, after: float = 0.0) -> float:
        return left + ((day - first).days + after) / span * (width - left - right)

    def y(kits: float) -> float:
        return top + tall * (1 - kits / ceiling)

    body = [pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))]
    body.append(pen.text(left, 1.4 * t, f.words.kits, t, role="ink-2"))
    for k in range(0, ceiling + 1, step):
        body.append(pen.line(left, y(k), width - right, y(k), "line", look.THIN))
        body.append(
            pen.text(left - 0.5 * t, y(k) + 0.35 * t, str(k), t, anchor="end", role="ink-2")
        )
    body += _fan(f, x, y, pen)
    body += _stock(f, x, y, pen, last)
    body += _deadline(f, x, pen, t, (top, top + tall), (left, width - right))
    body += _days(f, x, pen, t, top + tall, width)
    body += key
    desc = "; ".join(
        f"{word}: {d.low}–{d.high}" for word, d in zip(f.words.day, f.days, strict=True)
    )
    return document(
        body, width=width, height=height, title=f.title, desc=desc, prefix=prefix,
        defs=[_hatch(pen)],
    )  # fmt: skip


def _hatch(pen: Pen) -> str:
    mark = pen.line(0, 0, 0, 6, "accent", 1.0)
    return (
        f'<pattern id="{pen.prefix}-range" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)">{mark}</pattern>'
    )


def _fan(f: KitFan, x: Along, y: Up, pen: Pen) -> list[str]:
    def along(kits: Callable[[FanDay], int]) -> list[tuple[float, float]]:
        """Level until a day of work begins, up to its count by its end."""
        points = [(x(f.begin), y(0))]
        for d in f.days:
            points += [(x(d.on), points[-1][1]), (x(d.on, 1), y(kits(d)))]
        return points

    high, low = along(lambda d: d.high), along(lambda d: d.low)
    likely = along(lambda d: d.likely)
    area = line_d([*high, *reversed(low)]) + "Z"
    return [
        f'<path d="{area}" {pen.fill("accent-ground")}/>',
        f'<path d="{area}" fill="url(#{pen.prefix}-range)"/>',
        f'<path d="{line_d(likely)}" {pen.stroke("accent", look.HEAVY)}/>',
    ]


def _stock(f: KitFan, x: Along, y: Up, pen: Pen, last: date) -> list[str]:
    """Steps of what is there, from morning to morning."""
    points: list[tuple[float, float]] = []
    for day, kits in f.stock:
        if points:
            points.append((x(day), points[-1][1]))
        points.append((x(day), y(kits)))
    points.append((x(last, 1), points[-1][1]))
    return [f'<path d="{line_d(points)}" {pen.stroke("ink", look.HEAVY)}/>']


def _deadline(
    f: KitFan, x: Along, pen: Pen, t: float, span: tuple[float, float], sides: tuple[float, float]
) -> list[str]:
    """A line at the last day to order; its words beside it, clear of the numbers."""
    if f.deadline is None:
        return []
    at = x(min(max(f.deadline, f.begin), f.days[-1].on))
    wide = text_width(f.words.deadline, t)
    anchor, place = "start", at + 0.5 * t
    if place + wide > sides[1]:
        anchor, place = "end", at - 0.5 * t
        if place - wide < sides[0]:
            anchor, place = "start", max(sides[0] + 0.3 * t, sides[1] - wide)
    return [
        pen.line(at, span[0] - 1.6 * t, at, span[1], "ink", look.MEDIUM, dash="7 4"),
        pen.text(place, span[0] - 0.7 * t, f.words.deadline, t, anchor=anchor, bold=True,
                 halo=True),
    ]  # fmt: skip


def _days(f: KitFan, x: Along, pen: Pen, t: float, base: float, width: float) -> list[str]:
    """Labels of days where they find room."""
    out = [pen.line(x(f.begin), base, x(f.days[-1].on, 1), base, "ink", look.MEDIUM)]
    taken: list[Box] = []
    for word, d in zip(f.words.day, f.days, strict=True):
        half = 0.5 * text_width(word, t)
        at = min(max(x(d.on, 0.5), half), width - half)
        out.append(pen.line(x(d.on, 1), base, x(d.on, 1), base + 0.4 * t, "ink", look.THIN))
        box = word_box(word, at, base + 1.5 * t, t, "middle")
        if not any(box.meets(b) for b in taken):
            taken.append(box.grown(0.4 * t))
            out.append(pen.text(at, base + 1.5 * t, word, t, anchor="middle", role="ink-2"))
    return out


def _key(f: KitFan, pen: Pen, t: float, y: float, width: float) -> tuple[list[str], float]:
    """What each line is, and where the last of it stands; long words take two lines."""
    out = []
    at = 0.6 * t
    for kind, word in (
        ("likely", f.words.likely), ("range", f.words.range), ("stock", f.words.stock),
    ):  # fmt: skip
        need = 3.2 * t + text_width(word, t) * 1.1
        if at + need > width and at > t:
            at, y = 0.6 * t, y + 1.5 * t
        if kind == "range":
            square = Box(x=at, y=y - 0.85 * t, w=2 * t, h=1.1 * t)
            out += [pen.rect(square, pen.fill("accent-ground")),
                    pen.rect(square, f'fill="url(#{pen.prefix}-range)"')]  # fmt: skip
        else:
            role = "accent" if kind == "likely" else "ink"
            out.append(pen.line(at, y - 0.3 * t, at + 2 * t, y - 0.3 * t, role, look.HEAVY))
        first, *more = wrapped(word, t, width - at - 2.5 * t)
        out.append(pen.text(at + 2.5 * t, y, first, t))
        for line in more:
            y += 1.3 * t
            out.append(pen.text(at + 2.5 * t, y, line, t))
        at += need
    return out, y
