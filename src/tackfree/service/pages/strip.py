"""The strip chart of one zone, out of the stages of a built job."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from tackfree import words
from tackfree.errors import NotFound
from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.clock_lines import clock_line, tell
from tackfree.service.pages.frame import (
    about,
    chosen_day,
    chosen_deck,
    mark_states,
    page,
    sections_of,
)
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import Reader, day_span, five
from tackfree.service.pages.types import Asked, Entry, Group, Link, Page
from tackfree.service.pages.weather import LIMITS, column, rain_spans, setting
from tackfree.sheets.day_strip import Span
from tackfree.sheets.strip_chart import (
    ChartWords,
    ClockRow,
    Lane,
    StripChart,
    strip_chart_svg,
)

Json = Mapping[str, Any]

NARROW_H, NARROW_PX = 36, 336.0  # a phone's width: type keeps its 16 px there
WIDE_H, WIDE_PX = 72, 800.0  # a desk's: as wide as its column


def strip_chart(
    reader: Reader,
    climate: Json,
    clocks: Sequence[Json],
    sections: Sequence[Json],
    *,
    zone_id: str,
    day: date,
    hours: int,
    now_utc_s: float | None = None,
) -> StripChart:
    """One zone's days from the midnight of ``day`` on.

    Parameters
    ----------
    climate : mapping
        The climate stage as stored.
    clocks : sequence
        Rows of clocks, planned or out of the record.
    sections : sequence
        Those that the zone has a part in; at least one.
    hours : int
        Length of the chart.

    Returns
    -------
    StripChart
        The slab is bare until the zone's first coat, then coated.
    """
    begin = day_span(day, reader.zone)[0]
    end = begin + 3600 * hours
    mine = [s["id"] for s in sections]
    place = setting(climate, sections[0])
    rows = sorted(
        (c for c in clocks if c["section_id"] in mine), key=lambda c: c["placed_from_utc_s"]
    )
    slot0, slot = float(climate["slot0_utc_s"]), float(climate["slot_s"])
    first = max(0, math.ceil((begin - slot0) / slot))
    last = max(first, min(math.floor((end - slot0) / slot) + 1, len(climate["air_c"])))
    moments = [slot0 + slot * k for k in range(first, last)]
    bare, coated = (
        column(climate["surface_c"].get(f"{place}/{kind}", ()), first, last)
        for kind in ("bare", "coated")
    )
    turn = rows[0]["placed_to_utc_s"] if rows else math.inf
    slab = [b if at < turn else c for at, b, c in zip(moments, bare, coated, strict=True)]
    said = ChartWords(
        air=reader.say("chart.air"),
        slab=reader.say("chart.surface"),
        dew=reader.say("chart.dew"),
        rain=reader.say("chart.rain"),
        states=tuple(words.say(f"state.{s}", reader.language) for s in _STATES),
        title=tell(reader, "chart.title", zone=zone_id, day=reader.day(day)),
        **{n: tell(reader, f"chart.{n}") for n in _WORDS},
    )
    return StripChart(
        from_utc_s=begin,
        to_utc_s=end,
        time_zone=reader.zone.key,
        at_utc_s=moments,
        air_c=column(climate["air_c"], first, last),
        slab_c=slab,
        dew_c=column(climate["dew_c"], first, last),
        sun_w_m2=column(climate.get("sun_w_m2", ()), first, last),
        days=_days(reader, day, end),
        spread_min_k=climate.get("spread_min_k"),
        rain=rain_spans(climate, first, last),
        dark=tuple(
            Span(from_utc_s=max(a, begin), to_utc_s=min(b, end))
            for a, b in climate.get("dark", ())
            if a < end and b > begin
        ),
        lanes=tuple(_lanes(reader, climate, place, sections[0]["build_up_id"], begin, end)),
        clocks=tuple(
            clock_row(
                reader,
                c,
                alone=len(mine) == 1,
                last=c["coat_id"] == last_coat(climate, place, sections[0]["build_up_id"]),
            )
            for c in rows
            if _meets(c, begin, end)
        ),
        now_utc_s=now_utc_s,
        units=reader.units,
        words=said,
    )


_STATES = ("go", "measure", "wait", "unknown")
_WORDS = ("sun", "windows", "clocks", "now", "placed", "wet", "ready", "cars")


@dataclass(frozen=True, kw_only=True)
class StripPage:
    """A page with the strip chart of one zone, once for a phone and once for a desk."""

    page: Page
    zone_id: str
    zones: tuple[Link, ...]
    narrow: str
    wide: str
    caption: str


def strip_page(
    built: Built,
    reader: Reader,
    asked: Asked,
    today: date,
    bundle: str,
    *,
    zone_id: str | None,
    clocks: Sequence[Json],
    now_utc_s: float | None = None,
) -> StripPage:
    """The strip chart of a zone, its deck with the zone marked, and its clocks.

    Raises
    ------
    NotFound
        If the job has no such zone, or no weather has been worked out.
    """
    climate = built.stage("climate")
    every = sections_of(built)
    zones = {z: s for s in every for z in s.get("zone_ids", (s["id"],))}
    if zone_id is None:
        wanted = chosen_deck(built, asked)
        zone_id = next((z for z, s in zones.items() if s["deck_id"] == wanted), None)
    if climate is None or zone_id is None or zone_id not in zones:
        raise NotFound(
            f"there is no zone {zone_id!r} with weather.",
            where="zone",
            do=f"Choose one of {', '.join(zones) or 'none: build the job first'}.",
        )
    deck_id = zones[zone_id]["deck_id"]
    mine = [s for s in every if zone_id in s.get("zone_ids", (s["id"],))]
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today) or today
    states = mark_states(reader, built, plan, day)
    here = {s["id"] for s in mine}
    charts = {}
    for name, hours, width in (("narrow", NARROW_H, NARROW_PX), ("wide", WIDE_H, WIDE_PX)):
        chart = strip_chart(
            reader, climate, clocks, mine, zone_id=zone_id, day=day, hours=hours,
            now_utc_s=now_utc_s,
        )  # fmt: skip
        charts[name] = strip_chart_svg(chart, width=width, prefix=f"strip-{name}")
    entries = tuple(
        Entry(
            id=f"s-{s['id']}",
            name=s["id"],
            sub=about(reader, s),
            lines=tuple(clock_line(reader, c) for c in clocks if c["section_id"] == s["id"]),
        )
        for s in mine
    )
    found = page(
        built, reader, "weather", deck_id=deck_id, plan=plan, day=day,
        marks={k: m for k, m in states.items() if k in here},
        states=("working", "closed", "open", "waiting"),
        groups=(
            Group(
                title=reader.say("clocks-by-section"), note=reader.say("clock-note"),
                entries=entries,
            ),
        ),
        bundle=bundle,
        notes=tuple(words.say(f"climate.{n}", reader.language) for n in LIMITS),
    )  # fmt: skip
    return StripPage(
        page=found,
        zone_id=zone_id,
        zones=tuple(
            Link(text=z, href=z, current=z == zone_id)
            for z, s in zones.items()
            if s["deck_id"] == deck_id
        ),
        narrow=charts["narrow"],
        wide=charts["wide"],
        caption=tell(reader, "chart.slab", source=slab_said(reader, climate, mine[0])),
    )


def slab_said(reader: Reader, climate: Json, section: Json) -> str:
    """What the slab's figures stand on: readings, or defaults."""
    place = setting(climate, section)
    for slab in climate.get("slabs", ()):
        if slab["setting"] == place:
            name = "default" if slab["from"] == "default" else "fitted"
            return words.say(
                f"climate.slab.{name}", reader.language, place=reader.word("exposure", place),
                absorptance=f"{slab['absorptance']:.2f}", wind_factor=f"{slab['wind_factor']:.2f}",
                source=slab["from"],
            )  # fmt: skip
    return words.say("climate.surface_error", reader.language)


def _days(reader: Reader, day: date, end: float) -> tuple[Span, ...]:
    out = []
    while (span := day_span(day, reader.zone))[0] < end:
        out.append(Span(from_utc_s=span[0], to_utc_s=min(span[1], end), text=reader.day(day)))
        day += timedelta(days=1)
    return tuple(out)


def _lanes(
    reader: Reader, climate: Json, place: str, build_up_id: str, begin: float, end: float
) -> list[Lane]:
    out = []
    for series in climate.get("windows", ()):
        if (series["exposure"], series["build_up_id"]) != (place, build_up_id):
            continue
        spans: list[Span] = []
        for w in series["windows"]:
            a, b = max(w["start_utc_s"], begin), min(w["end_utc_s"], end)
            if b <= a:
                continue
            word = str(w["state"]).lower()
            if spans and spans[-1].word == word and spans[-1].to_utc_s == a:
                spans[-1] = Span(from_utc_s=spans[-1].from_utc_s, to_utc_s=b, word=word)
            else:
                spans.append(Span(from_utc_s=a, to_utc_s=b, word=word))
        name = reader.step(series["step_id"])
        if "placing_h" in series:
            name = tell(reader, "chart.lane", coat=name, hours=f"{series['placing_h']:g}")
        out.append(Lane(name=name, spans=tuple(spans)))
    return out


def last_coat(climate: Json, place: str, build_up_id: str) -> str:
    """The coat that none follows; "" where the stage does not tell."""
    found = [
        w["step_id"]
        for w in climate.get("windows", ())
        if (w["exposure"], w["build_up_id"]) == (place, build_up_id)
    ]
    return str(found[-1]) if found else ""


def _meets(clock: Json, begin: float, end: float) -> bool:
    ends = [clock["placed_to_utc_s"], clock.get("recoat_before_utc_s") or 0.0]
    ends.append((clock.get("recoat_after") or {}).get("careful_utc_s") or 0.0)
    return bool(clock["placed_from_utc_s"] < end and max(ends) > begin)


def clock_row(reader: Reader, clock: Json, *, alone: bool, last: bool = False) -> ClockRow:
    """A clock as a row of the chart; its detail says the two ends of the recoat window.

    On the ``last`` coat nothing follows: its detail says when cars may come.
    """
    cars = (clock.get("cars_after") or {}).get("careful_utc_s")
    after = (clock.get("recoat_after") or {}).get("careful_utc_s")
    before = clock.get("recoat_before_utc_s")
    name = reader.step(clock["coat_id"])
    said = [
        tell(reader, "row.from", at=short(reader, after, "up"))
        if after is not None
        else tell(reader, "row.not-known")
    ]
    if before is not None:
        said.append(tell(reader, "row.by", at=short(reader, before, "down")))
    if after is not None and before is not None and after > before:
        said = [tell(reader, "row.no-moment", at=short(reader, before, "down"))]
    if last:
        after = before = None
        said = [
            tell(reader, "row.not-known")
            if cars is None
            else tell(reader, "row.cars", at=short(reader, cars, "up"))
        ]
    if clock.get("void"):
        said.insert(0, tell(reader, "row.void"))
    ends = [short(reader, after, "up")] if after is not None else ["?"]
    ends += [short(reader, before, "down")] if before is not None else []
    brief = said[0] if clock.get("void") or len(said) == 1 else "–".join(ends)
    said.append(tell(reader, f"by.{clock.get('from', 'plan')}"))
    return ClockRow(
        name=name if alone else f"{clock['section_id']} {name}",
        detail=", ".join(said),
        brief=brief,
        placed_from_utc_s=clock["placed_from_utc_s"],
        placed_to_utc_s=clock["placed_to_utc_s"],
        tack_free_utc_s=(clock.get("tack_free") or {}).get("careful_utc_s"),
        recoat_after_utc_s=after,
        recoat_before_utc_s=before,
        cars_after_utc_s=cars if last else None,
        void=bool(clock.get("void")),
    )


def short(reader: Reader, utc_s: float, toward: str) -> str:
    """ "Tue 07:30", rounded to the safe side."""
    at = five(utc_s, toward, reader.zone)
    return f"{reader.weekday(at.date())} {at:%H:%M}"
