"""``weather fetch``: a forecast from one of two open services, only when asked.

Nothing in Tackfree fetches by itself. A fetch is refused unless ``TACKFREE_FETCH=on``
is set, waits a limited time, keeps a copy for half an hour and names its source.
"""

from __future__ import annotations

import json
import os
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from tackfree import __version__
from tackfree.errors import InputError, Refused, ToolError
from tackfree.intake.weather import read_weather
from tackfree.service.save import write_atomic
from tackfree.service.weather import report
from tackfree.words import Message, say

SERVICES = {"nws": "https://api.weather.gov", "open-meteo": "https://api.open-meteo.com"}
ATTRIBUTION = {
    "nws": "US National Weather Service, public domain",
    "open-meteo": "Weather data by Open-Meteo.com, CC BY 4.0; free for non-commercial use",
}
SWITCH = "TACKFREE_FETCH"
TIMEOUT_S = 10.0
KEEP_S = 1800
LARGEST_BYTES = 5_000_000
HOURLY = (
    "temperature_2m,dew_point_2m,relative_humidity_2m,precipitation,cloud_cover,"
    "wind_speed_10m,surface_pressure,shortwave_radiation,direct_normal_irradiance,"
    "diffuse_radiation"
)


@dataclass(frozen=True, kw_only=True)
class Fetched:
    """A forecast kept as the service sent it, with where and when it came from."""

    file: Path
    service: str
    host: str
    fetched_utc: datetime
    from_copy: bool
    attribution: str
    message: Message
    series: dict[str, Any]


def fetch(
    *,
    latitude_deg: float,
    longitude_deg: float,
    service: str,
    out: Path,
    now: datetime,
    base: str = "",
    timeout_s: float = TIMEOUT_S,
) -> Fetched:
    """The forecast of a place, as a file beside its provenance.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place. [°]
    service : str
        A key of ``SERVICES``.
    out : Path
        Folder for the file and its ``.source.json``.
    now : datetime
        The moment of fetching (aware).
    base : str
        Address of another server of the same form, for a mirror or a test.
    timeout_s : float
        Longest wait for one answer. [s]

    Raises
    ------
    Refused
        If fetching is not switched on.
    InputError
        If the place or the service cannot be.
    ToolError
        If the service does not answer in time, or with something else; nothing is
        written then.
    """
    if os.environ.get(SWITCH) != "on":
        raise Refused(
            InputError(
                "fetching is off.", where="weather fetch", do=f"Set {SWITCH}=on to allow it."
            ).faults
        )
    if service not in SERVICES:
        raise InputError(
            f"{service!r} is no service.", where="--from", do=f"Use {' or '.join(SERVICES)}."
        )
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise InputError(
            f"{latitude_deg:g}°, {longitude_deg:g}° is no place.", do="Latitude first, east +."
        )
    root = (base or SERVICES[service]).rstrip("/")
    host = urlsplit(root).netloc
    name = f"{service}_{latitude_deg:.4f}_{longitude_deg:.4f}.json"
    file, source = out / name, out / f"{name}.source.json"
    kept = _kept(source, file, host, now)
    if kept is None:
        if service == "nws":
            place = f"{root}/points/{latitude_deg:.4f},{longitude_deg:.4f}"
            cell = _json(_get(place, timeout_s), host)
            body = _get(_inside(root, cell, host), timeout_s)
        else:
            body = _get(f"{root}/v1/forecast?{_query(latitude_deg, longitude_deg)}", timeout_s)
        _json(body, host)
        write_atomic(file, body)
        said = {
            "service": service, "host": host, "fetched_utc": now.astimezone(UTC).isoformat(),
            "attribution": ATTRIBUTION[service],
        }  # fmt: skip
        write_atomic(source, (json.dumps(said, indent=1) + "\n").encode())
    when = kept or now
    values: dict[str, Any] = {"host": host, "time": f"{when.astimezone(UTC):%Y-%m-%d %H:%M} UTC"}
    if kept:
        values["minutes"] = KEEP_S // 60
    return Fetched(
        file=file,
        service=service,
        host=host,
        fetched_utc=when,
        from_copy=kept is not None,
        attribution=ATTRIBUTION[service],
        message=Message(id="weather.cached" if kept else "weather.fetched", values=values),
        series=report(read_weather(file)),
    )


def text(found: Fetched) -> str:
    """A fetch for people."""
    lines = [str(found.file), say(found.message), found.attribution]
    return "\n".join(lines + [n["text"] for n in found.series["notes"]])


def _query(latitude_deg: float, longitude_deg: float) -> str:
    return urlencode(
        {
            "latitude": f"{latitude_deg:.4f}", "longitude": f"{longitude_deg:.4f}",
            "hourly": HOURLY, "timeformat": "unixtime", "timezone": "GMT",
            "wind_speed_unit": "ms", "forecast_days": 14, "past_days": 5,
        }
    )  # fmt: skip


def _kept(source: Path, file: Path, host: str, now: datetime) -> datetime | None:
    """When the copy beside was fetched, if it is of this server and young enough."""
    try:
        said = json.loads(source.read_text("utf-8"))
        when = datetime.fromisoformat(said["fetched_utc"])
    except (OSError, ValueError, KeyError):
        return None
    young = 0 <= (now - when).total_seconds() < KEEP_S
    return when if young and said.get("host") == host and file.is_file() else None


def _inside(root: str, cell: Any, host: str) -> str:
    """The grid address that a place's answer names, on the same server only."""
    try:
        path = urlsplit(str(cell["properties"]["forecastGridData"])).path
    except (KeyError, TypeError):
        raise ToolError(f"{host} knows no grid for this place.", do="It covers the US.") from None
    return root + path


def _get(address: str, timeout_s: float) -> bytes:
    host = urlsplit(address).netloc
    asked = urllib.request.Request(
        address, headers={"User-Agent": f"tackfree/{__version__}", "Accept": "application/json"}
    )
    try:
        with urllib.request.urlopen(asked, timeout=timeout_s) as answer:
            body: bytes = answer.read(LARGEST_BYTES + 1)
    except urllib.error.HTTPError as fault:
        raise ToolError(
            f"{host} answered {fault.code}.", do="Try later, or use a file you have."
        ) from fault
    except (urllib.error.URLError, TimeoutError, OSError) as fault:
        raise ToolError(
            f"{host} did not answer within {timeout_s:g} s.",
            do="Try later, or use a file you have.",
        ) from fault
    if len(body) > LARGEST_BYTES:
        raise ToolError(f"{host} sent more than 5 MB.", do="Use a file you have.")
    return body


def _json(body: bytes, host: str) -> Any:
    try:
        return json.loads(body)
    except ValueError:
        raise ToolError(f"{host} sent no JSON.", do="Try later.") from None
