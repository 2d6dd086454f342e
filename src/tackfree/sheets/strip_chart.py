"""One zone over some days on one time axis: slab, air, dew, sun, rain, windows, clocks.

From the top: the days, curves of slab, air and dew point over the tone of the night, the
sun, a lane of windows for each coat (GO is plain, WAIT and the others are hatched), a row
for each coat's clock, the hours of the job's own zone, and the key::

    recoat after          recoat before
    ■■■■■■▨▨▨▨▨──────────[            ]
    placed wet   cures     next coat down inside
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from tackfree.sheets import look
from tackfree.sheets.day_strip import Span
from tackfree.sheets.svg import Box, Pen, document, fit, line_d, text_width
from tackfree.sheets.time_frame import TimeFrame

HOUR_S = 3600
STATES = ("go", "measure", "wait", "unknown")
FULL_SUN_W_M2 = 1000.0


@dataclass(frozen=True, kw_only=True)
class Lane:
    """Windows of one coat; a span's ``word`` is go, measure, wait or unknown."""

    name: str
    spans: tuple[Span, ...]


@dataclass(frozen=True, kw_only=True)
class ClockRow:
    """The clock of one section and coat. Unix seconds; None is not known or no limit.

    ``detail`` says the times in words and ``brief`` in less room; ``void`` that rain or
    dew fell on the wet film.
    """

    name: str
    detail: str
    brief: str
    placed_from_utc_s: float
    placed_to_utc_s: float
    tack_free_utc_s: float | None
    recoat_after_utc_s: float | None
    recoat_before_utc_s: float | None
    cars_after_utc_s: float | None = None
    void: bool = False


@dataclass(frozen=True, kw_only=True)
class ChartWords:
    """The words on the chart, in the reader's language."""

    air: str = "air"
    slab: str = "slab"
    dew: str = "dew point"
    sun: str = "sun"
    rain: str = "rain"
    windows: str = "May a coat begin?"
    clocks: str = "Clocks"
    now: str = "now"
    placed: str = "placed"
    wet: str = "wet"
    ready: str = "next coat"
    cars: str = "cars"
    states: tuple[str, ...] = ("GO", "MEASURE", "WAIT", "UNKNOWN")
    title: str = "Strip chart"


@dataclass(frozen=True, kw_only=True)
class StripChart:
    """Everything a chart shows. Times in Unix seconds, temperatures in °C, sun in W/m².

    ``at_utc_s`` and the curves have one length; NaN breaks a curve. ``days`` name the
    days on top; ``spread_min_k`` draws the band between dew point and dew + limit.
    """

    from_utc_s: float
    to_utc_s: float
    time_zone: str
    at_utc_s: Sequence[float]
    air_c: Sequence[float]
    slab_c: Sequence[float]
    dew_c: Sequence[float]
    sun_w_m2: Sequence[float]
    days: tuple[Span, ...] = ()
    spread_min_k: float | None = None
    rain: tuple[Span, ...] = ()
    dark: tuple[Span, ...] = ()
    lanes: tuple[Lane, ...] = ()
    clocks: tuple[ClockRow, ...] = ()
    now_utc_s: float | None = None
    units: str = "us"
    words: ChartWords = field(default_factory=ChartWords)


def strip_chart_svg(
    chart: StripChart,
    *,
    palette: str = "day",
    width: float = 1040.0,
    type_px: float = 16.0,
    prefix: str = "strip",
) -> str:
    """The chart as SVG text; the same bytes for the same arguments.

    ``prefix`` keeps ids apart where several charts stand on one page.
    """
    return _Chart(chart, Pen(look.PALETTES[palette], prefix), width, type_px).draw()


class _Chart(TimeFrame):
    def __init__(self, chart: StripChart, pen: Pen, width: float, t: float) -> None:
        super().__init__(chart, pen, width, t)
        self.c = chart
        self.left, self.right = 3.5 * t, width - 0.8 * t
        self.low, self.high, self.step = self._range()
        self.y_curve = 1.7 * t
        self.h_curve = 7.0 * t
        self.y_sun = self.y_curve + self.h_curve + 0.7 * t
        self.h_sun = 1.8 * t
        self.y_lanes = self.y_sun + self.h_sun + 0.5 * t
        self.h_lane = 2.75 * t
        self.y_clocks = self.y_lanes + (1.5 * t + len(chart.lanes) * self.h_lane) * bool(
            chart.lanes
        )
        self.wide = width > 700
        self.h_clock = (2.9 if self.wide else 4.2) * t
        clocks = (1.5 * t + len(chart.clocks) * self.h_clock) * bool(chart.clocks)
        self.y_axis = self.y_clocks + clocks + 0.3 * t
        self.key = self._key_places()
        self.height = self.y_axis + 2.2 * t + (self.key[-1][2] + 1.7) * t

    def _range(self) -> tuple[float, float, float]:
        c = self.c
        known = [
            self.shown(v) for curve in (c.air_c, c.slab_c, c.dew_c) for v in curve
            if math.isfinite(v)
        ]  # fmt: skip
        step = 10.0 if c.units == "us" else 5.0
        if not known:
            return 0.0, 4 * step, step
        while (max(known) - min(known)) / step > 5:
            step *= 2
        low = math.floor((min(known) - 1) / step) * step
        return low, max(math.ceil((max(known) + 1) / step) * step, low + 2 * step), step

    def draw(self) -> str:
        pen, c = self.pen, self.c
        body = [pen.rect(Box(x=0, y=0, w=self.width, h=self.height), pen.fill("paper"))]
        body += self._dark() + self.grid() + self._band() + self._sun() + self._rain()
        body += self._curves() + self._days() + self._lanes() + self._clocks()
        body += self._axis() + self._now() + self._key()
        return document(
            body,
            width=self.width,
            height=self.height,
            title=c.words.title,
            desc=self._describe(),
            prefix=pen.prefix,
            defs=pen.hatches([*STATES, "wet"]),
        )

    def _dark(self) -> list[str]:
        tone = f'{self.pen.fill("line")} fill-opacity="0.2"'
        spans = [(self.x(s.from_utc_s), self.x(s.to_utc_s)) for s in self.c.dark]
        h = self.y_axis - self.y_curve
        return [
            self.pen.rect(Box(x=a, y=self.y_curve, w=b - a, h=h), tone) for a, b in spans if b > a
        ]

    def _runs(self, curve: Sequence[float], rise: bool = True) -> list[list[tuple[float, float]]]:
        """Unbroken stretches of a curve inside the chart, as points of the page."""
        runs: list[list[tuple[float, float]]] = [[]]
        for at, value in zip(self.c.at_utc_s, curve, strict=True):
            if math.isfinite(value) and self.c.from_utc_s <= at <= self.c.to_utc_s:
                y = self.y(self.shown(value)) if rise else self._y_sun(value)
                runs[-1].append((self.x(at), y))
            elif runs[-1]:
                runs.append([])
        return [r for r in runs if len(r) > 1]

    def _y_sun(self, sun: float) -> float:
        return self.y_sun + self.h_sun * (1 - min(1.0, max(0.0, sun / FULL_SUN_W_M2)))

    def _band(self) -> list[str]:
        """From the dew point up to where the slab must be."""
        if self.c.spread_min_k is None:
            return []
        limit = [v + self.c.spread_min_k for v in self.c.dew_c]
        return self.band(self._runs(self.c.dew_c), self._runs(limit))

    def _sun(self) -> list[str]:
        t, base = self.t, self.y_sun + self.h_sun
        out = [self.pen.line(self.left, base, self.right, base, "line", 0.7)]
        for run in self._runs(self.c.sun_w_m2, rise=False):
            ring = [(run[0][0], base), *run, (run[-1][0], base)]
            out.append(f'<path d="{line_d(ring)}Z" {self.pen.fill("ink-2")} fill-opacity="0.3"/>')
            out.append(f'<path d="{line_d(run)}" {self.pen.stroke("ink-2", 1.2)}/>')
        out.append(
            self.pen.text(
                self.left - 0.3 * t, base, self.c.words.sun, t, role="ink-2", anchor="end"
            )
        )
        return out

    def _rain(self) -> list[str]:
        out, t = [], self.t
        for span in self.c.rain:
            x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
            if x1 - x0 < 0.5:
                continue
            count = max(2, round((x1 - x0) / 5))
            for k in range(count):
                x = x0 + (k + 0.5) * (x1 - x0) / count
                out.append(
                    self.pen.line(
                        x + 2.5, self.y_curve, x - 2.5, self.y_curve + 1.4 * t, "accent", 1.3
                    )
                )
            word = self.c.words.rain
            half = text_width(word, t) / 2
            middle = min(max((x0 + x1) / 2, self.left + half), self.right - half)
            out.append(
                self.pen.text(
                    middle, self.y_curve + 2.5 * t, word, t, role="accent", anchor="middle",
                    halo=True,
                )
            )  # fmt: skip
        return out

    def _curves(self) -> list[str]:
        c, t = self.c, self.t
        styles = (
            (c.air_c, "ink-2", 1.3, "7 4", c.words.air),
            (c.dew_c, "ink", 1.3, "", c.words.dew),
            (c.slab_c, "ink", 3.0, "", c.words.slab),
        )
        out, points = [], {}
        for curve, role, weight, dash, word in styles:
            points[word] = [p for run in self._runs(curve) for p in run]
            for run in self._runs(curve):
                out.append(
                    f'<path d="{line_d(run)}" {self.pen.stroke(role, weight, dash)} '
                    'stroke-linejoin="round"/>'
                )
        taken: list[Box] = []
        for word in (c.words.slab, c.words.dew, c.words.air):
            box = self._free(points[word], word, [p for ps in points.values() for p in ps], taken)
            if box is not None:
                taken.append(box)
                out.append(
                    self.pen.text(
                        box.x, box.y + 0.8 * t, word, t, bold=word == c.words.slab, halo=True
                    )
                )
        return out

    def _free(
        self,
        own: Sequence[tuple[float, float]],
        word: str,
        every: Sequence[tuple[float, float]],
        taken: Sequence[Box],
    ) -> Box | None:
        """A place for a curve's name beside it, off the other curves and names."""
        w, h = text_width(word, self.t), self.t
        best: tuple[int, Box] | None = None
        for x, y in own[:: max(1, len(own) // 60)]:
            for top in (y - h - 5, y + 5):
                box = Box(x=x - w / 2, y=top, w=w, h=h)
                inside = self.left + 3 < box.x and box.x + w < self.right - 3
                inside &= self.y_curve < box.y and box.y + h < self.y_curve + self.h_curve
                if not inside or any(box.grown(3).meets(b) for b in taken):
                    continue
                near = box.grown(2)
                hits = sum(
                    near.x <= a <= near.x + near.w and near.y <= b <= near.y + near.h
                    for a, b in every
                )
                if best is None or hits < best[0]:
                    best = (hits, box)
        return best[1] if best else None

    def _days(self) -> list[str]:
        out, t = [], self.t
        for span in self.c.days:
            x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
            out.append(self.pen.line(x0, 0.4 * t, x0, self.y_axis, "ink", look.THIN))
            out.append(
                self.pen.text(x0 + 0.3 * t, 1.2 * t, fit(span.text, t, x1 - x0), t, bold=True)
            )
        return out

    def _heading(self, y: float, text: str) -> str:
        return self.pen.text(0.3 * self.t, y + 1.1 * self.t, text, self.t, bold=True, halo=True)

    def _lanes(self) -> list[str]:
        c, t = self.c, self.t
        if not c.lanes:
            return []
        out = [self._heading(self.y_lanes, c.words.windows)]
        for k, lane in enumerate(c.lanes):
            top = self.y_lanes + 1.5 * t + k * self.h_lane
            out.append(self.pen.text(self.left, top + t, lane.name, t, halo=True))
            for span in lane.spans:
                x0, x1 = self.x(span.from_utc_s), self.x(span.to_utc_s)
                if x1 - x0 < 0.8:
                    continue
                box = Box(x=x0, y=top + 1.3 * t, w=x1 - x0, h=1.3 * t)
                go = span.word == "go"
                out.append(self.pen.rect(box, self.pen.fill("paper")))
                out.append(self.pen.rect(box, self.pen.hatched(span.word)))
                out.append(
                    self.pen.rect(box, self.pen.stroke("ink", look.HEAVY if go else look.THIN))
                )
                word = c.words.states[STATES.index(span.word)]
                if text_width(word, t) <= x1 - x0 - 6:
                    out.append(
                        self.pen.text(
                            (x0 + x1) / 2, top + 2.3 * t, word, t, anchor="middle", bold=go,
                            halo=not go,
                        )
                    )  # fmt: skip
        return out

    def _clocks(self) -> list[str]:
        c, t = self.c, self.t
        if not c.clocks:
            return []
        out = [self._heading(self.y_clocks, c.words.clocks)]
        for k, row in enumerate(c.clocks):
            top = self.y_clocks + 1.5 * t + k * self.h_clock
            room = self.right - self.left
            if self.wide:
                text = fit(f"{row.name} · {row.detail}", t, room)
                out.append(self.pen.text(self.left, top + t, text, t, halo=True))
            else:
                out.append(self.pen.text(self.left, top + t, fit(row.name, t, room), t, halo=True))
                out.append(
                    self.pen.text(
                        self.left, top + 2.25 * t, fit(row.brief, t, room), t, role="ink-2",
                        halo=True,
                    )
                )  # fmt: skip
            out += self._clock(row, top + (1.3 if self.wide else 2.6) * t)
        return out

    def _clock(self, row: ClockRow, y: float) -> list[str]:
        """Placed, wet, curing, then the bracket inside which the next coat has to be."""
        t, pen, c = self.t, self.pen, self.c
        middle, h = y + 0.65 * t, 1.3 * t
        out = []

        def seen(a: float | None, b: float | None) -> tuple[float, float] | None:
            begin = c.from_utc_s if a is None else max(a, c.from_utc_s)
            end = c.to_utc_s if b is None else min(b, c.to_utc_s)
            return (self.x(begin), self.x(end)) if end > begin else None

        placed = seen(row.placed_from_utc_s, row.placed_to_utc_s)
        wet = seen(row.placed_to_utc_s, row.tack_free_utc_s) if row.tack_free_utc_s else None
        cures = seen(row.tack_free_utc_s or row.placed_to_utc_s, row.recoat_after_utc_s)
        after, before = row.recoat_after_utc_s, row.recoat_before_utc_s
        if cures:
            out.append(pen.line(cures[0], middle, cures[1], middle, "ink", look.MEDIUM, "5 4"))
        if wet:
            box = Box(x=wet[0], y=y + 0.2 * t, w=wet[1] - wet[0], h=h - 0.4 * t)
            out.append(pen.rect(box, pen.fill("paper")))
            out.append(pen.rect(box, pen.hatched("wet")))
            if row.void:
                for a, b in ((box.y, box.y + box.h), (box.y + box.h, box.y)):
                    out.append(pen.line(box.x, a, box.x + box.w, b, "ink", look.HEAVY))
        if placed:
            box = Box(x=placed[0], y=y, w=max(placed[1] - placed[0], 3), h=h)
            out.append(pen.rect(box, pen.fill("ink")))
        ready = seen(after, before) if after is not None else None
        if ready and (before is None or after is None or before > after):
            box = Box(x=ready[0], y=y, w=ready[1] - ready[0], h=h)
            out.append(pen.rect(box, pen.fill("accent-ground")))
            for at, x in ((after, ready[0]), (before, ready[1])):
                if at is not None and c.from_utc_s <= at <= c.to_utc_s:
                    out.append(pen.line(x, y - 0.15 * t, x, y + h + 0.15 * t, "ink", look.HEAVY))
            for edge in (y, y + h):
                out.append(pen.line(ready[0], edge, ready[1], edge, "ink", look.THIN))
            if text_width(c.words.ready, t) < ready[1] - ready[0] - 8:
                out.append(pen.text(sum(ready) / 2, y + t, c.words.ready, t, anchor="middle"))
        elif before is not None and c.from_utc_s <= before <= c.to_utc_s:
            x = self.x(before)
            out.append(pen.line(x, y - 0.15 * t, x, y + h + 0.15 * t, "ink", look.HEAVY))
        cars = row.cars_after_utc_s
        if cars is not None and c.from_utc_s <= cars <= c.to_utc_s:
            x = self.x(cars)
            out.append(pen.line(x, y, x, y + h, "accent", look.HEAVY))
            w = text_width(c.words.cars, t)
            at = x + 5 if x + 5 + w < self.right else x - 5 - w
            out.append(pen.text(at, y + t, c.words.cars, t, role="accent", halo=True))
        return out

    def _axis(self) -> list[str]:
        c, t, y = self.c, self.t, self.y_axis
        out = [self.pen.line(self.left, y, self.right, y, "ink", look.MEDIUM)]
        zone = ZoneInfo(c.time_zone)
        per_hour = (self.right - self.left) / ((c.to_utc_s - c.from_utc_s) / HOUR_S)
        every = next((n for n in (1, 3, 6, 12) if n * per_hour > 2.2 * t), 24)
        first = math.ceil(c.from_utc_s / HOUR_S)
        for k in range(first, math.floor(c.to_utc_s / HOUR_S) + 1):
            local = datetime.fromtimestamp(k * HOUR_S, zone)
            x, major = self.x(k * HOUR_S), local.hour % every == 0
            out.append(self.pen.line(x, y, x, y + (0.4 if major else 0.2) * t, "ink", look.THIN))
            if major:
                out.append(self.pen.text(x, y + 1.4 * t, f"{local.hour:02d}", t, anchor="middle"))
        return out

    def _now(self) -> list[str]:
        now, t = self.c.now_utc_s, self.t
        if now is None or not self.c.from_utc_s <= now <= self.c.to_utc_s:
            return []
        x, word = self.x(now), self.c.words.now
        at = min(x + 4, self.right - text_width(word, t))
        return [
            self.pen.line(x, self.y_curve, x, self.y_axis, "accent", look.HEAVY),
            self.pen.text(
                at, self.y_curve + self.h_curve - 0.3 * t, word, t, role="accent", bold=True,
                halo=True,
            ),
        ]  # fmt: skip

    def _key_words(self) -> list[tuple[str, str]]:
        w = self.c.words
        words = list(zip(STATES, w.states, strict=True)) if self.c.lanes else []
        if self.c.clocks:
            words += [("placed", w.placed), ("wet", w.wet), ("ready", w.ready)]
        return words

    def _key_places(self) -> list[tuple[str, str, float, float]]:
        """Swatch, word, line [type heights] and x of the key, wrapped to the width."""
        x, line = 0.5 * self.t, 0.0
        out = []
        for name, word in self._key_words():
            wide = 2.2 * self.t + 1.1 * text_width(word, self.t) + 1.1 * self.t
            if x + wide > self.width and x > self.t:
                x, line = 0.5 * self.t, line + 1.6
            out.append((name, word, line, x))
            x += wide
        return out or [("", "", -1.7, 0.0)]

    def _key(self) -> list[str]:
        out, t, pen = [], self.t, self.pen
        for name, word, line, x in self.key:
            if not word:
                continue
            y = self.y_axis + 2.2 * t + line * t
            box = Box(x=x, y=y, w=1.7 * t, h=1.1 * t)
            if name == "placed":
                out.append(pen.rect(box, pen.fill("ink")))
            elif name == "ready":
                out.append(pen.rect(box, pen.fill("accent-ground")))
            else:
                out.append(pen.rect(box, pen.hatched(name)))
            weight = look.HEAVY if name == "go" else look.THIN
            out.append(pen.rect(box, pen.stroke("ink", weight)))
            out.append(pen.text(x + 2.1 * t, y + 0.92 * t, word, t))
        return out

    def _describe(self) -> str:
        zone = ZoneInfo(self.c.time_zone)

        def clock(utc_s: float) -> str:
            return f"{datetime.fromtimestamp(utc_s, zone):%d %H:%M}"

        told = []
        for lane in self.c.lanes:
            for s in lane.spans:
                word = self.c.words.states[STATES.index(s.word)]
                told.append(f"{lane.name} {word} {clock(s.from_utc_s)}-{clock(s.to_utc_s)}")
        told += [f"{row.name}: {row.detail}" for row in self.c.clocks]
        return "; ".join(told) + "." if told else self.c.words.title
