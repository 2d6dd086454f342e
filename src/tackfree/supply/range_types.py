"""How many packages a job may take, how many to have, and when they come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from tackfree.because import Figure
from tackfree.supply.deliveries import Delivery


@dataclass(frozen=True, kw_only=True)
class KitRange:
    """Packages of one product: computed, likely range, and how many to have.

    ``advised`` is by cost where prices are known and the 90 % point otherwise.
    ``returnable`` of the advised are likely (P50) to be left whole and can go back, for
    ``return_value`` in all. ``planned`` says that days of use come from the plan; else
    everything is there for the first day of work.
    """

    product_id: str
    unit: str
    computed: int
    p10: int
    p50: int
    p90: int
    advised: int
    enough_share: float
    by_cost: bool
    returnable: int
    return_value: Decimal | None = None
    planned: bool = False
    deliveries: tuple[Delivery, ...] = ()
    keeps_until: date | None = None  # of the first delivery
    stored_c: tuple[float | None, float | None] = (None, None)
    figures: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def order_by(self) -> date | None:
        """When the first delivery must be ordered."""
        return self.deliveries[0].order_by if self.deliveries else None
