"""What does not fit the rest, and the likeliest single cause."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tackfree.errors import InputError
from tackfree.evidence.data import Doubts, Evidence, Kits, Readings, Spread
from tackfree.evidence.dry import dry_film
from tackfree.evidence.field import Field, solve
from tackfree.evidence.kernel import Rects
from tackfree.evidence.next_reading import still_wet, what_helps
from tackfree.evidence.suspects import find_suspects
from tackfree.evidence.verdict import Claim, Patch, judge

SHAPE = (24, 40)
CELLS = [[(r, r + 8, c, c + 10)] for r in range(0, 24, 8) for c in range(0, 40, 10)]
SPREAD = Spread(sd=1.0, ell=8.0, tau=0.4, micro=0.3)


def deck(gauges: int = 1) -> Evidence:
    """Even film of 25 that was read and poured without a fault."""
    node = np.array([[r, c] for r in range(3, 24, 6) for c in range(3, 40, 6)])
    n = len(node)
    return Evidence(
        shape=SHAPE, step=1.0, target=25.0,
        readings=Readings(
            node=node, low=np.full(n, 24.0), high=np.full(n, 26.0),
            gauge=np.arange(n) % gauges,
        ),
        kits=Kits(
            rects=Rects.of(CELLS), mean=np.full(12, 25.0), var=np.full(12, 0.6),
            group=np.zeros(12, dtype=np.int64),
        ),
        doubts=Doubts(level=3.0, read=0.7, gauge=0.5, loss=0.4),
    )  # fmt: skip


def of(e: Evidence) -> Field:
    return solve(e, SPREAD)


def told(e: Evidence, cell: int, mean: float) -> Evidence:
    kit = e.kits.mean.copy()
    kit[cell] = mean
    return replace(e, kits=replace(e.kits, mean=kit))


def test_residuals_are_those_of_leaving_each_out() -> None:
    rng = np.random.default_rng(5)
    e = deck()
    low = 2 * np.floor(rng.normal(24, 2, len(e.readings)) / 2)
    e = replace(e, readings=replace(e.readings, low=low, high=low + 2))
    got = find_suspects(of(e)).residual
    y, s = e.middles(SPREAD)
    c = e.covariance(SPREAD) + np.diag(s)
    for k in (0, 7, len(y) - 1):
        rest = np.delete(np.arange(len(y)), k)
        weight = np.linalg.solve(c[np.ix_(rest, rest)], c[rest, k])
        away = y[k] - 25 - weight @ (y[rest] - 25)
        # library: numpy, the datum foretold from the others
        assert got[k] == pytest.approx(away / np.sqrt(c[k, k] - weight @ c[rest, k]), abs=1e-8)


def test_a_faultless_deck_is_not_suspected() -> None:
    got = find_suspects(of(deck()))
    assert got.causes[0].cause == "nothing"
    assert sum(s.chance for s in got.causes) == pytest.approx(1.0)
    assert np.abs(got.residual).max() < 1e-6


def test_each_fault_put_in_is_the_one_found() -> None:
    e = deck()
    missing = find_suspects(of(told(e, 5, 12.5)), kit_film=np.full(12, 12.5)).causes[0]
    assert (missing.cause, missing.which) == ("kit-missing", 5)
    twice = find_suspects(of(told(e, 7, 50.0)), kit_film=np.full(12, 25.0)).causes[0]
    assert (twice.cause, twice.which) == ("kit-twice", 7)
    assert twice.chance > 0.5
    swapped = told(told(e, 2, 37.5), 9, 12.5)
    wrong = find_suspects(of(swapped), kit_film=np.full(12, 12.5)).causes[0]
    assert (wrong.cause, wrong.which, wrong.other) == ("wrong-section", 2, 9)
    area = find_suspects(of(told(e, 3, 30.5))).causes[0]
    assert (area.cause, area.which) == ("area", 3)
    assert area.off == pytest.approx(5.5, abs=1.0)  # exact: 30.5 told for 25


def test_shared_faults_are_told_from_single_ones() -> None:
    e = deck(gauges=2)
    worn = e.readings.gauge == 1
    low = np.where(worn, e.readings.low + 6, e.readings.low)
    got = find_suspects(of(replace(e, readings=replace(e.readings, low=low, high=low + 2))))
    assert (got.causes[0].cause, got.causes[0].which) == ("gauge", 1)
    rich = replace(e, kits=replace(e.kits, mean=np.full(12, 31.0)))
    got = find_suspects(of(rich))
    assert got.causes[0].cause == "kits-alike"
    one = e.readings.low.copy()
    one[4] += 12
    spot = find_suspects(of(replace(e, readings=replace(e.readings, low=one, high=one + 2))))
    assert (spot.causes[0].cause, spot.causes[0].which) == ("reading", 4)
    assert int(np.abs(spot.residual).argmax()) == 4


def test_an_open_reading_is_no_suspect_and_films_must_fit() -> None:
    e = deck()
    high = e.readings.high.copy()
    high[0] = np.inf
    got = find_suspects(of(replace(e, readings=replace(e.readings, high=high))))
    assert all(s.which != 0 for s in got.causes if s.cause == "reading")
    with pytest.raises(InputError, match="film of one kit"):
        find_suspects(of(e), kit_film=np.zeros(12))


def test_only_wet_spots_are_sent_to() -> None:
    field = of(deck())
    patch = Patch(id="whole", mask=np.ones(SHAPE, dtype=bool), readings=9, kits=12)
    judged = judge(field, [patch], Claim(least_um=25.0), node_m2=1.0, seed=1, draws=100)
    left, right = np.zeros(SHAPE, dtype=bool), np.zeros(SHAPE, dtype=bool)
    left[:, :10], right[:, 10:] = True, True
    wet = still_wet([left, right], [1.0, 5.0], 4.0)
    got = what_helps(field, patch, judged, wet=wet)
    assert len(got.spots)
    assert (got.spots[:, 1] < 10).all()
    none = what_helps(field, patch, judged, wet=still_wet([left, right], [4.0, 5.0], 4.0))
    assert len(none.spots) == 0
    assert none.readings == 0
    assert none.gauge == pytest.approx(got.gauge)


@pytest.mark.outside
def test_dry_film_with_its_doubt() -> None:
    mean, sd = dry_film(wft_um=25.0, sd_um=1.0, volume_solids=0.80, solids_sd=0.02)
    # exact: 0.64 + 0.25 + 0.0004 under the root
    assert (mean, sd) == (pytest.approx(20.0), pytest.approx(0.943610, abs=1e-6))
    ends = [dry_film(wft_um=w, sd_um=0, volume_solids=0.8, solids_sd=0)[0] for w in (24, 26)]
    assert ends == pytest.approx([19.2, 20.8])  # exact: four fifths
