"""Weather files in: one series, in SI and UTC, with its doubts."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError, NotFound
from tackfree.intake.weather.epw import parse_epw
from tackfree.intake.weather.logger import Mapping, parse_logger
from tackfree.intake.weather.metar import parse_metar
from tackfree.intake.weather.nws import parse_gridpoint, parse_hourly
from tackfree.intake.weather.open_meteo import parse_open_meteo
from tackfree.intake.weather.roadstation import parse_road
from tackfree.intake.weather.tmy3 import parse_tmy3

TEXT: dict[str, Callable[[str, str], WeatherSeries]] = {
    "epw": parse_epw,
    "tmy3": parse_tmy3,
    "metar": parse_metar,
    "road-station": parse_road,
}
JSON: dict[str, Callable[[dict[str, Any], str], WeatherSeries]] = {
    "nws-gridpoint": parse_gridpoint,
    "nws-hourly": parse_hourly,
    "open-meteo": parse_open_meteo,
}
FORMATS = (*TEXT, *JSON, "logger")


def read_weather(path: Path, format: str = "", mapping: Mapping | None = None) -> WeatherSeries:
    """A weather file as one series.

    Parameters
    ----------
    path : Path
        The file; ``.gz`` is opened too.
    format : str
        One of ``FORMATS``; empty is told from the content.
    mapping : Mapping, optional
        What the columns of a logger's table are. Without it, a file of the same
        name with ``.map.toml`` added is used where there is one.

    Returns
    -------
    WeatherSeries
        Hourly, in file order, from the first row's own date. A typical year is put
        on real dates by ``climate.typical.lay_typical``.

    Raises
    ------
    NotFound
        If there is no such file.
    InputError
        If the format is unknown or the file is not what it should be.
    """
    if not path.is_file():
        raise NotFound(
            "there is no such weather file.", where=path.name, do="Check the name in job.toml."
        )
    raw = path.read_bytes()
    if raw[:2] == b"\x1f\x8b":
        raw = gzip.decompress(raw)
    names = path.name.lower().removesuffix(".gz")
    kind = format or ("epw" if names.endswith(".epw") else sniff(_text(raw)))
    if kind not in FORMATS:
        raise InputError(
            f"weather format {kind!r} is not read.",
            where=path.name,
            do=f"Use one of: {', '.join(sorted(FORMATS))}.",
        )
    if kind == "logger" and mapping is None:
        beside = path.with_name(path.name + ".map.toml")
        mapping = Mapping.read(beside.read_text("utf-8"), beside.name) if beside.exists() else None
    series = _parsed(raw, kind, path.name, mapping)
    return series if series.issued_utc_s is not None else _dated(series, path)


def _dated(series: WeatherSeries, path: Path) -> WeatherSeries:
    """A forecast without its own date takes the moment it was fetched, if kept beside it."""
    try:
        said = json.loads(path.with_name(path.name + ".source.json").read_text("utf-8"))
        when = datetime.fromisoformat(said["fetched_utc"])
    except (OSError, ValueError, KeyError):
        return series
    return replace(series, issued_utc_s=int(when.timestamp()))


def _parsed(raw: bytes, kind: str, name: str, mapping: Mapping | None) -> WeatherSeries:
    try:
        if kind == "logger":
            return parse_logger(_text(raw), name, mapping)
        if kind in JSON:
            return JSON[kind](json.loads(_text(raw)), name)
        text = raw.decode("latin-1") if kind in ("epw", "tmy3") else _text(raw)
        return TEXT[kind](text, name)
    except InputError as fault:
        if fault.where:
            raise
        raise InputError(fault.what, where=name, do=fault.do) from fault
    except (KeyError, TypeError, AttributeError) as fault:
        raise InputError(
            f"a part is missing or not what it should be ({fault}).",
            where=name,
            do=f"Is it {kind}? Use the file as it was published.",
        ) from fault
    except (ValueError, IndexError) as fault:
        raise InputError(
            f"a field is not the number it should be ({fault}).",
            where=name,
            do="Use the file as it was published.",
        ) from fault


def sniff(text: str) -> str:
    """The format of a weather file, told from its content."""
    start = text.lstrip("\ufeff \n\r")
    if start.startswith("LOCATION,"):
        return "epw"
    if start.startswith("{"):
        return _sniff_json(start)
    if start.startswith("<") and "<measure>" in start:
        return "road-station"
    lines = [x for x in start.splitlines()[:12] if not x.startswith("#")]
    head = "\n".join(lines[:2])
    if "Date (MM/DD/YYYY)" in head:
        return "tmy3"
    if "temp_suolo" in head:
        return "road-station"
    if "valid" in head and ("metar" in head or "tmpf" in head):
        return "metar"
    return "logger"


def _sniff_json(text: str) -> str:
    try:
        document = json.loads(text)
    except ValueError as fault:
        raise InputError(f"this is no whole JSON ({fault}).", do="Fetch it again.") from fault
    if "hourly" in document:
        return "open-meteo"
    if "periods" in document.get("properties", {}):
        return "nws-hourly"
    return "nws-gridpoint"


def _text(raw: bytes) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")
