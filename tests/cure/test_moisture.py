"""One-part products: absolute humidity, its floor and its cap."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.cure.test_clock import H, at_75

from tackfree.climate.air import humidity_ratio
from tackfree.cure.clock import CureSheet, Trace, clock
from tackfree.cure.moisture import MoistureCure, moisture_speed
from tackfree.errors import InputError


def c(f):
    return (f - 32) / 1.8


def grains(f, rh):
    return float(humidity_ratio(c(f), rh)) * 7000


AIR = MoistureCure(at_ratio=float(humidity_ratio(c(75), 0.5)))


@pytest.mark.parametrize(
    ("f", "rh", "found"),
    # published: a maker's note of 70 grains at 77 °F and 50 %, as reckoned in the notes on
    # climate; 42 grains at four temperatures, 64.5 at 75 °F and 50 %
    [(77, 0.5, 69.0), (75, 0.5, 64.5), (50, 0.79, 42), (60, 0.55, 42), (70, 0.39, 42),
     (80, 0.28, 42), (40, 1.0, 36)],
)  # fmt: skip
def test_grains_of_water(f, rh, found):
    assert grains(f, rh) == pytest.approx(found, abs=0.8)


@given(st.floats(0.0061, 0.03), st.booleans())
def test_speed_rises_with_water_up_to_its_cap(ratio, careful):
    one, two = moisture_speed(np.array([ratio, ratio * 1.1]), AIR, careful=careful)
    assert one <= two <= 1.5
    slow, fast = (moisture_speed(np.array([ratio]), AIR, careful=x)[0] for x in (True, False))
    assert slow <= fast


def test_the_sheets_own_air_is_1_and_dry_air_is_unknown():
    speed = moisture_speed(np.array([AIR.at_ratio, 41.9 / 7000]), AIR, careful=True)
    assert speed[0] == pytest.approx(1)
    assert np.isnan(speed[1])


def one_part(ratio):
    return Trace(
        start_utc_s=0, step_s=H, temp_c=np.full(100, c(75)), water_kg_kg=np.full(100, ratio)
    )


def test_a_clock_in_dry_air_is_unknown_and_in_thin_air_slower():
    sheet = CureSheet(
        tack_free=at_75(4), recoat_after=at_75(8), rate_law="doubling-18F", moisture=AIR
    )
    at_sheet = clock(one_part(AIR.at_ratio), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert at_sheet.recoat_after.careful_utc_s == pytest.approx(8 * H)
    thin = clock(one_part(0.75 * AIR.at_ratio), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    # exact: 8 h / 0.75 and 8 h / 0.75^0.5
    assert thin.recoat_after.careful_utc_s == pytest.approx(8 * H / 0.75, rel=1e-6)
    assert thin.recoat_after.hopeful_utc_s == pytest.approx(8 * H / 0.75**0.5, rel=1e-6)
    dry = clock(one_part(0.005), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert dry.recoat_after.careful_utc_s is None


def test_what_is_missing_is_named():
    sheet = CureSheet(recoat_after=at_75(8), moisture=AIR)
    bare = Trace(start_utc_s=0, step_s=H, temp_c=np.full(10, 20.0))
    with pytest.raises(InputError, match="water of the air"):
        clock(bare, sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    with pytest.raises(InputError, match="sheet's air"):
        MoistureCure(at_ratio=0)
