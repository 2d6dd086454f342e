"""EPW: hourly typical years in local standard time, hour 1 to 24 ending."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.clean import Station, check_order, finish, number, years_message

HEAD_LINES = 8
# column -> (field, counted from 0; factor to SI; marker of a missing value)
FIELDS = {
    "air_c": (6, 1.0, 99.9),
    "dew_c": (7, 1.0, 99.9),
    "rh": (8, 0.01, 999.0),
    "pressure_pa": (9, 1.0, 999999.0),
    "longwave_w_m2": (12, 1.0, 9999.0),
    "ghi_w_m2": (13, 1.0, 9999.0),
    "dni_w_m2": (14, 1.0, 9999.0),
    "dhi_w_m2": (15, 1.0, 9999.0),
    "wind_m_s": (21, 1.0, 999.0),
    "cloud": (23, 0.1, 99.0),
    "rain_mm": (33, 1.0, 999.0),
}


def parse_epw(text: str, name: str) -> WeatherSeries:
    """An EPW file's text as a series.

    Source
    ------
    Published: EnergyPlus Auxiliary Programs, EPW data dictionary (fields, missing
    markers, hour ending). A daylight-saving line in the head changes nothing: the
    rows are in standard time.
    """
    lines = text.splitlines()
    head = lines[0].split(",") if lines else []
    if len(head) < 10 or head[0].strip().upper() != "LOCATION":
        raise InputError(
            "this is not an EPW file: its first line must be LOCATION.", do="Check it."
        )
    station = Station(
        name=head[1].strip(),
        latitude_deg=number(head[6]),
        longitude_deg=number(head[7]),
        utc_offset_s=round(number(head[8]) * 3600),
    )
    rows = [line.split(",") for line in lines[HEAD_LINES:] if line.strip()]
    short = next((i for i, r in enumerate(rows) if len(r) < 24), None)
    if short is not None:
        raise InputError(
            f"row {HEAD_LINES + 1 + short} has {len(rows[short])} fields; at least 24 are needed.",
            do="The file is cut off or not EPW.",
        )
    minutes = {r[4].strip() for r in rows} - {"0", "00", "60"}
    if minutes:
        raise InputError(
            f"minutes {', '.join(sorted(minutes))} are used; only hourly files are read.",
            do="Use the hourly file of the same station.",
        )
    stamps = [(int(r[1]), int(r[2]), int(r[3])) for r in rows]
    check_order(stamps, HEAD_LINES + 1)
    columns = {
        column: np.array([number(r[i], (missing,)) if i < len(r) else np.nan for r in rows])
        * factor
        for column, (i, factor, missing) in FIELDS.items()
    }
    first = datetime(int(rows[0][0]), 1, 1, tzinfo=UTC)
    years = years_message([int(r[0]) for r in rows], [s[0] for s in stamps])
    return finish(
        columns,
        start_utc_s=int(first.timestamp()) - station.utc_offset_s,
        station=station,
        origin=f"{name}: {station.name}, EPW; month:year {years}",
    )
