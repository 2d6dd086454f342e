"""The two drawings of a shift sheet: the deck tonight, and the day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.climate.window_types import StartStates, State
from tackfree.deck.types import Deck, Section
from tackfree.plan.types import Placed, ShiftSpan
from tackfree.service.shift_times import Times, short_reason, wall
from tackfree.sheets.day_strip import Bar, DayStrip, DayWords, Span, day_strip_svg
from tackfree.sheets.deck_svg import deck_height, deck_svg
from tackfree.sheets.shift_types import ShiftRow
from tackfree.units import System
from tackfree.words import say

PT = 4.0 / 3.0  # px per point: type of 12 px prints as 9 pt
DECK_W = 306 * PT
STRIP_W = 558 * PT
FRAME_PX = (4.8 * 12.0, 7.1 * 12.0)  # what margins and scale bar take, across and down
RAIN_FROM_MM = 0.1


def shift_drawing(
    *,
    deck: Deck,
    sections: Sequence[Section],
    rows: Sequence[ShiftRow],
    times: Times,
    span: ShiftSpan,
    max_pt: float,
) -> tuple[str, str]:
    """The deck with this shift's sections hatched and numbered, and its alt text."""
    tonight = {row.section_id for row in rows}
    shade = {
        s.id: "tonight" if s.id in tonight else _word(s.id, times, span)
        for s in sections
        if s.deck_id == deck.id
    }
    labels: dict[str, list[str]] = {}
    numbers: dict[str, int] = {}
    for row in rows:
        text = f"{row.step_id} · {row.kits} kits" if row.kits.isdigit() else row.step_id
        labels.setdefault(row.section_id, []).append(text)
        numbers.setdefault(row.section_id, row.number)

    width, type_px = DECK_W, 12.0
    height = deck_height(deck, sections, width=width, type_px=type_px)
    if height > max_pt * PT:  # margins do not shrink with the deck: solve for the deck alone
        across, down = FRAME_PX
        width = across + (width - across) * (max_pt * PT - down) / (height - down)
    svg = deck_svg(
        deck, sections, foot="scale", shade=shade, labels=labels, numbers=numbers,
        highlight=sorted(tonight), palette="print", width=width, type_px=type_px,
    )  # fmt: skip
    told = ", ".join(f"{r.number} {r.section_id} {r.step_id}" for r in rows)
    return svg, f"{deck.id}: {told}"


def _word(section_id: str, times: Times, span: ShiftSpan) -> str:
    """The hatch of a section with no work tonight: wet, done, or none."""
    here = [p for p in times.plan.placed if p.section_id == section_id]
    for placed in here:
        clock = times.clocks.get((section_id, placed.step_id))
        free = clock.tack_free.careful_utc_s if clock is not None else None
        if free is not None and placed.end <= span.begin and free > times.utc(span.begin):
            return "wet"
    return "done" if here and all(p.end <= span.begin for p in here) else "go"


def shift_strip(
    *,
    span: ShiftSpan,
    work: Sequence[Placed],
    rows: Sequence[ShiftRow],
    times: Times,
    weather: WeatherSeries | None,
    slab_c: NDArray[np.float64] | None,
    dark: Sequence[tuple[float, float]],
    states: StartStates | None,
    spread_min_k: float | None,
    stop_utc_s: float,
    units: System,
    language: str,
) -> tuple[str, str]:
    """24 hours from 06:00 of the shift's date, and the alt text."""
    begin = datetime.combine(span.on, time(6), tzinfo=times.zone)
    from_s, to_s = begin.timestamp(), (begin + timedelta(days=1)).timestamp()
    at, air, dew, rain = _sky(weather, from_s, to_s, units, language)
    slab = np.full(len(at), np.nan)
    if weather is not None and slab_c is not None:
        first = round((at[0] - weather.start_utc_s) / weather.step_s) - 1 if len(at) else 0
        part = slab_c[first : first + len(at)]
        slab[: len(part)] = part
    strip = DayStrip(
        from_utc_s=from_s,
        to_utc_s=to_s,
        time_zone=times.zone.key,
        at_utc_s=at.tolist(),
        air_c=air.tolist(),
        slab_c=slab.tolist(),
        dew_c=dew.tolist(),
        spread_min_k=spread_min_k,
        rain=rain,
        dark=tuple(
            Span(
                from_utc_s=max(a, from_s),
                to_utc_s=min(b, to_s),
                text=say("sheet.strip.dark", language),
            )
            for a, b in dark
            if a < to_s and b > from_s
        ),
        states=_state_spans(states, from_s, to_s, language),
        shifts=(Span(from_utc_s=times.utc(span.begin), to_utc_s=times.utc(span.end)),),
        bars=tuple(
            Bar(
                from_utc_s=times.utc(p.start),
                to_utc_s=times.utc(p.end),
                text=f"{p.section_id} {p.step_id}",
                number=row.number,
            )
            for p, row in zip(work, rows, strict=True)
        ),
        stop_utc_s=stop_utc_s,
        units=units,
        words=DayWords(
            air=say("sheet.strip.air", language),
            slab=say("sheet.strip.slab", language),
            dew=say("sheet.strip.dew", language),
            stop=say("sheet.strip.stop", language, time=wall(stop_utc_s, times.zone)),
            title=say("sheet.day", language),
        ),
    )
    svg = day_strip_svg(strip, palette="print", width=STRIP_W, type_px=12.0, prefix="tf-day")
    stop = say("sheet.stop", language)
    bars = ", ".join(f"{b.text} {wall(b.from_utc_s, times.zone)}" for b in strip.bars)
    return svg, f"{say('sheet.day', language)}: {bars}; {stop} {wall(stop_utc_s, times.zone)}"


def _sky(
    weather: WeatherSeries | None, from_s: float, to_s: float, units: System, language: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[Span, ...]]:
    """Times [Unix s], air and dew [°C] within the day, and its hours with rain."""
    if weather is None:
        return np.empty(0), np.empty(0), np.empty(0), ()
    ends = weather.start_utc_s + weather.step_s * np.arange(1, len(weather) + 1, dtype=float)
    pick = (ends >= from_s) & (ends <= to_s)
    rain: list[Span] = []
    for end, mm in zip(ends[pick], weather.rain_mm[pick], strict=True):
        if not mm >= RAIN_FROM_MM:
            continue
        begin = end - weather.step_s
        total = float(mm)
        if rain and rain[-1].to_utc_s >= begin - 1:
            total += float(rain[-1].word)
            begin = rain.pop().from_utc_s
        rain.append(Span(from_utc_s=max(begin, from_s), to_utc_s=end, word=repr(total)))
    spans = tuple(
        Span(
            from_utc_s=s.from_utc_s,
            to_utc_s=s.to_utc_s,
            text=say("sheet.strip.rain", language, amount=_rain(float(s.word), units)),
        )
        for s in rain
    )
    return ends[pick], weather.air_c[pick], weather.dew_c[pick], spans


def _rain(mm: float, units: System) -> str:
    return f"{mm / 25.4:.2f} in" if units == "us" else f"{mm:.1f} mm"


def _state_spans(
    states: StartStates | None, from_s: float, to_s: float, language: str
) -> tuple[Span, ...]:
    """Runs of equal state and reason, cut to the day."""
    if states is None:
        return ()
    runs: list[Span] = []
    keys: list[tuple[int, int]] = []
    for k in range(len(states.state)):
        a = states.slot0_utc_s + k * states.slot_s
        b = a + states.slot_s
        if b <= from_s or a >= to_s:
            continue
        key = (int(states.state[k]), int(states.rule[k]))
        if keys and keys[-1] == key:
            runs[-1] = Span(
                from_utc_s=runs[-1].from_utc_s, to_utc_s=b, word=runs[-1].word, text=runs[-1].text
            )
            continue
        word = State(key[0]).name.lower()
        text = say(f"state.{word}", language)
        if key[0] != State.GO and key[1] >= 0:
            text += " " + say(short_reason(states.rules[key[1]]), language)
        runs.append(Span(from_utc_s=a, to_utc_s=b, word=word, text=text))
        keys.append(key)
    return tuple(runs)
