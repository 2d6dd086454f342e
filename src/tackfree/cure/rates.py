"""How fast a film cures at one temperature against another.

A *factor* is a speed relative to the speed at the product sheet's temperature:
2 means that an hour counts as two.
"""

from __future__ import annotations

import math
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
X = TypeVar("X", float, FloatArray)

ZERO_C_K = 273.15
GAS_CONSTANT_KJ = 8.31446261815324e-3  # kJ/(mol K), CODATA 2018, exact

# Apparent activation energy of urethane cure where the sheet gives one temperature:
# lowest, likeliest and highest of the published systems.
PRIOR_KJ_MOL = (38.0, 55.0, 77.0)
FITTED_HALF_WIDTH_KJ_MOL = 8.0  # what two points of a sheet still leave open
ENERGY_NODES = 11


def doubling_factor(temp_c: X, ref_c: float) -> X:
    """Speed by the trade's rule: twice as fast for every 18 °F (10 K) warmer.

    Parameters
    ----------
    temp_c : float or array
        Film temperature, that is the slab's. [°C]
    ref_c : float
        Temperature of the product sheet's times. [°C]

    Returns
    -------
    float or array of the same shape
        Speed relative to ``ref_c``. [-], NaN where the temperature is NaN

    Source
    ------
    Practice. Near 25 °C it equals Arrhenius with about 51 kJ/mol.

    Examples
    --------
    >>> print(doubling_factor(33.9, 23.9))
    2.0
    """
    return _back(np.exp2((_array(temp_c) - ref_c) / 10.0), temp_c)


def arrhenius_factor(temp_c: X, ref_c: float, activation_kj_mol: float) -> X:
    """Speed by the Arrhenius law.

    Parameters
    ----------
    temp_c : float or array
        Film temperature. [°C]
    ref_c : float
        Temperature of the product sheet's times. [°C]
    activation_kj_mol : float
        Apparent activation energy. [kJ/mol]

    Returns
    -------
    float or array of the same shape
        Speed relative to ``ref_c``. [-]

    Source
    ------
    Published: the equivalent-age form of ASTM C1074 (written there for concrete
    strength), with absolute temperatures on 273.15.

    Examples
    --------
    >>> print(round(arrhenius_factor(30.0, 20.0, 51.21617), 4))
    2.0
    """
    gap = 1.0 / (ref_c + ZERO_C_K) - 1.0 / (_array(temp_c) + ZERO_C_K)
    return _back(np.exp(activation_kj_mol / GAS_CONSTANT_KJ * gap), temp_c)


def activation_from_points_kj_mol(
    *, temp_a_c: float, hours_a: float, temp_b_c: float, hours_b: float
) -> float:
    """Apparent activation energy from one milestone's times at two temperatures.

    Raises
    ------
    InputError
        If the temperatures are equal, a time is not above 0, or the warmer time
        is the longer one.

    Source
    ------
    Exact: the Arrhenius law solved for its energy.
    """
    if hours_a <= 0 or hours_b <= 0:
        raise InputError(
            f"cure times are {hours_a:g} h and {hours_b:g} h; both must be above 0.",
            do="Enter the times of the product sheet.",
        )
    gap = 1.0 / (temp_a_c + ZERO_C_K) - 1.0 / (temp_b_c + ZERO_C_K)
    if gap == 0:
        raise InputError(
            f"both cure times are given at {temp_a_c:g} °C.",
            do="Give times at two different temperatures, or only one of them.",
        )
    energy = GAS_CONSTANT_KJ * math.log(hours_a / hours_b) / gap
    if energy < 0:
        raise InputError(
            f"{hours_a:g} h at {temp_a_c:g} °C and {hours_b:g} h at {temp_b_c:g} °C "
            "would mean that warmth slows the cure.",
            do="Check which time belongs to which temperature.",
        )
    return energy


def triangular_nodes(
    low: float, mode: float, high: float, count: int = ENERGY_NODES
) -> tuple[float, ...]:
    """Middles of equally likely slices of a triangular distribution.

    Deterministic stand-in for drawing at random; ``low == high`` gives one node.

    Source
    ------
    Exact: the inverse of the triangular distribution function.
    """
    if high <= low:
        return (mode,)
    turn = (mode - low) / (high - low)
    nodes = []
    for i in range(count):
        p = (i + 0.5) / count
        if p < turn:
            nodes.append(low + math.sqrt(p * (high - low) * (mode - low)))
        else:
            nodes.append(high - math.sqrt((1 - p) * (high - low) * (high - mode)))
    return tuple(nodes)


def hours_at(hours: float, ref_c: float, temp_c: float) -> float:
    """A sheet's time carried to another steady temperature by the doubling rule.

    Parameters
    ----------
    hours : float
        Time at ``ref_c``. [h]
    ref_c, temp_c : float
        The sheet's temperature and the slab's. [°C]

    Returns
    -------
    float
        Time at ``temp_c``. [h]

    Source
    ------
    Practice, :func:`doubling_factor`.
    """
    return hours / doubling_factor(temp_c, ref_c)


def _array(x: Any) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def _back(x: Any, like: X) -> X:
    """The result in the shape it was asked in: a plain float for a float."""
    return cast(X, float(x) if np.ndim(x) == 0 else x)
