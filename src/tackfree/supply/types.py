"""Lines of material: per section and coat, and the order they add up to."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.because import Figure
from tackfree.supply.sundries import SundryLine
from tackfree.words import Message


@dataclass(frozen=True, kw_only=True)
class CoatLine:
    """One coat over one section: volumes in L, areas in m², film in µm.

    ``net_l`` and ``gross_l`` are for the floor; ``detail_l`` is what details of the
    section take from the same kits, loss included, and counts toward ``kits``.
    ``fill_basis`` is the id of a message; where it is ``supply.fill.missing`` the
    fill is not known, its figure has no value and kits are the least possible.
    """

    section_id: str
    coat_id: str
    product_id: str
    area_m2: float
    wft_um: float
    fill_um: float
    fill_basis: str
    loss: float
    net_l: float
    gross_l: float
    kit_l: float
    kits: int
    leftover_l: float
    reach_m2: float  # what one kit covers here
    aggregate_product_id: str | None
    aggregate_kg: float
    bags: int
    figures: dict[str, Figure]
    detail_l: float = 0.0
    bag_kg: float = 0.0
    lost_l: tuple[tuple[str, float], ...] = ()  # by place; adds up to gross less net
    leftover_m2: float = 0.0  # what the leftover would have covered here
    fill_low_um: float | None = None  # ends of the fill, where they are known
    fill_high_um: float | None = None
    metered: bool = False  # packages are whole for the job, not here


@dataclass(frozen=True, kw_only=True)
class DetailLine:
    """Detail material of one section: strips, upturns, sealant, drains.

    ``volume_l`` includes loss. Volumes of one product in one section are summed
    before they are rounded to whole packages: ``packed_with`` then names the coat, or
    the first detail, whose packages hold this volume, and ``packages`` is 0 here.
    """

    section_id: str
    kind: str  # crack-strip, crack-sealant, joint-sealant, upturn, cove, ...
    product_id: str
    length_m: float
    area_m2: float
    volume_l: float
    packages: int
    figures: dict[str, Figure]
    package_l: float = 0.0
    packed_with: str = ""
    unit: str = "pack"  # or kit, where the product is mixed
    shared_l: float = 0.0  # volume of other details held by these packages


@dataclass(frozen=True, kw_only=True)
class OrderLine:
    """What to buy of one product. ``unit`` is kit, bag or pack."""

    product_id: str
    unit: str
    needed: float  # volume [L] or mass [kg] behind the count
    count: int
    leftover: float
    figure: Figure


@dataclass(frozen=True, kw_only=True)
class Materials:
    """Everything a job needs, and what people should know about it."""

    coats: tuple[CoatLine, ...]
    details: tuple[DetailLine, ...]
    order: tuple[OrderLine, ...]
    messages: tuple[Message, ...] = ()
    sundries: tuple[SundryLine, ...] = ()
