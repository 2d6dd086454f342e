"""Invented products and sections in US units, as the scenarios give them."""

from __future__ import annotations

from dataclasses import replace

from shapely import MultiPolygon, box

from tackfree.buildup.types import (
    Broadcast,
    BuildUp,
    Coat,
    Details,
    Kit,
    KitPart,
    ProductSheet,
    Role,
)
from tackfree.deck.types import Duty, Exposure, Section
from tackfree.marks.types import SectionDetails

FT2 = 0.09290304
MIL = 25.4
GAL = 3.785411784
LB_PER_100_FT2 = 0.45359237 / 9.290304


def liquid(id: str, role: Role, *, kit_gal: float = 5.0, **more) -> ProductSheet:
    volume = kit_gal * GAL
    return ProductSheet(
        id=id, name=id, family="HEN", role=role, invented=True, volume_solids=0.95,
        kit=Kit(volume_l=volume, parts=(KitPart(name="A", volume_l=volume / 2),
                                        KitPart(name="B", volume_l=volume / 2))),
        **more,
    )  # fmt: skip


PRODUCTS = {
    p.id: p
    for p in (
        replace(liquid("HEN-P", Role.PRIMER), volume_solids=0.5),
        liquid("HEN-B", Role.BASE),
        liquid("HEN-I", Role.INTERMEDIATE),
        liquid("HEN-T", Role.TOP, uv_stable=True),
        liquid("HEN-D", Role.DETAIL, kit_gal=2.0, non_flow=True),
        ProductSheet(
            id="SEAL-1", name="SEAL-1", family="SEAL", role=Role.SEALANT, package_l=0.6,
            compatible=("HEN",),
        ),
        ProductSheet(
            id="SAND-1630", name="SAND-1630", family="SAND", role=Role.AGGREGATE,
            bag_kg=50 * 0.45359237, grain_mm=(0.6, 1.18), dry=True,
        ),
    )
}  # fmt: skip


def coat(id: str, product: str, mil: float, *, fill_mil=None, lb_per_100=None, **more) -> Coat:
    sand = None
    if lb_per_100 is not None:
        sand = Broadcast(
            product_id="SAND-1630",
            rate_kg_per_m2=lb_per_100 * LB_PER_100_FT2,
            method=more.pop("sanding", "seeded-backrolled"),
            retained=0.7,
        )
    return Coat(
        id=id,
        role=PRODUCTS[product].role,
        product_id=product,
        wft_um=mil * MIL,
        fill_um=None if fill_mil is None else fill_mil * MIL,
        aggregate=sand,
        **more,
    )


def build_up(*coats: Coat, loss: float = 0.08, detail: str = "HEN-D", **details) -> BuildUp:
    given = {
        "strip_width_m": 0.2032,
        "strip_wft_um": 25 * MIL,
        "upturn_coats": 2,
        "upturn_wft_um": 20 * MIL,
    }
    return BuildUp(
        id="BU", name="BU", duties=tuple(Duty), exposures=tuple(Exposure), coats=coats, loss=loss,
        details=Details(detail_product_id=detail, sealant_product_id="SEAL-1",
                        **(given | details)),
    )  # fmt: skip


def section(ft2: float, id: str = "S-1", **more) -> Section:
    m2 = ft2 * FT2
    given = {"deck_id": "P1", "exposure": Exposure.COVERED, "duty": Duty.LIGHT}
    return Section(
        id=id, zone_ids=("Z",), build_up_id="BU", floor=MultiPolygon([box(0, 0, m2 / 10, 10)]),
        developed_m2=m2, **(given | more),
    )  # fmt: skip


def has(id: str = "S-1", **quantities) -> SectionDetails:
    return SectionDetails(section_id=id, **quantities)
