"""Whether anything of a section's evidence does not fit the rest; how it is said is elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tackfree.evidence.balance import Clash
from tackfree.evidence.field import Field
from tackfree.evidence.kernel import FloatArray
from tackfree.evidence.suspects import Suspects, find_suspects
from tackfree.service.film_ground import Cell

LARGE = 3.5  # practice: of standard deviations from what all other data foretell
MOST_DATA, MOST_CELLS = 400, 60  # above these each cause against each takes too long


def suspects_of(
    field: Field, cells: Sequence[Cell], fill_um: float, clash: Clash | None
) -> Suspects | None:
    """The likeliest single cause, where gauge and kits clash or a datum lies far off."""
    if len(field.evidence.readings) + len(cells) > MOST_DATA or len(cells) > MOST_CELLS:
        return None
    found = find_suspects(field, kit_film=_kit_films(field, cells, fill_um))
    far = bool(len(found.residual)) and float(np.abs(found.residual).max()) > LARGE
    return found if far or clash is not None else None


def _kit_films(field: Field, cells: Sequence[Cell], fill_um: float) -> FloatArray:
    """Film that one kit makes on each cell; fill is swallowed once, so it is not taken off."""
    deep = field.evidence.kits.mean + fill_um
    return np.asarray(np.maximum(deep, 1.0) / [float(len(c.kits)) for c in cells])
