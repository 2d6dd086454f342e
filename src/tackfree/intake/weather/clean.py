"""From raw columns to a series: gaps, doubtful values and the sun's clock."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.air import dew_point_c, rh_from_dew
from tackfree.climate.sun import night_leak, solar_lateness_h
from tackfree.climate.types import WeatherSeries
from tackfree.climate.typical import COLUMNS, TYPICAL_YEAR
from tackfree.errors import InputError
from tackfree.words import Message, say

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

HOUR_S = 3600
FILL_UP_TO_H = 2
FILLED = ("air_c", "dew_c", "rh", "wind_m_s", "ghi_w_m2", "cloud", "pressure_pa")
LATE_NOTE_H, LATE_REFUSE_H = 0.35, 0.75
DEW_ROUNDING_K = 1 / 1.8
DEW_APART_K, APART_SHARE = 5 / 1.8, 0.001
LEAK_REFUSE, LEAK_W_M2 = 5, 100.0


@dataclass(frozen=True, kw_only=True)
class Station:
    """What a file's head says about its place."""

    name: str
    latitude_deg: float
    longitude_deg: float
    utc_offset_s: int


def number(text: str, missing: Sequence[float] = ()) -> float:
    """A field as a float; blank, unreadable or a marker of the format is NaN."""
    try:
        value = float(text)
    except ValueError:
        return float("nan")
    return float("nan") if value in missing else value


def check_order(stamps: Sequence[tuple[int, int, int]], first_row: int) -> None:
    """Month, day and ending hour of every row must run through one whole year.

    Years are not looked at: a typical year joins months of different years.

    Raises
    ------
    InputError
        If rows are missing, doubled or out of order.
    """
    if len(stamps) not in (8760, 8784):
        raise InputError(
            f"there are {len(stamps):,} hourly rows; a whole year has 8,760 or 8,784.",
            do="Use the file as it was published.",
        )
    year = "2001" if len(stamps) == 8760 else "2004"
    hours = np.datetime64(f"{year}-01-01T00", "h") + np.arange(len(stamps))
    for i, (stamp, begins) in enumerate(zip(stamps, hours.tolist(), strict=True)):
        if stamp != (begins.month, begins.day, begins.hour + 1):
            raise InputError(
                f"row {first_row + i} is month {stamp[0]}, day {stamp[1]}, hour {stamp[2]}; "
                f"expected month {begins.month}, day {begins.day}, hour {begins.hour + 1}.",
                do="Rows must stay in the file's own order, every hour once; do not sort by year.",
            )


def finish(
    columns: Mapping[str, FloatArray],
    *,
    start_utc_s: int,
    station: Station,
    origin: str,
    kind: str = TYPICAL_YEAR,
    tags: Mapping[str, str] | None = None,
    already: Sequence[Message] = (),
    wet: BoolArray | None = None,
    wind_high_m_s: FloatArray | None = None,
    issued_utc_s: int | None = None,
) -> WeatherSeries:
    """An hourly series from raw columns, with what was filled, dropped or doubted.

    Gaps up to two hours are bridged in a straight line, rain never; longer ones
    stay unknown. A dew point above the air by no more than 1 °F is rounding and is
    taken down; more of it in over 2 % of the rows means a wrong column.

    Raises
    ------
    InputError
        If dew point and air do not belong together, the sun runs 45 min or more off
        its clock, or shines at night.
    """
    size = len(columns["air_c"])
    data = {n: columns.get(n, np.full(size, np.nan)).astype(np.float64) for n in COLUMNS}
    messages: list[Message] = list(already)

    def say_count(id_: str, count: int) -> None:
        if count:
            messages.append(Message(id=f"weather.{id_}", values={"count": count}))

    _humidity(data, say_count)
    filled = 0
    for name in FILLED:
        data[name], count = bridge(data[name], FILL_UP_TO_H)
        filled += count
    say_count("filled", filled)
    for name in (*FILLED[:6], "rain_mm"):
        say_count(f"unknown.{name}", int((~np.isfinite(data[name])).sum()))
    messages += _sun_clock(data["ghi_w_m2"], start_utc_s, station)
    typical = kind == TYPICAL_YEAR
    return WeatherSeries(
        start_utc_s=start_utc_s,
        step_s=HOUR_S,
        **data,
        tags={n: "mean" if n.endswith("_w_m2") else "instant" for n in COLUMNS}
        | {"rain_mm": "sum"}
        | dict(tags or {}),
        kind=kind,
        origin=origin,
        notes=tuple(say(m) for m in messages),
        messages=tuple(messages),
        utc_offset_s=station.utc_offset_s if typical else None,
        wet=wet,
        wind_high_m_s=wind_high_m_s,
        issued_utc_s=issued_utc_s,
        latitude_deg=station.latitude_deg if np.isfinite(station.latitude_deg) else None,
        longitude_deg=station.longitude_deg if np.isfinite(station.longitude_deg) else None,
    )


def _humidity(data: dict[str, FloatArray], say_count: Callable[[str, int], None]) -> None:
    """Humidity and dew point made to agree, each worked out where it is missing."""
    size = len(data["air_c"])
    say_count("humidity_zero", int((data["rh"] <= 0).sum()))
    data["rh"][data["rh"] <= 0] = np.nan
    say_count("humidity_over", int((data["rh"] > 1).sum()))
    data["rh"] = np.minimum(data["rh"], 1.0)
    over = data["dew_c"] - data["air_c"]
    wrong = int((over > DEW_ROUNDING_K).sum())
    if wrong > 0.02 * size:
        raise InputError(
            f"the dew point is above the air temperature in {wrong} rows.",
            do="Two columns look swapped, or one is in another unit.",
        )
    say_count("dew_clipped", int(((over > 0) & (over <= DEW_ROUNDING_K)).sum()))
    say_count("dew_dropped", wrong)
    data["dew_c"] = np.where(
        over > DEW_ROUNDING_K, np.nan, np.where(over > 0, data["air_c"], data["dew_c"])
    )
    from_rh = dew_point_c(data["air_c"], data["rh"])
    apart = int((np.abs(data["dew_c"] - from_rh) > DEW_APART_K).sum())
    say_count("dew_rh_apart", apart if apart > APART_SHARE * size else 0)
    data["dew_c"] = np.where(np.isfinite(data["dew_c"]), data["dew_c"], from_rh)
    data["rh"] = np.where(
        np.isfinite(data["rh"]),
        data["rh"],
        np.minimum(rh_from_dew(data["air_c"], data["dew_c"]), 1.0),
    )


def _sun_clock(ghi: FloatArray, start_utc_s: int, station: Station) -> list[Message]:
    """Whether the sun column stands at noon at noon and is dark at night."""
    if not np.isfinite(station.longitude_deg):
        return []
    said: list[Message] = []
    ends = start_utc_s + HOUR_S * np.arange(len(ghi) + 1, dtype=np.float64)
    late = solar_lateness_h(ends[:-1] + HOUR_S / 2, ghi, longitude_deg=station.longitude_deg)
    if late is not None and abs(late) > LATE_NOTE_H:
        if abs(late) >= LATE_REFUSE_H:
            raise InputError(
                f"the sun column runs {late:+.1f} h off solar noon at longitude "
                f"{station.longitude_deg:g}°.",
                do="The time zone or the place in the file's head is wrong; correct it.",
            )
        said.append(Message(id="weather.sun_late", values={"hours": round(late, 1)}))
    if np.isfinite(station.latitude_deg):
        where = {"latitude_deg": station.latitude_deg, "longitude_deg": station.longitude_deg}
        leaked = night_leak(ends, ghi, **where)
        if int(leaked.sum()) > LEAK_REFUSE or float(np.max(ghi[leaked], initial=0)) > LEAK_W_M2:
            raise InputError(
                f"the sun column shines in {int(leaked.sum())} hour(s) of night at "
                f"{station.latitude_deg:g}°, {station.longitude_deg:g}°.",
                do="The time zone, the place or the hour's label is wrong; correct it.",
            )
        if leaked.any():
            said.append(Message(id="weather.night_leak", values={"count": int(leaked.sum())}))
    return said


def bridge(column: FloatArray, longest: int) -> tuple[FloatArray, int]:
    """Gaps of at most ``longest`` values filled in a straight line, and how many values."""
    gap = ~np.isfinite(column)
    if not gap.any() or gap.all():
        return column, 0
    edge = np.diff(np.concatenate([[False], gap, [False]]).astype(np.int8))
    begins, ends = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)
    out, count = column.copy(), 0
    known = np.flatnonzero(~gap)
    for a, b in zip(begins, ends, strict=True):
        if b - a <= longest and a > 0 and b < len(column):
            out[a:b] = np.interp(np.arange(a, b), known, column[known])
            count += int(b - a)
    return out, count


def years_message(years: Sequence[int], months: Sequence[int]) -> str:
    """Which year each month was taken from, as part of the origin."""
    pairs = dict(zip(months, years, strict=True))
    return ", ".join(f"{m}:{pairs[m]}" for m in sorted(pairs))
