"""Legal start hours by month: how much of a season each coat really has."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from tackfree.bundle.types import Job, WeatherRef
from tackfree.climate.stage import ClimateStage, LegalHours
from tackfree.climate.typical import TYPICAL_YEAR
from tackfree.climate.window_types import StartStates, State
from tackfree.errors import InputError
from tackfree.intake import weather as files
from tackfree.service import climate as climates
from tackfree.service.tables import table
from tackfree.words import say

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DARK = "climate.wait.dark"
A_WINTER_ON = 60  # days past the year: what December's cold film waits for


@dataclass(frozen=True, kw_only=True)
class Year:
    """Legal start hours of one calendar year under one typical year's weather."""

    origin: str
    year: int
    placing_h: float
    rows: tuple[LegalHours, ...]
    rain_taken_dry_h: int = 0  # hours whose rain the file lacks, taken as dry


def legal_start_hours(
    job: Job, stage: ClimateStage, placing_h: float = climates.LEGAL_PLACING_H
) -> tuple[LegalHours, ...]:
    """Hours from which each coat may be started, by month, build-up and exposure."""
    zone = ZoneInfo(job.place.time_zone)
    duration = max(1, round(placing_h * 3600 / stage.slot_s))
    moments = [stage.slot0_utc_s + i * stage.slot_s for i in range(stage.slots)]
    months = np.array([datetime.fromtimestamp(m, zone).strftime("%Y-%m") for m in moments])
    hour = stage.slot_s / 3600
    rows = []
    for build_up in job.build_ups.values():
        for exposure in build_up.exposures:
            for coat in build_up.coats:
                states = climates.allowed_starts(stage, job, exposure, build_up, coat, duration)
                for month in sorted(set(months.tolist())):
                    at = np.flatnonzero(months == month)
                    count = {s: hour * int((states.state[at] == s).sum()) for s in State}
                    rows.append(
                        LegalHours(
                            month=month,
                            exposure=exposure,
                            build_up_id=build_up.id,
                            coat_id=coat.id,
                            go_h=count[State.GO],
                            measure_h=count[State.MEASURE],
                            wait_h=count[State.WAIT],
                            unknown_h=count[State.UNKNOWN],
                            held_by=_held_by(states, at),
                        )
                    )
    return tuple(rows)


def _held_by(states: StartStates, at: np.ndarray[Any, np.dtype[np.int64]]) -> str:
    """The first reason that bars most of these starts; darkness only where it bars all."""
    barred = at[states.state[at] > State.MEASURE]
    names = Counter(states.rules[k] for k in states.rule[barred].tolist())
    told = Counter({n: c for n, c in names.items() if n != DARK}) or names
    return min(told, key=lambda n: (-told[n], n), default="")


def year_of(
    job: Job,
    file: Path | None = None,
    zone: str = "",
    *,
    placing_h: float = climates.LEGAL_PLACING_H,
    lacking_rain_is_dry: bool = False,
) -> Year:
    """Legal start hours of a whole year, for the job's own place or for another's.

    Parameters
    ----------
    job : Job
        Its build-ups, products, limits and shifts are kept.
    file : Path, optional
        Another place's typical year; its own latitude and longitude are taken.
    zone : str
        That place's IANA time zone; needed with a file.
    placing_h : float
        Placing time. [h]
    lacking_rain_is_dry : bool
        Count hours without a rain figure as dry, and say how many; else they are
        UNKNOWN on any deck that rain reaches.

    Raises
    ------
    InputError
        If the weather is no typical year, or the file's zone or place is not known.
    """
    moved = job
    if file is not None:
        moved = _moved(job, file, zone)
    elif job.weather.kind != TYPICAL_YEAR:
        raise InputError(
            f"the job's weather is {job.weather.kind}; a year's hours need a typical year.",
            where="job.toml, weather", do="Name one with --file and --zone.",
        )  # fmt: skip
    moved = replace(moved, starts_on=date(job.starts_on.year, 1, 1), horizon_days=365 + A_WINTER_ON)
    weather = climates.read_weather(moved)
    lacking = 0
    if lacking_rain_is_dry:
        begins = climates.SPIN_UP_DAYS * 24
        lacking = int(np.isnan(weather.rain_mm[begins : begins + 8760]).sum())
        weather = replace(weather, rain_mm=np.nan_to_num(weather.rain_mm, nan=0.0))
    rows = legal_start_hours(moved, climates.climate_stage(moved, weather), placing_h)
    whole = tuple(r for r in rows if r.month.startswith(f"{job.starts_on.year}-"))
    return Year(
        origin=weather.origin,
        year=job.starts_on.year,
        placing_h=placing_h,
        rows=whole,
        rain_taken_dry_h=lacking,
    )


def _moved(job: Job, file: Path, zone: str) -> Job:
    try:
        ZoneInfo(zone)
    except (ValueError, ZoneInfoNotFoundError, IsADirectoryError):
        raise InputError(
            f"{zone!r} is no time zone.", where="--zone", do="Write it as America/Chicago."
        ) from None
    series = files.read_weather(file, "")
    if series.latitude_deg is None or series.longitude_deg is None:
        raise InputError(
            f"{file.name} does not say where it was measured.", where="--file",
            do="Give an EPW or TMY3 file; both name their place.",
        )  # fmt: skip
    place = replace(
        job.place, latitude_deg=series.latitude_deg, longitude_deg=series.longitude_deg,
        time_zone=zone,
    )  # fmt: skip
    return replace(job, place=place, weather=WeatherRef(file=file, kind=TYPICAL_YEAR, format=""))


def document(year: Year) -> dict[str, Any]:
    """The year for ``--json``."""
    return {
        "origin": year.origin,
        "year": year.year,
        "placing_h": year.placing_h,
        "rain_taken_dry_h": year.rain_taken_dry_h,
        "legal_hours": list(year.rows),
    }


def lines(year: Year) -> tuple[list[str], list[list[str]]]:
    """Heading and rows: one row for each surface and coat, one column for each month.

    Hours of GO and MEASURE together, whole hours rounded down; where there are none,
    what stands in the way. Coats that fare alike share a row.
    """
    cells: dict[tuple[str, str, str], list[str]] = {}
    for r in year.rows:
        open_h = r.go_h + r.measure_h
        text = f"{int(open_h)}" if open_h >= 1 else "< 1"
        if open_h == 0:
            text = f"0: {held(r.held_by)}"
        cells.setdefault((r.exposure.value, r.build_up_id, r.coat_id), []).append(text)
    alike: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for (exposure, build_up, coat), months in cells.items():
        alike.setdefault((exposure, tuple(months)), []).append(f"{build_up} {coat}")
    rows = [[exposure, ", ".join(who), *months] for (exposure, months), who in alike.items()]
    return ["exposure", "coats", *MONTHS], rows


def held(rule: str) -> str:
    """A rule's name in two or three words."""
    if not rule:
        return ""
    kind, name = rule.removeprefix("climate.").split(".")
    lacking = kind == "unknown" and name not in ("tack_free", "dry_air")
    return say(f"climate.held.{'no_' if lacking else ''}{name}")


def said(year: Year) -> list[str]:
    """What the figures are, and what was taken for granted."""
    out = [say("climate.hours.what", year=year.year, hours=f"{year.placing_h:g}")]
    if year.rain_taken_dry_h:
        out.append(say("climate.hours.no_rain", count=f"{year.rain_taken_dry_h:,}"))
    return out


def text(year: Year) -> str:
    """The year for people."""
    head, rows = lines(year)
    told = "\n".join([year.origin, *said(year)])
    return "\n".join([told, "", table(head, rows), "", say("climate.not_a_verdict")])


def markdown(year: Year) -> str:
    """One year as a section of a page."""
    head, rows = lines(year)
    name, _, months = year.origin.partition("; ")
    out = [f"## {name.partition(': ')[2]}", "", f"Real months, {months}.", *said(year), ""]
    out += ["| " + " | ".join(head) + " |", "|---" * len(head) + "|"]
    out += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join([*out, ""])
