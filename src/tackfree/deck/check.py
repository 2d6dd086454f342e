"""What a deck's zones must fulfil before anything is measured on them."""

from __future__ import annotations

from itertools import combinations

from tackfree.deck.types import Zone
from tackfree.errors import Fault

OVERLAP_M = 0.005  # thinner overlaps are drawing tolerance
FT2 = 10.763910416709722  # ft² in a m², exact quotient of 1 / 0.3048²


def overlap_faults(zones: tuple[Zone, ...], *, where: str) -> tuple[Fault, ...]:
    """Zones that cover the same floor, with the area and the place.

    Parameters
    ----------
    zones : tuple of Zone
        Of one deck.
    where : str
        File to name in the fault.
    """
    faults = []
    for a, b in combinations(zones, 2):
        if not a.outline.intersects(b.outline):
            continue
        shared = a.outline.intersection(b.outline)
        if shared.area == 0 or shared.buffer(-OVERLAP_M).is_empty:
            continue
        spot = shared.representative_point()
        faults.append(
            Fault(
                where=f"{where}, zones {a.id} and {b.id}",
                what=(
                    f"they overlap by {shared.area:.2f} m² ({shared.area * FT2:.1f} ft²) "
                    f"near ({spot.x:.2f}, {spot.y:.2f}) m."
                ),
                do="Redraw one outline so that each floor belongs to one zone.",
            )
        )
    return tuple(faults)
