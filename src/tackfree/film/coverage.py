"""Coverage, wet film, dry film: one volume seen three ways."""

from __future__ import annotations

from tackfree.film.checks import CoverageError, X, above_zero, back, not_below_zero, share
from tackfree.units import UM_PER_L_PER_M2

_DO_RATE = "Enter the rate from the product data sheet."
_DO_FILM = "Enter the film from the specification or the product data sheet."


def wet_film_thickness_um(coverage_m2_per_l: X) -> X:
    """Wet film left by spreading a liquid at a given coverage.

    A litre over a square metre stands a millimetre deep. Loss and surface texture are
    left out; ``film.volume`` adds them. The figure quoted in the trade beside a rate is
    often thinner than this, because it hides an allowance for both.

    Parameters
    ----------
    coverage_m2_per_l : float or array of any shape
        Area wetted by one litre. [m²/L], above 0

    Returns
    -------
    float or array of the same shape
        Wet film thickness. [µm]

    Raises
    ------
    CoverageError
        If a value is zero, negative or not finite.

    Source
    ------
    Exact, from 1 L = 10⁻³ m³.

    Examples
    --------
    >>> print(wet_film_thickness_um(2.5))
    400.0
    """
    rate = above_zero(coverage_m2_per_l, "coverage", "m²/L", _DO_RATE, CoverageError)
    return back(UM_PER_L_PER_M2 / rate, coverage_m2_per_l)


def coverage_m2_per_l(wft_um: X) -> X:
    """Coverage that leaves a given wet film; the inverse of :func:`wet_film_thickness_um`.

    Parameters
    ----------
    wft_um : float or array of any shape
        Wet film thickness. [µm], above 0

    Returns
    -------
    float or array of the same shape
        Area wetted by one litre, without loss and texture. [m²/L]

    Raises
    ------
    FilmError
        If a value is zero, negative or not finite.

    Source
    ------
    Exact, from 1 L = 10⁻³ m³.

    Examples
    --------
    >>> print(coverage_m2_per_l(400.0))
    2.5
    """
    wet = above_zero(wft_um, "wet film", "µm", _DO_FILM)
    return back(UM_PER_L_PER_M2 / wet, wft_um)


def dry_film_thickness_um(*, wft_um: X, volume_solids: float, thinner: float = 0.0) -> X:
    """Film that stays when the volatile part has left.

    By volume, never by weight. It does not hold for a film with sand in it.

    Parameters
    ----------
    wft_um : float or array of any shape
        Wet film thickness. [µm], 0 or more
    volume_solids : float
        Share of the unthinned volume that stays. [fraction], above 0, at most 1
    thinner : float
        Thinner added, on the unthinned volume. [fraction], 0 or more

    Returns
    -------
    float or array of the same shape
        Dry film thickness. [µm]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact for volumes that add: DFT = WFT × VS / (1 + t).

    Examples
    --------
    >>> print(dry_film_thickness_um(wft_um=400.0, volume_solids=0.85))
    340.0
    """
    wet = not_below_zero(wft_um, "wet film", "µm", _DO_FILM)
    return back(wet * _staying(volume_solids, thinner), wft_um)


def wet_film_for_dry_um(*, dft_um: X, volume_solids: float, thinner: float = 0.0) -> X:
    """Wet film to spread so that a given dry film stays.

    Parameters
    ----------
    dft_um : float or array of any shape
        Dry film thickness wanted. [µm], 0 or more
    volume_solids, thinner : float
        As in :func:`dry_film_thickness_um`.

    Returns
    -------
    float or array of the same shape
        Wet film thickness. [µm]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact for volumes that add: WFT = DFT × (1 + t) / VS.

    Examples
    --------
    >>> print(wet_film_for_dry_um(dft_um=340.0, volume_solids=0.85))
    400.0
    """
    dry = not_below_zero(dft_um, "dry film", "µm", _DO_FILM)
    return back(dry / _staying(volume_solids, thinner), dft_um)


def _staying(volume_solids: float, thinner: float) -> float:
    solids = float(share(volume_solids, "volume solids"))
    added = float(
        not_below_zero(thinner, "thinner", "of the volume", "Enter what the sheet allows.")
    )
    return solids / (1 + added)


def film_of_mass_um(*, mass_kg_per_m2: float, density_kg_per_l: float) -> float:
    """Wet film of a mass by area, as metric sheets give consumption.

    Parameters
    ----------
    mass_kg_per_m2 : float
        Mass of the mixed liquid on a square metre. [kg/m²], above 0
    density_kg_per_l : float
        Density of the mixed liquid. [kg/L], above 0

    Returns
    -------
    float
        Wet film. [µm]

    Raises
    ------
    FilmError
        If a value is not above 0.

    Source
    ------
    Exact, from 1 L/m² = 1000 µm.

    Examples
    --------
    >>> film_of_mass_um(mass_kg_per_m2=1.6, density_kg_per_l=1.28)
    1250.0
    """
    mass = float(above_zero(mass_kg_per_m2, "mass", "kg/m²", "Enter it from the sheet."))
    rho = float(above_zero(density_kg_per_l, "density", "kg/L", "Enter it from the sheet."))
    return mass / rho * UM_PER_L_PER_M2
