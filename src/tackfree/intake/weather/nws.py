"""The open forecast of the US weather service: layers of a grid cell, or hourly periods."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.clean import HOUR_S, Station, finish
from tackfree.words import Message

FloatArray = NDArray[np.float64]

M_S = {"km_h-1": 1 / 3.6, "m_s-1": 1.0, "kt": 1852 / 3600, "mi_h-1": 0.44704}
LAYERS = {
    "air_c": "temperature",
    "dew_c": "dewpoint",
    "rh": "relativeHumidity",
    "wind_m_s": "windSpeed",
    "cloud": "skyCover",
    "rain_mm": "quantitativePrecipitation",
}
SUMS = ("rain_mm",)
RAIN_LIKELY, RAIN_NONE = 50.0, 0.0  # chance in %: wet from, dry at; between, unknown
_DURATION = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?$")


def duration_s(text: str) -> int:
    """Seconds of an ISO 8601 duration of days, hours, minutes and seconds.

    Raises
    ------
    InputError
        If the text is none.
    """
    found = _DURATION.match(text)
    if not found or not any(found.groups()):
        raise InputError(f"{text!r} is no duration.", do="Use the file as it was served.")
    days, hours, minutes, seconds = (int(g or 0) for g in found.groups())
    return ((days * 24 + hours) * 60 + minutes) * 60 + seconds


def parse_gridpoint(document: Mapping[str, Any], name: str) -> WeatherSeries:
    """Layers of one grid cell: values by start and duration, each in its own unit.

    A value of state holds through its run, hour by hour; an amount of rain is the
    sum of its run and is spread evenly over it. Each layer ends where it ends:
    hours after that are unknown. There is no sun; ``climate.sky`` builds it from
    cloud.
    """
    layers = document["properties"]
    runs = {c: list(_runs(layers.get(layer, {}), c)) for c, layer in LAYERS.items()}
    every = [r for rows in runs.values() for r in rows]
    if not every or not runs["air_c"]:
        raise InputError("there is no layer of temperature.", do="Fetch the grid data again.")
    first = min(b for b, _, _ in every) // HOUR_S * HOUR_S - HOUR_S
    last = -(-max(e for _, e, _ in every) // HOUR_S) * HOUR_S
    hours = (last - first) // HOUR_S
    columns = {}
    for column, rows in runs.items():
        out = np.full(hours, np.nan)
        for begin, end, value in rows:
            span = np.arange(begin, end, HOUR_S)
            if column in SUMS:
                out[(span - first) // HOUR_S] = value * HOUR_S / (end - begin)
            else:  # the value of 12:00 is the state at the end of 11:00 to 12:00
                out[(span - first) // HOUR_S - 1] = value
        columns[column] = out
    longitude, latitude = _middle(document.get("geometry"))
    return finish(
        columns,
        start_utc_s=first,
        station=Station(name="", latitude_deg=latitude, longitude_deg=longitude, utc_offset_s=0),
        origin=f"{name}: US National Weather Service, grid forecast",
        kind="forecast",
        issued_utc_s=_stamp(layers.get("updateTime")),
    )


def _runs(layer: Mapping[str, Any], column: str) -> list[tuple[int, int, float]]:
    unit = str(layer.get("uom", "")).rpartition(":")[2]
    out = []
    for row in layer.get("values", ()):
        start, _, length = str(row["validTime"]).partition("/")
        begin = int(datetime.fromisoformat(start).timestamp())
        value = row["value"]
        if value is not None:
            end = begin + duration_s(length)
            out.append((begin, end, _si(float(value), unit, column)))
    return out


def _si(value: float, unit: str, column: str) -> float:
    if unit in ("degC", "mm", "W_m-2"):
        return value
    if unit == "degF":
        return (value - 32) / 1.8
    if unit == "percent":
        return value / 100
    if unit in M_S:
        return value * M_S[unit]
    raise InputError(f"{column} is in {unit!r}, which is not known.", do="Fetch the data again.")


def parse_hourly(document: Mapping[str, Any], name: str) -> WeatherSeries:
    """Hourly periods: temperature in whole °F, dew point in °C, wind in words.

    Times carry their offset, so that the two 01:00 of a November night stay two
    hours. There is no amount of rain, only a chance: none is dry, from 50 % on it
    is wet, anything between is unknown.
    """
    rows: dict[int, Mapping[str, Any]] = {}
    for period in document["properties"]["periods"]:
        rows[int(datetime.fromisoformat(period["startTime"]).timestamp())] = period
    if not rows:
        raise InputError("there are no periods.", do="Fetch the forecast again.")
    first = min(rows) - HOUR_S  # a period's temperature is the state at its start
    hours = (max(rows) - first) // HOUR_S + 1
    columns = {n: np.full(hours, np.nan) for n in ("air_c", "dew_c", "rh", "wind_m_s", "rain_mm")}
    high = np.full(hours, np.nan)
    wet = np.zeros(hours, dtype=np.bool_)
    for begin, period in rows.items():
        at = (begin - first) // HOUR_S - 1
        columns["air_c"][at] = _quantity(period.get("temperature"), period.get("temperatureUnit"))
        columns["dew_c"][at] = _quantity(period.get("dewpoint"))
        columns["rh"][at] = _quantity(period.get("relativeHumidity"))
        columns["wind_m_s"][at], high[at] = wind_range_m_s(period.get("windSpeed"))
        chance = 100 * _quantity(period.get("probabilityOfPrecipitation"))
        inside = (begin - first) // HOUR_S
        if inside < hours:
            wet[inside] = chance >= RAIN_LIKELY
            columns["rain_mm"][inside] = 0.0 if chance <= RAIN_NONE else np.nan
    longitude, latitude = _middle(document.get("geometry"))
    return finish(
        columns,
        start_utc_s=first,
        station=Station(name="", latitude_deg=latitude, longitude_deg=longitude, utc_offset_s=0),
        origin=f"{name}: US National Weather Service, hourly forecast",
        kind="forecast",
        issued_utc_s=_stamp(document["properties"].get("updateTime")),
        already=(Message(id="weather.chance_only", values={"percent": RAIN_LIKELY}),),
        wet=wet,
        wind_high_m_s=high,
    )


def _quantity(value: Any, unit: str | None = None) -> float:
    """A bare number with its unit beside it, or an object that carries its own."""
    if isinstance(value, Mapping):
        unit = str(value.get("unitCode", "")).rpartition(":")[2]
        value = value.get("value")
    if value is None:
        return float("nan")
    spelled = {"F": "degF", "C": "degC"}.get(unit or "", unit or "")
    return _si(float(value), spelled, "a value")


def wind_range_m_s(value: Any) -> tuple[float, float]:
    """Lower and upper end of a wind told as "15 mph", "10 to 15 mph" or an object."""
    if value is None:
        return float("nan"), float("nan")
    if isinstance(value, Mapping):
        speed = _quantity(value)
        return speed, speed
    numbers = [float(n) for n in re.findall(r"\d+(?:\.\d+)?", str(value))]
    unit = re.sub(r"[\d.\s]|to", "", str(value))
    factor = {"mph": 0.44704, "km/h": 1 / 3.6, "kmh": 1 / 3.6, "kt": 1852 / 3600, "m/s": 1.0}
    if not numbers or unit not in factor:
        return float("nan"), float("nan")
    return numbers[0] * factor[unit], numbers[-1] * factor[unit]


def _middle(geometry: Any) -> tuple[float, float]:
    try:
        ring = np.array(geometry["coordinates"][0], dtype=np.float64)[:, :2]
    except (TypeError, KeyError, IndexError, ValueError):
        return float("nan"), float("nan")
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    return float(middle[0]), float(middle[1])


def _stamp(text: Any) -> int | None:
    return None if not text else int(datetime.fromisoformat(str(text)).timestamp())
