"""One coat over one section: litres, whole kits, what is left, and sand."""

from __future__ import annotations

from collections.abc import Sequence

from tackfree.because import Figure, Given, Source
from tackfree.buildup.types import Coat, ProductSheet
from tackfree.deck.types import Section
from tackfree.errors import InputError
from tackfree.film.aggregate import bags_needed, thrown_kg
from tackfree.film.volume import gross_l, kits_needed, net_l, reach_m2
from tackfree.supply.fill import Fill
from tackfree.supply.types import CoatLine

_SHEET = Source(kind="sheet")
_BUILD_UP = Source(kind="typed", text="build-up")


def coat_line(
    section: Section,
    coat: Coat,
    *,
    product: ProductSheet,
    fill: Fill,
    loss: float,
    loss_by: Sequence[tuple[str, float]] = (),
    sand: ProductSheet | None = None,
    detail_l: float = 0.0,
) -> CoatLine:
    """Kits and sand of one coat over one section.

    Parameters
    ----------
    section : Section
        Its developed area is coated; upturns are details.
    coat : Coat
    product : ProductSheet
        With its kit.
    fill : Fill
        Of the surface under this coat; where it is not known the count is the least
        possible and the line says so.
    loss : float
        Loss as a fraction of the net need.
    loss_by : sequence of (place, share)
        The same by place; shares are scaled where the coat has a loss of its own.
    sand : ProductSheet, optional
        The aggregate thrown into this coat, with its bag.
    detail_l : float
        What details of the section take from the same kits, loss included. [L]

    Returns
    -------
    CoatLine

    Raises
    ------
    InputError
        If the product has no kit, or the sand no bag.

    Source
    ------
    Exact: 1 L/m² stands 1000 µm. Kits are whole: two parts are mixed whole.
    """
    where = f"Section {section.id}, coat {coat.id}"
    if product.kit is None:
        raise InputError(
            f"product {product.id} has no kit size.",
            where=where,
            do="Enter the mixed volume of one kit from the product sheet.",
        )
    area, wft, kit_l = section.developed_m2, coat.wft_um, product.kit.volume_l
    fill_um = fill.um or 0.0
    net = net_l(area_m2=area, wft_um=wft, fill_um=fill_um)
    gross = gross_l(area_m2=area, wft_um=wft, fill_um=fill_um, loss=loss)
    kits = kits_needed(gross + detail_l, kit_l)
    left = kits * kit_l - gross - detail_l
    reach = reach_m2(kit_l=kit_l, wft_um=wft, fill_um=fill_um, loss=loss)
    least = "" if fill.um is not None else "at least "
    kg, bag_kg, count = _sand(section, coat, sand, where)
    lost = _lost(gross - net, loss_by)
    g_area = Given(name="area", value=area, unit="m²", source=Source(kind="drawn"))
    g_wft = Given(name="wet film", value=wft, unit="µm", source=_BUILD_UP)
    g_fill = Given(name="fill", value=fill_um, unit="µm", source=fill.figure.source)
    g_loss = Given(name="loss", value=loss, source=_BUILD_UP)
    g_kit = Given(name="kit", value=kit_l, unit="L", source=_SHEET)
    g_gross = Given(name="gross", value=gross, unit="L")
    g_detail = Given(name="details", value=detail_l, unit="L")
    figures = {
        "area_m2": Figure(value=area, unit="m²", formula="developed area", inputs=(g_area,)),
        "fill_um": fill.figure,
        "net_l": Figure(
            value=net,
            unit="L",
            formula=f"{least}area × (wet film + fill) / 1000",
            inputs=(g_area, g_wft, g_fill),
        ),
        "gross_l": Figure(
            value=gross,
            unit="L",
            formula=f"{least}net × (1 + loss)",
            inputs=(Given(name="net", value=net, unit="L"), g_loss),
        ),
        "kits": Figure(
            value=kits,
            unit="kits",
            formula=f"{least}(gross + details) / kit, rounded up to whole kits",
            inputs=(g_gross, g_detail, g_kit),
        ),
        "leftover_l": Figure(
            value=left,
            unit="L",
            formula="kits × kit − gross − details",
            inputs=(Given(name="kits", value=kits), g_kit, g_gross, g_detail),
        ),
        "reach_m2": Figure(
            value=reach,
            unit="m²",
            formula="1000 × kit / (1 + loss) / (wet film + fill)",
            inputs=(g_kit, g_loss, g_wft, g_fill),
        ),
    }
    if coat.aggregate is not None:
        figures |= _sand_figures(area, coat.aggregate.rate_kg_per_m2, kg, bag_kg, count)
    return CoatLine(
        section_id=section.id,
        coat_id=coat.id,
        product_id=product.id,
        area_m2=area,
        wft_um=wft,
        fill_um=fill_um,
        fill_basis=fill.basis,
        loss=loss,
        net_l=net,
        gross_l=gross,
        kit_l=kit_l,
        kits=kits,
        leftover_l=left,
        reach_m2=reach,
        aggregate_product_id=coat.aggregate.product_id if coat.aggregate else None,
        aggregate_kg=kg,
        bags=count,
        figures=figures,
        detail_l=detail_l,
        bag_kg=bag_kg,
        lost_l=lost,
        leftover_m2=left / kit_l * reach,
        fill_low_um=fill.low_um,
        fill_high_um=fill.high_um,
        metered=product.metered,
    )


def _lost(lost_l: float, loss_by: Sequence[tuple[str, float]]) -> tuple[tuple[str, float], ...]:
    """The one loss of a line by place; one line where nobody has split it."""
    whole = sum(share for _, share in loss_by)
    if whole <= 0:
        return (("unsplit", lost_l),)
    return tuple((place, lost_l * share / whole) for place, share in loss_by if share > 0)


def _sand(
    section: Section, coat: Coat, sand: ProductSheet | None, where: str
) -> tuple[float, float, int]:
    if coat.aggregate is None:
        return 0.0, 0.0, 0
    if sand is None or not sand.bag_kg:
        raise InputError(
            f"sand {coat.aggregate.product_id} has no bag mass.",
            where=where,
            do="Enter the mass of one bag.",
        )
    kg = thrown_kg(area_m2=section.developed_m2, rate_kg_per_m2=coat.aggregate.rate_kg_per_m2)
    return kg, sand.bag_kg, bags_needed(kg, sand.bag_kg)


def _sand_figures(
    area_m2: float, rate_kg_per_m2: float, kg: float, bag_kg: float, count: int
) -> dict[str, Figure]:
    return {
        "aggregate_kg": Figure(
            value=kg,
            unit="kg",
            formula="area × rate as thrown",
            inputs=(
                Given(name="area", value=area_m2, unit="m²", source=Source(kind="drawn")),
                Given(name="rate", value=rate_kg_per_m2, unit="kg/m²", source=_BUILD_UP),
            ),
        ),
        "bags": Figure(
            value=count,
            unit="bags",
            formula="sand / bag, rounded up to whole bags",
            inputs=(
                Given(name="sand", value=kg, unit="kg"),
                Given(name="bag", value=bag_kg, unit="kg", source=_SHEET),
            ),
        ),
    }
