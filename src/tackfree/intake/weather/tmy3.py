"""TMY3: hourly typical years in local standard time, 01:00 to 24:00 ending."""

from __future__ import annotations

import csv
from datetime import UTC, datetime

import numpy as np

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.clean import Station, check_order, finish, number, years_message

MISSING = (-9900.0, -9999.0)
# column -> (name in the second line, factor to SI)
FIELDS = {
    "air_c": ("Dry-bulb (C)", 1.0),
    "dew_c": ("Dew-point (C)", 1.0),
    "rh": ("RHum (%)", 0.01),
    "pressure_pa": ("Pressure (mbar)", 100.0),
    "ghi_w_m2": ("GHI (W/m^2)", 1.0),
    "dni_w_m2": ("DNI (W/m^2)", 1.0),
    "dhi_w_m2": ("DHI (W/m^2)", 1.0),
    "wind_m_s": ("Wspd (m/s)", 1.0),
    "cloud": ("OpqCld (tenths)", 0.1),
    # The head says mm, the rows hold 3, 5, 8, 10, 13 …: hundredths of an inch in 0.1 mm.
    "rain_mm": ("Lprecip depth (mm)", 0.1),
}


def parse_tmy3(text: str, name: str) -> WeatherSeries:
    """A TMY3 file's text as a series.

    A row ``24:00`` ends at the next day's midnight; files that write it as
    ``00:00`` of the next day mean the same.

    Source
    ------
    Published: Wilcox and Marion, Users Manual for TMY3 Data Sets,
    NREL/TP-581-43156 (2008).
    """
    rows = list(csv.reader(text.splitlines()))
    if len(rows) < 3 or len(rows[0]) < 7:
        raise InputError("this is not a TMY3 file: it lacks its two head lines.", do="Check it.")
    head, names, body = rows[0], [n.strip() for n in rows[1]], [r for r in rows[2:] if r]
    lacking = [n for n, _ in FIELDS.values() if n not in names and n != "Lprecip depth (mm)"]
    if lacking:
        raise InputError(f"the columns {', '.join(lacking)} are missing.", do="Use a TMY3 file.")
    station = Station(
        name=head[1].strip(),
        latitude_deg=number(head[4]),
        longitude_deg=number(head[5]),
        utc_offset_s=round(number(head[3]) * 3600),
    )
    stamps, years = _stamps(body)
    check_order(stamps, 3)
    columns = {}
    for column, (field, factor) in FIELDS.items():
        if field in names:
            i = names.index(field)
            values = [number(r[i], MISSING) if i < len(r) else np.nan for r in body]
            columns[column] = np.array(values) * factor
    first = datetime(years[0], 1, 1, tzinfo=UTC)
    taken = years_message(years, [s[0] for s in stamps])
    return finish(
        columns,
        start_utc_s=int(first.timestamp()) - station.utc_offset_s,
        station=station,
        origin=f"{name}: {station.name}, TMY3; month:year {taken}",
    )


def _stamps(body: list[list[str]]) -> tuple[list[tuple[int, int, int]], list[int]]:
    """Month, day and ending hour 1-24 of each row, and its year."""
    stamps: list[tuple[int, int, int]] = []
    years: list[int] = []
    for i, row in enumerate(body):
        try:
            month, day, year = (int(p) for p in row[0].split("/"))
            hour = int(row[1].split(":")[0])
        except (ValueError, IndexError):
            raise InputError(
                f"row {3 + i} begins with {','.join(row[:2])!r}; expected MM/DD/YYYY,HH:MM.",
                do="Use the file as it was published.",
            ) from None
        if hour == 0 and stamps:  # midnight written as the next day's beginning
            month, day, hour = stamps[-1][0], stamps[-1][1], 24
            year = years[-1]
        stamps.append((month, day, hour))
        years.append(year)
    return stamps, years
