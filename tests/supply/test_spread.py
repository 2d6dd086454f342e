"""Draws of kits, orders by cost, sizes with whole kits."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from tests.supply.trade import PRODUCTS

from tackfree.errors import InputError
from tackfree.supply.sizes import propose_sizes, shared_kits
from tackfree.supply.spare import (
    ShortCosts,
    choose_order,
    critical_fractile,
    normal_loss,
    normal_order,
)
from tackfree.supply.spread import (
    ERRORS_FROM,
    FILM_ERRORS,
    PRIMER_ERRORS,
    Errors,
    Need,
    draw_kits,
    errors_of,
)

STILL = Errors(job=0.0, zone=0.0, shift=0.0)


def need(area=100.0, film=0.05, **more) -> Need:
    given = {"product_id": "B", "zone_id": "Z", "shift_id": "S", "area_m2": area, "film": film}
    return Need(**(given | more))


def test_without_errors_every_draw_is_the_count() -> None:
    spread = draw_kits([need(errors=STILL), need(101.0, errors=STILL)], draws=50)
    # by hand: 5 kits exactly, and 5.05 kits in 6
    assert set(spread.kits["B"]) == {11.0}
    assert spread.quantile("B", 0.9) == 11


def test_details_share_the_kits_of_their_section() -> None:
    assert set(draw_kits([need(fixed=0.2, errors=STILL)], draws=5).kits["B"]) == {6.0}


def test_same_seed_same_draws() -> None:
    a, b = (draw_kits([need()], draws=100, seed=3).kits["B"] for _ in range(2))
    assert np.array_equal(a, b)
    assert not np.array_equal(a, draw_kits([need()], draws=100, seed=4).kits["B"])


def test_a_fill_keeps_its_ends() -> None:
    many = need(1e6, film=0.0, fill=0.02, fill_low=0.01, fill_high=0.05, errors=STILL)
    spread = draw_kits([many], draws=20_000)
    for share, fill in ((0.1, 0.01), (0.5, 0.02), (0.9, 0.05)):
        # exact: 10, 50 and 90 % points of the fill × 1,000,000 m²
        assert spread.quantile("B", share) == pytest.approx(fill * 1e6, rel=0.05)


def test_shared_errors_do_not_average_out() -> None:
    own = [need(shift_id=f"S{k}", zone_id=f"Z{k}", film=5.0) for k in range(100)]
    sd = float(np.std(np.log(draw_kits(own, draws=4000).kits["B"])))
    # exact: 100 zones and shifts average out, the error of the product on the job stays
    e = FILM_ERRORS
    assert sd == pytest.approx(math.sqrt(e.job**2 + (e.zone**2 + e.shift**2) / 100), rel=0.05)


@pytest.mark.outside
def test_newsvendor_checks(check) -> None:
    for name in ("stats-newsvendor-normal", "stats-newsboy-nahmias"):
        c = check(name)
        i, e, tol = c["inputs"], c["expected"], c["tolerance"]
        short, spare = i["price"] - i["cost"], i["cost"] - i["salvage"]
        assert critical_fractile(short=short, spare=spare) == pytest.approx(
            e["critical_fractile"], abs=1e-6
        )
        found = normal_order(mean=i["demand_mean"], sd=i["demand_sd"], short=short, spare=spare)
        assert found == pytest.approx(
            e["order_quantity"], rel=tol.get("rel", 0), abs=tol.get("abs", 0)
        )


@pytest.mark.outside
def test_unit_normal_loss(check) -> None:
    c = check("cost-normal-loss")
    for z, loss in zip(c["inputs"]["z"], c["expected"]["unit_normal_loss"], strict=True):
        assert normal_loss(z) == pytest.approx(loss, abs=c["tolerance"]["abs"])


@pytest.mark.parametrize(
    ("costs", "count", "cost"),
    [
        # library: scipy, enumeration over the same weights, in the note on consumption
        (ShortCosts(spare=450, unit=2000), 48, 1805.9007),
        (ShortCosts(spare=450, stop=14750), 50, 2597.6953),
        (ShortCosts(spare=90, stop=14750), 52, 614.1612),
        (ShortCosts(spare=450, stop=5000, unit=200), 48, 2008.6988),
    ],
)
def test_orders_with_a_cost_of_stopping(costs, count, cost) -> None:
    n = np.arange(40, 53)
    found = choose_order(n, costs, weights=np.exp(-(((n - 45) / 3) ** 2) / 2))
    assert (found.count, found.expected_cost) == (count, pytest.approx(cost, abs=1e-3))


def test_a_stop_cost_is_not_convex_and_every_count_is_tried() -> None:
    w = [0.1, 0.2, 0.4, 0.2, 0.1]
    n = [8, 9, 10, 11, 12]
    # by hand: 10 costs 270, 11 costs 280, 9 costs 480
    found = choose_order(n, ShortCosts(spare=200, unit=100, stop=500), weights=w)
    assert (found.count, found.expected_cost) == (10, pytest.approx(270))
    assert choose_order(n, ShortCosts(spare=100, stop=3000), weights=w).count == 12
    assert choose_order(n, ShortCosts(spare=100, unit=300), weights=w, pallet=4).count == 12
    assert normal_order(mean=1000, sd=200, short=40, spare=10) == pytest.approx(
        NormalDist(1000, 200).inv_cdf(0.8)
    )


def test_costs_that_cannot_be() -> None:
    with pytest.raises(InputError, match="short"):
        critical_fractile(short=-1, spare=3)
    with pytest.raises(InputError, match="both 0"):
        critical_fractile(short=0, spare=0)


def test_proposed_sizes_never_take_more_kits() -> None:
    rng = random.Random(5)
    before = after = 0
    for _ in range(1000):
        given = [rng.uniform(80, 600) for _ in range(rng.randint(2, 6))]
        rates = [rng.uniform(0.005, 0.06) for _ in range(rng.randint(1, 5))]
        found = propose_sizes(given, rates)
        plain = sum(math.ceil(a * r - 1e-9) for a in found.sizes_m2 for r in rates)
        assert plain == found.kits <= found.given_kits
        assert sum(found.sizes_m2) == pytest.approx(sum(given))
        assert len(found.sizes_m2) == len(given)
        assert max(found.sizes_m2) <= max(given) + 1e-9
        before, after = before + found.given_kits, after + found.kits
    assert after < before


def test_a_size_at_which_kits_come_out_whole() -> None:
    # by hand: 1 kit covers 30 m²; 45 + 75 m² take 2 + 3 kits, 60 + 60 take 2 + 2
    found = propose_sizes([45.0, 75.0], [1 / 30])
    assert (found.given_kits, found.kits, found.saved) == (5, 4, 1)


def test_two_sections_in_one_go_share_a_kit() -> None:
    # by hand: 1.3 and 1.6 kits are 2 + 2 apart, 2.9 in 3 together
    assert shared_kits([13.0, 16.0], 10.0) == (4, 3)


def test_a_product_s_own_scatter_wins_over_the_role_s() -> None:
    sheet = PRODUCTS["HEN-P"]
    assert errors_of(sheet) == (PRIMER_ERRORS, ERRORS_FROM)
    own = replace(sheet, errors=STILL)
    found, origin = errors_of(own)
    assert (found, origin.kind) == (STILL, "typed")


def test_drums_are_whole_for_the_job_only() -> None:
    # by hand: three sections of 1.3 kits are 6 kits whole in each, 3.9 and so 4 from drums
    needs = [
        Need(product_id="P", zone_id="Z", shift_id=f"S{k}", area_m2=1.0, film=1.3, errors=STILL)
        for k in range(3)
    ]
    assert draw_kits(needs, draws=3).quantile("P", 0.5) == 6
    drums = [replace(n, metered=True) for n in needs]
    assert draw_kits(drums, draws=3).quantile("P", 0.5) == 4
