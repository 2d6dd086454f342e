"""Best starts, the gap between pore air and dew, and drying."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.climate.test_windows import LATER, N, at_edges, slots

from tackfree.climate.choose import best_starts, margin_k, overlap
from tackfree.climate.drying import evaporation_kg_m2_h, worth_testing_from_utc_s
from tackfree.climate.types import WeatherSeries
from tackfree.climate.window_types import State
from tackfree.climate.windows import PlacingLimits, start_states

LIMITS = PlacingLimits(surface_min_c=5, surface_max_c=40, spread_min_k=3, spread_measure_k=None)


def ranked(weather, limits=LIMITS):
    states = start_states(weather, limits, duration_slots=2, tack_free=LATER)
    margin = margin_k(weather, limits, duration_slots=2, tack_free=LATER)
    return states, margin, best_starts(states, margin, from_utc_s=0, to_utc_s=N * 1800)


def test_the_safest_start_comes_first():
    dew = at_edges(5.0)
    dew[10:20] = 16.0  # spread 4 there
    dew[30:33] = 18.0  # spread 2: below the least of 3
    states, margin, found = ranked(slots(dew_c=dew))
    assert [s.state for s in found] == [State.GO] * len(found)
    assert len(found) == 2  # two runs, before and after the dew
    best = found[0].start_utc_s // 1800
    # exact: farthest from a limit is 20 - 5 - 3 = 12 K of spread or 15 K above 5 °C
    assert found[0].margin_k == pytest.approx(12)
    assert margin[best] == np.nanmax(margin[states.state == State.GO])
    assert found[0].margin_k >= found[1].margin_k


def test_go_comes_before_measure_whatever_the_margin():
    near = PlacingLimits(surface_min_c=5, spread_min_k=3, spread_measure_k=5)
    dew = at_edges(16.0)  # spread 4: measure
    dew[24:] = 14.5  # spread 5.5: go
    _, _, found = ranked(slots(dew_c=dew), near)
    assert [s.state for s in found] == [State.GO, State.MEASURE]


def test_no_start_where_nothing_is_known():
    _, _, found = ranked(slots(dew_c=at_edges(np.nan)))
    assert found == ()


def test_the_gap_between_pore_air_and_dew():
    top = 20 - 0.5 * np.abs(np.arange(N + 1) - 24.0)  # warmest at noon, slot 24
    dew = at_edges(5.0)
    dew[40:] = 18.0
    gap = overlap(
        slots(top_c=top, dew_c=dew), duration_slots=2, tack_free=LATER, from_utc_s=0,
        to_utc_s=N * 1800,
    )  # fmt: skip
    # exact: a rise of at most 5/9 K is left from slot 23 on, and tack-free (start + 2 + 4)
    # has to come before edge 40
    assert gap.outgassing_safe == (23 * 1800, (N - 5) * 1800)
    assert gap.dew_safe == (0, 34 * 1800)
    assert gap.both == (23 * 1800, 34 * 1800)
    assert gap.hours == 5.5


def test_a_day_without_a_gap_says_so():
    gap = overlap(
        slots(top_c=np.arange(N + 1.0)), duration_slots=2, tack_free=LATER, from_utc_s=0,
        to_utc_s=N * 1800,
    )  # fmt: skip
    assert (gap.outgassing_safe, gap.both, gap.hours) == (None, None, 0.0)


@pytest.mark.outside
def test_evaporation(check):
    k = check("climate-aci305-evaporation")
    i = k["inputs"]
    got = evaporation_kg_m2_h(
        surface_c=np.array([(i["concrete_temp_F"] - 32) / 1.8]),
        air_c=np.array([(i["air_temp_F"] - 32) / 1.8]),
        rh=np.array([i["relative_humidity_pct"] / 100]),
        wind_m_s=np.array([i["wind_mph"] * 0.44704]),
    )
    want = k["expected"]["evaporation_lb_per_ft2_h"] * 0.45359237 / 0.09290304
    assert got[0] == pytest.approx(want, rel=0.001)


def series(hours=72, **columns):
    base = {
        n: np.full(hours, v)
        for n, v in {
            "air_c": 20.0, "dew_c": 10.0, "rh": 0.53, "wind_m_s": 2.0, "ghi_w_m2": 0.0,
            "dni_w_m2": 0.0, "dhi_w_m2": 0.0, "cloud": 0.0, "rain_mm": 0.0,
            "pressure_pa": np.nan, "longwave_w_m2": np.nan,
        }.items()
    }  # fmt: skip
    return WeatherSeries(start_utc_s=0, step_s=3600, **(base | columns))


@given(st.floats(12, 40), st.floats(0.2, 0.8))
def test_the_careful_end_never_comes_first(surface, rh):
    s = series(rh=np.full(72, rh))
    careful, hopeful = worth_testing_from_utc_s(
        s, np.full(72, surface), rain_ends_utc_s=3600.0, wind_factor=0.6
    )
    if careful is not None:
        assert hopeful is not None
        assert careful > hopeful > 3600


def test_new_rain_begins_the_drying_again_and_the_unknown_dries_nothing():
    calm = worth_testing_from_utc_s(
        series(), np.full(72, 25.0), rain_ends_utc_s=0.0, wind_factor=0.6
    )
    rain = np.zeros(72)
    rain[1] = 2.0
    again = worth_testing_from_utc_s(
        series(rain_mm=rain), np.full(72, 25.0), rain_ends_utc_s=0.0, wind_factor=0.6
    )
    assert again[0] == pytest.approx(calm[0] + 2 * 3600)
    unknown = np.full(72, np.nan)
    none = worth_testing_from_utc_s(
        series(air_c=unknown), np.full(72, 25.0), rain_ends_utc_s=0.0, wind_factor=0.6
    )
    assert none == (None, None)
