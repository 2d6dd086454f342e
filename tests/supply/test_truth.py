"""Jobs whose true consumption is drawn: is the P90 order enough, and is the range honest?

The truth is made here by a plain loop of its own, from the same kind of errors that the
forecast says it rests on; the forecast sees the prior only.
"""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from scipy.stats import kstest

from tackfree.supply.spread import FILM_ERRORS, PRIMER_ERRORS, Need, draw_kits

Z90 = 1.2815515655446004


def job(rng: random.Random) -> list[Need]:
    """A random job: one product over some zones, each in some sections."""
    errors = rng.choice([FILM_ERRORS, PRIMER_ERRORS])
    film, fill = rng.uniform(0.015, 0.05), rng.choice([0.0, rng.uniform(0.001, 0.01)])
    return [
        Need(
            product_id="P", zone_id=f"Z{z}", shift_id=f"Z{z}-{s}", area_m2=rng.uniform(40, 600),
            film=film, fill=fill, fill_low=fill / 2, fill_high=2 * fill,
            fixed=rng.choice([0.0, rng.uniform(0, 1.5)]), errors=errors,
        )
        for z in range(rng.randint(1, 5))
        for s in range(rng.randint(1, 5))
    ]  # fmt: skip


def used(needs: list[Need], rng: random.Random) -> int:
    """Kits that one such job really takes, section by section."""
    shared: dict[tuple[str, ...], float] = {}

    def z(*key: str) -> float:
        return shared.setdefault(key, rng.gauss(0, 1))

    kits = 0
    for n in needs:
        ln = n.errors.job * z("job") + n.errors.zone * z("zone", n.zone_id)
        ln += n.errors.shift * z("shift", n.shift_id)
        side = z("fill", n.zone_id)
        step = (n.fill - n.fill_low if side < 0 else n.fill_high - n.fill) / Z90
        per_m2 = n.film * math.exp(ln) + max(0.0, n.fill + side * step)
        kits += math.ceil(n.area_m2 * per_m2 + n.fixed - 1e-9)
    return kits


def trial(jobs: int, draws: int) -> tuple[float, float]:
    """Share of jobs for which P90 is enough, and p of the randomised PIT being uniform."""
    rng = random.Random(11)
    enough, places = 0, []
    for k in range(jobs):
        needs = job(rng)
        spread = draw_kits(needs, draws=draws, seed=k)
        drawn, truth = spread.kits["P"], used(needs, rng)
        enough += truth <= spread.quantile("P", 0.9)
        below, same = np.mean(drawn < truth), np.mean(drawn == truth)
        places.append(below + rng.random() * same)
    return enough / jobs, float(kstest(places, "uniform").pvalue)


@pytest.fixture
def trials(request) -> bool:
    return bool(request.config.getoption("--trials"))


def test_the_p90_order_is_enough_and_the_range_honest(trials, record_property) -> None:
    share, p = trial(5000, 2000) if trials else trial(1500, 600)
    record_property("p90_enough", share)
    record_property("pit_p", p)
    print(f"P90 enough in {100 * share:.1f} % of jobs; PIT uniform with p = {p:.2f}")
    assert share >= 0.88  # the goal; 0.90 and over is what an honest P90 of counts gives
    # one honest forecast in a thousand would be refused; 32,000 other jobs gave p = 0.77
    assert p > 0.001
