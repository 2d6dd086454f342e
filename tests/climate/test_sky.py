"""Sun from cloud, its parts, and what an opening lets through."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from tackfree.climate.sky import (
    Opening,
    clear_sky_w_m2,
    diffuse_share,
    fill_sun,
    shaded,
    through_cloud,
)
from tackfree.climate.slab import SlabCase, slab_trace
from tackfree.climate.sun import solar_azimuth_deg
from tackfree.climate.typical import lay_typical
from tackfree.errors import InputError
from tackfree.intake.weather import read_weather

PLACE = {"latitude_deg": 36.1, "longitude_deg": -79.95}


@pytest.fixture(scope="module")
def july(shared):
    year = read_weather(shared / "weather" / "tmy3_greensboro_723170.csv.gz")
    start = int(datetime(2027, 7, 1, 5, tzinfo=UTC).timestamp())
    return lay_typical(year, start_utc_s=start, intervals=24 * 31)


@pytest.mark.outside
def test_clear_sky(check):
    k = check("slab-clear-sky")
    got = clear_sky_w_m2(90 - np.array(k["inputs"]["zenith_deg"], float))
    assert got == pytest.approx(k["expected"]["ghi_haurwitz_W_per_m2"], rel=1e-5)
    assert clear_sky_w_m2(np.array([-5.0, 0.0])).tolist() == [0.0, 0.0]


@pytest.mark.outside
def test_azimuth_and_diffuse_share_against_a_library():
    irradiance = pytest.importorskip("pvlib.irradiance")
    position = pytest.importorskip("pvlib.solarposition")
    import pandas as pd

    when = pd.date_range("2027-03-05", periods=40, freq="5h", tz="UTC")
    sun = position.get_solarposition(when, 36.1, -79.95)  # library: pvlib's SPA
    got = solar_azimuth_deg(
        when.tz_localize(None).to_numpy().astype("datetime64[s]").astype(float), **PLACE
    )
    up = sun["elevation"].to_numpy() > 1
    off = (got - sun["azimuth"].to_numpy() + 180) % 360 - 180
    assert np.abs(off[up]).max() < 0.05
    # library: pvlib's Erbs on the same clearness
    zenith, noon = np.full(5, 30.0), 180
    ghi = np.array([100.0, 300.0, 500.0, 800.0, 1000.0])
    parts = irradiance.erbs(ghi, zenith, noon)
    assert diffuse_share(parts["kt"]) * ghi == pytest.approx(parts["dhi"], rel=1e-6)


def test_cloud_only_takes_sun_away():
    share = through_cloud(np.linspace(0, 1, 21))
    assert share[0] == 1
    assert share[-1] == pytest.approx(0.25)  # published: Kasten and Czeplak, overcast
    assert (np.diff(share) < 0).all()


@pytest.mark.outside
def test_sun_built_from_cloud_warms_a_slab_about_as_the_measured_sun(july):
    nothing = np.full(len(july), np.nan)
    blind = replace(july, ghi_w_m2=nothing, dni_w_m2=nothing, dhi_w_m2=nothing)
    built = fill_sun(blind, **PLACE)
    assert [m.id for m in built.messages] == ["weather.sun_from_cloud"]
    # ours: total within 15 %, slab within 6 °F rms of the slab under the file's own sun
    assert built.ghi_w_m2.sum() == pytest.approx(july.ghi_w_m2.sum(), rel=0.15)
    ours = slab_trace(built, [SlabCase()]).surface_c[0]
    theirs = slab_trace(july, [SlabCase()]).surface_c[0]
    assert 1.8 * np.sqrt(np.nanmean((ours - theirs) ** 2)) < 6
    dark = built.ghi_w_m2 == 0
    assert dark.mean() == pytest.approx((july.ghi_w_m2 == 0).mean(), abs=0.05)


@pytest.mark.outside
def test_sun_that_is_known_is_not_touched(july):
    assert np.array_equal(fill_sun(july, **PLACE).ghi_w_m2, july.ghi_w_m2)


def test_sky_view_of_simple_openings():
    assert Opening().sky_view() == pytest.approx(1.0)  # exact
    assert Opening(faces_deg=180).sky_view() == pytest.approx(0.5, abs=0.01)  # exact: half
    # exact: an even skyline of height h leaves cos² h
    assert Opening(horizon_deg=(30.0,) * 8).sky_view() == pytest.approx(0.75, abs=0.02)
    assert Opening(faces_deg=90, roof_deg=45).sky_view() < 0.25


@pytest.mark.outside
def test_a_balcony_gets_the_sun_of_its_side(july):
    east, west, north, south = (
        shaded(july, Opening(faces_deg=f, roof_deg=60), **PLACE).ghi_w_m2.reshape(-1, 24)
        for f in (90, 270, 0, 180)
    )
    # exact: the morning sun stands in the east; rows begin at local midnight
    assert east[:, 6:11].sum() > 3 * west[:, 6:11].sum()
    assert west[:, 14:19].sum() > 3 * east[:, 14:19].sum()
    whole = july.ghi_w_m2.sum()
    for one in (east, west, north, south):
        assert 0.05 * whole < one.sum() < 0.75 * whole
    under_roof = shaded(july, Opening(faces_deg=180, roof_deg=30), **PLACE).ghi_w_m2.sum()
    assert under_roof < south.sum()


@pytest.mark.outside
def test_a_skyline_takes_the_morning_away(july):
    hill = tuple(60.0 if 45 <= a < 135 else 0.0 for a in range(360))
    behind = shaded(july, Opening(horizon_deg=hill), **PLACE).ghi_w_m2.reshape(-1, 24)
    open_ = july.ghi_w_m2.reshape(-1, 24)
    assert behind[:, 6:9].sum() < 0.7 * open_[:, 6:9].sum()
    assert behind[:, 14:18].sum() > 0.8 * open_[:, 14:18].sum()


@pytest.mark.parametrize(
    "bad", [{"faces_deg": 400}, {"faces_deg": 10, "roof_deg": 0}, {"roof_deg": 91}]
)
def test_openings_that_cannot_be(bad):
    with pytest.raises(InputError):
        Opening(**bad)
