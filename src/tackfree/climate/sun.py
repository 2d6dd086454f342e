"""Where the sun stands, and what that tells about a solar column's clock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

J2000_UTC_S = 946_728_000.0
NIGHT_DEG, NIGHT_SUN_W_M2 = -1.0, 15.0
HORIZON_DEG = -0.833  # upper rim of the sun on the horizon, with refraction


def _declination_and_noon(utc_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Declination [rad], and apparent minus mean sun time [rad]."""
    days = (np.asarray(utc_s, dtype=np.float64) - J2000_UTC_S) / 86400.0
    mean = np.radians((280.460 + 0.9856474 * days) % 360)
    anomaly = np.radians((357.528 + 0.9856003 * days) % 360)
    longitude = mean + np.radians(1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439 - 4e-7 * days)
    declination = np.arcsin(np.sin(tilt) * np.sin(longitude))
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    gap = (mean - ascension + np.pi) % (2 * np.pi) - np.pi
    return declination, gap


def solar_elevation_deg(
    utc_s: FloatArray, *, latitude_deg: float, longitude_deg: float
) -> FloatArray:
    """Height of the sun's centre above the horizon, without refraction.

    Parameters
    ----------
    utc_s : array
        Moments. [Unix s], years 1950 to 2050
    latitude_deg, longitude_deg : float
        Place. [°], north and east positive

    Returns
    -------
    array
        Elevation. [°], good to about 0.02

    Source
    ------
    Published: the Astronomical Almanac's low-precision formulas for the sun.
    """
    declination, gap = _declination_and_noon(utc_s)
    turn = 2 * np.pi * (np.asarray(utc_s, dtype=np.float64) / 86400.0 % 1.0) - np.pi
    hour = turn + gap + np.radians(longitude_deg)
    latitude = np.radians(latitude_deg)
    height = np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    return np.asarray(np.degrees(np.arcsin(np.clip(height, -1, 1))))


def solar_azimuth_deg(
    utc_s: FloatArray, *, latitude_deg: float, longitude_deg: float
) -> FloatArray:
    """Direction of the sun, clockwise from north. [°]

    Source
    ------
    Published: as :func:`solar_elevation_deg`.
    """
    declination, gap = _declination_and_noon(utc_s)
    turn = 2 * np.pi * (np.asarray(utc_s, dtype=np.float64) / 86400.0 % 1.0) - np.pi
    hour = turn + gap + np.radians(longitude_deg)
    latitude = np.radians(latitude_deg)
    east = -np.cos(declination) * np.sin(hour)
    north = np.cos(latitude) * np.sin(declination)
    north = north - np.sin(latitude) * np.cos(declination) * np.cos(hour)
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360)


def is_daylight(
    utc_s: FloatArray, *, latitude_deg: float, longitude_deg: float
) -> NDArray[np.bool_]:
    """True between sunrise and sunset.

    Source
    ------
    Published: the almanac's rule, the sun's upper rim on a level horizon.
    """
    height = solar_elevation_deg(utc_s, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    return np.asarray(height >= HORIZON_DEG)


def night_leak(
    edges_utc_s: FloatArray, ghi_w_m2: FloatArray, *, latitude_deg: float, longitude_deg: float
) -> NDArray[np.bool_]:
    """Intervals that report sun although it stays more than 1° under the horizon.

    A whole year has none when its clock is right, about a hundred when it is an
    hour out.

    Parameters
    ----------
    edges_utc_s : array of N+1
        Interval edges. [Unix s]
    ghi_w_m2 : array of N
        Sun on the level. [W/m²]
    """
    height = solar_elevation_deg(
        edges_utc_s, latitude_deg=latitude_deg, longitude_deg=longitude_deg
    )
    night = np.maximum(height[:-1], height[1:]) < NIGHT_DEG
    return np.asarray(night & (ghi_w_m2 > NIGHT_SUN_W_M2))


def solar_lateness_h(
    mid_utc_s: FloatArray, ghi_w_m2: FloatArray, *, longitude_deg: float
) -> float | None:
    """How late a sun column runs: its daily centre of gravity against solar noon.

    Clouds move single days; the median over the sunnier half of the days is steady
    to a few minutes, so a label half an hour out or a wrong time zone shows.

    Parameters
    ----------
    mid_utc_s : array
        Middles of the intervals. [Unix s]
    ghi_w_m2 : array of the same shape
        Sun on the level. [W/m²], NaN where unknown
    longitude_deg : float
        Place, east positive. [°]

    Returns
    -------
    float or None
        Hours late (negative: early); None with fewer than 14 sunny days

    Source
    ------
    Exact, by definition; the idea and its spread were measured on typical years.
    """
    _, gap = _declination_and_noon(mid_utc_s)
    # Hours of apparent solar time since the nearest solar midnight.
    apparent = mid_utc_s / 3600 + longitude_deg / 15 + gap * 12 / np.pi
    day = np.floor(apparent / 24).astype(np.int64)
    hour = apparent - 24 * day
    known = np.isfinite(ghi_w_m2)
    day, hour, sun = day[known] - day.min(initial=0), hour[known], ghi_w_m2[known]
    if not sun.size:
        return None
    day -= day.min()
    total = np.bincount(day, sun)
    # The mean direction on a 24 h dial: a column many hours out has no midnight to wrap at.
    angle = np.pi * hour / 12
    east = np.bincount(day, sun * np.sin(angle))
    north = np.bincount(day, sun * np.cos(angle))
    sunny = total > max(float(np.median(total)), 1000.0)
    if sunny.sum() < 14:
        return None
    late = np.arctan2(east[sunny], north[sunny]) * 12 / np.pi
    return float(np.median((late % 24) - 12))
