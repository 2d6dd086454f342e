"""How many to order: a spare kit against an idle crew and a second journey."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from tackfree.errors import InputError


@dataclass(frozen=True, kw_only=True)
class ShortCosts:
    """What one kit too many and too few cost, all in one currency.

    ``spare`` is price less what a return or the next job gives back; ``unit`` the extra
    price of a kit bought late; ``stop`` the idle crew, freight and way back, once.
    """

    spare: float
    unit: float = 0.0
    stop: float = 0.0


@dataclass(frozen=True, kw_only=True)
class OrderChoice:
    """What to have in all, what that is expected to cost, and how often it is enough."""

    count: int
    expected_cost: float
    enough_share: float


def critical_fractile(*, short: float, spare: float) -> float:
    """Share of cases in which the order should be enough: short / (short + spare).

    Raises
    ------
    InputError
        If a cost is negative or both are 0.

    Source
    ------
    The newsvendor rule.

    Examples
    --------
    >>> critical_fractile(short=3.0, spare=1.0)
    0.75
    """
    if short < 0 or spare < 0 or short + spare <= 0:
        raise InputError(
            f"costs are {short:g} short and {spare:g} spare; neither may be below 0, nor both 0.",
            do="Enter what a missing and what a spare kit cost.",
        )
    return short / (short + spare)


def normal_order(*, mean: float, sd: float, short: float, spare: float) -> float:
    """Order quantity for a normal need, by the critical fractile.

    Source
    ------
    The newsvendor rule.

    Examples
    --------
    >>> round(normal_order(mean=1000.0, sd=200.0, short=40.0, spare=10.0), 3)
    1168.324
    """
    return NormalDist(mean, sd).inv_cdf(critical_fractile(short=short, spare=spare))


def normal_loss(z: float) -> float:
    """Expected shortfall of a standard normal need over ``z``.

    >>> round(normal_loss(1.0), 6)
    0.083315
    """
    unit = NormalDist()
    return unit.pdf(z) - z * (1 - unit.cdf(z))


def choose_order(
    need: ArrayLike, costs: ShortCosts, *, weights: ArrayLike | None = None, pallet: int = 1
) -> OrderChoice:
    """The order with the least expected cost.

    With a cost of stopping the expected cost is not convex, so every quantity between
    the least and the greatest need is tried; of equals the smallest is taken.

    Parameters
    ----------
    need : array of whole counts
        Draws, or the values that ``weights`` belong to.
    costs : ShortCosts
    weights : array, optional
        Probability of each value; left out, all are alike.
    pallet : int
        Orders come in multiples of this.

    Returns
    -------
    OrderChoice

    Source
    ------
    E[spare (Q - N)+ + unit (N - Q)+ + stop 1(N > Q)], by enumeration.

    Examples
    --------
    >>> found = choose_order([8, 9, 10, 11, 12], ShortCosts(spare=100, unit=300),
    ...                      weights=[.1, .2, .4, .2, .1])
    >>> found.count, round(found.expected_cost)
    (11, 140)
    """
    n = np.asarray(need, dtype=float)
    w = np.full(n.shape, 1 / n.size) if weights is None else np.asarray(weights, dtype=float)
    w = w / w.sum()
    first = int(n.min()) // pallet * pallet
    counts = np.arange(first, int(np.ceil(n.max())) + pallet, pallet)
    over = np.maximum(counts[:, None] - n, 0.0) @ w
    under = np.maximum(n - counts[:, None], 0.0) @ w
    stopped = (n > counts[:, None]) @ w
    cost = costs.spare * over + costs.unit * under + costs.stop * stopped
    at = int(np.flatnonzero(cost <= cost.min() * (1 + 1e-12) + 1e-12)[0])
    return OrderChoice(
        count=int(counts[at]),
        expected_cost=float(cost[at]),
        enough_share=float(1 - stopped[at]),
    )
