"""How many more kits to order, and whether now: a spare's price against a stop's.

Everything is asked of the drawn kit counts of a forecast, so no shape of their spread is
assumed.

Source
------
Published: the newsvendor's fractile, where a stop costs nothing of its own. With a stop's
fixed cost the expected cost is no longer convex and every quantity is tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.supply.learning import FloatArray, Forecast


@dataclass(frozen=True, kw_only=True)
class OrderCosts:
    """Money of one kit too many, one too few, and one stop of the job."""

    spare: float
    short: float
    stop: float


def best_order(
    kits: NDArray[np.int64],
    costs: OrderCosts,
    *,
    have: int = 0,
    pallet: int = 1,
    weight: FloatArray | None = None,
) -> tuple[int, float]:
    """The quantity to order on top of what is here and on order, and its expected cost.

    Every quantity is tried: with a fixed cost of a stop the cost rises and falls again,
    and stopping at the first rise would be wrong. Of equals the smallest is taken.

    Parameters
    ----------
    kits : array (m,)
        Kits the job may still take; draws, or values with ``weight``.
    costs : OrderCosts
    have : int
        On hand and on order.
    pallet : int
        Orders come in multiples of this.
    weight : array (m,), optional

    Returns
    -------
    tuple
        Kits to order, expected cost.
    """
    share = np.full(len(kits), 1 / len(kits)) if weight is None else weight / weight.sum()
    most = max(0, int(kits.max()) - have)
    tries = np.arange(0, most + pallet, pallet)
    stock = have + tries[:, None]
    cost = (
        costs.spare * np.maximum(stock - kits, 0)
        + costs.short * np.maximum(kits - stock, 0)
        + costs.stop * (kits > stock)
    ) @ share
    best = int(np.flatnonzero(cost <= cost.min() * (1 + 1e-12) + 1e-9)[0])
    return int(tries[best]), float(cost[best])


def order_now(ahead: Forecast, costs: OrderCosts, *, have: int, lead_shifts: int) -> bool:
    """Whether to order this shift: waiting one more would risk a stop beyond its price."""
    need = ahead.by_shift[:, : lead_shifts + 1].sum(1)
    risk = float((need > have).mean())
    return risk > costs.spare / (costs.spare + costs.stop)


def first_drop(ahead: Forecast, lead_shifts: int) -> int:
    """Kits to bring before the first shift: safe until a second truck, no more than likely."""
    early = ahead.by_shift[:, : lead_shifts + 3].sum(1)
    return max(int(np.quantile(early, 0.98, method="inverted_cdf")), ahead.quantile(0.25))
