"""Sun and daylight against an almanac and another library."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from tackfree.climate.sun import is_daylight, solar_elevation_deg


@pytest.mark.outside
def test_sunrise_and_sunset(check):
    k = check("slab-sunrise-usno")
    i, e = k["inputs"], k["expected"]
    for n, day in enumerate(i["date"]):
        midnight = datetime.combine(date.fromisoformat(day), datetime.min.time(), UTC)
        start = (midnight + timedelta(hours=7)).timestamp()  # MST
        minutes = start + 60.0 * np.arange(1440)
        bright = is_daylight(
            minutes, latitude_deg=i["latitude_deg"], longitude_deg=i["longitude_deg"]
        )
        rise, fall = np.flatnonzero(bright)[[0, -1]]
        assert rise == pytest.approx(e["sunrise_minutes_after_midnight_MST"][n], abs=2)
        assert fall == pytest.approx(e["sunset_minutes_after_midnight_MST"][n], abs=2)


@pytest.mark.outside
def test_sun_position_in_golden(check):
    k = check("slab-spa-golden")
    i = k["inputs"]
    when = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC).timestamp()
    got = solar_elevation_deg(
        np.array([when]), latitude_deg=i["latitude_deg"], longitude_deg=i["longitude_deg"]
    )
    # the published zenith includes refraction of about 0.015° there
    assert 90 - got[0] == pytest.approx(k["expected"]["topocentric_zenith_deg"], abs=0.05)
