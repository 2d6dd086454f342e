"""What the deck drinks: conjugate cases, whole kits, orders."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tackfree.errors import InputError
from tackfree.supply.learning import (
    MEMBRANE,
    PRIMER,
    Ahead,
    Band,
    Habits,
    Used,
    forecast,
    learn,
    learned_h,
)
from tackfree.supply.orders import OrderCosts, best_order, first_drop, order_now

NINETY = Band(log_mean=5.5010499206, log_sd=0.1232416742)  # 200 to 300 as the middle 90 %


@pytest.mark.parametrize(
    ("band", "mean", "sd"),
    [
        # published: normal-normal update, precision 1/s0² + n/sig², worked by hand
        (NINETY, 5.3741916547, 0.0522823206),
        (Band.of_sheet(200, 300), 5.3518555350, 0.0566985184),
    ],
)
@pytest.mark.outside
def test_three_kits_of_one_deck(band: Band, mean: float, sd: float) -> None:
    used = [Used(shift=0, zone=0, coverage_m2_per_l=c) for c in (210, 220, 200)]
    got = learn(used, [(0, 0)], band, scatter=0.10, zone=0.0)
    assert got.mean[0] == pytest.approx(mean, abs=1e-8)
    assert math.sqrt(got.cov[0, 0]) == pytest.approx(sd, abs=1e-9)


@pytest.mark.outside
def test_the_next_kit_of_one_deck() -> None:
    used = [Used(shift=0, zone=0, coverage_m2_per_l=c) for c in (210, 220, 200)]
    got = learn(used, [(0, 0)], NINETY, scatter=0.10, zone=0.0)
    assert math.exp(got.mean[0]) == pytest.approx(215.765, abs=1e-3)  # exact: the median
    # exact: log-normal, 5 gal, sd hypot(0.0522823206, 0.10): P10, P50, P90 of its ground
    for ground, share in ((933.57, 0.9), (1078.83, 0.5), (1246.68, 0.1)):
        # all but certain of the scatter, no drift: one kit is then enough as often as said
        habits = Habits(scatter=0.10, zone=0.0, drift=0.0, walks=(0.0,), scatter_weight=1e6)
        ahead = [Ahead(shift=0, zone=0, area_m2=ground)]
        kits = forecast(used, ahead, NINETY, habits, kit_l=5.0, seed=6, draws=20_000).kits
        assert (kits == 1).mean() == pytest.approx(share, abs=0.012)  # 3.4 sd of 20,000 draws


@pytest.mark.outside
def test_zones_teach_each_other() -> None:
    logs = [(0, 5.35)] * 4 + [(1, 5.50)] * 2
    used = [Used(shift=0, zone=z, coverage_m2_per_l=math.exp(y)) for z, y in logs]
    band = Band(log_mean=5.5010499206, log_sd=0.12324)
    got = learn(used, [(0, 0), (0, 1), (0, 2)], band, scatter=0.10, zone=0.06)
    # library: the same normal model by dense algebra, its m0 good to 4e-7
    assert got.mean == pytest.approx([5.38243473, 5.45880276, 5.42914075], abs=5e-7)
    sds = [0.04428076, 0.05540589, 0.08055888]
    assert np.sqrt(np.diag(got.cov)) == pytest.approx(sds, abs=1e-7)


def test_whole_kits_are_opened_shift_by_shift() -> None:
    sure = Band(log_mean=math.log(245.0), log_sd=1e-9)
    habits = Habits(scatter=1e-9, zone=0.0, drift=0.0, walks=(0.0,))
    ahead = [Ahead(shift=s, zone=0, area_m2=5000.0) for s in range(10)]
    got = forecast([], ahead, sure, habits, kit_l=5.0, seed=1, draws=20)
    # exact: 5,000 / 1,225 is 4.08, so 5 kits a shift, and not 41 for the whole
    assert set(got.kits) == {50}


@pytest.mark.outside
@pytest.mark.parametrize(
    ("costs", "stock", "cost"),
    [
        # exact: expected cost over five kit counts, by hand
        ((100, 300, 0), 11, 140),
        ((100, 900, 0), 11, 200),
        ((100, 0, 3000), 12, 200),
        ((200, 100, 500), 10, 270),
    ],
)
def test_order_over_five_counts(costs: tuple[float, ...], stock: int, cost: float) -> None:
    kits, weight = np.arange(8, 13), np.array([0.1, 0.2, 0.4, 0.2, 0.1])
    money = OrderCosts(spare=costs[0], short=costs[1], stop=costs[2])
    assert best_order(kits, money, weight=weight) == (stock, pytest.approx(cost))


@pytest.mark.outside
@pytest.mark.parametrize(
    ("costs", "stock", "cost"),
    [
        # library: enumeration by another program
        ((450, 2000, 0), 48, 1805.9007),
        ((450, 0, 14750), 50, 2597.6953),
        ((90, 0, 14750), 52, 614.1612),
        ((450, 200, 5000), 48, 2008.6988),
    ],
)
def test_order_over_a_bell(costs: tuple[float, ...], stock: int, cost: float) -> None:
    kits = np.arange(40, 53)
    weight = np.exp(-(((kits - 45) / 3) ** 2) / 2)
    money = OrderCosts(spare=costs[0], short=costs[1], stop=costs[2])
    assert best_order(kits, money, weight=weight) == (stock, pytest.approx(cost, abs=1e-4))
    quantity, again = best_order(kits, money, have=40, weight=weight)
    assert (quantity + 40, again) == (stock, pytest.approx(cost, abs=1e-4))


@pytest.mark.outside
def test_newsvendor(check) -> None:
    c = check("stats-newsvendor-normal")
    given = c["inputs"]
    scale = 20.0  # whole kits of twenty units each
    mean, sd = given["demand_mean"] / scale, given["demand_sd"] / scale
    kits = np.arange(0, 1001)
    weight = np.diff(stats.norm.cdf(np.arange(-0.5, 1001), mean, sd))
    money = OrderCosts(
        spare=given["cost"] - given["salvage"], short=given["price"] - given["cost"], stop=0
    )
    got, _ = best_order(kits, money, weight=weight)
    assert got * scale == pytest.approx(c["expected"]["order_quantity"], abs=scale)


@pytest.mark.outside
def test_newsvendor_in_whole_units() -> None:
    kits = np.arange(0, 2001)
    # whole units that cover the demand: the share of a count is that of the demand up to it
    weight = np.diff(stats.norm.cdf(np.arange(-1, 2001), 1000, 200))
    got, _ = best_order(kits, OrderCosts(spare=10, short=40, stop=0), weight=weight)
    # library: scipy.stats.norm, the fractile 40 / (40 + 10), rounded up to a whole unit
    fractile = stats.norm.ppf(0.8, 1000, 200)
    assert fractile == pytest.approx(1168.324, abs=5e-4)  # published: normal newsvendor
    assert got == math.ceil(fractile) == 1169


def test_kits_seen_narrow_the_forecast_and_centre_it() -> None:
    rng = np.random.default_rng(5)
    ahead = [Ahead(shift=s, zone=0, area_m2=464.5) for s in range(10)]
    band = Band.of_sheet(4.9, 7.36)
    true = 5.4
    used = [
        Used(shift=s, zone=0, coverage_m2_per_l=true * math.exp(0.1 * rng.standard_normal()))
        for s in range(3)
        for _ in range(5)
    ]
    before = forecast([], ahead, band, PRIMER, kit_l=18.93, seed=2)
    after = forecast(used, ahead[3:], band, PRIMER, kit_l=18.93, seed=2)

    def width(f) -> float:
        return (f.quantile(0.9) - f.quantile(0.1)) / f.quantile(0.5)

    assert width(after) < 0.6 * width(before)
    assert after.quantile(0.1) <= 7 * math.ceil(464.5 / (true * 18.93)) <= after.quantile(0.9) + 3
    again = forecast(used, ahead[3:], band, PRIMER, kit_l=18.93, seed=2)
    assert np.array_equal(after.kits, again.kits)


@settings(max_examples=20, deadline=None)
@given(st.floats(1.1, 3.0))
def test_more_area_takes_no_fewer_kits(factor: float) -> None:
    band = Band.of_sheet(1.28, 1.57)
    ahead = [Ahead(shift=0, zone=0, area_m2=100.0)]
    more = [Ahead(shift=0, zone=0, area_m2=100.0 * factor)]
    one = forecast([], ahead, band, MEMBRANE, kit_l=18.93, seed=4, draws=200)
    two = forecast([], more, band, MEMBRANE, kit_l=18.93, seed=4, draws=200)
    assert two.kits.mean() >= one.kits.mean()


def test_two_odd_shifts_in_a_row_are_flagged() -> None:
    band = Band.of_sheet(4.9, 7.36)
    cover = [6.0, 6.0, 6.0, 4.2, 3.4]
    used = [
        Used(shift=s, zone=0, coverage_m2_per_l=c) for s, c in enumerate(cover) for _ in range(5)
    ]
    ahead = [Ahead(shift=5, zone=0, area_m2=400.0)]
    assert forecast(used, ahead, band, PRIMER, kit_l=18.93, seed=1).odd_shifts == (4,)
    steady = [u for u in used if u.shift < 3]
    assert forecast(steady, ahead, band, PRIMER, kit_l=18.93, seed=1).odd_shifts == ()


def test_history_speaks_from_the_fifth_job() -> None:
    sheet = Band.of_sheet(200, 300)
    jobs = [210.0, 220.0, 215.0, 225.0]
    assert Band.of_history(jobs, sheet) == sheet
    own = Band.of_history([*jobs, 212.0], sheet)
    assert own.jobs == 5
    assert own.log_sd < sheet.log_sd / 3


def test_order_is_due_before_the_crew_stands() -> None:
    ahead = [Ahead(shift=s, zone=0, area_m2=464.5) for s in range(8)]
    got = forecast([], ahead, Band.of_sheet(4.9, 7.36), PRIMER, kit_l=18.93, seed=3)
    money = OrderCosts(spare=450, short=0, stop=14750)
    assert not order_now(got, money, have=60, lead_shifts=3)
    assert order_now(got, money, have=15, lead_shifts=3)
    assert first_drop(got, 3) >= got.quantile(0.25)


def test_nothing_ahead_takes_no_kit_and_bad_numbers_are_refused() -> None:
    band = Band.of_sheet(4.9, 7.36)
    assert forecast([], [], band, PRIMER, kit_l=18.93, seed=1).quantile(0.9) == 0
    with pytest.raises(InputError, match="area ahead is 0"):
        forecast([], [Ahead(shift=0, zone=0, area_m2=0.0)], band, PRIMER, kit_l=18.93, seed=1)
    with pytest.raises(InputError, match="band of coverage"):
        Band.of_sheet(300, 200)


@pytest.mark.outside
def test_the_learning_curve(check) -> None:
    c = check("cost-learning-curve")
    share = c["inputs"]["learning_pct"] / 100
    for unit, hours in zip(c["inputs"]["unit"], c["expected"]["unit_hours"], strict=True):
        found = learned_h(c["inputs"]["first_unit_h"], unit, share)
        assert found == pytest.approx(hours, rel=c["tolerance"]["rel"])
