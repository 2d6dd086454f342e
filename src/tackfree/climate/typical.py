"""Typical years laid on real dates, and spans cut from a series."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.words import Message, say

COLUMNS = tuple(f.name for f in fields(WeatherSeries) if f.type == "FloatArray")
OPTIONAL = ("wet", "wind_high_m_s")
TYPICAL_YEAR = "typical-year"
FORECAST = "forecast"
HOUR_S = 3600


def lay_typical(series: WeatherSeries, *, start_utc_s: int, intervals: int) -> WeatherSeries:
    """A typical year put on real dates, in order and over again as often as needed.

    Each hour takes the row of the same month, day and hour of the file's fixed
    standard time; daylight saving plays no part. A 29 February that the file lacks
    repeats its 28 February; one that the date lacks is passed over.

    Parameters
    ----------
    series : WeatherSeries
        A whole typical year from 1 January, 8,760 or 8,784 hours.
    start_utc_s : int
        First moment wanted, on the hour of the file. [Unix s]
    intervals : int
        Hours wanted.

    Returns
    -------
    WeatherSeries
        The same columns on the new dates.

    Raises
    ------
    InputError
        If the series is not a whole year of hours, or the start is off its hours.

    Source
    ------
    Practice.
    """
    days = len(series) // 24
    if series.step_s != HOUR_S or series.utc_offset_s is None or len(series) not in (8760, 8784):
        raise InputError(
            f"a typical year has 8,760 or 8,784 hours in one standard time, not {len(series):,}.",
            do="Use the file as it was published, or call it measured.",
        )
    if (start_utc_s - series.start_utc_s) % HOUR_S:
        raise InputError(
            f"{_day(start_utc_s)} is not on the hour of the weather file.", do="Start on its hour."
        )
    local = start_utc_s + series.utc_offset_s + HOUR_S * np.arange(intervals, dtype=np.int64)
    rows, repeated = _rows(local, leap_file=days == 366)
    messages = series.messages
    if repeated:
        messages = (*messages, Message(id="weather.leap_day_repeated", values={"count": repeated}))
    laid = {
        name: column[rows]
        for name in (*COLUMNS, *OPTIONAL)
        if (column := getattr(series, name)) is not None
    }
    return replace(
        series,
        start_utc_s=start_utc_s,
        messages=messages,
        notes=tuple(say(m) for m in messages),
        **laid,
    )


def _rows(local_s: NDArray[np.int64], *, leap_file: bool) -> tuple[NDArray[np.int64], int]:
    """Row of the file for each local moment, and how many 29 Februaries were repeated."""
    moment = local_s.astype("datetime64[s]")
    year = moment.astype("datetime64[Y]")
    day = (moment.astype("datetime64[D]") - year.astype("datetime64[D]")).astype(np.int64)
    years = year.astype(np.int64) + 1970
    leap = (years % 4 == 0) & ((years % 100 != 0) | (years % 400 == 0))
    extra = leap & (day == 59)
    if leap_file:
        day = np.where(~leap & (day >= 59), day + 1, day)
        repeated = 0
    else:
        day = np.where(leap & (day >= 59), day - 1, day)
        repeated = len(np.unique(years[extra]))
    return day * 24 + local_s % 86400 // HOUR_S, repeated


def cut(series: WeatherSeries, *, start_utc_s: int, end_utc_s: int) -> WeatherSeries:
    """The part of a measured or forecast series that covers a span of time.

    Raises
    ------
    InputError
        If the weather begins after the span or ends before it; both dates are named.
    """
    last = series.start_utc_s + len(series) * series.step_s
    if series.start_utc_s > start_utc_s:
        raise InputError(
            f"weather begins {_day(series.start_utc_s)}, needed from {_day(start_utc_s)}.",
            do="Add earlier weather: the slab's temperature needs five days to settle.",
        )
    if last < end_utc_s:
        raise InputError(
            f"weather ends {_day(last)}, needed until {_day(end_utc_s)}.",
            do="Shorten the horizon, or give weather that reaches further.",
        )
    first = (start_utc_s - series.start_utc_s) // series.step_s
    stop = -((series.start_utc_s - end_utc_s) // series.step_s)
    part = {
        name: column[first:stop]
        for name in (*COLUMNS, *OPTIONAL)
        if (column := getattr(series, name)) is not None
    }
    return replace(series, start_utc_s=series.start_utc_s + first * series.step_s, **part)


def reach(series: WeatherSeries, *, start_utc_s: int, end_utc_s: int) -> WeatherSeries:
    """A forecast carried to a span it does not cover: what lies outside is unknown.

    Raises
    ------
    InputError
        If not one interval of the forecast lies inside the span.
    """
    first = (start_utc_s - series.start_utc_s) // series.step_s
    count = -((start_utc_s - end_utc_s) // series.step_s)
    start = series.start_utc_s + first * series.step_s
    row = np.arange(count) + first
    inside = (row >= 0) & (row < len(series))
    if not inside.any():
        last = series.start_utc_s + len(series) * series.step_s
        raise InputError(
            f"the forecast runs from {_day(series.start_utc_s)} to {_day(last)}; "
            f"the job needs {_day(start_utc_s)} to {_day(end_utc_s)}.",
            do="Fetch a forecast for the job's own dates, or correct starts_on.",
        )
    at = np.clip(row, 0, len(series) - 1)
    part: dict[str, Any] = {
        name: np.where(inside, getattr(series, name)[at], np.nan) for name in COLUMNS
    }
    if series.wind_high_m_s is not None:
        part["wind_high_m_s"] = np.where(inside, series.wind_high_m_s[at], np.nan)
    if series.wet is not None:
        part["wet"] = inside & series.wet[at]
    return replace(series, start_utc_s=start, **part)


def _day(utc_s: int) -> str:
    return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
