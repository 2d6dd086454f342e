"""Moist air against handbook tables, two libraries and old sling tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree.climate import air
from tackfree.errors import InputError


def c(f):
    return (np.asarray(f, float) - 32) / 1.8


def f(c):
    return np.asarray(c, float) * 1.8 + 32


@pytest.mark.outside
def test_saturation_pressure(check):
    k = check("climate-ashrae-svp")
    t = np.array(k["inputs"]["air_temp_C"], float)
    ice, water = air.saturation_pressure_ice_pa(t), air.saturation_pressure_water_pa(t)
    got = np.where(t < 0, ice, water)
    want = k["expected"]["saturation_vapour_pressure_Pa"]
    assert got == pytest.approx(want, rel=k["tolerance"]["rel"])


@pytest.mark.outside
def test_standard_pressure(check):
    k = check("climate-ashrae-pressure")
    got = air.standard_pressure_pa(np.array(k["inputs"]["altitude_m"], float))
    assert got == pytest.approx(k["expected"]["pressure_Pa"], abs=k["tolerance"]["abs"])
    k = check("climate-ashrae-pressure-ip")
    got = air.standard_pressure_pa(np.array(k["inputs"]["altitude_ft"]) * 0.3048) / 6894.757
    assert got == pytest.approx(k["expected"]["pressure_psi"], abs=k["tolerance"]["abs"])


@pytest.mark.outside
@pytest.mark.parametrize("name", ["dewpoint-C", "dewpoint-metpy", "iso8502-4-row"])
def test_dew_point_celsius(check, name):
    k = check(f"climate-{name}")
    i = k["inputs"]
    got = air.dew_point_c(
        np.array(i["air_temp_C"], float), np.array(i["relative_humidity_pct"]) / 100
    )
    assert got == pytest.approx(k["expected"]["dew_point_C"], abs=k["tolerance"]["abs"])


@pytest.mark.outside
def test_dew_point_fahrenheit(check):
    k = check("climate-dewpoint-F")
    i = k["inputs"]
    got = f(air.dew_point_c(c(i["air_temp_F"]), np.array(i["relative_humidity_pct"]) / 100))
    assert got == pytest.approx(k["expected"]["dew_point_F"], abs=k["tolerance"]["abs"])


@pytest.mark.parametrize(
    ("at_f", "rh", "dew_f"),
    # practice: the trade notes' dew points (Magnus), one decimal
    [
        (72, 78, 64.8),
        (68, 90, 65.0),
        (60, 85, 55.5),
        (80, 70, 69.3),
        (75, 60, 60.2),
        (50, 80, 44.1),
    ],
)
def test_the_trades_dew_points(at_f, rh, dew_f):
    assert f(air.dew_point_c(float(c(at_f)), rh / 100)) == pytest.approx(dew_f, abs=0.1)


@given(st.floats(-15, 50), st.floats(0.2, 1))
def test_dew_point_returns_to_its_humidity(t, rh):
    # exact: the saturation pressure at the dew point is the vapour pressure
    dew = air.dew_point_c(t, rh)
    vapour = rh * air.saturation_pressure_water_pa(t)
    assert air.saturation_pressure_water_pa(dew) == pytest.approx(vapour, rel=2e-5)
    assert air.rh_from_dew(t, dew) == pytest.approx(rh, rel=2e-5)


@given(st.floats(15, 50), st.floats(0.2, 0.98))  # wet bulb above freezing
def test_wet_bulb_returns_to_its_humidity(t, rh):
    wet = air.wet_bulb_c(t, rh)
    assert air.dew_point_c(t, rh) - 1e-6 <= wet <= t + 1e-6
    assert air.rh_from_wet_bulb(t, wet) == pytest.approx(rh, abs=1e-6)


@pytest.mark.outside
def test_wet_bulb(check):
    for name in ("wetbulb", "stull"):
        k = check(f"climate-{name}")
        t = np.atleast_1d(k["inputs"]["air_temp_C"]).astype(float)
        rh = np.atleast_1d(k["inputs"]["relative_humidity_pct"]) / 100
        want = np.atleast_1d(k["expected"]["wet_bulb_C"])
        assert air.wet_bulb_c(t, rh) == pytest.approx(want, abs=k["tolerance"]["abs"])


@pytest.mark.outside
def test_sling_psychrometer(check):
    k = check("climate-sling-tm")
    i = k["inputs"]
    got = 100 * air.rh_from_wet_bulb(float(c(i["dry_bulb_F"])), float(c(i["wet_bulb_F"])))
    assert got == pytest.approx(k["expected"]["relative_humidity_pct"], abs=1)
    for name, unit in (("sling-table-F", "F"), ("sling-table-C", "C")):
        k = check(f"climate-{name}")
        dry = np.array(k["inputs"][f"dry_bulb_{unit}"], float)
        wet = dry - np.array(k["inputs"][f"depression_{unit}"])
        if unit == "F":
            dry, wet = c(dry), c(wet)
        got = 100 * air.rh_from_wet_bulb(dry, wet)
        assert got == pytest.approx(k["expected"]["relative_humidity_pct"], abs=1.01)


@pytest.mark.outside
def test_dew_point_from_a_psychrometer(check):
    k = check("climate-ward-dewpoint")
    dry, wet = c(k["inputs"]["dry_bulb_F"]), c(k["inputs"]["wet_bulb_F"])
    got = f(air.dew_point_c(dry, air.rh_from_wet_bulb(dry, wet)))
    assert got == pytest.approx(k["expected"]["dew_point_F"], abs=k["tolerance"]["abs"])


@pytest.mark.outside
def test_a_handbook_example(check):
    k = check("climate-ashrae-example1-si")
    i, e, tol = k["inputs"], k["expected"], k["tolerance"]
    t = float(i["dry_bulb_C"])
    rh = air.rh_from_wet_bulb(t, float(i["wet_bulb_C"]), i["pressure_Pa"])
    assert 100 * rh == pytest.approx(
        e["relative_humidity_pct"], abs=tol["relative_humidity_pct"]["abs"]
    )
    assert air.dew_point_c(t, rh) == pytest.approx(e["dew_point_C"], abs=tol["dew_point_C"]["abs"])
    assert air.humidity_ratio(t, rh, i["pressure_Pa"]) == pytest.approx(
        e["humidity_ratio_kg_per_kg"], abs=tol["humidity_ratio_kg_per_kg"]["abs"]
    )


@pytest.mark.outside
def test_humidity_that_leaves_three_kelvin(check):
    k = check("climate-rh-for-3C-spread")
    t = np.array(k["inputs"]["air_and_surface_temp_C"], float)
    rh = np.array(k["expected"]["relative_humidity_pct"]) / 100
    spread = air.spread_k(t, air.dew_point_c(t, rh))
    assert spread == pytest.approx([3.0, 3.0, 3.0], abs=0.05)


@pytest.mark.outside
def test_five_fahrenheit_is_not_three_kelvin(check):
    k = check("climate-spread-rule")
    i, e = k["inputs"], k["expected"]
    spread = air.spread_k(c(i["surface_temp_F"]), c(i["dew_point_F"]))
    assert spread == pytest.approx(e["spread_C"], abs=k["tolerance"]["abs"])
    assert (spread >= 25 / 9 - 1e-9).tolist() == e["pass_5F"]
    assert (spread >= 3 - 1e-9).tolist() == e["pass_3C"]


def test_frost_forms_above_the_dew_point():
    # published: note on dew and frost points; 0.35 to 0.5 K apart near -3 to -14 °C air dew
    gap = air.frost_point_c(-2.0, 0.8) - air.dew_point_c(-2.0, 0.8)
    assert 0.3 < gap < 0.7
    assert np.isnan(air.frost_point_c(20.0, 0.8))


def test_nan_passes_and_bad_rows_become_nan():
    got = air.dew_point_c(np.array([20.0, np.nan, 20.0, 20.0]), np.array([0.5, 0.5, 0.0, 65.0]))
    assert np.isfinite(got).tolist() == [True, False, False, False]
    assert np.isnan(air.dew_point_c(float("nan"), 0.5))
    assert air.dew_point_c(np.array([]), np.array([])).size == 0


@pytest.mark.parametrize("rh", [0.0, -0.1, 65.0])
def test_a_humidity_that_cannot_be_is_refused(rh):
    with pytest.raises(InputError, match="relative humidity"):
        air.dew_point_c(20.0, rh)


def test_a_wet_bulb_above_the_dry_is_refused():
    with pytest.raises(InputError, match="wet bulb"):
        air.rh_from_wet_bulb(20.0, 22.0)
