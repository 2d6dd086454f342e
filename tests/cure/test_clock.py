"""Recoat clocks: scenarios worked by hand, caps, and the plain loop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tackfree.cure.clock import (
    CAREFUL,
    HOPEFUL,
    CureSheet,
    Point,
    Trace,
    clock,
    dose,
    earliest_after,
    reached_utc_s,
)
from tackfree.errors import InputError

H = 3600


def c(f):
    return (np.asarray(f, float) - 32) / 1.8


def hourly(temps_f, start=0):
    return Trace(start_utc_s=start, step_s=H, temp_c=c(temps_f))


def at_75(low, high=None):
    return (Point(temp_c=float(c(75)), low_h=low, high_h=high or low),)


# Hours from 16:00, each hour taken at the temperature with which it begins.
COLD_NIGHT = [62, 60, 58, 55, 52, 50, 48, 46, 45, 45, 46, 48, 52, 57, 62, 66, 69, 71, 72, 72] + [
    72
] * 20
BASE = CureSheet(recoat_after=at_75(16), recoat_before_h=24, rate_law="doubling-18F")


@pytest.mark.parametrize(
    ("hours", "equivalent"),
    # practice: the trade notes' scenario of a cold night; its 5.9 and 6.5 are 5.848 and 6.455
    # here, so the last digit is allowed a whole step
    [(14, 5.9), (15, 6.5), (20, 10.6)],
)
def test_equivalent_hours_of_a_cold_night(hours, equivalent):
    got = dose(hourly(COLD_NIGHT), BASE, BASE.recoat_after).summed_h[0, hours]
    assert got == pytest.approx(equivalent, abs=0.06)


def test_a_cold_night_leaves_no_legal_moment():
    # practice: same scenario; ready about 18:00 next day (26 h), maximum ended at 16:00
    got = clock(hourly(COLD_NIGHT), BASE, placed_from_utc_s=0, placed_to_utc_s=0)
    assert got.recoat_after.careful_utc_s == pytest.approx(26 * H, abs=0.1 * H)
    assert got.recoat_after.careful_utc_s == got.recoat_after.hopeful_utc_s
    assert got.recoat_before_utc_s == 24 * H
    assert got.no_legal_moment


def test_film_age_when_the_storm_comes():
    # practice: the trade notes' storm scenario; noon to 18:30, and 14:00 to 18:30
    got = dose(hourly([75, 78, 79, 78, 75, 71, 67, 67]), BASE, BASE.recoat_after).summed_h[0]
    age = lambda since: np.interp(6.5, range(9), got) - got[since]  # noqa: E731
    assert age(0) == pytest.approx(6.6, abs=0.05)
    assert age(2) == pytest.approx(4.5, abs=0.05)


def test_after_runs_from_the_last_kit_and_before_from_the_first():
    sheet = CureSheet(recoat_after=at_75(8), recoat_before_h=24, rate_law="doubling-18F")
    got = clock(hourly([75] * 72), sheet, placed_from_utc_s=2 * H, placed_to_utc_s=5 * H)
    assert got.recoat_after.careful_utc_s == pytest.approx(13 * H)  # exact: 5 + 8
    assert got.recoat_before_utc_s == 26 * H  # exact: 2 + 24
    assert got.better_before_utc_s is None


def test_a_sheets_range_alone_gives_its_5_and_95_percent_points():
    sheet = CureSheet(recoat_after=at_75(10, 20), rate_law="doubling-18F")
    got = clock(hourly([75] * 72), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert got.recoat_after.careful_utc_s == pytest.approx(19.5 * H)  # exact
    assert got.recoat_after.hopeful_utc_s == pytest.approx(10.5 * H)


def test_heat_may_not_open_a_deck_to_cars_early():
    sheet = CureSheet(cars_after=at_75(36), recoat_after=at_75(8), rate_law="doubling-18F")
    got = clock(hourly([130] * 100), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert got.cars_after.careful_utc_s == pytest.approx(36 * H)  # exact: speed at most 1
    # exact: no more than at 90 °F, 2^(15/18) as fast
    assert got.recoat_after.careful_utc_s == pytest.approx(8 * H / 2 ** (15 / 18))


def test_heat_shortens_better_before_but_not_the_maximum():
    sheet = CureSheet(recoat_after=at_75(4), recoat_before_h=24, rate_law="doubling-18F")
    got = clock(hourly([93] * 100), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert got.better_before_utc_s == pytest.approx(12 * H)  # exact: twice as fast at 93 °F
    assert got.recoat_before_utc_s == 24 * H


def test_a_hot_weather_maximum_is_hard_once_the_slab_is_hot():
    sheet = CureSheet(
        recoat_after=at_75(4), recoat_before_h=24, recoat_before_hot_h=10,
        hot_from_c=float(c(100)), rate_law="doubling-18F",
    )  # fmt: skip

    def before(temps):
        return clock(
            hourly(temps), sheet, placed_from_utc_s=0, placed_to_utc_s=0
        ).recoat_before_utc_s

    assert before([80] * 60) == 24 * H
    assert before([80] * 3 + [105] * 57) == 10 * H
    assert before([80] * 15 + [105] * 45) == 15 * H  # hot only after the short maximum
    assert before([80] * 30 + [105] * 30) == 24 * H


def test_below_the_sheets_minimum_the_clock_stands_still():
    sheet = CureSheet(recoat_after=at_75(8), rate_law="doubling-18F", stall_below_c=float(c(40)))
    got = clock(
        hourly([75] * 4 + [38] * 10 + [75] * 20), sheet, placed_from_utc_s=0, placed_to_utc_s=0
    )
    assert got.recoat_after.careful_utc_s == pytest.approx(18 * H)  # exact: 4 + 10 + 4
    assert got.stalled_h == pytest.approx(10)


def test_nothing_is_known_past_the_end_or_across_a_gap():
    sheet = CureSheet(recoat_after=at_75(8), rate_law="doubling-18F")
    short = clock(hourly([75] * 7), sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert short.recoat_after.careful_utc_s is None
    holed = hourly([75] * 3 + [np.nan] + [75] * 30)
    across = clock(holed, sheet, placed_from_utc_s=0, placed_to_utc_s=0)
    assert across.recoat_after.careful_utc_s is None
    later = clock(holed, sheet, placed_from_utc_s=4 * H, placed_to_utc_s=4 * H)
    assert later.recoat_after.careful_utc_s == pytest.approx(12 * H)
    outside = clock(hourly([75] * 30), sheet, placed_from_utc_s=-H, placed_to_utc_s=-H)
    assert outside.recoat_after.careful_utc_s is None


def test_the_prior_widens_with_distance_from_the_sheets_temperature():
    # published: multipliers on the 75 °F time for 38 and 77 kJ/mol at 50 °F, by hand
    sheet = CureSheet(recoat_after=at_75(4))
    at_50 = clock(hourly([50] * 60), sheet, placed_from_utc_s=0, placed_to_utc_s=0).recoat_after
    r = 8.31446e-3
    gap = 1 / (c(50) + 273.15) - 1 / (c(75) + 273.15)
    slowest, fastest = 4 * np.exp(77 / r * gap), 4 * np.exp(38 / r * gap)
    assert fastest * H < at_50.hopeful_utc_s < at_50.careful_utc_s < slowest * H
    at_75_f = clock(hourly([75] * 60), sheet, placed_from_utc_s=0, placed_to_utc_s=0).recoat_after
    assert at_75_f.careful_utc_s == pytest.approx(at_75_f.hopeful_utc_s)


def test_two_points_of_a_sheet_are_met_and_joined():
    cold = Point(temp_c=float(c(50)), low_h=20, high_h=24)
    sheet = CureSheet(recoat_after=(cold, *at_75(8, 10)))
    got = clock(hourly([75] * 60), sheet, placed_from_utc_s=0, placed_to_utc_s=0).recoat_after
    assert got.careful_utc_s == pytest.approx(9.9 * H)  # exact: 8 + 0.95 * 2
    at_50 = clock(hourly([50] * 99), sheet, placed_from_utc_s=0, placed_to_utc_s=0).recoat_after
    # the long times' law, the range of the reference, and 8 kJ/mol still open
    assert 22 * H < at_50.careful_utc_s < 32 * H
    assert at_50.hopeful_utc_s < 22 * H


def plain_earliest(toward, share):
    """The same question by trying every edge."""
    count = toward.summed_h.shape[1]
    out = []
    for e in range(count):
        answer = -1
        for x in range(e, count):
            gained = toward.summed_h[:, x] - toward.summed_h[:, e]
            width = toward.high_h - toward.low_h
            if width > 1e-9:
                part = np.clip((gained - toward.low_h) / width, 0, 1)
            else:
                part = gained >= toward.low_h - 1e-9
            if np.mean(part) >= share - 1e-9:
                answer = x if toward.unknown[x] == toward.unknown[e] else -1
                break
        out.append(answer)
    return out


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.one_of(st.floats(0, 45), st.just(float("nan"))), min_size=1, max_size=60),
    st.floats(0.0, 12),
    st.floats(0, 6),
    st.sampled_from([CAREFUL, HOPEFUL]),
    st.sampled_from([None, 10.0]),
)
def test_the_table_equals_the_plain_loop(temps, low, extra, share, stall):
    sheet = CureSheet(stall_below_c=stall)
    points = [Point(temp_c=24.0, low_h=low, high_h=low + extra)]
    toward = dose(Trace(start_utc_s=0, step_s=1800, temp_c=np.array(temps)), sheet, points)
    table = earliest_after(toward, end=share)
    assert table.tolist() == plain_earliest(toward, share)
    known = table[table >= 0]
    assert (np.diff(known) >= 0).all()
    moments = reached_utc_s(toward, np.arange(len(table)) * 1800.0, share)
    for edge, moment in zip(table, moments, strict=True):
        if edge >= 0 and np.isfinite(moment):
            assert moment <= edge * 1800 + 1e-3
            assert moment > (edge - 1) * 1800 - 1e-3


@pytest.mark.parametrize(
    "bad",
    [
        lambda: Point(temp_c=24, low_h=5, high_h=3),
        lambda: CureSheet(rate_law="linear"),
        lambda: clock(hourly([75] * 5), BASE, placed_from_utc_s=9, placed_to_utc_s=3),
    ],
)
def test_what_cannot_be_right_is_refused(bad):
    with pytest.raises(InputError):
        bad()
