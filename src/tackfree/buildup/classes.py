"""Classes of surface protection systems on concrete, as contracts in Europe name them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tackfree.because import Source
from tackfree.buildup.types import BuildUp, ProductSheet, Role

QUARTZ_KG_PER_L = 2.65


@dataclass(frozen=True, kw_only=True)
class SystemClass:
    """What a class asks of the layers together.

    ``least_um`` is the thickness of film and held sand [µm], ``bridges_mm`` the width of
    crack that the class is about, 0 where it bridges none.
    """

    least_um: float
    bridges_mm: float
    flexible: bool


CLASSES_FROM = Source(kind="memory", text="surface protection classes; the current rule governs")
# memory: German practice under EN 1504-2; the contract's own figures win
CLASSES: Mapping[str, SystemClass] = {
    "OS 8": SystemClass(least_um=2500.0, bridges_mm=0.0, flexible=False),
    "OS 10": SystemClass(least_um=2000.0, bridges_mm=1.0, flexible=True),
    "OS 11a": SystemClass(least_um=4500.0, bridges_mm=0.2, flexible=True),
    "OS 11b": SystemClass(least_um=4000.0, bridges_mm=0.2, flexible=True),
    "OS 13": SystemClass(least_um=2500.0, bridges_mm=0.1, flexible=True),
}


def layers_um(build_up: BuildUp, products: Mapping[str, ProductSheet]) -> float | None:
    """Film and held sand of all coats but primers; None where solids are not known. [µm]

    Source
    ------
    Exact: a litre of dry film, and the volume of the grains, over their area.
    """
    total = 0.0
    for coat in build_up.coats:
        sheet = products.get(coat.product_id)
        if sheet is None or sheet.volume_solids is None:
            return None
        if coat.role not in (Role.PRIMER, Role.TIE):
            total += coat.wft_um * sheet.volume_solids
        if coat.aggregate is not None:
            held = coat.aggregate.rate_kg_per_m2 * coat.aggregate.retained
            total += 1000.0 * held / QUARTZ_KG_PER_L
    return total
