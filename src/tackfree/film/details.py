"""Strips, upturns and chalk lines: lengths into areas and back.

Strip widths are **total** widths, across the crack from edge to edge. A strip of "4 in
each side" is 8 in wide.
"""

from __future__ import annotations

from tackfree.film.checks import X, above_zero, back, not_below_zero

_DO = "Check the length and width that were measured."


def total_width_m(*, each_side_m: float, gap_m: float = 0.0) -> float:
    """Total width of a strip given by its reach on each side of a crack.

    Parameters
    ----------
    each_side_m : float
        Reach beyond the edge, on one side. [m], above 0
    gap_m : float
        Width of the crack or rout between. [m], 0 or more

    Returns
    -------
    float
        Total width. [m]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> print(round(total_width_m(each_side_m=0.1, gap_m=0.006), 3))
    0.206
    """
    side = float(above_zero(each_side_m, "reach on each side", "m", _DO))
    return 2 * side + float(not_below_zero(gap_m, "gap", "m", _DO))


def strip_area_m2(*, length_m: X, total_width_m: float) -> X:
    """Area of a detail strip from its length and total width.

    Parameters
    ----------
    length_m : float or array of any shape
        Length. [m], 0 or more
    total_width_m : float
        Width from edge to edge. [m], above 0

    Returns
    -------
    float or array of the same shape
        Area. [m²]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact. Crossings of strips are counted twice: a little too much material.

    Examples
    --------
    >>> strip_area_m2(length_m=30.0, total_width_m=0.2)
    6.0
    """
    length = not_below_zero(length_m, "length", "m", _DO)
    return back(length * above_zero(total_width_m, "strip width", "m", _DO), length_m)


def upturn_area_m2(*, length_m: X, height_m: float, out_m: float = 0.0) -> X:
    """Area of flashing at a wall: up the wall, and out on the deck if it is a coat apart.

    Parameters
    ----------
    length_m : float or array of any shape
        Length along the wall. [m], 0 or more
    height_m : float
        Height of the upturn. [m], above 0
    out_m : float
        Reach on the flat. [m], 0 or more; 0 where the deck's own coats cover it

    Returns
    -------
    float or array of the same shape
        Area. [m²]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> upturn_area_m2(length_m=10.0, height_m=0.15, out_m=0.1)
    2.5
    """
    up = above_zero(height_m, "upturn height", "m", _DO)
    out = not_below_zero(out_m, "reach on the flat", "m", _DO)
    return strip_area_m2(length_m=length_m, total_width_m=float(up + out))


def chalk_length_m(*, reach_m2: X, lane_width_m: float) -> X:
    """Length to chalk along a lane so that its area is what one kit must cover.

    Parameters
    ----------
    reach_m2 : float or array of any shape
        Area of one kit. [m²], 0 or more
    lane_width_m : float
        Width the crew works. [m], above 0

    Returns
    -------
    float or array of the same shape
        Length. [m]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> chalk_length_m(reach_m2=30.0, lane_width_m=7.5)
    4.0
    """
    area = not_below_zero(reach_m2, "reach", "m²", _DO)
    return back(area / above_zero(lane_width_m, "lane width", "m", _DO), reach_m2)
