"""Fitting a slab: known parameters come back, and too few readings are refused."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from tackfree.climate.calibrate import fit_slab
from tackfree.climate.slab import SlabCase, slab_trace
from tackfree.climate.typical import lay_typical
from tackfree.errors import InputError
from tackfree.intake.weather import read_weather

PLACE = {"latitude_deg": 36.1, "longitude_deg": -79.95}


@pytest.fixture(scope="module")
def weather(shared):
    year = read_weather(shared / "weather" / "tmy3_greensboro_723170.csv.gz")
    start = int(datetime(2027, 5, 1, 5, tzinfo=UTC).timestamp())
    return lay_typical(year, start_utc_s=start, intervals=24 * 9)


def read_at(weather, case, hours, noise=0.0):
    ends = weather.start_utc_s + 3600.0 * np.arange(1, len(weather) + 1)
    moments = weather.start_utc_s + 3600.0 * np.asarray(hours, float)
    surface = np.interp(moments, ends, slab_trace(weather, [case]).surface_c[0])
    error = noise * np.random.default_rng(3).standard_normal(len(moments))
    return {"utc_s": moments, "surface_c": surface + error}


FIVE_A_DAY = [24 * d + h for d in (3, 4, 5) for h in (5, 7, 10, 13, 16)]


@pytest.mark.outside
def test_known_parameters_come_back(weather):
    # exact: the readings are the model's own at these two figures
    truth = SlabCase(absorptance=0.78, wind_factor=0.35)
    fit = fit_slab(weather, SlabCase(), **read_at(weather, truth, FIVE_A_DAY), **PLACE)
    assert fit.case.absorptance == pytest.approx(0.78, abs=0.02)
    assert fit.case.wind_factor == pytest.approx(0.35, abs=0.03)
    assert fit.after_rms_k < 0.1 < 1.0 < fit.before_rms_k
    assert (fit.readings, fit.days, fit.at_bound) == (15, 3, ())


@pytest.mark.outside
def test_a_gun_that_is_2_f_off_at_random_still_helps_on_a_day_it_has_not_seen(weather):
    truth = SlabCase(absorptance=0.85, wind_factor=0.3)
    fit = fit_slab(weather, SlabCase(), **read_at(weather, truth, FIVE_A_DAY, noise=1.1), **PLACE)
    assert fit.held_out_rms_k < 0.5 * fit.before_rms_k


@pytest.mark.outside
@pytest.mark.parametrize(
    ("hours", "words"),
    [
        ([24 * 3 + 7], "1 usable readings of at least 8"),
        ([24 * 3 + h for h in (4, 5, 7, 10, 12, 13, 14, 16)], "from 1 day"),
        ([24 * d + h for d in (3, 4) for h in (4, 5, 6, 7)], "0 around midday"),
        ([24 * d + h for d in (3, 4) for h in (10, 12, 13, 14)], "0 from before sunrise"),
    ],
)
def test_too_few_readings_say_what_is_lacking(weather, hours, words):
    with pytest.raises(InputError, match=words):
        fit_slab(weather, SlabCase(), **read_at(weather, SlabCase(), hours), **PLACE)


@pytest.mark.outside
def test_a_fit_at_the_end_of_its_range_says_so(weather):
    shaded = SlabCase(absorptance=0.1, wind_factor=0.5)
    fit = fit_slab(weather, SlabCase(), **read_at(weather, shaded, FIVE_A_DAY), **PLACE)
    assert "absorptance" in fit.at_bound
