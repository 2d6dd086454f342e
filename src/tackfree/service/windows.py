"""Best starts, the gap between pore air and dew, and drying after rain, for one job."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tackfree.buildup.types import BuildUp, Coat
from tackfree.climate.choose import Overlap, Start, best_starts, margin_k, overlap
from tackfree.climate.drying import worth_testing_from_utc_s
from tackfree.climate.slab import BARE_ABSORPTANCE
from tackfree.climate.stage import RAIN_REACHES, ClimateStage, Where, exposure_of
from tackfree.climate.types import WeatherSeries
from tackfree.climate.windows import SPREAD_MIN_K
from tackfree.errors import InputError, NotFound
from tackfree.service import climate as climates
from tackfree.service.pipeline import Pipeline
from tackfree.units import K_PER_F
from tackfree.words import Message, say

DAYS = 3
MOST = 3  # starts shown for each coat


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """The best starts of one coat on one exposure, safest first, and its daily gaps."""

    exposure: str  # or the name of a shaded setting
    build_up_id: str
    coat_id: str
    placing_h: float
    starts: tuple[Start, ...]
    overlaps: tuple[tuple[date, Overlap], ...]  # first liquid on bare concrete only


@dataclass(frozen=True, kw_only=True)
class Drying:
    """When one exposure is worth testing after the last rain before a moment."""

    exposure: str
    rain_ended_utc_s: float | None
    careful_utc_s: float | None
    hopeful_utc_s: float | None


def forecast_age_h(made: Pipeline, at: datetime | None = None) -> float | None:
    """How old the forecast is at a moment, by default the job's as_of. [h]

    None for a typical year or a measured series, which are no forecast.
    """
    issued = made.weather.issued_utc_s
    if issued is None:
        return None
    return ((at or made.job.as_of).timestamp() - issued) / 3600


def age_message(made: Pipeline) -> Message:
    """What the windows stand on: a forecast of some age, a typical year, or readings."""
    age = forecast_age_h(made)
    if age is not None:
        return Message(id="climate.age.forecast", values={"hours": round(age, 1)})
    kinds = {"typical-year": "typical", "forecast": "no_issue", "measured": "measured"}
    return Message(id=f"climate.age.{kinds[made.job.weather.kind]}")


def slab_messages(made: Pipeline) -> tuple[Message, ...]:
    """The slab of each place, and whether readings or defaults stand behind it."""
    job = made.job
    found = []
    places = dict.fromkeys(climates.where_of(job, s) for s in made.sections.sections)
    for there in sorted(places, key=lambda w: w.value):
        case, source = climates.slab_case(job, there), climates.slab_source(job, there)
        name = "default" if source == "default" else "fitted"
        values = {
            "place": there.value,
            "absorptance": round(case.absorptance, 2),
            "wind_factor": round(case.wind_factor, 2),
            "source": source,
        }
        found.append(Message(id=f"climate.slab.{name}", values=values))
    return tuple(found)


def ranked(
    made: Pipeline, on: date, *, days: int = DAYS, placing_h: float = climates.LEGAL_PLACING_H
) -> tuple[Ranked, ...]:
    """Best starts of every coat and exposure of the job's sections over some days.

    Raises
    ------
    InputError
        If the days lie outside the weather, or are not at least one.
    """
    zone = ZoneInfo(made.job.place.time_zone)
    if days < 1 or placing_h <= 0:
        raise InputError("days and placing time must be above 0.", do="Give --days 1 or more.")
    stage = made.climate
    begins = [
        int(datetime.combine(on + timedelta(days=i), time(), zone).timestamp())
        for i in range(days + 1)
    ]
    last = stage.slot0_utc_s + stage.slots * stage.slot_s
    if not stage.slot0_utc_s <= begins[0] < last:
        raise InputError(
            f"{on} is outside the job's weather.",
            where="--date",
            do=f"The job starts on {made.job.starts_on}; choose a day from then on.",
        )
    duration = max(1, round(placing_h * 3600 / stage.slot_s))
    found = []
    places = {climates.where_of(made.job, s): s for s in made.sections.sections}
    seen = sorted(
        {(climates.where_of(made.job, s).value, s.build_up_id) for s in made.sections.sections}
    )
    named = {there.value: there for there in places}
    for name, build_up_id in seen:
        exposure = named[name]
        build_up = made.job.build_ups[build_up_id]
        for coat in build_up.coats:
            found.append(_one(made, stage, exposure, build_up, coat, duration, on, begins))
    return tuple(found)


def _one(
    made: Pipeline,
    stage: ClimateStage,
    exposure: Where,
    build_up: BuildUp,
    coat: Coat,
    duration: int,
    on: date,
    begins: list[int],
) -> Ranked:
    job = made.job
    states = climates.allowed_starts(stage, job, exposure, build_up, coat, duration)
    under, table = climates.under_and_tack_free(stage, job, exposure, build_up, coat)
    limits = climates.limits_for(job, job.products[coat.product_id])
    margin = margin_k(under, limits, duration_slots=duration, tack_free=table)
    starts = best_starts(states, margin, from_utc_s=begins[0], to_utc_s=begins[-1])
    gaps: tuple[tuple[date, Overlap], ...] = ()
    if build_up.coats[0].id == coat.id:
        gaps = tuple(
            (
                on + timedelta(days=i),
                overlap(
                    under, duration_slots=duration, tack_free=table, from_utc_s=begins[i],
                    to_utc_s=begins[i + 1],
                    spread_k=SPREAD_MIN_K if limits.spread_min_k is None else limits.spread_min_k,
                ),
            )
            for i in range(len(begins) - 1)
        )  # fmt: skip
    return Ranked(
        exposure=exposure.value,
        build_up_id=build_up.id,
        coat_id=coat.id,
        placing_h=duration * stage.slot_s / 3600,
        starts=starts,
        overlaps=gaps,
    )


def ranked_document(made: Pipeline, on: date, days: int, placing_h: float) -> dict[str, Any]:
    """Best starts as rows for ``--json``."""
    return {
        "date": on,
        "days": days,
        "forecast_age_h": forecast_age_h(made),
        "best": list(ranked(made, on, days=days, placing_h=placing_h)),
    }


def ranked_text(made: Pipeline, on: date, days: int, placing_h: float) -> str:
    """Best starts for people."""
    zone = ZoneInfo(made.job.place.time_zone)
    lines = [say(age_message(made)), ""]

    def clock(utc_s: float) -> str:
        return f"{datetime.fromtimestamp(utc_s, zone):%a %d %b %H:%M}"

    def span(s: tuple[int, int] | None) -> str:
        if s is None:
            return "none"
        return "-".join(f"{datetime.fromtimestamp(t, zone):%H:%M}" for t in s)

    for row in ranked(made, on, days=days, placing_h=placing_h):
        lines.append(f"{row.exposure} {row.build_up_id} {row.coat_id}, placing {row.placing_h:g} h")
        if not row.starts:
            lines.append(f"  no allowed start in {days} day(s)")
        for i, s in enumerate(row.starts[:MOST], 1):
            margin = f"{s.margin_k / K_PER_F:.0f} °F ({s.margin_k:.1f} K) from the nearest limit"
            lines.append(
                f"  {i}. {clock(s.start_utc_s)}  {s.state.name:8}{margin}; "
                f"last start {clock(s.last_utc_s)}"
            )
        for day, gap in row.overlaps:
            lines.append(
                f"  {day:%a %d %b}: slab no longer warms {span(gap.outgassing_safe)}, dry until "
                f"tack-free {span(gap.dew_safe)}, both {span(gap.both)} ({gap.hours:.1f} h)"
            )
    return "\n".join([*lines, "", say("climate.not_a_verdict"), say("climate.surface_error")])


def drying(made: Pipeline, at: datetime) -> tuple[Drying, ...]:
    """For each exposure that rain reaches, when it is worth testing after the last rain."""
    series = made.weather
    stamp = at.timestamp()
    ends = series.start_utc_s + series.step_s * np.arange(1, len(series) + 1)
    if not series.start_utc_s <= stamp <= ends[-1]:
        raise NotFound(
            f"{at:%Y-%m-%d %H:%M} is outside the job's weather.", where="--at",
            do=f"The job starts on {made.job.starts_on}.",
        )  # fmt: skip
    rained = [e for e in rain_ends_utc_s(series) if e <= stamp + series.step_s]
    return tuple(
        Drying(exposure=there.value, rain_ended_utc_s=None, careful_utc_s=None, hopeful_utc_s=None)
        if not rained
        else dried(made, there, rained[-1])
        for there in open_places(made)
    )


def rain_ends_utc_s(series: WeatherSeries) -> tuple[float, ...]:
    """End of every interval with rain, in order; an observed wet deck counts as rain. [Unix s]"""
    falls = series.rain_mm > 0
    if series.wet is not None:
        falls = falls | series.wet
    return tuple(float(series.start_utc_s + series.step_s * (i + 1)) for i in np.flatnonzero(falls))


def open_places(made: Pipeline) -> tuple[Where, ...]:
    """The exposures of the job that rain reaches."""
    places = {climates.where_of(made.job, s) for s in made.sections.sections}
    return tuple(w for w in sorted(places, key=lambda w: w.value) if exposure_of(w) in RAIN_REACHES)


def dried(made: Pipeline, there: Where, rain_ended_utc_s: float) -> Drying:
    """When one exposure is worth testing after a rain that ended then; new rain starts it again."""
    careful, hopeful = worth_testing_from_utc_s(
        made.weather,
        made.climate.surface_c[there, BARE_ABSORPTANCE],
        rain_ends_utc_s=rain_ended_utc_s,
        wind_factor=climates.slab_case(made.job, there).wind_factor,
    )
    return Drying(
        exposure=there.value, rain_ended_utc_s=rain_ended_utc_s, careful_utc_s=careful,
        hopeful_utc_s=hopeful,
    )  # fmt: skip


def drying_text(made: Pipeline, at: datetime) -> str:
    """Drying for people."""
    zone = ZoneInfo(made.job.place.time_zone)

    def clock(utc_s: float | None) -> str:
        if utc_s is None:
            return "not within the weather"
        return f"{datetime.fromtimestamp(utc_s, zone):%a %d %b %H:%M}"

    lines = []
    for row in drying(made, at):
        if row.rain_ended_utc_s is None:
            lines.append(f"{row.exposure}: {say('climate.drying.none')}")
            continue
        values = {
            "ended": clock(row.rain_ended_utc_s),
            "careful": clock(row.careful_utc_s),
            "hopeful": clock(row.hopeful_utc_s),
        }
        lines.append(f"{row.exposure}: {say('climate.drying.worth', **values)}")
    told = (say(age_message(made)), say("climate.drying.model"), say("climate.drying.test"))
    return "\n".join([*lines, "", *told])
