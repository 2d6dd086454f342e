"""Dry film from wet, with the doubt of both the film and the solids."""

from __future__ import annotations

import math

from tackfree import film


def dry_film(
    *, wft_um: float, sd_um: float, volume_solids: float, solids_sd: float
) -> tuple[float, float]:
    """Mean and sd of the dry film.

    Parameters
    ----------
    wft_um, sd_um : float
        Wet film and its sd. [µm]
    volume_solids, solids_sd : float
        Fraction by volume and its sd, independent of the film.

    Returns
    -------
    tuple of float
        Mean and sd. [µm]

    Raises
    ------
    tackfree.film.FilmError
        If a value is out of its range.

    Source
    ------
    Exact: variance of a product of independent values.

    Examples
    --------
    >>> mean, sd = dry_film(wft_um=25.0, sd_um=1.0, volume_solids=0.8, solids_sd=0.02)
    >>> print(round(mean, 6), round(sd, 6))
    20.0 0.94361
    """
    mean = film.dry_film_thickness_um(wft_um=wft_um, volume_solids=volume_solids)
    return mean, math.sqrt(
        (volume_solids * sd_um) ** 2 + (wft_um * solids_sd) ** 2 + (sd_um * solids_sd) ** 2
    )
