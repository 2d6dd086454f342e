"""Verdicts from joint draws, and what to measure next."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tackfree.evidence.balance import Gauged, Poured, find_clash
from tackfree.evidence.data import Doubts, Evidence, Kits, Readings, Spread
from tackfree.evidence.field import solve
from tackfree.evidence.kernel import Rects
from tackfree.evidence.next_reading import what_helps
from tackfree.evidence.rules import ContractRule, contract_results
from tackfree.evidence.spread import Beforehand, _reach, find_spread, log_evidence
from tackfree.evidence.verdict import Claim, Patch, State, judge

MIL = 25.4


def whole(shape: tuple[int, int], readings: int = 9, kits: int = 1) -> Patch:
    return Patch(id="whole", mask=np.ones(shape, dtype=bool), readings=readings, kits=kits)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("ell", "rho"),
    [(1e-3, 0.0), (1.4427, 0.5), (5.0, math.exp(-0.2)), (None, 1.0)],
)
def test_two_spots_at_once(ell: float | None, rho: float) -> None:
    """At the median each is at even odds; both at once depend on how they move together."""
    spread = Spread(sd=2.0, ell=ell or 1.0, kernel="exponential")
    doubts = Doubts()
    if ell is None:  # all of it is the job's level, which both spots share
        spread, doubts = replace(spread, sd=1e-6), Doubts(level=2.0)
    nothing = Evidence(
        shape=(1, 2), step=1.0, target=25.0, readings=Readings.none(),
        kits=Kits(
            rects=Rects.of([[(0, 1, 0, 2)]]), mean=np.array([25.0]), var=np.array([1e9]),
            group=np.array([0]),
        ),
        doubts=doubts,
    )  # fmt: skip
    got = judge(
        solve(nothing, spread), [whole((1, 2))], Claim(least_um=25.0, share=1.0),
        node_m2=1.0, seed=11, draws=6000,
    ).verdicts[0]  # fmt: skip
    both = 0.25 + math.asin(rho) / (2 * math.pi)  # published: Sheppard's orthant formula
    assert got.p_share == pytest.approx(both, abs=0.025)  # 4 sd of 6,000 draws
    assert got.share_mean == pytest.approx(0.5, abs=0.025)  # exact, whatever rho


def deck(mean_mil: float, kits: float = 1.0) -> Evidence:
    node = np.array([[r, c] for r in range(2, 20, 6) for c in range(2, 20, 6)])
    low = np.full(len(node), (mean_mil - 1) * MIL)
    return Evidence(
        shape=(20, 20),
        step=0.6,
        target=25 * MIL,
        readings=Readings(
            node=node, low=low, high=low + 2 * MIL, gauge=np.zeros(len(node), dtype=np.int64)
        ),
        kits=Kits(
            rects=Rects.of([[(0, 20, 0, 20)]]),
            mean=np.array([mean_mil * MIL * kits]),
            var=np.array([(0.5 * MIL) ** 2]),
            group=np.array([0]),
        ),
        doubts=Doubts(level=76.0, read=12.7, gauge=17.8, loss=10.0),
    )


SPREAD = Spread(sd=30.0, ell=3.6, tau=10.0, micro=10.0)
CLAIM = Claim(least_um=20 * MIL, share=0.9, average_um=25 * MIL)


@pytest.mark.parametrize(
    ("mean", "state"), [(29.0, State.SHOWN), (25.2, State.NOT_SHOWN), (20.0, State.SHORT)]
)
def test_the_three_words(mean: float, state: State) -> None:
    field = solve(deck(mean), SPREAD)
    got = judge(field, [whole((20, 20))], CLAIM, node_m2=0.36, seed=1).verdicts[0]
    assert got.state is state
    assert 1 / got.draws <= got.p <= 1 - 1 / got.draws
    assert got == judge(field, [whole((20, 20))], CLAIM, node_m2=0.36, seed=1).verdicts[0]
    missing_l = max(0.0, 25 * MIL - got.mean_um) * 144 / 1000
    assert got.top_up_l >= missing_l - 1e-6  # thin places are not paid for by thick ones


def test_a_rule_too_few_readings_or_a_clash_hold_a_good_chance_back() -> None:
    field = solve(deck(29.0), SPREAD)
    few = judge(field, [whole((20, 20), readings=4)], CLAIM, node_m2=0.36, seed=1).verdicts[0]
    assert few.state is State.NOT_SHOWN
    assert few.messages[0].id == "evidence.held_by_readings"
    rules = contract_results(
        [29 * MIL] * 8 + [18 * MIL], specified_um=25 * MIL, area_m2=144.0, rule=ContractRule()
    )
    held = judge(field, [whole((20, 20))], CLAIM, node_m2=0.36, seed=1, rules=[rules]).verdicts[0]
    assert held.state is State.NOT_SHOWN
    assert held.messages[0].id == "evidence.held_by_rule"
    clash = find_clash(
        Gauged(mean_um=29 * MIL, sd_um=50.0, count=30),
        Poured(volume_l=50.0, kit_l=19.0, area_m2=144.0, fill_um=0.0, loss=0.0),
    )
    assert clash is not None
    torn = judge(field, [whole((20, 20))], CLAIM, node_m2=0.36, seed=1, clashes=[clash]).verdicts[0]
    assert torn.state is State.NOT_SHOWN
    assert torn.messages[0].id == "evidence.clash_high"


def test_one_worn_gauge_is_not_proof() -> None:
    """Many readings of one gauge keep its shared doubt; kits take it away."""
    e = deck(26.0)
    alone = replace(e, kits=Kits.none())
    both = judge(solve(e, SPREAD), [whole((20, 20))], CLAIM, node_m2=0.36, seed=2).verdicts[0]
    one = judge(solve(alone, SPREAD), [whole((20, 20))], CLAIM, node_m2=0.36, seed=2).verdicts[0]
    assert one.mean_sd_um > 0.9 * 17.8
    assert both.mean_sd_um < 0.8 * one.mean_sd_um


def test_what_helps_most_is_told_before_it_is_done() -> None:
    """The doubt that a gauge check is said to take away is what it does take away."""
    e = deck(25.0)
    field = solve(e, SPREAD)
    patch = whole((20, 20))
    judged = judge(field, [patch], CLAIM, node_m2=0.36, seed=1)
    got = what_helps(field, patch, judged, count=3, width=2 * MIL, gauge_check_sd=5.0)
    assert len(got.spots) == 3
    assert 0 < got.readings < 1

    def mean_var(doubts: Doubts) -> float:
        other = replace(e, doubts=doubts)
        sites = replace(field.sites)
        k = other.covariance(SPREAD) + np.diag(sites.s)
        w = patch.mask.ravel() / patch.mask.sum()
        rows = field.cross(np.argwhere(patch.mask))  # nodes × data
        to_data = w @ rows
        prior = SPREAD.sd**2 * 0 + float(
            (w.reshape(20, 20) * field.tables.product(w.reshape(20, 20))).sum()
        )
        prior += e.doubts.level**2 + SPREAD.tau**2
        return prior - float(to_data @ np.linalg.solve(k, to_data))

    before = mean_var(e.doubts)
    # a check that leaves 5 µm is a gauge whose bias has variance 1 / (1/17.8² + 1/5²)
    after_sd = 1 / math.sqrt(1 / 17.8**2 + 1 / 5.0**2)
    after = mean_var(replace(e.doubts, gauge=after_sd))
    assert got.gauge[0] == pytest.approx((before - after) / before, rel=1e-6)


def test_spread_is_found_where_there_is_data_and_kept_where_there_is_none() -> None:
    rng = np.random.default_rng(3)
    truth = Spread(sd=4.0, ell=6.0, tau=0.8, micro=0.5)
    shape = (60, 60)
    empty = Evidence(
        shape=shape, step=1.0, target=25.0, readings=Readings.none(),
        kits=Kits(
            rects=Rects.of([[(0, 60, 0, 60)]]), mean=np.array([25.0]), var=np.array([1e9]),
            group=np.array([0]),
        ),
        doubts=Doubts(read=0.7),
    )  # fmt: skip
    film = next(iter(solve(empty, truth).draws(1, seed=5)))[0]
    node = rng.integers(0, 60, (250, 2))
    seen = film[tuple(node.T)] + 0.86 * rng.standard_normal(250)
    low = 2 * np.floor(seen / 2)
    data = Evidence(
        shape=shape, step=1.0, target=25.0, kits=Kits.none(), doubts=Doubts(read=0.7),
        readings=Readings(
            node=node, low=low, high=low + 2, gauge=np.zeros(250, dtype=np.int64)
        ),
    )  # fmt: skip
    before = Beforehand(middle=Spread(sd=2.0, ell=12.0, tau=0.8, micro=0.5))
    got = find_spread(data, before)
    assert 2.8 < got.sd < 5.5
    assert 4.0 < got.ell < 9.5
    two = replace(
        data,
        readings=Readings(
            node=node[:2], low=low[:2], high=low[:2] + 2, gauge=np.zeros(2, dtype=np.int64)
        ),
    )
    kept = find_spread(two, before)
    assert kept.ell == pytest.approx(12.0, rel=0.3)


@pytest.mark.outside
def test_groups_of_neighbours_tell_the_spread_as_all_together_do() -> None:
    """Beyond some hundred data the search splits them; it must not change the answer much."""
    truth = Spread(sd=3.0, ell=6.0, tau=0.8, micro=0.5)
    shape = (40, 120)
    rng = np.random.default_rng(8)
    cells = [[(r, r + 10, c, c + 10)] for r in range(0, 40, 10) for c in range(0, 120, 10)]
    empty = Evidence(
        shape=shape, step=1.0, target=25.0, readings=Readings.none(), doubts=Doubts(read=0.7),
        kits=Kits(
            rects=Rects.of(cells), mean=np.full(48, 25.0), var=np.full(48, 1e9),
            group=np.zeros(48, dtype=np.int64),
        ),
    )  # fmt: skip
    film = next(iter(solve(empty, truth).draws(1, seed=5)))[0]
    node = np.column_stack([rng.integers(0, n, 400) for n in shape])
    low = 2 * np.floor((film[tuple(node.T)] + 0.86 * rng.standard_normal(400)) / 2)
    mean = np.array([film[r0:r1, c0:c1].mean() for ((r0, r1, c0, c1),) in cells])
    data = replace(
        empty,
        readings=Readings(node=node, low=low, high=low + 2, gauge=np.zeros(400, dtype=np.int64)),
        kits=replace(empty.kits, mean=mean, var=np.full(48, 0.2)),
    )
    parts = data.split(120)
    assert max(len(p.readings) + len(p.kits) for p in parts) <= 120
    assert sum(len(p.readings) for p in parts) == 400
    assert sum(len(p.kits) for p in parts) == 48
    assert len(data.split(448)) == 1
    together = data.by_middles(truth).log_evidence
    whole = data.split(448)[0].by_middles(truth).log_evidence
    assert whole == pytest.approx(together, abs=1e-9)  # exact: one group is all of them
    reach = _reach(parts)
    fit, slope = log_evidence(parts, truth, reach)
    by_tables_of_all = sum(p.by_middles(truth).log_evidence for p in parts)
    assert fit == pytest.approx(by_tables_of_all, abs=1e-8)  # exact: only shifts matter
    for k, name in enumerate(("sd", "ell", "tau", "micro")):
        up, down = (
            log_evidence(parts, replace(truth, **{name: getattr(truth, name) * f}), reach)[0]
            for f in (math.exp(1e-4), math.exp(-1e-4))
        )
        # library: the central difference of the evidence itself
        assert slope[k] == pytest.approx((up - down) / 2e-4, abs=1e-4)
    before = Beforehand(middle=Spread(sd=2.0, ell=12.0, tau=0.8, micro=0.5))
    got = find_spread(data, before)
    assert 2.2 < got.sd < 4.0
    assert 4.0 < got.ell < 9.0
