"""Consumption learnt: do forecasts hold, drifting jobs too, and what learning saves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np

from tackfree.supply.learning import PRIMER, Ahead, Band, Used, forecast
from tackfree.supply.orders import OrderCosts, best_order, first_drop, order_now

JOBS, POLICY_JOBS = 400, 60


def run() -> list[dict[str, Any]]:
    """Every row of this area."""
    return [row for part in (_forecast, _drifts, _orders) for row in part()]


def _row(name: str, value: float, unit: str, goal: str, holds: bool, runs: int, **more: Any) -> Any:
    base = {"baseline": more.get("baseline", "the truth it was drawn from")}
    return {
        "id": f"consumption.{name}", "value": value, "unit": unit, **base,
        "ratio": more.get("ratio"), "goal": goal, "holds": bool(holds), "runs": runs,
    }  # fmt: skip


KIT_L, FT2 = 18.92705892, 0.09290304
SHEET = Band.of_sheet(200 * FT2 / 3.785411784, 300 * FT2 / 3.785411784)
SHIFTS, AREA = 10, 5000 * FT2


def _job(rng: np.random.Generator, drift: float = 0.0) -> list[list[float]]:
    """Coverage of the kits of each shift: enough kits to finish it. [m²/L]

    ``drift`` is what its logarithm gains from the first shift to the last.
    """
    theta = SHEET.log_mean + 0.1232 * rng.standard_normal()
    zones = 0.06 * rng.standard_normal(3)
    out = []
    for s in range(SHIFTS):
        theta += 0.01 * rng.standard_normal()
        left, kits = AREA, []
        while left > 1e-9:
            mean = theta + drift * s / (SHIFTS - 1) + zones[s % 3]
            y = float(np.exp(mean + 0.10 * rng.standard_normal()))
            kits.append(y)
            left -= y * KIT_L
        out.append(kits)
    return out


def _seen(kits: list[list[float]], shifts: int, *, weighed: bool = True) -> list[Used]:
    """Without the last kit of a shift where its leftover was not weighed."""
    return [
        Used(shift=s, zone=s % 3, coverage_m2_per_l=y)
        for s in range(shifts)
        for y in (kits[s] if weighed else kits[s][:-1])
    ]


def _ahead(begin: int) -> list[Ahead]:
    return [Ahead(shift=s, zone=s % 3, area_m2=AREA) for s in range(begin, SHIFTS)]


def _forecast() -> Iterator[Any]:
    """Do P10 and P90 hold eight jobs of ten, and how near is P50?"""
    for done, goal, weighed in ((1, 0.62, True), (1, 0.55, False), (5, 0.88, True)):
        rng = np.random.default_rng(8)
        inside, near = [], []
        for k in range(JOBS):
            kits = _job(rng)
            used = _seen(kits, done, weighed=weighed)
            got = forecast(used, _ahead(done), SHEET, PRIMER, kit_l=KIT_L, seed=k)
            true = sum(len(s) for s in kits[done:])
            below, at = float((got.kits < true).mean()), float((got.kits == true).mean())
            inside.append(0.1 <= below + rng.random() * at <= 0.9)
            near.append(abs(got.quantile(0.5) - true) <= 0.05 * sum(map(len, kits)))
        share, hit = float(np.mean(inside)), float(np.mean(near))
        name = f"{done}-shifts" if weighed else f"{done}-shifts-unweighed"
        yield _row(
            f"forecast-{name}", share, "share inside P10 to P90", "76 to 88 %",
            0.76 <= share <= 0.88, JOBS,
        )  # fmt: skip
        yield _row(
            f"forecast-near-{name}", hit, "share within 5 % of the total",
            f"at least {goal:.0%}", hit >= goal, JOBS,
        )  # fmt: skip


MIX = (("steady", 0.0, 6), ("rising", math.log(1.15), 1), ("falling", -math.log(1.15), 1))
MIX_JOBS, MIX_SHIFTS = 100, (2, 4)


def _drifts() -> Iterator[Any]:
    """Three steady jobs for one whose coverage drifts by 15 %: how likely is what came?

    The log score of the kits left, over what it would be were a drift never or always
    reckoned with; and how many drifting jobs P10 to P90 holds.
    """
    score: dict[float, float] = {}
    held: dict[float, list[bool]] = {}
    for steady in (PRIMER.steady, 0.0, 1.0):
        habits = replace(PRIMER, steady=steady)
        total, held[steady] = 0.0, []
        for name, drift, weight in MIX:
            rng = np.random.default_rng(31)
            logs = []
            for k in range(MIX_JOBS):
                kits = _job(rng, drift)
                for done in MIX_SHIFTS:
                    got = forecast(
                        _seen(kits, done), _ahead(done), SHEET, habits, kit_l=KIT_L, seed=k
                    ).kits
                    true = sum(map(len, kits[done:]))
                    bell = NormalDist(float(got.mean()), max(float(got.std()), 0.3))
                    logs.append(math.log(bell.cdf(true + 0.5) - bell.cdf(true - 0.5) + 1e-6))
                    low, high = np.quantile(got, (0.1, 0.9), method="inverted_cdf")
                    if name != "steady":
                        held[steady].append(bool(low <= true <= high))
            total += weight * float(np.mean(logs))
        score[steady] = total / sum(w for _, _, w in MIX)
    own = score.pop(PRIMER.steady)
    best = max(score.values())
    yield _row(
        "forecast-mix", own, "log score of the kits left, three steady jobs to a drifting one",
        "better than both", own > best, 3 * MIX_JOBS, ratio=math.exp(own - best),
        baseline=f"never a drift {score[1.0]:.3f}, always one {score[0.0]:.3f}; the ratio is "
        "of likelihoods",
    )  # fmt: skip
    inside, never = (float(np.mean(held[k])) for k in (PRIMER.steady, 1.0))
    yield _row(
        "forecast-drifting", inside, "share of drifting jobs inside P10 to P90",
        "more than without", inside > never, 2 * MIX_JOBS, ratio=inside / never,
        baseline=f"never a drift, {never:.2f}",
    )  # fmt: skip


LEAD = 3
COSTS = OrderCosts(spare=450.0, short=0.0, stop=4800.0 * LEAD + 350.0)


def _cost(kits: list[list[float]], first: int, *, learning: bool, seed: int) -> float:
    """Money lost to spares and stops of one job under one policy."""
    stock, due, lost = first, {}, 0.0
    for s in range(SHIFTS):
        stock += due.pop(s, 0)
        on_order = sum(due.values())
        if learning:
            got = forecast(_seen(kits, s), _ahead(s), SHEET, PRIMER, kit_l=KIT_L, seed=seed + s)
            last = s + LEAD >= SHIFTS - 1
            if s + LEAD < SHIFTS and (
                last or order_now(got, COSTS, have=stock + on_order, lead_shifts=LEAD)
            ):
                more, _ = best_order(got.kits, COSTS, have=stock + on_order)
                if more:
                    due[s + LEAD] = due.get(s + LEAD, 0) + more
                    lost += 350.0
        stock -= len(kits[s])
        if stock < 0:
            lost += COSTS.stop
            rest = sum(len(x) for x in kits[s + 1 :])
            stock = max(0, round(1.1 * rest) - sum(due.values()))
    return lost + COSTS.spare * (stock + sum(due.values()))


def _orders() -> Iterator[Any]:
    """Learning with a reorder test against two policies that order once."""
    rng = np.random.default_rng(12)
    start = forecast([], _ahead(0), SHEET, PRIMER, kit_l=KIT_L, seed=3)
    middle = math.ceil(1.1 * SHIFTS * AREA / (math.exp(SHEET.log_mean) * KIT_L))
    once, _ = best_order(start.kits, COSTS)
    drop = first_drop(start, LEAD)
    loss: dict[str, list[float]] = {"middle": [], "once": [], "learn": []}
    for k in range(POLICY_JOBS):
        kits = _job(rng)
        loss["middle"].append(_cost(kits, middle, learning=False, seed=0))
        loss["once"].append(_cost(kits, once, learning=False, seed=0))
        loss["learn"].append(_cost(kits, drop, learning=True, seed=100 * k))
    mean = {k: float(np.mean(v)) for k, v in loss.items()}
    for name, told in (
        ("middle", "area over middle coverage and 10 %"),
        ("once", "best fractile once, no learning"),
    ):
        ratio = mean[name] / mean["learn"]
        yield _row(
            f"orders-against-{name}", mean["learn"], "$ a job lost to spares and stops",
            "half the cost" if name == "middle" else "less", ratio > (2 if name == "middle" else 1),
            POLICY_JOBS, baseline=f"{told}, ${mean[name]:,.0f}", ratio=ratio,
        )  # fmt: skip
