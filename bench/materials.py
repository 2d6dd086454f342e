"""Draws of kits against a plain loop, and what proposed section sizes save."""

from __future__ import annotations

import math
import random
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from tackfree.supply.sizes import propose_sizes
from tackfree.supply.spread import Need, draw_kits

RUNS = 3
SECTIONS, COATS, DRAWS = 10_000, 5, 2_000
ZONES, SHIFTS = 50, 40  # sections of a product in one zone and shift share its errors
LOOPED = 4  # draws of the plain loop; the rest is scaled


def run() -> list[dict[str, Any]]:
    """Rows of the bench table."""
    needs = _needs()
    prices = {f"P{c}": 200.0 + 10 * c for c in range(COATS)}

    def priced() -> np.ndarray:
        kits = draw_kits(needs, draws=DRAWS, seed=1).kits
        return sum(kits[p] * each for p, each in prices.items())

    ours = _seconds(priced, RUNS)
    plain = _seconds(lambda: _loop(needs, prices), 1) * DRAWS / LOOPED
    ratio = plain / ours
    before, after = _sizes()
    return [
        {
            "id": "materials-draws", "value": ours, "unit": "s",
            "baseline": f"plain loop, {LOOPED} draws scaled to {DRAWS}", "ratio": ratio,
            "goal": "under 2 s for 10,000 sections × 5 coats × 2,000 draws, 50x",
            "holds": ours < 2.0 and ratio >= 50, "runs": RUNS,
        },
        {
            "id": "materials-sizes", "value": 100 * (1 - after / before), "unit": "% of kits saved",
            "baseline": "sizes as given, 1,000 random jobs", "ratio": before / after,
            "goal": "never more kits", "holds": after <= before, "runs": 1,
        },
    ]  # fmt: skip


def _needs() -> list[Need]:
    rng = random.Random(2)
    out = []
    for s in range(SECTIONS):
        zone = s % ZONES
        for c in range(COATS):
            out.append(
                Need(
                    product_id=f"P{c}", zone_id=f"Z{zone}", shift_id=f"S{(s // ZONES) % SHIFTS}",
                    area_m2=rng.uniform(100, 900), film=0.02 + 0.005 * c,
                    fill=0.004, fill_low=0.002, fill_high=0.008,
                )
            )  # fmt: skip
    return out


def _loop(needs: list[Need], prices: dict[str, float]) -> list[float]:
    rng = random.Random(3)
    found = []
    for _ in range(LOOPED):
        errors: dict[tuple[str, ...], float] = {}
        money = 0.0
        for n in needs:
            job = errors.setdefault(("j", n.product_id), rng.gauss(0, 1))
            zone = errors.setdefault(("z", n.product_id, n.zone_id), rng.gauss(0, 1))
            key = ("s", n.product_id, n.zone_id, n.shift_id)
            shift = errors.setdefault(key, rng.gauss(0, 1))
            fill = errors.setdefault(("f", n.product_id, n.zone_id), rng.gauss(0, 1))
            e = n.errors
            used = n.film * math.exp(e.job * job + e.zone * zone + e.shift * shift)
            step = (n.fill - n.fill_low if fill < 0 else n.fill_high - n.fill) / 1.2815515655446004
            used += max(0.0, n.fill + fill * step)
            money += math.ceil(used * n.area_m2 + n.fixed - 1e-9) * prices[n.product_id]
        found.append(money)
    return found


def _sizes() -> tuple[int, int]:
    rng = random.Random(7)
    before = after = 0
    for _ in range(1000):
        given = [rng.uniform(200, 600) for _ in range(rng.randint(2, 6))]
        rates = [rng.uniform(0.01, 0.06) for _ in range(rng.randint(3, 5))]
        found = propose_sizes(given, rates)
        before, after = before + found.given_kits, after + found.kits
        if found.kits > found.given_kits:
            return 0, 1
    return before, after


def _seconds(work: Callable[[], Any], runs: int) -> float:
    taken = []
    for _ in range(runs):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return statistics.median(taken)
