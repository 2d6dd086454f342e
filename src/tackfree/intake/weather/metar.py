"""Airport reports: tables of METARs with or without decoded columns."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import numpy as np

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.samples import Samples, hourly
from tackfree.words import Message

KNOT_M_S = 1852 / 3600
INCH_MM, INHG_PA = 25.4, 3386.389
OKTAS = {"CLR": 0, "SKC": 0, "NSC": 0, "NCD": 0, "CAVOK": 0, "FEW": 2, "SCT": 4, "BKN": 6, "OVC": 8}
_TENTHS = re.compile(r"\bT([01])(\d{3})(?:([01])(\d{3}))?\b")
_BODY = re.compile(r"\s(M?\d{2})/(M?\d{2}|//|XX|M)?(?=\s|$)")
_WIND = re.compile(r"\b(?:\d{3}|VRB)(\d{2,3})(?:G\d{2,3})?(KT|MPS)\b")
_RAIN = re.compile(r"(?:^|\s)[-+]?(?:VC)?(?:SH|TS|FZ|DR|BL|MI|PR|BC)*(?:RA|DZ|SN|SG|PL|GR|GS|UP)+")
_SKY = re.compile(r"\b(CLR|SKC|NSC|NCD|CAVOK|FEW|SCT|BKN|OVC)")
_HOUR_RAIN = re.compile(r"\bP(\d{4})\b")


def body_temps_c(report: str) -> tuple[float, float]:
    """Air and dew point of a METAR; NaN where it gives none.

    The remark in tenths (T-group) is preferred to the body, which is rounded to
    whole degrees.

    Source
    ------
    Published: Federal Meteorological Handbook No. 1, chapters 12.6.10 and 12.7.2.
    """
    body, _, remarks = report.partition(" RMK ")
    tenths = _TENTHS.search(remarks)
    if tenths:
        return _tenths(tenths[1], tenths[2]), _tenths(tenths[3], tenths[4])
    found = _BODY.search(body)
    if not found:
        return np.nan, np.nan
    return _whole(found[1]), _whole(found[2])


def _tenths(sign: str | None, digits: str | None) -> float:
    if sign is None or digits is None:
        return np.nan
    return (-1 if sign == "1" else 1) * int(digits) / 10


def _whole(text: str | None) -> float:
    if not text or not re.fullmatch(r"M?\d{2}", text):
        return np.nan
    return -float(text[1:]) if text[0] == "M" else float(text)


def parse_metar(text: str, name: str) -> WeatherSeries:
    """A tab- or comma-separated table with ``valid`` in UTC and decoded columns or ``metar``.

    ``M`` is missing and ``T`` a trace: wet, without an amount. Rain in the
    weather groups is wet as well. An hour without a report is unknown.
    """
    lines = [x for x in text.splitlines() if x.strip() and not x.startswith("#")]
    mark = "\t" if "\t" in lines[0] else ","
    head = [h.strip() for h in lines[0].split(mark)]
    if "valid" not in head:
        raise InputError("there is no column 'valid'.", do="Ask the archive for it, in UTC.")
    rows = [dict(zip(head, (v.strip() for v in x.split(mark)), strict=False)) for x in lines[1:]]
    moments = [datetime.fromisoformat(r["valid"]).replace(tzinfo=UTC).timestamp() for r in rows]
    table = [_row(r) for r in rows]
    columns = {n: np.array([t[n] for t in table]) for n in table[0] if n != "wet"}
    missing = int(np.isnan(columns["air_c"]).sum())
    already = [Message(id="weather.missing_air", values={"count": missing})] if missing else []
    stations = sorted({r.get("station", "") for r in rows})
    if len(stations) > 1:
        raise InputError(
            f"the file holds {len(stations)} stations ({', '.join(stations[:4])}).",
            do="Ask the archive for one station at a time.",
        )
    return hourly(
        Samples(
            utc_s=np.array(moments, dtype=np.int64),
            columns=columns,
            wet=np.array([bool(t["wet"]) for t in table]),
        ),
        origin=f"{name}: airport reports of {stations[0]}",
        running_rain=True,
        already=already,
    )


def _row(row: dict[str, str]) -> dict[str, float]:
    report = row.get("metar", "")
    body, _, remarks = report.partition(" RMK ")
    if "tmpf" in row:
        air, dew = (_f(row.get(n)) for n in ("tmpf", "dwpf"))
    else:
        air, dew = body_temps_c(report)
    out = {
        "air_c": air,
        "dew_c": dew,
        "rh": _number(row.get("relh")) / 100,
        "wind_m_s": _number(row.get("sknt")) * KNOT_M_S if "sknt" in row else _wind(body),
        "pressure_pa": _number(row.get("alti")) * INHG_PA,
    }
    sky = [row[n] for n in ("skyc1", "skyc2", "skyc3", "skyc4") if row.get(n) in OKTAS]
    sky = sky or _SKY.findall(body)
    out["cloud"] = max((OKTAS[s] for s in sky), default=np.nan) / 8
    weather = row.get("wxcodes", "") if "wxcodes" in row else " ".join(body.split()[2:])
    told = weather not in ("", "M")
    out["wet"] = float(bool(told and _RAIN.search(weather)) or row.get("p01i") == "T")
    if "p01i" in row:
        out["rain_mm"] = 0.0 if row["p01i"] == "T" else _number(row["p01i"]) * INCH_MM
    else:
        out["rain_mm"] = _rain_of(remarks, bool(out["wet"]))
    return out


def _rain_of(remarks: str, wet: bool) -> float:
    """Hourly amount of the remarks; a gauge that works and reports none is dry."""
    found = _HOUR_RAIN.search(remarks)
    if found:
        return int(found[1]) / 100 * INCH_MM
    working = "AO2" in remarks and "PNO" not in remarks
    return 0.0 if working and not wet else np.nan


def _number(text: str | None) -> float:
    try:
        return float(text or "")
    except ValueError:
        return np.nan


def _f(text: str | None) -> float:
    return (_number(text) - 32) / 1.8


def _wind(body: str) -> float:
    found = _WIND.search(body)
    return np.nan if not found else int(found[1]) * (KNOT_M_S if found[2] == "KT" else 1.0)
