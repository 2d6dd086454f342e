"""What this deck drinks: every logged kit sharpens how many more it will take.

    ln(coverage of kit k) = theta[shift] + own scatter
    theta[shift] = job + zone + walk from shift to shift + drift over the job

Given the scatter and the size of a walk's step everything is normal and exact; those two
are weighed on a small grid. A forecast opens whole kits shift by shift, as a crew does:
what is left in the last kit of a shift is lost.

Source
------
Exact given the model (conjugate normal; Rasmussen & Williams 2006, 2.2). The widths are
practice and each may be given.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
HALF = 0.6744897501960817  # quartile of the unit normal
ENOUGH_JOBS = 5  # from the crew's own fifth job on, its history replaces the sheet's band
DRAWS = 1500


@dataclass(frozen=True, kw_only=True)
class Band:
    """Where the coverage is thought to lie beforehand: log mean and its sd. [ln(m²/L)]"""

    log_mean: float
    log_sd: float
    jobs: int = 0

    @classmethod
    def of_sheet(cls, low: float, high: float) -> Band:
        """The sheet's band taken as the middle half: real decks leave it often. [m²/L]

        >>> band = Band.of_sheet(200, 300)
        >>> print(round(band.log_mean, 6), round(band.log_sd, 6))
        5.50105 0.300572
        """
        if not 0 < low < high < math.inf:
            raise InputError(
                f"the band of coverage is {low:g} to {high:g}.",
                do="Give the low end first, both above 0.",
            )
        return cls(
            log_mean=0.5 * (math.log(low) + math.log(high)),
            log_sd=(math.log(high) - math.log(low)) / (2 * HALF),
        )

    @classmethod
    def of_history(cls, jobs: Sequence[float], sheet: Band) -> Band:
        """The crew's own mean coverage job by job, once there are five. [m²/L]"""
        if len(jobs) < ENOUGH_JOBS:
            return sheet
        logs = np.log(jobs)
        sd = float(logs.std(ddof=1)) * math.sqrt(1 + 1 / len(logs))
        return cls(log_mean=float(logs.mean()), log_sd=max(sd, 0.02), jobs=len(jobs))


def learned_h(first_h: float, unit: int, share: float) -> float:
    """Hours of the n-th of equal pieces of work, where doubling their number takes a share.

    Source
    ------
    The learning curve: hours = first · n^log2(share).

    Examples
    --------
    >>> round(learned_h(1000.0, 4, 0.80), 6)
    640.0
    """
    return float(first_h * unit ** math.log2(share))


@dataclass(frozen=True, kw_only=True)
class Habits:
    """How coverage scatters: ``zone`` between zones, ``drift`` over the whole job.

    ``steady`` is how likely the job does not drift at all: most do not, and a drift always
    reckoned with would widen every forecast. Even odds score best where one job in four
    drifts (`bench/consumption.py`).

    ``scatter`` is the middle of what a single kit's log coverage scatters by,
    ``walks`` the steps from shift to shift that are weighed.
    """

    scatter: float
    zone: float
    drift: float = 0.10
    walks: tuple[float, ...] = (0.0, 0.01, 0.02)
    steady: float = 0.5
    scatter_weight: float = 4.0  # as many kits' worth as the middle scatter counts for

    @property
    def drifts(self) -> tuple[tuple[float, float], ...]:
        """Drifts that are weighed, each with its chance beforehand."""
        both = ((0.0, self.steady), (self.drift, 1 - self.steady))
        return tuple((drift, chance) for drift, chance in both if chance > 0)


PRIMER = Habits(scatter=0.10, zone=0.06)  # practice
MEMBRANE = Habits(scatter=0.05, zone=0.03)  # practice


@dataclass(frozen=True, kw_only=True)
class Used:
    """One kit: shift and zone numbers, what it covered per litre. [m²/L]

    For the last kit of a shift give the coverage of what was poured with the leftover
    weighed, or leave the kit out. Spreading a whole kit over a short area would count
    the rounding twice.
    """

    shift: int
    zone: int
    coverage_m2_per_l: float


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """What is still to cover in one shift. [m²]"""

    shift: int
    zone: int
    area_m2: float


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """Kits to finish. ``kits`` are the draws (m,), ``by_shift`` (m, shifts ahead).

    ``scatter`` and ``theta`` are means of the scatter and of the log coverage by shift
    ahead; ``odd_shifts`` are pairs in a row outside their own P10 to P90.
    """

    kits: NDArray[np.int64]
    by_shift: NDArray[np.int64]
    theta: FloatArray
    theta_sd: FloatArray
    scatter: float
    odd_shifts: tuple[int, ...]

    def quantile(self, p: float) -> int:
        """Whole kits that are enough with chance ``p``."""
        return int(np.quantile(self.kits, p, method="inverted_cdf"))


@dataclass(frozen=True, kw_only=True)
class Learnt:
    """Log coverage of shifts given the log, for one scatter and one walk."""

    mean: FloatArray
    cov: FloatArray
    log_evidence: float


def learn(
    used: Sequence[Used],
    ask: Sequence[tuple[int, int]],
    band: Band,
    *,
    scatter: float,
    zone: float,
    drift: float = 0.0,
    walk: float = 0.0,
    shifts: int = 1,
) -> Learnt:
    """Exact log coverage at (shift, zone) pairs, all widths known.

    Parameters
    ----------
    used : sequence of Used
        The log; may be empty.
    ask : sequence of (shift, zone)
        Where the coverage is asked for.
    band : Band
    scatter, zone, drift, walk : float
        Standard deviations of the log coverage.
    shifts : int
        Shifts of the whole job; drift is spread over them.

    Returns
    -------
    Learnt
    """
    keys = sorted({(u.shift, u.zone) for u in used})
    pairs = [*keys, *ask]
    s = np.array([a for a, _ in pairs], dtype=float)
    z = np.array([b for _, b in pairs])
    cov = (
        np.full((len(pairs), len(pairs)), band.log_sd**2)
        + zone**2 * (z[:, None] == z)
        + drift**2 * np.outer(s, s) / max(shifts, 1) ** 2
        + walk**2 * np.minimum(s[:, None], s)
    )
    n = len(keys)
    if not n:
        return Learnt(mean=np.full(len(ask), band.log_mean), cov=cov, log_evidence=0.0)
    logs: dict[tuple[int, int], list[float]] = {key: [] for key in keys}
    for u in used:
        logs[u.shift, u.zone].append(math.log(u.coverage_m2_per_l))
    count = np.array([len(logs[k]) for k in keys], dtype=float)
    mean = np.array([math.fsum(logs[k]) / len(logs[k]) for k in keys])
    within = math.fsum((y - m) ** 2 for k, m in zip(keys, mean, strict=True) for y in logs[k])
    c = cov[:n, :n] + np.diag(scatter**2 / count)
    gain = np.linalg.solve(c, cov[:n, n:]).T
    away = mean - band.log_mean
    _, log_det = np.linalg.slogdet(c)
    evidence = -0.5 * (away @ np.linalg.solve(c, away) + log_det)
    evidence -= (count.sum() - n) * math.log(scatter) + within / (2 * scatter**2)
    return Learnt(
        mean=band.log_mean + gain @ away,
        cov=cov[n:, n:] - gain @ cov[:n, n:],
        log_evidence=float(evidence),
    )


def forecast(
    used: Sequence[Used],
    ahead: Sequence[Ahead],
    band: Band,
    habits: Habits,
    *,
    kit_l: float,
    seed: int,
    draws: int = DRAWS,
) -> Forecast:
    """Whole kits for what is still to cover.

    Parameters
    ----------
    used : sequence of Used
        Kits logged so far.
    ahead : sequence of Ahead
        Areas to come, shift by shift.
    band : Band
    habits : Habits
    kit_l : float
        Mixed volume of a kit. [L], above 0
    seed : int
    draws : int

    Returns
    -------
    Forecast

    Raises
    ------
    InputError
        If a coverage, an area or the kit is not above 0.
    """
    _check(used, ahead, kit_l)
    rng = np.random.default_rng(seed)
    if not ahead:
        nothing = np.zeros((draws, 0), dtype=np.int64)
        return Forecast(
            kits=nothing.sum(1), by_shift=nothing, theta=np.zeros(0), theta_sd=np.zeros(0),
            scatter=habits.scatter, odd_shifts=(),
        )  # fmt: skip
    shifts = 1 + max([a.shift for a in ahead] + [u.shift for u in used])
    ask = [(a.shift, a.zone) for a in ahead]
    at, weight = [], []
    for scatter in habits.scatter * np.exp(np.linspace(-1.2, 1.2, 21)):
        ratio = (habits.scatter / scatter) ** 2
        prior = 0.5 * habits.scatter_weight * (math.log(ratio) - ratio)
        for walk, (drift, chance) in product(habits.walks, habits.drifts):
            got = learn(
                used, ask, band, scatter=scatter, zone=habits.zone, drift=drift,
                walk=walk, shifts=shifts,
            )  # fmt: skip
            at.append((float(scatter), got))
            weight.append(prior + math.log(chance) + got.log_evidence)
    share = np.exp(np.array(weight) - max(weight))
    share /= share.sum()
    pick = rng.multinomial(draws, share)
    theta, sigma = [], []
    for (scatter, got), k in zip(at, pick, strict=True):
        if k:
            theta.append(_normal(rng, got.mean, got.cov, int(k)))
            sigma.append(np.full(k, scatter))
    drawn, sd = np.concatenate(theta), np.concatenate(sigma)
    by_shift = np.column_stack(
        [_open_kits(rng, drawn[:, j], sd, a.area_m2, kit_l) for j, a in enumerate(ahead)]
    )
    return Forecast(
        kits=by_shift.sum(1),
        by_shift=by_shift,
        theta=drawn.mean(0),
        theta_sd=drawn.std(0),
        scatter=float(sd.mean()),
        odd_shifts=_odd(used, band, habits, shifts),
    )


def _check(used: Sequence[Used], ahead: Sequence[Ahead], kit_l: float) -> None:
    for what, values, unit in (
        ("coverage", [u.coverage_m2_per_l for u in used], "m²/L"),
        ("area ahead", [a.area_m2 for a in ahead], "m²"),
        ("kit", [kit_l], "L"),
    ):
        for value in values:
            if not 0 < value < math.inf:
                raise InputError(f"{what} is {value:g} {unit}; it must be above 0.", do="Check it.")


def _normal(rng: np.random.Generator, mean: FloatArray, cov: FloatArray, k: int) -> FloatArray:
    value, vector = np.linalg.eigh(cov)
    root = vector * np.sqrt(np.maximum(value, 0))
    return np.asarray(mean + rng.standard_normal((k, len(mean))) @ root.T)


def _open_kits(
    rng: np.random.Generator, theta: FloatArray, sd: FloatArray, area_m2: float, kit_l: float
) -> NDArray[np.int64]:
    """Kits opened until the area is covered, draw by draw."""
    left = np.full(len(theta), area_m2)
    count = np.zeros(len(theta), dtype=np.int64)
    open_ = np.arange(len(theta))
    while len(open_):
        noise = rng.standard_normal(len(open_))
        left[open_] -= kit_l * np.exp(theta[open_] + sd[open_] * noise)
        count[open_] += 1
        open_ = open_[left[open_] > 1e-9 * area_m2]
    return count


def _odd(used: Sequence[Used], band: Band, habits: Habits, shifts: int) -> tuple[int, ...]:
    """Second shifts of pairs in a row that lay outside what the log before them told."""
    out: list[int] = []
    outside_before = False
    for shift in sorted({u.shift for u in used})[1:]:
        before = [u for u in used if u.shift < shift]
        here = [u for u in used if u.shift == shift]
        zone = here[0].zone
        got = learn(
            before, [(shift, zone)], band, scatter=habits.scatter, zone=habits.zone,
            drift=habits.drift, walk=habits.walks[-1], shifts=shifts,
        )  # fmt: skip
        mean = math.fsum(math.log(u.coverage_m2_per_l) for u in here) / len(here)
        sd = math.sqrt(float(got.cov[0, 0]) + habits.scatter**2 / len(here))
        outside = abs(mean - float(got.mean[0])) > 1.2815515655446004 * sd
        if outside and outside_before:
            out.append(shift)
        outside_before = outside
    return tuple(out)
