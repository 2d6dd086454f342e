"""Open-Meteo JSON: hourly lists beside one list of times."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.clean import HOUR_S, Station, finish
from tackfree.words import Message

# column -> the names it has had
NAMES = {
    "air_c": ("temperature_2m",),
    "dew_c": ("dew_point_2m", "dewpoint_2m"),
    "rh": ("relative_humidity_2m", "relativehumidity_2m"),
    "wind_m_s": ("wind_speed_10m", "windspeed_10m"),
    "cloud": ("cloud_cover", "cloudcover"),
    "ghi_w_m2": ("shortwave_radiation",),
    "dni_w_m2": ("direct_normal_irradiance",),
    "dhi_w_m2": ("diffuse_radiation",),
    "rain_mm": ("precipitation",),
    "pressure_pa": ("surface_pressure",),
}
FACTORS = {
    "°C": 1.0, "%": 0.01, "W/m²": 1.0, "mm": 1.0, "inch": 25.4, "hPa": 100.0,
    "km/h": 1 / 3.6, "m/s": 1.0, "ms": 1.0, "mph": 0.44704, "mp/h": 0.44704, "kn": 1852 / 3600,
}  # fmt: skip
PRECEDING = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2", "rain_mm")


def parse_open_meteo(document: Mapping[str, Any], name: str) -> WeatherSeries:
    """Hourly lists as a series.

    Text times are wall text of one fixed offset for the whole file: the offset is
    taken off and no time zone is looked at, so a 02:00 that the clocks skip is an
    hour like any other. Radiation and rain belong to the hour before their label,
    states to the label itself; both land in the interval that ends there.
    """
    table, said = document["hourly"], document.get("hourly_units", {})
    offset = int(document.get("utc_offset_seconds", 0))
    times = [_utc(t, offset) for t in table["time"]]
    if not times:
        raise InputError("there are no hours.", do="Fetch the forecast again.")
    first = min(times)
    hours = (max(times) - first) // HOUR_S + 1
    rows = (np.array(times) - first) // HOUR_S
    columns = {}
    messages = [Message(id="weather.open_meteo")]
    for column, names in NAMES.items():
        found = next((n for n in names if n in table), None)
        if found is None:
            continue
        out = np.full(hours, np.nan)
        raw = [np.nan if v is None else float(v) for v in table[found]]
        out[rows] = _si(np.array(raw), str(said.get(found, "")), found)
        columns[column] = out
    if "air_c" not in columns:
        raise InputError("there is no temperature_2m.", do="Ask for it when fetching.")
    return finish(
        columns,
        start_utc_s=first - HOUR_S,
        station=Station(
            name="",
            latitude_deg=float(document.get("latitude", np.nan)),
            longitude_deg=float(document.get("longitude", np.nan)),
            utc_offset_s=offset,
        ),
        origin=f"{name}: Open-Meteo.com, CC BY 4.0",
        kind="forecast",
        tags=dict.fromkeys(PRECEDING, "preceding"),
        already=messages,
    )


def _utc(value: Any, offset: int) -> int:
    if isinstance(value, int | float):
        return int(value)  # asked for as unix time: already UTC
    return int(datetime.fromisoformat(value).replace(tzinfo=UTC).timestamp()) - offset


def _si(values: np.ndarray, unit: str, name: str) -> np.ndarray:
    if unit == "°F":
        return np.asarray((values - 32) / 1.8)
    if unit not in FACTORS:
        raise InputError(f"{name} is in {unit!r}, which is not known.", do="Ask for SI units.")
    return np.asarray(values * FACTORS[unit])
