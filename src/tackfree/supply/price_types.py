"""What a job is priced with, and the price: money in Decimal, one currency."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from tackfree.because import Figure
from tackfree.supply.sundries import Wear
from tackfree.words import Message

Group = Literal["material", "sundries", "labour", "equipment", "lump", "allowance"]


@dataclass(frozen=True, kw_only=True)
class MaterialPrice:
    """One package of a product. ``returns`` is the share of its price that a whole,
    unopened package brings back, or None where it cannot be returned; ``room`` the most
    packages that the site can keep."""

    each: Decimal
    lead_days: int | None = None
    returns: float | None = None
    pallet: int = 1
    room: int | None = None


@dataclass(frozen=True, kw_only=True)
class Equipment:
    """Charged by day while any of its steps is worked. Steps are kinds of crew rates."""

    id: str
    name: str
    per_day: Decimal
    steps: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Lump:
    """Priced by the piece: a mobilisation, a closure, a container of waste."""

    id: str
    name: str
    each: Decimal
    count: int = 1


@dataclass(frozen=True, kw_only=True)
class UnitItem:
    """Work of unknown extent at a price by the foot, metre, ft², m² or piece.

    ``each`` is cost; the unit price adds overhead and margin. ``allowance`` is the
    quantity that is part of the price.
    """

    id: str
    name: str
    by: Literal["ft", "m", "ft²", "m²", "piece"]
    each: Decimal
    allowance: Decimal = Decimal(0)


@dataclass(frozen=True, kw_only=True)
class BidItem:
    """One line of the owner's bid form and what of ours belongs to it."""

    item: str
    text: str
    build_up_ids: tuple[str, ...] = ()
    lump_ids: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Alternate:
    """The job with some build-ups put in place of others (old id → new id)."""

    id: str
    name: str
    swaps: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class WorkErrors:
    """Standard deviations of ln: hours of all work, of one kind of step, and quantities
    of which only an allowance is known."""

    all_work: float
    kind: float
    allowance: float


WORK_ERRORS = WorkErrors(all_work=0.08, kind=0.15, allowance=0.30)  # memory


@dataclass(frozen=True, kw_only=True)
class PriceBook:
    """A contractor's own prices. ``margin`` is a share of the price, not of cost."""

    currency: str
    materials: Mapping[str, MaterialPrice]
    person_hour: Decimal
    overhead: Decimal
    margin: Decimal
    sundry_each: Mapping[str, Decimal] = field(default_factory=dict)
    wear: tuple[Wear, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    lumps: tuple[Lump, ...] = ()
    unit_items: tuple[UnitItem, ...] = ()
    bid: tuple[BidItem, ...] = ()
    alternates: tuple[Alternate, ...] = ()
    freight: Decimal = Decimal(0)  # one more delivery
    lost_days: float = 0.0  # crew days expected to be lost to weather
    errors: WorkErrors | None = None  # None: ours
    learning: float = 1.0  # share of its hours that a section takes when their number doubles
    invented: bool = False


@dataclass(frozen=True, kw_only=True)
class PriceLine:
    """Quantity × price, rounded half up to cents; ``figure`` is the quantity's reason."""

    group: Group
    id: str
    name: str
    quantity: Decimal
    unit: str
    each: Decimal
    amount: Decimal
    figure: Figure | None = None


@dataclass(frozen=True, kw_only=True)
class BidLine:
    """A line of the bid form. ``unit_price`` × quantity is near the amount, which governs."""

    item: str
    text: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    amount: Decimal
    share: Decimal  # of the total; the last line takes what rounding leaves
    figure: Figure | None = None  # of the amount


@dataclass(frozen=True, kw_only=True)
class UnitPrice:
    """Price for one more unit of an item, overhead and margin included."""

    id: str
    name: str
    unit: str
    price: Decimal
    allowance: Decimal
    figure: Figure | None = None


@dataclass(frozen=True, kw_only=True)
class Driver:
    """What one cause alone does to the price between its 10 and 90 % points."""

    id: str
    name: str
    low: Decimal
    high: Decimal
    figure: Figure | None = None  # of the width

    @property
    def width(self) -> Decimal:
        return self.high - self.low


@dataclass(frozen=True, kw_only=True)
class Odds:
    """The price as it may turn out."""

    p10: Decimal
    p50: Decimal
    p80: Decimal
    p90: Decimal
    drivers: tuple[Driver, ...]
    draws: int


@dataclass(frozen=True, kw_only=True)
class Compared:
    """An alternate beside the job: totals by group, and the difference."""

    id: str
    name: str
    groups: Mapping[str, Decimal]
    total: Decimal
    difference: Decimal


@dataclass(frozen=True, kw_only=True)
class Price:
    """The price of a job, line by line, with its range."""

    currency: str
    invented: bool
    lines: tuple[PriceLine, ...]
    direct: Decimal
    overhead_rate: Decimal
    overhead: Decimal
    margin_rate: Decimal
    margin: Decimal
    total: Decimal
    leftover: Decimal  # price of the material that the last kits hold beyond the need
    figures: Mapping[str, Figure] = field(default_factory=dict)  # of the sums, by field
    bid: tuple[BidLine, ...] = ()
    unit_prices: tuple[UnitPrice, ...] = ()
    odds: Odds | None = None
    alternates: tuple[Compared, ...] = ()
    assumptions: tuple[Message, ...] = ()
    exclusions: tuple[Message, ...] = ()
