"""Road weather stations: air, dew point, road surface and wind every few minutes."""

from __future__ import annotations

import csv
import re
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.samples import Samples, hourly
from tackfree.words import Message

FloatArray = NDArray[np.float64]

CSV_NAMES = {
    "air_c": "temp_aria", "dew_c": "temp_rugiada", "surface_c": "temp_suolo",
    "wind_m_s": "vento_vel", "rain_mm": "prec_qta",
}  # fmt: skip
XML_NAMES = {"air_c": "at", "dew_c": "td", "surface_c": "st", "wind_m_s": "ws"}
SENSORS = ("air_c", "dew_c", "surface_c", "wind_m_s")
MISSING = 9999.0


def readings(text: str) -> tuple[Samples, int]:
    """Readings with the road surface as ``surface_c``, and how many rows dropped out.

    Times are UTC. A row whose four sensors are all exactly 0 is a station that
    dropped out; in the XML form the marker is 9999.
    """
    if text.lstrip().startswith("<"):
        moments, columns = _xml(text)
    else:
        moments, columns = _csv(text)
    out = np.all([columns[n] == 0 for n in SENSORS], axis=0)
    for column in columns.values():
        column[out] = np.nan
    return Samples(utc_s=moments, columns=columns), int(out.sum())


def parse_road(text: str, name: str) -> WeatherSeries:
    """The station's air as a series; the surface is read by :func:`readings`."""
    samples, dropped = readings(text)
    weather = {n: c for n, c in samples.columns.items() if n != "surface_c"}
    already = [Message(id="weather.dropouts", values={"count": dropped})] if dropped else []
    return hourly(
        Samples(utc_s=samples.utc_s, columns=weather),
        origin=f"{name}: road station",
        already=already,
    )


def _csv(text: str) -> tuple[NDArray[np.int64], dict[str, FloatArray]]:
    rows = list(csv.DictReader(text.splitlines()))
    lacking = [n for n in CSV_NAMES.values() if not rows or n not in rows[0]]
    if lacking:
        raise InputError(f"the columns {', '.join(lacking)} are missing.", do="Check the file.")
    columns = {n: np.array([_number(r[field]) for r in rows]) for n, field in CSV_NAMES.items()}
    return _moments([r["time"] for r in rows]), columns


def _xml(text: str) -> tuple[NDArray[np.int64], dict[str, FloatArray]]:
    # Flat blocks of simple tags; no parser is needed, so no entity is ever expanded.
    blocks = re.findall(r"<measure>(.*?)</measure>", text, re.S)
    rows = [dict(re.findall(r"<([a-z-]+)>([^<]*)</", b)) for b in blocks]
    rows = [r for r in rows if "observation-time" in r]
    columns = {n: np.array([_number(r.get(f, "")) for r in rows]) for n, f in XML_NAMES.items()}
    return _moments([r["observation-time"].replace("Z", "") for r in rows]), columns


def _moments(texts: list[str]) -> NDArray[np.int64]:
    stamps = [datetime.fromisoformat(t).replace(tzinfo=UTC).timestamp() for t in texts]
    return np.array(stamps, dtype=np.int64)


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return np.nan
    return np.nan if value == MISSING else value
