"""One-part products that cure with the water of the air.

Their speed follows the air's absolute humidity, not its relative humidity at the
hot deck: the same 50 % hold three times the water at 90 °F as at 55 °F. Good for
the sheet's own film only; a thicker film cures slower by about its square.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]

GRAINS_PER_LB = 7000.0
LEAST_GRAINS = 42.0  # a maker's public note: below, cure is severely retarded
MOST_GAIN = 1.5  # ours: no more credit for wetter air
POWERS = (0.5, 1.0)  # the plausible range of the power law; uncertain


@dataclass(frozen=True, kw_only=True)
class MoistureCure:
    """The air at which a one-part sheet states its times, as water per dry air. [kg/kg]"""

    at_ratio: float

    def __post_init__(self) -> None:
        if not 0 < self.at_ratio < 0.1:
            raise InputError(
                f"the sheet's air holds {self.at_ratio:g} kg/kg of water.",
                do="Give the air temperature and humidity of the sheet, as 75 °F and 50 %.",
            )


def moisture_speed(ratio: FloatArray, cure: MoistureCure, *, careful: bool) -> FloatArray:
    """How fast a one-part film cures, against the sheet's air.

    Parameters
    ----------
    ratio : array
        Water in the air, per dry air. [kg/kg]
    cure : MoistureCure
    careful : bool
        The slower end of the power law (hopeful: the faster).

    Returns
    -------
    array
        1 at the sheet's air, at most 1.5; NaN below 42 grains per pound, where
        nothing can be said

    Source
    ------
    Ours: a power law between 0.5 and 1. The 42 grains are from a maker's public note.
    """
    share = np.asarray(ratio, dtype=np.float64) / cure.at_ratio
    ends = np.array([share**p for p in POWERS])
    speed = ends.min(axis=0) if careful else ends.max(axis=0)
    enough = np.asarray(ratio) * GRAINS_PER_LB >= LEAST_GRAINS
    return np.where(enough, np.minimum(speed, MOST_GAIN), np.nan)
