"""Clocks of many weather years at once: from every slot of every series to its milestone.

The same dose and the same share of cases as :mod:`tackfree.cure.clock`, which asks for a
few placings; here two pointers run once along each series, since a later start is never
ready earlier.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tackfree.cure.clock import CAREFUL, CureSheet, Point, Trace, milestone_hours, speeds
from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int32]

LEAST_C, MOST_C, STEP_C = -80.0, 120.0, 0.01  # speeds are looked up, straight between steps
LANES = 8
_LEAST = 1e-9


def earliest_of_many(
    temp_c: FloatArray,
    step_s: int,
    sheet: CureSheet,
    points: Sequence[Point],
    *,
    end: float = CAREFUL,
    traffic: bool = False,
) -> IntArray:
    """For a placement that ends at each edge of each series, the first edge to follow at.

    Parameters
    ----------
    temp_c : array ``[series, interval]``
        Slab surface, one mean for each interval; NaN is unknown. [°C]
    step_s : int
        Length of an interval. [s]
    sheet : CureSheet
        Rate law and stall temperature; a two-part product.
    points : sequence of Point
        The milestone's times; at least one.
    end : float
        Share of cases that must have arrived.
    traffic : bool
        Feet and cars: never faster than at the sheet's own temperature.

    Returns
    -------
    array of int ``[series, interval + 1]``
        Edge index, -1 where the series ends first or is unknown on the way. It equals
        :func:`tackfree.cure.clock.earliest_after` but for speeds read from a table of
        hundredths of a degree, good to one part in a million.

    Raises
    ------
    InputError
        For a one-part product: its speed follows the water of the air as well.
    """
    if sheet.moisture is not None:
        raise InputError(
            "a one-part product's clock needs the water of the air, year by year.",
            do="Work its clocks out one series at a time.",
        )
    grid = np.arange(LEAST_C, MOST_C + STEP_C / 2, STEP_C)
    free = Trace(start_utc_s=0, step_s=step_s, temp_c=grid)
    table = speeds(free, sheet, points, end=end, traffic=traffic, stalls=False)
    laws = table.shape[0]
    wide = 1 if laws == 1 else -(-laws // LANES) * LANES  # laws of no speed fill the last lanes
    per_step = np.zeros((len(grid), wide))
    per_step[:, :laws] = table.T * (step_s / 3600)
    low_h, high_h = milestone_hours(points)
    if high_h - low_h <= _LEAST:
        low_h -= _LEAST  # a certain time is reached at once, as a very narrow range
    stall = -np.inf if sheet.stall_below_c is None else sheet.stall_below_c
    temp = np.ascontiguousarray(np.atleast_2d(temp_c), dtype=np.float64)
    return np.asarray(_earliest(temp, per_step, stall, low_h, high_h, (end - _LEAST) * laws))


def compile_kernels() -> None:
    """Compile the pointers once, so that a first job does not wait for them (setup calls this)."""
    points = (Point(temp_c=24.0, low_h=1.0, high_h=2.0),)
    earliest_of_many(np.full((1, 4), 20.0), 3600, CureSheet(), points)


@njit(cache=True, error_model="numpy")
def _earliest(temp_c, per_step, stall_c, low_h, high_h, enough):  # type: ignore[no-untyped-def]  # pragma: no cover
    series, steps = temp_c.shape
    last_row, laws = per_step.shape[0] - 2, per_step.shape[1]
    out = np.full((series, steps + 1), -1, np.int32)
    summed = np.zeros((steps + 1, laws))
    unknown = np.zeros(steps + 1, np.int32)
    scale = 1.0 / max(high_h - low_h, _LEAST)
    for s in range(series):
        for k in range(steps):
            t = temp_c[s, k]
            known = np.isfinite(t)
            unknown[k + 1] = unknown[k] + (0 if known else 1)
            if not known or t < stall_c:
                for m in range(laws):
                    summed[k + 1, m] = summed[k, m]
                continue
            at = min(max((t - LEAST_C) / STEP_C, 0.0), last_row + 1.0)
            row = min(int(at), last_row)
            part = at - row
            for m in range(laws):
                speed = per_step[row, m] + part * (per_step[row + 1, m] - per_step[row, m])
                summed[k + 1, m] = summed[k, m] + speed
        j = 0
        for i in range(steps + 1):
            j = max(j, i)
            while j <= steps and _arrived(summed, i, j, low_h, scale) < enough:
                j += 1
            if j > steps:
                break
            if unknown[j] == unknown[i]:
                out[s, i] = j
    return out


@njit(cache=True, error_model="numpy", fastmath={"reassoc", "nsz", "nnan", "contract"})
def _arrived(summed, i, j, low_h, scale):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Laws under which the milestone is reached by edge j from edge i, in shares, summed.

    No sum is ever NaN, so the compiler may add the laws in any order, several at once.
    """
    got = 0.0
    for m in range(summed.shape[1]):
        part = (summed[j, m] - summed[i, m] - low_h) * scale
        part = 0.0 if part < 0.0 else part
        got += 1.0 if part > 1.0 else part
    return got
