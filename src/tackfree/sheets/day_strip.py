"""A day as one strip: what the sky and the slab do, and when to work.

From the top: states (WAIT and MEASURE by hatch and word), curves of air, slab
and dew point with the spread band between dew and its limit, rain as strokes,
dark hours as a tone, the work as bars, the hours of the job's own zone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from tackfree.sheets import look
from tackfree.sheets.svg import Box, Pen, document, line_d, text_width
from tackfree.sheets.time_frame import TimeFrame

HOUR_S = 3600


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One placement: from and to [Unix s], what, and its number in the order."""

    from_utc_s: float
    to_utc_s: float
    text: str
    number: int | None = None


@dataclass(frozen=True, kw_only=True)
class Span:
    """A stretch of time with a word of ``look.HATCH`` and the text to show."""

    from_utc_s: float
    to_utc_s: float
    word: str = ""
    text: str = ""


@dataclass(frozen=True, kw_only=True)
class DayWords:
    """The words on the strip, in the reader's language."""

    air: str = "air"
    slab: str = "slab"
    dew: str = "dew point"
    limit: str = "dew + {k}"
    shift: str = "shift"
    stop: str = "stop"
    rain: str = "rain"
    title: str = "The day"


@dataclass(frozen=True, kw_only=True)
class DayStrip:
    """Everything a strip shows. Times in Unix seconds, temperatures in °C.

    ``at_utc_s`` and the three curves have one length; NaN breaks a curve.
    ``rain`` are hours with rain (mm in ``text``); ``spread_min_k`` draws the band
    between the dew point and dew + limit (None: no limit known).
    """

    from_utc_s: float
    to_utc_s: float
    time_zone: str
    at_utc_s: Sequence[float]
    air_c: Sequence[float]
    slab_c: Sequence[float]
    dew_c: Sequence[float]
    spread_min_k: float | None = None
    rain: tuple[Span, ...] = ()
    dark: tuple[Span, ...] = ()
    states: tuple[Span, ...] = ()
    shifts: tuple[Span, ...] = ()
    bars: tuple[Bar, ...] = ()
    stop_utc_s: float | None = None
    units: str = "us"
    words: DayWords = field(default_factory=DayWords)


def day_strip_svg(
    strip: DayStrip,
    *,
    palette: str = "day",
    width: float = 960.0,
    type_px: float = 16.0,
    prefix: str = "day",
) -> str:
    """The strip as SVG text; the same bytes for the same arguments.

    ``prefix`` keeps ids apart where several strips stand on one page.
    """
    return _Strip(strip, Pen(look.PALETTES[palette], prefix), width, type_px).draw()


class _Strip(TimeFrame):
    def __init__(self, strip: DayStrip, pen: Pen, width: float, t: float) -> None:
        super().__init__(strip, pen, width, t)
        self.strip = strip
        self.left, self.right = 2.9 * t, width - 0.8 * t
        self.lanes = self._lanes()
        self.y_state = 0.3 * t
        self.y_curve = self.y_state + (1.7 * t if strip.states else 0.6 * t)
        self.h_curve = 6.2 * t
        self.y_bars = self.y_curve + self.h_curve + 0.5 * t
        self.h_lane = 1.75 * t
        self.y_axis = (
            self.y_bars + (max(self.lanes.values(), default=-1) + 1) * self.h_lane + 0.3 * t
        )
        if strip.shifts:
            self.y_axis += 0.5 * t
        self.height = self.y_axis + 1.9 * t
        self.low, self.high, self.step = self._range()

    def _range(self) -> tuple[float, float, float]:
        s = self.strip
        values = [
            self.shown(v)
            for curve in (s.air_c, s.slab_c, s.dew_c)
            for at, v in zip(s.at_utc_s, curve, strict=True)
            if math.isfinite(v) and s.from_utc_s <= at <= s.to_utc_s
        ]
        step = 10.0 if s.units == "us" else 5.0
        if not values:
            return 0.0, 4 * step, step
        low = math.floor((min(values) - 1) / step) * step
        high = math.ceil((max(values) + 1) / step) * step
        if (high - low) / step > 5:
            step *= 2
            low, high = math.floor(low / step) * step, math.ceil(high / step) * step
        return low, max(high, low + 2 * step), step

    def draw(self) -> str:
        s, pen = self.strip, self.pen
        body = [pen.rect(Box(x=0, y=0, w=self.width, h=self.height), pen.fill("paper"))]
        body += self._dark() + self.grid() + self._band() + self._rain()
        body += self._states() + self._curves() + self._shifts() + self._stop() + self._bars()
        body += self._axis()
        return document(
            body,
            width=self.width,
            height=self.height,
            title=s.words.title,
            desc=self._describe(),
            prefix=pen.prefix,
            defs=pen.hatches([*(a.word for a in s.states), "measure", "tonight"]),
        )

    def _dark(self) -> list[str]:
        out = []
        for span in self.strip.dark:
            x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
            box = Box(x=x0, y=self.y_curve, w=x1 - x0, h=self.y_axis - self.y_curve)
            out.append(self.pen.rect(box, f'{self.pen.fill("line")} fill-opacity="0.22"'))
            w = text_width(span.text, self.t)
            if span.text and x1 - x0 > w + self.t:  # low, under the curves
                at, base = x1 - w - 0.4 * self.t, self.y_axis - 0.7 * self.t
                out.append(self.pen.text(at, base, span.text, self.t, role="ink-2"))
        return out

    def _points(self, curve: Sequence[float]) -> list[list[tuple[float, float]]]:
        runs: list[list[tuple[float, float]]] = [[]]
        s = self.strip
        for at, value in zip(s.at_utc_s, curve, strict=True):
            if not s.from_utc_s <= at <= s.to_utc_s:
                continue
            if math.isfinite(value):
                runs[-1].append((self.x(at), self.y(self.shown(value))))
            elif runs[-1]:
                runs.append([])
        return [r for r in runs if r]

    def _band(self) -> list[str]:
        """From the dew point up to where the slab must be."""
        s = self.strip
        if s.spread_min_k is None:
            return []
        limit = [v + s.spread_min_k for v in s.dew_c]
        return self.band(self._points(s.dew_c), self._points(limit))

    def _curves(self) -> list[str]:
        s, t = self.strip, self.t
        out = []
        styles = (
            (s.air_c, "ink-2", 1.3, "7 4", s.words.air),
            (s.dew_c, "ink", 1.3, "", s.words.dew),
            (s.slab_c, "ink", 3.0, "", s.words.slab),
        )
        for curve, role, weight, dash, _ in styles:
            for run in self._points(curve):
                out.append(
                    f'<path d="{line_d(run)}" {self.pen.stroke(role, weight, dash)} '
                    'stroke-linejoin="round"/>'
                )
        taken: list[Box] = []
        for curve, role, _, _, word in (styles[2], styles[1], styles[0]):
            spot = self._name_spot(self._points(curve), word, taken)
            if spot is None:
                continue
            taken.append(spot)
            out.append(
                self.pen.text(
                    spot.x, spot.y + 0.8 * t, word, t, role=role,
                    bold=word == s.words.slab, halo=True,
                )
            )  # fmt: skip
        return out

    def _name_spot(
        self, runs: list[list[tuple[float, float]]], word: str, taken: Sequence[Box]
    ) -> Box | None:
        """A place for a curve's name close to it and off every other curve."""
        s = self.strip
        others = [p for c in (s.air_c, s.slab_c, s.dew_c) for r in self._points(c) for p in r]
        w, h = text_width(word, self.t), self.t
        best: tuple[float, Box] | None = None
        for run in runs:
            for x, y in run:
                for below in (False, True):
                    box = Box(x=x - w / 2, y=y + 4 if below else y - h - 4, w=w, h=h)
                    if box.x < self.left + 4 or box.x + w > self.right - 4:
                        continue
                    if box.y < self.y_curve or box.y + h > self.y_curve + self.h_curve:
                        continue
                    if any(box.grown(3).meets(b) for b in taken):
                        continue
                    near = box.grown(2)
                    hits = sum(
                        near.x <= px <= near.x + near.w and near.y <= py <= near.y + near.h
                        for px, py in others
                    )
                    cost = 10.0 * hits + abs(x - (self.left + self.right) / 2) / self.width
                    if best is None or cost < best[0] - 1e-9:
                        best = (cost, box)
        return best[1] if best else None

    def _rain(self) -> list[str]:
        out = []
        for span in self.strip.rain:
            x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
            count = max(2, round((x1 - x0) / 5))
            for k in range(count):
                x = x0 + (k + 0.5) * (x1 - x0) / count
                out.append(
                    self.pen.line(x + 3, self.y_curve, x - 3, self.y_curve + 1.6 * self.t,
                                  "accent", 1.2)
                )  # fmt: skip
            word = span.text or self.strip.words.rain
            half = text_width(word, self.t) / 2
            middle = min(max((x0 + x1) / 2, self.left + half), self.right - half)
            out.append(
                self.pen.text(
                    middle, self.y_curve + 2.7 * self.t, word, self.t,
                    role="accent", anchor="middle", halo=True,
                )
            )  # fmt: skip
        return out

    def _states(self) -> list[str]:
        out = []
        for span in self.strip.states:
            x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
            if x1 - x0 < 1:
                continue
            box = Box(x=x0, y=self.y_state, w=x1 - x0, h=1.4 * self.t)
            out.append(self.pen.rect(box, self.pen.hatched(span.word)))
            out.append(self.pen.rect(box, self.pen.stroke("ink", look.THIN)))
            text = span.text
            if text_width(text, self.t) > x1 - x0 - 6:
                text = text.split(" ")[0]  # the word alone, its reason stands below
            if text and text_width(text, self.t) <= x1 - x0 - 4:
                out.append(
                    self.pen.text(
                        (x0 + x1) / 2, self.y_state + 1.06 * self.t, text, self.t,
                        anchor="middle", halo=True, bold=span.word == "go",
                    )
                )  # fmt: skip
        return out

    def _shifts(self) -> list[str]:
        """The shift as a heavy line on the axis."""
        out = []
        for span in self.strip.shifts:
            x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
            y = self.y_axis
            out.append(self.pen.line(x0, y, x1, y, "ink", 5))
            for x in (x0, x1):
                out.append(self.pen.line(x, self.y_curve, x, y, "ink", look.THIN, "1 3"))
        return out

    def _bar_text(self, bar: Bar) -> str:
        return f"{bar.number}  {bar.text}" if bar.number is not None else bar.text

    def _bar_span(self, bar: Bar) -> tuple[float, float, float, str]:
        """From and to on the page with its words, where these begin, and how."""
        x0, x1 = self.x(bar.from_utc_s), max(self.x(bar.to_utc_s), self.x(bar.from_utc_s) + 2)
        w, gap = text_width(self._bar_text(bar), self.t), 0.4 * self.t
        if w + 8 <= x1 - x0:
            return x0, x1, x0 + 5, "inside"
        if x1 + gap + w <= self.right:
            return x0, x1 + gap + w, x1 + gap, "after"
        return x0 - gap - w, x1, x0 - gap - w, "before"

    def _lanes(self) -> dict[int, int]:
        """Bar index to lane: the first lane with room for the bar and its words."""
        ends: list[float] = []
        out: dict[int, int] = {}
        order = sorted(enumerate(self.strip.bars), key=lambda a: (a[1].from_utc_s, a[0]))
        for k, bar in order:
            begin, end, _, _ = self._bar_span(bar)
            free = [lane for lane, taken in enumerate(ends) if taken <= begin + 0.5]
            lane = free[0] if free else len(ends)
            ends[lane : lane + 1] = [end]
            out[k] = lane
        return out

    def _bars(self) -> list[str]:
        out = []
        for k, bar in enumerate(self.strip.bars):
            x0, x1 = self.x(bar.from_utc_s), self.x(bar.to_utc_s)
            y = self.y_bars + self.lanes[k] * self.h_lane
            box = Box(x=x0, y=y, w=max(x1 - x0 - 1, 2), h=self.h_lane - 0.25 * self.t)
            _, _, at, how = self._bar_span(bar)
            inside = how == "inside"
            out.append(self.pen.rect(box, self.pen.fill("ink")))
            out.append(
                self.pen.text(
                    at, y + 1.08 * self.t, self._bar_text(bar), self.t,
                    role="paper" if inside else "ink", bold=True, halo=not inside,
                )
            )  # fmt: skip
        return out

    def _stop(self) -> list[str]:
        stop = self.strip.stop_utc_s
        if stop is None:
            return []
        x = self.x(stop)
        return [
            self.pen.line(x, self.y_state, x, self.y_axis + 0.5 * self.t, "accent", 3),
            self.pen.text(
                x + 5, self.y_curve + self.h_curve - 0.3 * self.t, self.strip.words.stop,
                self.t, role="accent", bold=True, halo=True,
            ),
        ]  # fmt: skip

    def _axis(self) -> list[str]:
        s, t, y = self.strip, self.t, self.y_axis
        out = [self.pen.line(self.left, y, self.right, y, "ink", look.MEDIUM)]
        zone = ZoneInfo(s.time_zone)
        every = 3 if (self.right - self.left) / 24 < 2.2 * t else 1
        first = math.ceil(s.from_utc_s / HOUR_S)
        for k in range(first, math.floor(s.to_utc_s / HOUR_S) + 1):
            local = datetime.fromtimestamp(k * HOUR_S, zone)
            x = self.x(k * HOUR_S)
            major = local.hour % every == 0
            out.append(self.pen.line(x, y, x, y + (0.4 if major else 0.2) * t, "ink", look.THIN))
            if major:
                out.append(self.pen.text(x, y + 1.35 * t, f"{local.hour:02d}", t, anchor="middle"))
        return out

    def _describe(self) -> str:
        s = self.strip
        zone = ZoneInfo(s.time_zone)
        told = [f"{b.text} {_clock(b.from_utc_s, zone)}-{_clock(b.to_utc_s, zone)}" for b in s.bars]
        told += [
            f"{a.text} {_clock(a.from_utc_s, zone)}-{_clock(a.to_utc_s, zone)}"
            for a in s.states
            if a.text
        ]
        if s.stop_utc_s is not None:
            told.append(f"{s.words.stop} {_clock(s.stop_utc_s, zone)}")
        return "; ".join(told) + "." if told else s.words.title


def _clock(utc_s: float, zone: ZoneInfo) -> str:
    at = datetime.fromtimestamp(0, UTC) + timedelta(seconds=utc_s)
    return at.astimezone(zone).strftime("%H:%M")
