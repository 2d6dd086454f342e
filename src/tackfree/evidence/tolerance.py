"""What a handful of readings, spread well, lets one say without a map."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats
from shapely import MultiPoint
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError
from tackfree.evidence.kernel import FloatArray

HULL_SHARE = 0.5  # practice: readings that span less than half of a patch do not speak for it


def one_sided_k(n: int, share: float, confidence: float) -> float:
    """How many sample deviations below the mean the lower limit lies.

    With ``confidence`` at least ``share`` of a normal population lies above
    mean - k s of ``n`` independent readings.

    Parameters
    ----------
    n : int
        Readings, 2 or more.
    share, confidence : float
        Fractions in (0, 1).

    Returns
    -------
    float

    Raises
    ------
    InputError
        If a value is out of its range.

    Source
    ------
    Published: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3; the exact form
    with the non-central t, not the handbook's closed approximation.

    Examples
    --------
    >>> print(round(one_sided_k(10, 0.9, 0.95), 6))
    2.35464
    """
    if n < 2 or not 0 < share < 1 or not 0 < confidence < 1:
        raise InputError(
            f"n {n}, share {share:g} and confidence {confidence:g} give no limit.",
            do="Take two readings or more, and fractions between 0 and 1.",
        )
    root = math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, stats.norm.ppf(share) * root)) / root


def readings_without_a_law(share: float, confidence: float) -> int:
    """Readings whose least is a lower limit whatever the film's distribution.

    >>> readings_without_a_law(0.9, 0.95)
    29
    """
    if not 0 < share < 1 or not 0 < confidence < 1:
        raise InputError(
            f"share {share:g} and confidence {confidence:g} must lie between 0 and 1.",
            do="For 90 % write 0.9.",
        )
    return math.ceil(math.log(1 - confidence) / math.log(share) - 1e-12)


@dataclass(frozen=True, kw_only=True)
class LowerLimit:
    """``limit_um`` is None where the readings crowd together: ``hull_share`` says how."""

    limit_um: float | None
    mean_um: float
    sd_um: float
    readings: int
    hull_share: float


def lower_limit(
    values_um: FloatArray,
    places_m: FloatArray,
    patch: BaseGeometry,
    *,
    share: float = 0.9,
    confidence: float = 0.95,
) -> LowerLimit:
    """One-sided tolerance limit, refused where the readings sit in a corner.

    Readings close together repeat each other: twenty in one corner of a patch hold
    about half as often as they say. Interval width and read error stay in the sd, which
    makes the limit low rather than high.

    Parameters
    ----------
    values_um : array (n,)
        Middles of the readings. [µm]
    places_m : array (n, 2)
        Where they were taken. [m]
    patch : geometry
        What they shall speak for. [m]

    Returns
    -------
    LowerLimit

    Raises
    ------
    InputError
        If there are fewer than two readings or the patch has no area.

    Source
    ------
    As :func:`one_sided_k`. The hull rule is practice.
    """
    n = len(values_um)
    k = one_sided_k(n, share, confidence)
    if patch.area <= 0:
        raise InputError("the patch has no area.", do="Check its outline.")
    hull = MultiPoint(np.asarray(places_m, dtype=float)).convex_hull
    spanned = float(hull.intersection(patch).area / patch.area)
    mean, sd = float(np.mean(values_um)), float(np.std(values_um, ddof=1))
    return LowerLimit(
        limit_um=mean - k * sd if spanned >= HULL_SHARE else None,
        mean_um=mean, sd_um=sd, readings=n, hull_share=spanned,
    )  # fmt: skip
