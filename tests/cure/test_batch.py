"""Many years at once give what one series at a time gives."""

from __future__ import annotations

import numpy as np
import pytest

from tackfree.cure.batch import earliest_of_many
from tackfree.cure.clock import DOUBLING, CureSheet, Point, Trace, dose, earliest_after
from tackfree.cure.moisture import MoistureCure
from tackfree.errors import InputError

ONE = (Point(temp_c=24.0, low_h=8, high_h=12),)
SURE = (Point(temp_c=24.0, low_h=16, high_h=16),)
TWO = (*ONE, Point(temp_c=10.0, low_h=20, high_h=30))


def years(count=4, hours=2000):
    rng = np.random.default_rng(3)
    t = np.arange(hours)
    found = 14 + 10 * np.sin(2 * np.pi * t / 24) + rng.normal(0, 3, (count, hours))
    found[1, 500:505] = np.nan
    found[2] -= 25  # too cold for weeks
    return found


@pytest.mark.parametrize("traffic", [False, True])
@pytest.mark.parametrize("points", [ONE, SURE, TWO])
@pytest.mark.parametrize(
    "sheet",
    [
        CureSheet(rate_law=DOUBLING, stall_below_c=4.4),
        CureSheet(stall_below_c=4.4),
        CureSheet(activation_kj_mol=50.0),
    ],
)
def test_every_start_of_every_year_agrees_with_the_single_clock(sheet, points, traffic):
    surface = years()
    got = earliest_of_many(surface, 3600, sheet, points, traffic=traffic)
    for row, temp in zip(got, surface, strict=True):
        trace = Trace(start_utc_s=0, step_s=3600, temp_c=temp)
        # exact: the bisection of the single clock, on the same doses
        assert (row == earliest_after(dose(trace, sheet, points, traffic=traffic))).all()
    assert (got[0, :1000] > np.arange(1000)).all()
    assert (got[1, 490:505] == -1).all()  # a gap on the way


def test_a_one_part_product_needs_its_air():
    with pytest.raises(InputError, match="water of the air"):
        earliest_of_many(years(), 3600, CureSheet(moisture=MoistureCure(at_ratio=0.009)), ONE)
