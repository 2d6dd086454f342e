"""A least film held by nearly all readings: how much more to aim at."""

from __future__ import annotations

from statistics import NormalDist

from tackfree.film.checks import FilmError, above_zero

BELOW = 0.05  # published: share of readings that may lie under a least film (5 % quantile)
# memory: spread of a squeegeed film over its mean; the contractor's own readings replace it
FILM_SCATTER = 0.15
SCATTER_MAX = 0.40  # from here the aim runs away


def aim_um(least_um: float, *, scatter: float, below: float = BELOW) -> float:
    """Mean film to aim at so that a given share of readings lies under the least.

    The roughness surcharge is not in it: that fills the surface and comes on top.

    Parameters
    ----------
    least_um : float
        The film that must stand, as a quantile. [µm], above 0
    scatter : float
        Standard deviation over the mean. [fraction], 0 to 0.40
    below : float
        Share of readings that may be lower. [fraction]

    Returns
    -------
    float
        Mean film. [µm]

    Raises
    ------
    FilmError
        If the film is not above 0 or the scatter is out of its range.

    Source
    ------
    Exact for normal readings: mean (1 - z scatter) = least. The 5 % quantile is German
    practice for surface protection systems (memory; the current rule governs).

    Examples
    --------
    >>> round(aim_um(2000.0, scatter=0.10))
    2394
    """
    least = float(above_zero(least_um, "least film", "µm", "Enter it from the specification."))
    if not 0 <= scatter <= SCATTER_MAX:
        raise FilmError(
            f"scatter of the film is {100 * scatter:g} %; 0 to {100 * SCATTER_MAX:g} % is taken.",
            do="Enter the spread of your own readings over their mean.",
        )
    return least / (1 + NormalDist().inv_cdf(below) * scatter)
