"""How often a counting rule passes a short deck."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tackfree.errors import InputError
from tackfree.evidence.rules import PAINT_ON_METAL, ContractRule
from tackfree.evidence.sampling import Deck, accept_chance, contract_passes, spots_pass


@pytest.mark.outside
@pytest.mark.parametrize("name", ["stats-oc-points", "stats-montgomery-oc"])
def test_single_plans_as_published(check, name: str) -> None:
    c = check(name)
    plans = c["inputs"]
    shares = plans["fraction_defective"]
    counts, allowed = (np.broadcast_to(plans[k], len(shares)) for k in ("n", "accept_number"))
    got = [
        accept_chance(int(n), int(a), q) for n, a, q in zip(counts, allowed, shares, strict=True)
    ]
    assert got == pytest.approx(c["expected"]["prob_accept"], abs=c["tolerance"]["abs"])


@pytest.mark.outside
@given(st.integers(1, 200), st.integers(0, 12), st.floats(0.0, 1.0))
def test_a_plan_is_a_beta_tail(count: int, allowed: int, share: float) -> None:
    # library: scipy.stats.beta; the binomial sum is an incomplete beta integral (exact)
    some = stats.beta.sf(share, allowed + 1, count - allowed) if allowed < count else 1.0
    assert accept_chance(count, allowed, share) == pytest.approx(some, abs=1e-12)


@given(st.data())
def test_a_plan_on_a_lot_counts_the_samples(data: st.DataObject) -> None:
    lot = data.draw(st.integers(1, 60))
    count = data.draw(st.integers(1, lot))
    short = data.draw(st.integers(0, lot))
    allowed = data.draw(st.integers(0, count))
    # exact: samples with few enough short ones, of all samples, in whole numbers
    good = sum(math.comb(short, k) * math.comb(lot - short, count - k) for k in range(allowed + 1))
    exact = Fraction(good, math.comb(lot, count))
    got = accept_chance(count, allowed, short / lot, lot=lot)
    assert got == pytest.approx(float(exact), abs=1e-10)


def test_a_small_lot_by_counting() -> None:
    # exact: C(8,3)/C(10,3) with two short of ten
    assert accept_chance(3, 0, 0.2, lot=10) == pytest.approx(56 / 120)
    assert accept_chance(3, 0, 0.2) == pytest.approx(0.8**3)  # exact
    assert accept_chance(10, 0, 0.2, lot=10) == 0.0
    assert accept_chance(59, 0, 0.05) <= 0.05  # exact: 0.95 to the 59th
    with pytest.raises(InputError, match="lot 2"):
        accept_chance(3, 0, 0.2, lot=2)


DECK = Deck(specified_um=635.0, short_share=0.2, sd_um=60.0)


def test_each_part_of_the_contract_by_its_closed_form() -> None:
    n = 12
    assert stats.norm.cdf(635, DECK.mean_um, 60) == pytest.approx(0.2)  # exact, by its meaning
    bare = ContractRule(floor=1e-6)
    average = stats.norm.sf(635, DECK.mean_um, 60 / math.sqrt(n))
    got = contract_passes(DECK, n, bare, seed=1)
    assert got == pytest.approx(average, abs=0.01)  # exact; 20,000 decks are good to 0.004
    # a floor at the film itself lets no short reading through: average is then given
    strict = contract_passes(DECK, n, ContractRule(floor=1.0), seed=2)
    assert strict == pytest.approx(accept_chance(n, 0, 0.2), abs=0.01)  # exact: binomial
    shared = contract_passes(DECK, n, replace(bare, share=0.75), seed=3)
    assert shared <= accept_chance(n, 3, 0.2) + 0.01  # exact: binomial, average may fail too
    assert shared >= accept_chance(n, 3, 0.2) + average - 1 - 0.01  # exact: Bonferroni


def test_spots_by_their_closed_form_and_worse_decks_pass_less() -> None:
    area = replace(DECK, sd_um=20.0)
    rule = replace(PAINT_ON_METAL, spot_floor=0.01, spot_ceiling=100.0)
    got = spots_pass(area, 4, rule, most_um=1e6, seed=4)
    # exact: four independent area means, each as often short as the share says
    assert got == pytest.approx(accept_chance(4, 0, 0.2), abs=0.01)
    often = [
        spots_pass(replace(area, short_share=q, spot_sd_um=20.0), 4, PAINT_ON_METAL,
                   most_um=900.0, seed=5)
        for q in (0.02, 0.1, 0.3, 0.5)
    ]  # fmt: skip
    assert (np.diff(often) < 0).all()
    with pytest.raises(InputError, match="no deck"):
        replace(DECK, short_share=0.0)
    with pytest.raises(InputError, match="0 readings"):
        contract_passes(DECK, 0, ContractRule(), seed=1)
    with pytest.raises(InputError, match="0 areas"):
        spots_pass(DECK, 0, PAINT_ON_METAL, most_um=900.0, seed=1)
