"""Film evidence: do bands hold, are verdicts right, what kits are worth, how fast."""

from __future__ import annotations

import math
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tackfree.evidence.data import Doubts, Evidence, Kits, Readings, Spread
from tackfree.evidence.draws import SmoothDraws
from tackfree.evidence.field import Field, solve
from tackfree.evidence.kernel import Rects, Tables
from tackfree.evidence.next_reading import what_helps
from tackfree.evidence.spread import Beforehand, find_spread
from tackfree.evidence.verdict import Claim, Patch, State, judge

DECKS = 40
MODEL = Spread(sd=2.0, ell=12.0, tau=0.8, micro=0.5)  # mil, ft
BEFORE = Beforehand(middle=MODEL)
DOUBTS = Doubts(level=3.0, read=0.7, gauge=0.7, loss=0.4)
SHAPE, STEP = (50, 100), 2.0  # 100 × 200 ft
CELLS = [[(r, r + 8, c, c + 10)] for r in range(0, 48, 8) for c in range(0, 100, 10)]
ZONES = [(r, r + 25, c, c + 25) for r in (0, 25) for c in (0, 25, 50, 75)]
CLAIM = Claim(least_um=23.0, share=0.9)

Truth = Callable[[np.random.Generator], np.ndarray]


def run() -> list[dict[str, Any]]:
    """Every row of this area."""
    parts = (_calibration, _kits_worth, _speed, _sizes, _others)
    return [row for part in parts for row in part()]


def _row(name: str, value: float, unit: str, goal: str, holds: bool, runs: int, **more: Any) -> Any:
    base = {"baseline": more.get("baseline", "the truth it was drawn from")}
    return {
        "id": f"evidence.{name}", "value": value, "unit": unit, **base,
        "ratio": more.get("ratio"), "goal": goal, "holds": bool(holds), "runs": runs,
    }  # fmt: skip


def _drawn(spread: Spread) -> Truth:
    tables = Tables(SHAPE, STEP, spread.sd, spread.ell, spread.kernel)
    prior = SmoothDraws(tables)
    cell = np.full(SHAPE, len(CELLS))
    for k, ((r0, r1, c0, c1),) in enumerate(CELLS):
        cell[r0:r1, c0:c1] = k

    def truth(rng: np.random.Generator) -> np.ndarray:
        step = spread.tau * rng.standard_normal(len(CELLS) + 1)
        ridge = spread.micro * rng.standard_normal(SHAPE)
        level = rng.normal(25.5, 1.5)
        return np.asarray(level + prior.some(1, rng)[0] + step[cell] + ridge)

    return truth


def _lanes(rng: np.random.Generator) -> np.ndarray:
    """Squeegee lanes two nodes wide, each with its own hand, and a tilt."""
    lane = np.repeat(1.2 * rng.standard_normal(SHAPE[0] // 2), 2)[:, None]
    tilt = rng.normal(0, 1.5) * np.linspace(-1, 1, SHAPE[1])[None, :]
    return np.asarray(rng.normal(25.5, 1.5) + lane + tilt + 0.5 * rng.standard_normal(SHAPE))


def _log_normal(rng: np.random.Generator) -> np.ndarray:
    """The model's shape in the logarithm, 16 % of the mean."""
    tables = Tables(SHAPE, STEP, 0.16, MODEL.ell)
    film = SmoothDraws(tables).some(1, rng)[0] + 0.02 * rng.standard_normal(SHAPE)
    return np.asarray(rng.normal(25.5, 1.5) * np.exp(film - 0.013))


def _deck(truth: np.ndarray, rng: np.random.Generator, count: int, kits: bool) -> Evidence:
    node = np.column_stack([rng.integers(0, n, count) for n in SHAPE])
    gauge, loss = 0.7 * rng.standard_normal(), 0.4 * rng.standard_normal()
    seen = truth[tuple(node.T)] + gauge + 0.7 * rng.standard_normal(count)
    low = 2 * np.floor(seen / 2)
    mean = np.array([truth[r0:r1, c0:c1].mean() for ((r0, r1, c0, c1),) in CELLS])
    mean = mean * (1 + 0.03 * rng.standard_normal(len(mean))) + loss
    cells = Kits(
        rects=Rects.of(CELLS), mean=mean, var=np.full(len(mean), (0.03 * 25) ** 2),
        group=np.zeros(len(mean), dtype=np.int64),
    )  # fmt: skip
    return Evidence(
        shape=SHAPE, step=STEP, target=25.0,
        readings=Readings(
            node=node, low=low, high=low + 2, gauge=np.zeros(count, dtype=np.int64)
        ),
        kits=cells if kits else Kits.none(), doubts=DOUBTS,
    )  # fmt: skip


def _patches() -> list[Patch]:
    out = []
    for k, (r0, r1, c0, c1) in enumerate(ZONES):
        mask = np.zeros(SHAPE, dtype=bool)
        mask[r0:r1, c0:c1] = True
        out.append(Patch(id=str(k), mask=mask, readings=9, kits=1))
    return out


def _calibration() -> Iterator[Any]:
    """Coverage of 90 % bands and wrong verdicts, spread found anew on each deck."""
    rough = Spread(sd=2.0, ell=12.0, tau=0.8, micro=0.5, kernel="exponential")
    for name, truth_of, least in (
        ("model", _drawn(MODEL), 0.88),
        ("rough", _drawn(rough), 0.84),
        ("lanes", _lanes, 0.84),
        ("log-normal", _log_normal, 0.84),
    ):
        rng = np.random.default_rng(20)
        held, wrong, decided = [], 0, 0
        for k in range(DECKS):
            truth = truth_of(rng)
            e = _deck(truth, rng, 50, kits=True)
            field = solve(e, find_spread(e, BEFORE))
            sd = np.hypot(field.sd_map(), field.spread.micro)
            held.append(float((np.abs(truth - field.mean()) <= 1.645 * sd).mean()))
            got = judge(field, _patches(), CLAIM, node_m2=1.0, seed=k)
            for patch, v in zip(_patches(), got.verdicts, strict=True):
                meets = float((truth[patch.mask] >= 23.0).mean()) >= 0.9
                if v.state is not State.NOT_SHOWN:
                    decided += 1
                    wrong += meets != (v.state is State.SHOWN)
        mean = float(np.mean(held))
        most = 0.92 if name == "model" else 0.98
        goal = f"{least:.0%} to {most:.0%}"
        yield _row(f"bands-{name}", mean, "share held of 90 %", goal, least <= mean <= most, DECKS)
        share = wrong / max(decided, 1)
        yield _row(
            f"verdicts-{name}", share, f"wrong of {decided} decided", "at most 2 %",
            share <= 0.02, DECKS, ratio=decided / (DECKS * len(ZONES)),
            baseline="the truth it was drawn from; the ratio is the share decided",
        )  # fmt: skip


def _zone_sd(field: Field, zone: tuple[int, int, int, int]) -> float:
    rects = Rects.of([[zone]])
    r0, r1, c0, c1 = zone
    node = np.array([[r, c] for r in range(r0, r1) for c in range(c0, c1)])
    to_data = field.cross(node).mean(0)
    w = np.zeros(SHAPE)
    w[r0:r1, c0:c1] = 1 / rects.nodes[0]
    share = np.bincount(field.evidence.cell_of[r0:r1, c0:c1].ravel()) / rects.nodes[0]
    prior = float((w * field.tables.product(w)).sum()) + 9.0
    prior += field.spread.tau**2 * float(share @ share)
    half = np.linalg.solve(field.sites.chol, to_data)
    return math.sqrt(prior - float(half @ half))


def _kits_worth() -> Iterator[Any]:
    """Sd of a zone's mean from 50 readings, without and with kits."""
    rng = np.random.default_rng(4)
    truth_of = _drawn(MODEL)
    alone, both = [], []
    for _ in range(5):
        truth = truth_of(rng)
        e = _deck(truth, rng, 50, kits=True)
        bare = Evidence(
            shape=e.shape, step=e.step, target=e.target, readings=e.readings, kits=Kits.none(),
            doubts=e.doubts,
        )  # fmt: skip
        alone += [_zone_sd(solve(bare, MODEL), z) for z in ZONES]
        both += [_zone_sd(solve(e, MODEL), z) for z in ZONES]
    ratio = float(np.mean(both) / np.mean(alone))
    yield _row(
        "kits-worth", float(np.mean(both)), "mil sd of a zone mean", "at most half", ratio <= 0.5,
        5, baseline=f"the same 50 readings without kits, {np.mean(alone):.2f} mil", ratio=ratio,
    )  # fmt: skip


def _scale() -> Evidence:
    """1,000 readings and 500 kits on 500 × 200 ft at 1 ft."""
    rng = np.random.default_rng(1)
    shape, n = (200, 500), 1000
    node = np.column_stack([rng.integers(0, s, n) for s in shape])
    tables = Tables(shape, 1.0, MODEL.sd, MODEL.ell)
    truth = 25 + SmoothDraws(tables).some(1, rng)[0]
    seen = truth[tuple(node.T)] + 0.86 * rng.standard_normal(n)
    low = 2 * np.floor(seen / 2)
    cells = [[(r, r + 10, c, c + 20)] for r in range(0, 200, 10) for c in range(0, 500, 20)]
    mean = np.array([truth[r0:r1, c0:c1].mean() for ((r0, r1, c0, c1),) in cells])
    return Evidence(
        shape=shape, step=1.0, target=25.0,
        readings=Readings(node=node, low=low, high=low + 2, gauge=np.zeros(n, dtype=np.int64)),
        kits=Kits(
            rects=Rects.of(cells), mean=mean + 0.8 * rng.standard_normal(len(cells)),
            var=np.full(len(cells), 0.5), group=np.zeros(len(cells), dtype=np.int64),
        ),
        doubts=DOUBTS,
    )  # fmt: skip


def scale(exact: bool) -> None:
    """The scale case once, as a process of its own: prints CPU seconds and peak MB."""
    e = _scale()
    begin = time.process_time()
    field = solve(e, find_spread(e, BEFORE))
    field.mean()
    for _ in field.draws(200, seed=1):
        pass
    if exact:
        field.sd_map()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(time.process_time() - begin, peak)


def _alone(code: str) -> tuple[float, ...]:
    """Numbers that a fresh process prints, on one thread."""
    one = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    run = subprocess.run(  # our own code
        [sys.executable, "-c", code], env={**os.environ, **one}, cwd=Path(__file__).parents[1],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return tuple(map(float, run.stdout.split()))


def _sizes() -> Iterator[Any]:
    """The scale case with its spread found, and the usual deck; one thread each."""
    for exact, most_s, most_mb in ((False, 8, 450), (True, 12, 900)):
        cpu, peak = _alone(f"from bench.evidence import scale; scale({exact})")
        name = "scale-exact" if exact else "scale"
        what = "with exact variance" if exact else "fit, mean, 200 draws"
        yield _row(
            name, cpu, f"CPU s, {peak:.0f} MB: 1,000 readings, 500 kits, 100,000 nodes, {what}",
            f"at most {most_s} s and {most_mb} MB", cpu <= most_s and peak <= most_mb, 1,
            baseline="no baseline",
        )  # fmt: skip
    (cpu,) = _alone("from bench.evidence import usual; usual()")
    yield _row(
        "usual-deck", cpu, "CPU s: 20,000 ft² at 2 ft, 60 kits, 50 readings, all of it",
        "at most 1 s", cpu <= 1, 3, baseline="no baseline",
    )  # fmt: skip


def usual() -> None:
    """The usual deck from readings to verdicts and next readings: median CPU seconds of 3."""
    rng = np.random.default_rng(6)
    e = _deck(_drawn(MODEL)(rng), rng, 50, kits=True)
    took = []
    for k in range(3):
        begin = time.process_time()
        field = solve(e, find_spread(e, BEFORE))
        got = judge(field, _patches(), CLAIM, node_m2=0.37, seed=k)
        what_helps(field, _patches()[0], got)
        took.append(time.process_time() - begin)
    print(sorted(took)[1])


def _points(count: int, nodes: int) -> tuple[Evidence, np.ndarray, np.ndarray]:
    """Readings taken as exact spots with noise, what they read, and nodes to ask about."""
    rng = np.random.default_rng(2)
    shape = (200, 500)
    node = np.column_stack([rng.integers(0, s, count) for s in shape])
    y = rng.normal(25, 2, count)
    points = Evidence(
        shape=shape, step=1.0, target=25.0, kits=Kits.none(), doubts=Doubts(read=0.7),
        readings=Readings(node=node, low=y, high=y, gauge=np.zeros(count, dtype=np.int64)),
    )  # fmt: skip
    every = np.argwhere(np.ones(shape, dtype=bool))
    return points, y, every[:: len(every) // nodes]


def against(other: str, nodes: int) -> None:
    """Mean and sd by another program and by ours: ratio of CPU time, gaps of mean and sd."""
    points, y, ask = _points(1000, nodes)
    level = 1e3 if other == "pykrige" else 0.0  # ordinary kriging is a flat prior of the level
    points = replace(points, doubts=replace(points.doubts, level=level))
    spread = Spread(sd=2.0, ell=12.0, kernel="exponential")
    at = points.readings.node.astype(float)
    begin = time.process_time()
    field = Field(
        evidence=points, spread=spread, sites=points.by_middles(spread),
        tables=points.tables(spread),
    )  # fmt: skip
    whole = ask.shape[0] == points.shape[0] * points.shape[1]  # then the map is the cheaper way
    mean = field.mean()[tuple(ask.T)]
    sd = field.sd_map(single=False)[tuple(ask.T)] if whole else field.sd(ask)
    ours = time.process_time() - begin
    begin = time.process_time()
    if other == "sklearn":
        from sklearn.gaussian_process import GaussianProcessRegressor
        from sklearn.gaussian_process.kernels import ConstantKernel, Matern

        kernel = ConstantKernel(4.0) * Matern(12.0, nu=0.5)
        fit = GaussianProcessRegressor(kernel, alpha=0.49, optimizer=None).fit(at, y - 25)
        there, spread_there = fit.predict(ask.astype(float), return_std=True)
        there = there + 25
    elif other == "gstools":
        import gstools

        model = gstools.Exponential(dim=2, var=4.0, len_scale=12.0)
        fit = gstools.krige.Simple(model, at.T, y, mean=25.0, exact=False, cond_err=0.49)
        there, var = fit(ask.T.astype(float), return_var=True)
        spread_there = np.sqrt(var)
    else:
        from pykrige.ok import OrdinaryKriging

        parts = {"psill": 4.0, "range": 36.0, "nugget": 0.49}
        fit = OrdinaryKriging(
            at[:, 0], at[:, 1], y, variogram_model="exponential", variogram_parameters=parts,
            exact_values=False,
        )  # fmt: skip
        there, var = fit.execute("points", ask[:, 0].astype(float), ask[:, 1].astype(float))
        spread_there = np.sqrt(np.asarray(var) - 0.49)  # its variance is of a new reading
    theirs = time.process_time() - begin
    gap = float(np.abs(np.asarray(there) - mean).max())
    print(ours, theirs, gap, float(np.abs(np.asarray(spread_there) - sd).max()))


def _others() -> Iterator[Any]:
    """The point-only problem, each pair in one process on one thread."""
    for other, nodes, least, close in (
        ("sklearn", 100_000, 2.0, 1e-10),
        ("gstools", 10_000, 2.0, 1e-10),
        ("pykrige", 20_000, 1.0, 1e-6),
    ):
        ours, theirs, mean, sd = _alone(f"from bench.evidence import against; "
                                        f"against({other!r}, {nodes})")  # fmt: skip
        ratio = theirs / ours
        gap = max(mean, sd)
        yield _row(
            f"points-{other}", ours,
            f"CPU s mean and sd at {nodes} nodes from 1,000 spots; apart {mean:.0e}, {sd:.0e} mil",
            f"{least:g} times as fast, {close:.0e} apart", ratio >= least and gap <= close, 1,
            baseline=f"{other} in the same process, {theirs:.1f} s", ratio=ratio,
        )  # fmt: skip


def _speed() -> Iterator[Any]:
    """The point-only problem against plain dense algebra."""
    shape, n = (200, 500), 1000
    points, y, _ = _points(n, 1000)
    node = points.readings.node
    spread = Spread(sd=2.0, ell=12.0, kernel="exponential")
    every = np.argwhere(np.ones(shape, dtype=bool))
    ours, plain, gap = [], [], 0.0
    for _ in range(3):
        begin = time.process_time()
        fast = Field(
            evidence=points, spread=spread, sites=points.by_middles(spread),
            tables=points.tables(spread),
        ).mean()  # fmt: skip
        ours.append(time.process_time() - begin)
        begin = time.process_time()
        far = np.hypot(*(node[:, None, :] - node[None, :, :]).transpose(2, 0, 1))
        alpha = np.linalg.solve(4 * np.exp(-far / 12) + 0.49 * np.eye(n), y - 25)
        slow = np.empty(len(every))
        for at in range(0, len(every), 4096):
            part = every[at : at + 4096]
            far = np.hypot(
                part[:, 0][:, None] - node[:, 0][None, :], part[:, 1][:, None] - node[:, 1][None, :]
            )
            slow[at : at + 4096] = 25 + 4 * np.exp(-far / 12) @ alpha
        plain.append(time.process_time() - begin)
        gap = max(gap, float(np.abs(fast.ravel() - slow).max()))
    ratio = float(np.median(plain) / np.median(ours))
    yield _row(
        "points-mean", float(np.median(ours)), f"CPU s a mean map, {gap:.0e} mil apart",
        "5 times as fast, 1e-10 apart", ratio >= 5 and gap < 1e-10, 3,
        baseline="plain dense kriging in the same run", ratio=ratio,
    )  # fmt: skip
