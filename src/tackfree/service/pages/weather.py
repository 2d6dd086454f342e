"""The weather page: surface, air and dew point over a day, and what may start when."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

from tackfree import words
from tackfree.errors import NotFound
from tackfree.service.pages.calendar import Calendar, calendar_of
from tackfree.service.pages.drawing import Mark
from tackfree.service.pages.frame import about, chosen_day, chosen_deck, page, sections_of
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import Reader, Value, day_span
from tackfree.service.pages.types import Asked, Chart, Entry, Group, HourRow, Line, Link, Page
from tackfree.sheets.day_strip import Bar, DayStrip, DayWords, Span, day_strip_svg

Json = Mapping[str, Any]
# What the model does not know, said on the page.
LIMITS = ("not_a_verdict", "surface_error", "not_modelled")
STRIP_PX = 336.0  # a phone's width: type keeps its 16 px there


def weather_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """Surface, air and dew point of a day, and the windows of each section."""
    deck_id = chosen_deck(built, asked)
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today)
    climate = built.stage("climate")
    sections = sections_of(built, deck_id)
    chart = None
    if climate is not None and day is not None:
        chart = _chart(reader, climate, plan, day, _surface(climate, sections, asked),
                       sections)  # fmt: skip
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
                        label=reader.step(step),
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
    if climate is not None and day is not None:
        groups.append(_states(reader, climate, day, sections))
        dry = _drying(reader, climate, day, sections)
        groups[:0] = [dry] if dry.entries else []
    return page(
        built, reader, "weather", deck_id=deck_id, plan=plan, day=day, chart=chart, marks=marks,
        groups=tuple(groups), states=("go", "no-start"), bundle=bundle,
        notes=tuple(words.say(f"climate.{n}", reader.language) for n in LIMITS),
    )  # fmt: skip


def _states(reader: Reader, climate: Json, day: date, sections: tuple[Json, ...]) -> Group:
    """GO, MEASURE, WAIT and UNKNOWN spans of the day with their reasons, of a deck's coats."""
    begin, end = day_span(day, reader.zone)
    wanted = {(setting(climate, s), s.get("build_up_id")) for s in sections}
    entries = []
    for series in climate.get("windows", ()):
        if (series["exposure"], series["build_up_id"]) not in wanted:
            continue
        spans = [w for w in series["windows"] if w["start_utc_s"] < end and w["end_utc_s"] > begin]
        exposure = reader.word("exposure", series["exposure"])
        entries.append(
            Entry(
                id=f"w-{series['exposure']}-{series['build_up_id']}-{series['step_id']}",
                name=reader.step(series["step_id"]),
                sub=f"{series['build_up_id']} · {exposure}",
                lines=tuple(
                    Line(
                        label=f"{reader.clock(max(w['start_utc_s'], begin))}–"
                        f"{reader.clock(min(w['end_utc_s'], end))}",
                        sub=words.say(f"state.{str(w['state']).lower()}", reader.language),
                        note=reader.message(w.get("reason")),
                    )
                    for w in spans
                ),
            )
        )
    return Group(title=reader.say("states"), entries=tuple(e for e in entries if e.lines))


def _drying(reader: Reader, climate: Json, day: date, sections: tuple[Json, ...]) -> Group:
    """When the deck's open surfaces are worth a moisture test after the day's last rain."""
    _, end = day_span(day, reader.zone)
    entries = []
    for exposure in dict.fromkeys(setting(climate, s) for s in sections):
        rows = [
            r for r in climate.get("drying", ())
            if r["exposure"] == exposure and r["rain_ended_utc_s"] <= end
        ]  # fmt: skip
        if rows:
            row = max(rows, key=lambda r: float(r["rain_ended_utc_s"]))
            said = words.say(
                "climate.drying.worth", reader.language,
                ended=reader.moment(row["rain_ended_utc_s"]),
                careful=reader.moment(row["careful_utc_s"]),
                hopeful=reader.moment(row["hopeful_utc_s"]),
            )  # fmt: skip
            name = reader.word("exposure", exposure)
            entries.append(Entry(id=f"dry-{exposure}", name=name, note=said))
    notes = [words.say(f"climate.drying.{n}", reader.language) for n in ("test", "model")]
    return Group(title=reader.say("drying"), note=" ".join(notes), entries=tuple(entries))


def setting(climate: Json, section: Json) -> str:
    """What a section sees of the sky: its setting in the climate stage, or its exposure."""
    named = climate.get("settings", {}).get(section["id"])
    return str(named or section.get("exposure", ""))


def _surface(climate: Json, sections: tuple[Json, ...], asked: Asked) -> str:
    """The surface asked for, or the first of the deck's exposure, or the first.

    Raises
    ------
    NotFound
        If the climate holds no such surface.
    """
    names = [str(n) for n in climate["surface_c"]]
    if asked.surface is not None:
        if asked.surface not in names:
            raise NotFound(
                f"there is no surface {asked.surface!r}.",
                where="surface",
                do=f"Choose one of {', '.join(names)}.",
            )
        return asked.surface
    exposures = [setting(climate, s) for s in sections]
    for name in names:
        if name.split("/")[0] in exposures:
            return name
    return names[0] if names else ""


def _chart(
    reader: Reader,
    climate: Json,
    plan: Calendar | None,
    day: date,
    surface: str,
    sections: tuple[Json, ...],
) -> Chart:
    """The day as a strip and as a table; ``sections`` are the deck's."""
    here = {s["id"] for s in sections}
    exposures = {setting(climate, s) for s in sections}
    begin, end = day_span(day, reader.zone)
    slot0, slot = float(climate["slot0_utc_s"]), float(climate["slot_s"])
    first = max(0, math.ceil((begin - slot0) / slot))
    last = max(first, min(math.floor((end - slot0) / slot) + 1, len(climate["air_c"])))
    moments = [slot0 + slot * k for k in range(first, last)]
    columns = {
        "surface": column(climate["surface_c"].get(surface, ()), first, last),
        "air": column(climate["air_c"], first, last),
        "dew": column(climate["dew_c"], first, last),
    }
    title = _surface_name(reader, surface)
    strip = DayStrip(
        from_utc_s=begin,
        to_utc_s=end,
        time_zone=reader.zone.key,
        at_utc_s=moments,
        air_c=columns["air"],
        slab_c=columns["surface"],
        dew_c=columns["dew"],
        spread_min_k=climate.get("spread_min_k"),
        rain=rain_spans(climate, first, last),
        shifts=tuple(
            Span(from_utc_s=max(a, begin), to_utc_s=min(b, end), text=name)
            for name, _, a, b in (plan.shifts if plan else ())
            if a < end and b > begin
        ),
        bars=tuple(
            Bar(
                from_utc_s=d.begin_s,
                to_utc_s=d.end_s,
                text=f"{d.section_id} {reader.step(d.step_id)}",
            )
            for d in (plan.on(day) if plan else ())
            if d.section_id in here
        ),
        units=reader.units,
        words=DayWords(
            air=reader.say("chart.air"),
            slab=reader.say("chart.surface"),
            dew=reader.say("chart.dew"),
            rain=reader.say("chart.rain"),
            shift=reader.say("stage.shift").lower(),
            title=reader.say("chart.label", surface=title, day=reader.day(day)),
        ),
    )
    return Chart(
        title=title,
        svg=day_strip_svg(strip, width=STRIP_PX),
        rows=tuple(_row(reader, columns, moments, k) for k in _every_two_hours(moments, slot)),
        surfaces=tuple(
            Link(text=_surface_name(reader, k), href=k, current=k == surface)
            for k in climate["surface_c"]
            if k == surface or k.split("/")[0] in exposures
        ),
    )


def column(values: Any, first: int, last: int) -> list[float]:
    """A stretch of a stored series; null and what lies outside become NaN."""
    found = [math.nan if v is None else float(v) for v in values[first:last]]
    return found + [math.nan] * (last - first - len(found))


def rain_spans(climate: Json, first: int, last: int) -> tuple[Span, ...]:
    """Runs of slots with rain, where the stage holds rain."""
    slot0, slot = float(climate["slot0_utc_s"]), float(climate["slot_s"])
    wet = [v > 0 for v in column(climate.get("rain_mm", ()), first, last)]
    spans: list[Span] = []
    for k, rains in enumerate(wet, start=first):
        if rains and k > first and wet[k - first - 1]:
            spans[-1] = Span(from_utc_s=spans[-1].from_utc_s, to_utc_s=slot0 + slot * (k + 1))
        elif rains:
            spans.append(Span(from_utc_s=slot0 + slot * k, to_utc_s=slot0 + slot * (k + 1)))
    return tuple(spans)


def _every_two_hours(moments: list[float], slot: float) -> range:
    return range(0, max(0, len(moments) - 1), max(1, round(7200 / slot)))


def _row(
    reader: Reader, columns: Mapping[str, list[float]], moments: list[float], k: int
) -> HourRow:
    at = {kind: None if math.isnan(c[k]) else c[k] for kind, c in columns.items()}
    surface, dew = at["surface"], at["dew"]
    spread = surface - dew if surface is not None and dew is not None else None
    return HourRow(
        time=reader.clock(moments[k]),
        surface=reader.amount(surface, "°C")[0],
        air=reader.amount(at["air"], "°C")[0],
        dew=reader.amount(dew, "°C")[0],
        spread=reader.amount(spread, "K")[0],
    )


def _surface_name(reader: Reader, key: str) -> str:
    """ "open sky, bare" for "open-sky/bare"."""
    exposure, _, state = key.partition("/")
    return ", ".join(
        t for t in (reader.word("exposure", exposure), reader.word("surface", state)) if t
    )
