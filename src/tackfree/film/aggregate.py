"""Broadcast sand: thrown, retained, swept, bagged, and the least that hides a film."""

from __future__ import annotations

import math

from tackfree.film.checks import FilmError, X, above_zero, back, not_below_zero, share
from tackfree.film.volume import kits_needed
from tackfree.units import KG_PER_M2_PER_LB_PER_100_FT2

QUARTZ_KG_PER_L = 2.65
PACKED_SHARE = math.pi / (2 * math.sqrt(3))  # equal discs in their closest packing

# practice: what is thrown in each way of sanding [kg/m²]; a band for warnings, no verdict
USUAL_RATE: dict[str, tuple[float, float]] = {
    "seeded-backrolled": (8 * KG_PER_M2_PER_LB_PER_100_FT2, 20 * KG_PER_M2_PER_LB_PER_100_FT2),
    "to-refusal": (25 * KG_PER_M2_PER_LB_PER_100_FT2, 60 * KG_PER_M2_PER_LB_PER_100_FT2),
}
_DO_RATE = "Enter the rate of the build-up."


def thrown_kg(*, area_m2: X, rate_kg_per_m2: float) -> X:
    """Mass of sand to throw on an area.

    Parameters
    ----------
    area_m2 : float or array of any shape
        Developed area. [m²], 0 or more
    rate_kg_per_m2 : float
        Rate as thrown, before sweeping. [kg/m²], 0 or more

    Returns
    -------
    float or array of the same shape
        Mass. [kg]

    Raises
    ------
    FilmError
        If a value is negative or not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> thrown_kg(area_m2=100.0, rate_kg_per_m2=0.75)
    75.0
    """
    area = not_below_zero(area_m2, "area", "m²", "Check the area that was measured.")
    rate = not_below_zero(rate_kg_per_m2, "sand rate", "kg/m²", _DO_RATE)
    return back(area * rate, area_m2)


def retained_kg(*, thrown_kg: float, retained: float) -> float:
    """Mass that stays in the film; the rest is swept up.

    About 50 to 75 % stays of a broadcast to refusal (practice). Swept sand is used
    again only if clean and dry.

    Parameters
    ----------
    thrown_kg : float
        Mass thrown. [kg], 0 or more
    retained : float
        Share that stays. [fraction], 0 to 1

    Returns
    -------
    float
        Mass retained. [kg]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact; the share comes from the build-up.

    Examples
    --------
    >>> retained_kg(thrown_kg=200.0, retained=0.75)
    150.0
    """
    mass = float(not_below_zero(thrown_kg, "mass thrown", "kg", _DO_RATE))
    return mass * float(share(retained, "retained share", zero=True))


def bags_needed(mass_kg: float, bag_kg: float) -> int:
    """Whole bags, by the rule of :func:`tackfree.film.volume.kits_needed`.

    >>> bags_needed(75.0, 25.0)
    3
    """
    above_zero(bag_kg, "bag", "kg", "Enter the mass of one bag.")
    not_below_zero(mass_kg, "mass", "kg", "Check area and rate.")
    return kits_needed(mass_kg, bag_kg)


def monolayer_kg_per_m2(grain_m: float, *, grain_kg_per_l: float = QUARTZ_KG_PER_L) -> float:
    """Least sand that can hide a film: one closest-packed layer of equal spheres.

    Real grains are unequal and never packed perfectly, so a film that looks refused
    holds about this much or more; below it, wet film still shows.

    Parameters
    ----------
    grain_m : float
        Grain size. [m], above 0
    grain_kg_per_l : float
        Density of the grain itself, not of the heap. [kg/L], above 0

    Returns
    -------
    float
        Areal mass. [kg/m²]

    Raises
    ------
    FilmError
        If a value is not above 0.

    Source
    ------
    Exact for spheres: π/(2√3) · ⅔ d ρ.

    Examples
    --------
    >>> print(round(monolayer_kg_per_m2(0.00072), 4))
    1.1536
    """
    grain = float(above_zero(grain_m, "grain size", "m", "Enter the sieve sizes of the sand."))
    rho = float(above_zero(grain_kg_per_l, "grain density", "kg/L", "Quartz is 2.65."))
    return PACKED_SHARE * 2 / 3 * grain * rho * 1000


def cover_fraction(
    *, rate_kg_per_m2: float, grain_m: float, grain_kg_per_l: float = QUARTZ_KG_PER_L
) -> float:
    """How much of one closest-packed layer a sand rate makes; above 1 it lies in layers.

    >>> print(round(cover_fraction(rate_kg_per_m2=0.5768, grain_m=0.00072), 2))
    0.5
    """
    rate = float(not_below_zero(rate_kg_per_m2, "sand rate", "kg/m²", _DO_RATE))
    return rate / monolayer_kg_per_m2(grain_m, grain_kg_per_l=grain_kg_per_l)


def void_fraction(*, bulk_kg_per_l: float, grain_kg_per_l: float = QUARTZ_KG_PER_L) -> float:
    """Share of a loose heap that is air; a buried layer takes that much liquid.

    Parameters
    ----------
    bulk_kg_per_l : float
        Density of the heap. [kg/L], above 0
    grain_kg_per_l : float
        Density of the grain. [kg/L], not below the heap's

    Returns
    -------
    float
        Void share. [fraction]

    Raises
    ------
    FilmError
        If a value is not above 0, or the heap is denser than its grains.

    Source
    ------
    Exact: 1 - ρ_bulk / ρ_grain.

    Examples
    --------
    >>> print(round(void_fraction(bulk_kg_per_l=1.59), 3))
    0.4
    """
    bulk = float(above_zero(bulk_kg_per_l, "bulk density", "kg/L", "Loose sand is about 1.6."))
    grain = float(above_zero(grain_kg_per_l, "grain density", "kg/L", "Quartz is 2.65."))
    if bulk > grain:
        raise FilmError(
            f"bulk density {bulk:g} kg/L is above the grain's {grain:g} kg/L.",
            do="Check which density is which.",
        )
    return 1 - bulk / grain
