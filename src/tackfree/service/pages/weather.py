"""The weather page: surface, air and dew point over a day, and what may start when."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

from tackfree.errors import NotFound
from tackfree.service.pages.calendar import Calendar, calendar_of
from tackfree.service.pages.drawing import Mark
from tackfree.service.pages.frame import about, chosen_day, chosen_deck, page, sections_of
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import MISSING, Reader, Value, day_span
from tackfree.service.pages.types import (
    Asked,
    Band,
    Chart,
    ChartLine,
    Entry,
    Group,
    HourRow,
    Line,
    Link,
    Page,
    Tick,
)

Json = Mapping[str, Any]
LEFT, RIGHT, TOP, BOTTOM, WIDTH, HEIGHT = 36.0, 96.0, 26.0, 32.0, 440.0, 256.0


def weather_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """Surface, air and dew point of a day, and the windows of each section."""
    deck_id = chosen_deck(built, asked)
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today)
    climate = built.stage("climate")
    sections = sections_of(built, deck_id)
    chart = None
    if climate is not None and day is not None:
        chart = _chart(reader, climate, plan, day, _surface(climate, sections, asked))
    entries: list[Entry] = []
    marks: dict[str, Mark] = {}
    for s in sections:
        may = plan.may_start(s["id"], day) if plan and day else ()
        state = "go" if may else "closed"
        word = reader.say("may-start-n" if may else "no-start")
        marks[s["id"]] = Mark(state=state, word=word, title=f"{s['id']}: {word}")
        entries.append(
            Entry(
                id=f"s-{s['id']}",
                name=s["id"],
                sub=about(reader, s),
                note="" if may else reader.say("no-start-note"),
                lines=tuple(
                    Line(
                        label=reader.word("step", step),
                        values=(
                            Value(
                                label=reader.say("start-between"),
                                text=f"{reader.clock(a)}–{reader.clock(b)}",
                                strong=True,
                            ),
                        ),
                    )
                    for step, a, b in may
                ),
            )
        )
    groups = [
        Group(title=reader.say("windows"), note=reader.say("windows-note"), entries=tuple(entries))
    ]
    if climate is not None and day is not None and climate.get("windows"):
        groups = [g for g in (_states(reader, climate, day, plan), *groups) if g.lines or g.entries]
    return page(
        built, reader, "weather", deck_id=deck_id, plan=plan, day=day, chart=chart, marks=marks,
        groups=tuple(groups), states=("go", "no-start"), bundle=bundle,
    )  # fmt: skip


def _states(reader: Reader, climate: Json, day: date, plan: Calendar | None) -> Group:
    """GO, MEASURE, WAIT and UNKNOWN spans of the day with their reasons."""
    assert plan is not None
    begin, end = day_span(day, plan.zone)
    lines = []
    for series in climate["windows"]:
        lines.append(
            Line(
                label=f"{reader.word('step', series['step_id'])} · "
                f"{reader.word('exposure', series['exposure'])}",
                sub=str(series.get("build_up_id", "")),
                values=tuple(
                    Value(
                        label=f"{reader.clock(max(w['start_utc_s'], begin))}–"
                        f"{reader.clock(min(w['end_utc_s'], end))}",
                        text=reader.word("window", str(w["state"])),
                        unit=reader.message(w.get("reason")),
                        strong=str(w["state"]).lower() == "go",
                    )
                    for w in series["windows"]
                    if w["start_utc_s"] < end and w["end_utc_s"] > begin
                ),
            )
        )
    return Group(title=reader.say("states"), lines=tuple(x for x in lines if x.values))


def _surface(climate: Json, sections: tuple[Json, ...], asked: Asked) -> str:
    """The surface asked for, or the first of the deck's exposure, or the first.

    Raises
    ------
    NotFound
        If the climate holds no such surface.
    """
    names = list(climate["surface_c"])
    if asked.surface is not None:
        if asked.surface not in names:
            raise NotFound(
                f"there is no surface {asked.surface!r}.",
                where="surface",
                do=f"Choose one of {', '.join(names)}.",
            )
        return asked.surface
    exposures = [str(s.get("exposure", "")) for s in sections]
    for name in names:
        if name.split("/")[0] in exposures:
            return name
    return names[0] if names else ""


def _chart(
    reader: Reader, climate: Json, plan: Calendar | None, day: date, surface: str
) -> Chart:
    begin, end = day_span(day, reader.zone)
    slot0, slot = float(climate["slot0_utc_s"]), float(climate["slot_s"])
    first = max(0, math.ceil((begin - slot0) / slot))
    last = math.floor((end - slot0) / slot) + 1
    columns = {
        "surface": list(climate["surface_c"].get(surface, ()))[first:last],
        "air": list(climate["air_c"])[first:last],
        "dew": list(climate["dew_c"])[first:last],
    }
    moments = [slot0 + slot * k for k in range(first, last)]
    known = [v for column in columns.values() for v in column if v is not None]
    unit = "°F" if reader.units == "us" else "°C"
    if not known:
        return Chart(title=surface, unit=unit, lines=(), across=(), up=(), bands=(), rows=(),
                     surfaces=_surfaces(reader, climate, surface))  # fmt: skip

    def degrees(c: float) -> float:
        return c * 1.8 + 32.0 if reader.units == "us" else c

    low = 10 * math.floor(degrees(min(known)) / 10)
    high = max(low + 10, 10 * math.ceil(degrees(max(known)) / 10))

    def x(at: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (at - begin) / (end - begin)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low)

    lines: list[ChartLine] = []
    for kind, column in columns.items():
        points = [(x(t), y(degrees(v))) for t, v in zip(moments, column, strict=False) if v is not None]
        if points:
            lines.append(
                ChartLine(
                    kind=kind,
                    name=reader.say(f"chart.{kind}"),
                    points=" ".join(f"{a:.1f},{b:.1f}" for a, b in points),
                    x=f"{WIDTH - RIGHT + 8:.1f}",
                    y=f"{points[-1][1]:.1f}",
                )
            )
    step = 10 if high - low <= 60 else 20
    return Chart(
        title=_surface_name(reader, surface),
        unit=unit,
        lines=_apart(lines),
        across=tuple(
            Tick(at=f"{x(begin + h * 3600):.1f}", text=reader.clock(begin + h * 3600)[:2])
            for h in range(0, 24, 4)
        ),
        up=tuple(Tick(at=f"{y(v):.1f}", text=str(v)) for v in range(low, high + 1, step)),
        bands=tuple(
            Band(x=f"{x(max(a, begin)):.1f}", width=f"{x(min(b, end)) - x(max(a, begin)):.1f}", name=n)
            for n, _, a, b in (plan.shifts if plan else ())
            if a < end and b > begin
        ),
        rows=tuple(_row(reader, columns, moments, h) for h in _every_two_hours(moments, slot)),
        surfaces=_surfaces(reader, climate, surface),
    )  # fmt: skip


def _apart(lines: list[ChartLine], gap: float = 23.0) -> tuple[ChartLine, ...]:
    """Names at the right end moved apart so that none covers another."""
    placed: list[ChartLine] = []
    lowest = -math.inf
    for line in sorted(lines, key=lambda n: float(n.y)):
        lowest = max(float(line.y), lowest + gap)
        placed.append(
            ChartLine(kind=line.kind, name=line.name, points=line.points, x=line.x, y=f"{lowest:.1f}")
        )
    return tuple(placed)


def _every_two_hours(moments: list[float], slot: float) -> range:
    return range(0, max(0, len(moments) - 1), max(1, round(7200 / slot)))


def _row(
    reader: Reader, columns: Mapping[str, list[float | None]], moments: list[float], k: int
) -> HourRow:
    at = {kind: (c[k] if k < len(c) else None) for kind, c in columns.items()}
    surface, dew = at["surface"], at["dew"]
    spread = surface - dew if surface is not None and dew is not None else None
    return HourRow(
        time=reader.clock(moments[k]),
        surface=reader.amount(surface, "°C")[0],
        air=reader.amount(at["air"], "°C")[0],
        dew=reader.amount(dew, "°C")[0],
        spread=reader.amount(spread, "K")[0] if spread is not None else MISSING,
    )


def _surface_name(reader: Reader, key: str) -> str:
    """ "open sky, bare" for "open-sky/bare"."""
    exposure, _, state = key.partition("/")
    return ", ".join(
        t for t in (reader.word("exposure", exposure), reader.word("surface", state)) if t
    )


def _surfaces(reader: Reader, climate: Json, current: str) -> tuple[Link, ...]:
    return tuple(
        Link(text=_surface_name(reader, k), href=f"?surface={k}", current=k == current)
        for k in climate["surface_c"]
    )
