"""A notch-gauge reading is an interval: the film it leaves possible.

The film lies between the last wetted tooth and the next dry one (ASTM D4414). Dry at the
first tooth and wet at the last are intervals open at one end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, solve_triangular
from scipy.linalg.lapack import dpotrf, dtrtri
from scipy.special import log_ndtr

from tackfree.errors import InputError
from tackfree.evidence.kernel import FloatArray

_LN_ROOT_2PI = 0.5 * np.log(2 * np.pi)
DAMP = 0.8
SWEEPS = 60
CLOSE = 3e-5  # of the prior sd; a finer change of mean or sd is no change


def interval_moments(
    mean: FloatArray, var: FloatArray, low: FloatArray, high: FloatArray, noise_var: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean and variance of a normal value once a noisy look has put it in an interval.

    Parameters
    ----------
    mean, var : arrays of one shape
        Of the value before the look.
    low, high : arrays of the same shape
        The interval; -inf and inf where it is open.
    noise_var : array of the same shape
        Variance of the look.

    Returns
    -------
    tuple of arrays
        Mean, variance, and log probability of the interval.

    Source
    ------
    Exact: moments of a normal cut at both ends, seen through normal noise. Worked in
    logarithms and reflected to the lower tail, so that an interval many deviations
    away keeps its digits.
    """
    s = np.sqrt(var + noise_var)
    a, b = (low - mean) / s, (high - mean) / s
    turn = a + b > 0
    a, b = np.where(turn, -b, a), np.where(turn, -a, b)
    la, lb = log_ndtr(a), log_ndtr(b)
    log_z = lb + np.log1p(-np.exp(la - lb))
    safe_a, safe_b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    pa = np.where(np.isfinite(a), np.exp(-0.5 * safe_a**2 - _LN_ROOT_2PI - log_z), 0.0)
    pb = np.where(np.isfinite(b), np.exp(-0.5 * safe_b**2 - _LN_ROOT_2PI - log_z), 0.0)
    d = pa - pb
    shrink = d * d - (safe_a * pa - safe_b * pb)  # 1 - variance of the cut unit normal
    out_mean = mean + np.where(turn, -1.0, 1.0) * var / s * d
    return out_mean, var - var**2 / s**2 * shrink, log_z


@dataclass(frozen=True, kw_only=True)
class Sites:
    """Every datum as one normal observation, and the data covariance factored.

    ``y`` and ``s`` are value and variance of each; ``chol`` the lower factor of
    K + diag(s); ``alpha`` its solution for y - centre. ``sweeps`` tells how long it took.
    """

    y: FloatArray
    s: FloatArray
    chol: FloatArray
    alpha: FloatArray
    sweeps: int

    @property
    def log_evidence(self) -> float:
        """Log density of ``y``, up to nothing: exact for these normal sites."""
        n = len(self.y)
        quad = float(self.half @ self.half)
        return float(-0.5 * quad - np.log(np.diag(self.chol)).sum() - n * _LN_ROOT_2PI)

    @property
    def half(self) -> FloatArray:
        return np.asarray(self.chol.T @ self.alpha)


def factor(cov: FloatArray) -> FloatArray:
    """Lower Cholesky factor, upper part cleared."""
    chol, info = dpotrf(cov, lower=1, clean=1)
    if info:
        raise InputError(
            "readings and kits cannot be told apart by the model.",
            do="Look for the same reading entered twice without read error.",
        )
    return np.asarray(chol)


def settled(k: FloatArray, centre: float, y: FloatArray, s: FloatArray, sweeps: int = 0) -> Sites:
    """Sites with given values and variances."""
    chol = factor(k + np.diag(s))
    alpha = cho_solve((chol, True), y - centre, check_finite=False)
    return Sites(y=y, s=s, chol=chol, alpha=np.asarray(alpha), sweeps=sweeps)


def settle(
    k: FloatArray,
    *,
    centre: float,
    low: FloatArray,
    high: FloatArray,
    noise_var: float,
    kit_y: FloatArray,
    kit_var: FloatArray,
) -> Sites:
    """Replace each interval by the normal observation that acts the same.

    Parallel expectation propagation: remove one site, look through its interval, put
    back what makes mean and variance agree; repeat until nothing moves. Kits are normal
    already and stay as given.

    Parameters
    ----------
    k : array (n, n)
        Prior covariance of the readings (P, first) and kits.
    centre : float
        Prior mean of all.
    low, high : arrays (P,)
    noise_var : float
        Variance of one look, ridges below the grid included.
    kit_y, kit_var : arrays (n - P,)
    """
    p = len(low)
    prior = np.diag(k)[:p]
    two = np.isfinite(low) & np.isfinite(high)
    mid = np.where(two, 0.5 * (np.where(two, low, 0) + np.where(two, high, 0)), centre)
    wide = np.where(two, (np.where(two, high, 1) - np.where(two, low, 0)) ** 2 / 12, prior)
    noise = np.full(p, float(noise_var))
    y = np.concatenate([mid, kit_y])
    s = np.concatenate([np.where(two, wide + noise, 4 * prior + noise), kit_var])
    if p == 0:
        return settled(k, centre, y, s)
    least = 1e-6 / prior
    close = CLOSE * float(np.sqrt(prior.max()))
    # kits never move: what they say of the readings is worked out once
    given, at = _given(k, centre, p, kit_y, kit_var)
    before: tuple[FloatArray, FloatArray] | None = None
    sweeps = 0
    while sweeps < SWEEPS:
        sweeps += 1
        chol = factor(given + np.diag(s[:p]))
        alpha = cho_solve((chol, True), y[:p] - at, check_finite=False)
        back, _ = dtrtri(chol, lower=1)
        m = y[:p] - s[:p] * alpha
        v = s[:p] - s[:p] ** 2 * np.einsum("ij,ij->j", back, back)
        here = (m, np.sqrt(v))
        if before is not None and all(
            float(np.abs(x - z).max()) < close for x, z in zip(here, before, strict=True)
        ):
            break
        before = here
        v_out = 1 / np.maximum(1 / v - 1 / s[:p], least)
        m_out = v_out * (m / v - y[:p] / s[:p])
        m_in, v_in, _ = interval_moments(m_out, v_out, low, high, noise)
        precision = np.maximum(1 / v_in - 1 / v_out, least)
        shift = m_in / v_in - m_out / v_out
        old = 1 / s[:p]
        new = (1 - DAMP) * old + DAMP * precision
        pull = (1 - DAMP) * y[:p] * old + DAMP * shift
        y[:p], s[:p] = pull / new, 1 / new
    return settled(k, centre, y, s, sweeps)


def _given(
    k: FloatArray, centre: float, p: int, kit_y: FloatArray, kit_var: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Covariance (p, p) and mean (p,) of the readings once the kits are known."""
    if not len(kit_y):
        return k, np.full(p, centre)
    chol = factor(k[p:, p:] + np.diag(kit_var))
    z = solve_triangular(chol, k[p:, :p], lower=True, check_finite=False)
    half = solve_triangular(chol, kit_y - centre, lower=True, check_finite=False)
    return k[:p, :p] - z.T @ z, centre + z.T @ half
