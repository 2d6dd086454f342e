"""Lines of material: per section and coat, and the order they add up to."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.because import Figure


@dataclass(frozen=True, kw_only=True)
class CoatLine:
    """One coat over one section: volumes in L, areas in m², film in µm."""

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


@dataclass(frozen=True, kw_only=True)
class DetailLine:
    """Detail material of one section: strips, upturns, sealant, drains."""

    section_id: str
    kind: str  # crack-strip, crack-sealant, joint-sealant, upturn, cove, ...
    product_id: str
    length_m: float
    area_m2: float
    volume_l: float
    packages: int
    figures: dict[str, Figure]


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
    """Everything a job needs."""

    coats: tuple[CoatLine, ...]
    details: tuple[DetailLine, ...]
    order: tuple[OrderLine, ...]
    notes: tuple[str, ...] = ()
