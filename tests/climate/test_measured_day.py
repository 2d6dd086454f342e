"""One measured day of a road in the Alps: a regression, not a proof."""

from __future__ import annotations

import csv
from datetime import UTC, datetime

import numpy as np
import pytest

from tackfree.climate.slab import SlabCase, slab_trace
from tackfree.climate.types import WeatherSeries

LATITUDE, LONGITUDE = 46.992339, 11.499239
DAYS = 5  # the day repeated, so that the ground below has settled


def hourly(shared):
    """Hour ends 0 to 23 UTC: air, dew, surface and wind, straight between readings."""
    path = shared / "weather" / "roadstation_brenner101_2024-08-27_5min.csv"
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    names = ("temp_aria", "temp_rugiada", "temp_suolo", "vento_vel")
    # one row is all noughts: the station dropped out
    rows = [r for r in rows if any(float(r[n]) != 0 for n in names)]
    stamp = np.array([datetime.fromisoformat(r["time"] + "+00:00").timestamp() for r in rows])
    midnight = datetime(2024, 8, 27, tzinfo=UTC).timestamp()
    hour = (stamp - midnight) / 3600 % 24
    order = np.argsort(hour)
    ends = np.arange(1, 25) % 24
    return {
        n: np.interp(ends, hour[order], np.array([float(r[n]) for r in rows])[order], period=24)
        for n in names
    }


def clear_sky(shared):
    """Sun on the level by hour, zero behind the measured horizon."""
    solarposition = pytest.importorskip("pvlib.solarposition")
    import pandas as pd

    start = datetime(2024, 8, 27, tzinfo=UTC)
    when = pd.date_range(start, periods=24 * 12, freq="5min") + pd.Timedelta(minutes=2.5)
    sun = solarposition.get_solarposition(when, LATITUDE, LONGITUDE)
    path = shared / "weather" / "roadstation_brenner101_horizon.csv"
    lines = [x for x in path.read_text("utf-8").splitlines() if x[:1].isdigit()]
    azimuth, horizon = np.array([[float(v) for v in x.split(",")] for x in lines]).T
    height = sun["apparent_elevation"].to_numpy()
    seen = height > np.interp(sun["azimuth"].to_numpy(), azimuth, horizon, period=360)
    up = np.sin(np.radians(np.maximum(height, 0.1)))
    # published: Haurwitz, J. Meteor. 2 (1945) 154, cloudless sky, constants as pvlib has them
    ghi = np.where(seen & (height > 0), 1098 * up * np.exp(-0.059 / up), 0.0)
    return ghi.reshape(24, 12).mean(axis=1)


@pytest.mark.outside
def test_a_measured_road_surface(shared):
    day = {n: np.tile(v, DAYS) for n, v in hourly(shared).items()}
    nothing = np.full(24 * DAYS, np.nan)
    weather = WeatherSeries(
        start_utc_s=int(datetime(2024, 8, 23, tzinfo=UTC).timestamp()),
        step_s=3600,
        air_c=day["temp_aria"],
        dew_c=day["temp_rugiada"],
        rh=nothing,
        wind_m_s=day["vento_vel"],
        ghi_w_m2=np.tile(clear_sky(shared), DAYS),
        dni_w_m2=nothing,
        dhi_w_m2=nothing,
        cloud=np.zeros(24 * DAYS),
        rain_mm=nothing,
        pressure_pa=nothing,
        longwave_w_m2=nothing,
    )
    road = SlabCase(
        absorptance=0.75, wind_factor=0.5, thickness_m=0.6096, cells=24,
        bottom="ground", bottom_h_w_m2k=1.5,
    )  # fmt: skip
    error_f = 1.8 * (slab_trace(weather, [road]).surface_c[0, -24:] - day["temp_suolo"][-24:])
    # published: 6.6 °F was reached for this day with the same two factors; the aim is 7
    assert np.sqrt(np.mean(error_f**2)) <= 7.0
    naive_f = 1.8 * (day["temp_aria"] - day["temp_suolo"])[-24:]
    assert np.sqrt(np.mean(error_f**2)) < np.sqrt(np.mean(naive_f**2))
