"""Areas and lengths by closed form: arcs, slopes, ramps, taped figures."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]


def slope_factor(slope_x: float, slope_y: float = 0.0) -> float:
    """True area over plan area of a plane.

    Parameters
    ----------
    slope_x, slope_y : float
        Rise over run along x and y. [fraction]

    Returns
    -------
    float
        At least 1.

    Source
    ------
    Exact: the plane's normal is (-sx, -sy, 1).

    Examples
    --------
    >>> print(round(slope_factor(0.0667), 5))
    1.00222
    """
    return math.sqrt(1.0 + slope_x**2 + slope_y**2)


def sloped_length_m(points_m: ArrayLike, *, slope_x: float, slope_y: float) -> float:
    """True length of a line drawn in plan on a sloping plane.

    Parameters
    ----------
    points_m : array (n, 2)
        Vertices in plan. [m]
    slope_x, slope_y : float
        Rise over run of the plane. [fraction]

    Returns
    -------
    float
        Length along the plane. [m]

    Source
    ------
    Exact: each leg rises by sx·dx + sy·dy.
    """
    legs = np.diff(np.asarray(points_m, dtype=float)[:, :2], axis=0)
    rise = legs @ np.array([slope_x, slope_y])
    return float(np.sqrt((legs**2).sum(axis=1) + rise**2).sum())


def bulge_area(vertices: ArrayLike, bulges: ArrayLike) -> float:
    """Area of a closed outline whose sides may be arcs, without flattening.

    Parameters
    ----------
    vertices : array (n, 2)
        Corners in order; the last side returns to the first. [length]
    bulges : array (n,)
        tan(included angle / 4) of the side that starts at each corner, positive
        where it turns counter-clockwise.

    Returns
    -------
    float
        Enclosed area, whatever the direction of travel. [length²]

    Source
    ------
    Exact: shoelace of the chords plus circular segments r²/2 (θ − sin θ).

    Examples
    --------
    >>> print(round(bulge_area([(0, 0), (10, 0)], [1, 1]), 4))  # a whole circle
    78.5398
    """
    p = np.asarray(vertices, dtype=float)
    p = p - p[0]  # far coordinates cost digits
    q = np.roll(p, -1, axis=0)
    chords = float((p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]).sum()) / 2
    b = np.asarray(bulges, dtype=float)
    theta = 4.0 * np.arctan(b)
    curved = b != 0
    length = np.hypot(*(q - p).T)
    radius = np.zeros_like(b)
    radius[curved] = length[curved] * (1 + b[curved] ** 2) / (4 * np.abs(b[curved]))
    segments = float((radius**2 / 2 * (theta - np.sin(theta))).sum())
    return abs(chords + segments)


def bulge_length(vertices: ArrayLike, bulges: ArrayLike) -> float:
    """Length round a closed outline whose sides may be arcs. Inputs as `bulge_area`."""
    p = np.asarray(vertices, dtype=float)
    length = np.hypot(*(np.roll(p, -1, axis=0) - p).T)
    b = np.abs(np.asarray(bulges, dtype=float))
    arc = np.where(b > 0, length * np.arctan(b) * (1 + b**2) / np.where(b > 0, b, 1.0), length)
    return float(arc.sum())


def helix_area(
    *, inner_m: float, outer_m: float, rise_per_turn_m: float, turns: float = 1
) -> float:
    """True area of a helical ramp; the inner edge is steeper than the outer.

    Parameters
    ----------
    inner_m, outer_m : float
        Radii. [m]
    rise_per_turn_m : float
        Climb in one full turn. [m]
    turns : float
        Number of turns, parts allowed.

    Returns
    -------
    float
        Area of the helicoid. [m²]

    Raises
    ------
    InputError
        Unless 0 ≤ inner < outer.

    Source
    ------
    Exact: 2π ∫ √(r² + k²) dr with k = rise / 2π.
    """
    if not 0 <= inner_m < outer_m:
        raise InputError(
            f"inner radius {inner_m:g} m and outer radius {outer_m:g} m do not make a ramp.",
            do="Give 0 ≤ inner < outer.",
        )
    k = abs(rise_per_turn_m) / (2 * math.pi)

    def primitive(r: float) -> float:
        if k == 0:
            return r * r / 2
        s = math.hypot(r, k)
        return (r * s + k * k * math.asinh(r / k)) / 2

    return 2 * math.pi * turns * (primitive(outer_m) - primitive(inner_m))


def helix_factor(*, inner_m: float, outer_m: float, rise_per_turn_m: float) -> float:
    """True area over plan area of a helical ramp. Inputs as `helix_area`."""
    true = helix_area(inner_m=inner_m, outer_m=outer_m, rise_per_turn_m=rise_per_turn_m)
    return true / (math.pi * (outer_m**2 - inner_m**2))


def steps_factor(*, tread_m: float, riser_m: float) -> float:
    """True area over plan area of treads and risers.

    Raises
    ------
    InputError
        Unless the tread is above 0 and the riser not below.

    Source
    ------
    Exact: each tread of plan carries one riser.

    Examples
    --------
    >>> print(round(steps_factor(tread_m=33, riser_m=14), 4))
    1.4242
    """
    if not (tread_m > 0 and riser_m >= 0):
        raise InputError(
            f"tread {tread_m:g} m and riser {riser_m:g} m make no steps.",
            do="Give the depth of a tread and the height of a riser.",
        )
    return (tread_m + riser_m) / tread_m


def newell_area(points_m: ArrayLike) -> tuple[float, float]:
    """True area of a flat outline in space, and how far it is from flat.

    Parameters
    ----------
    points_m : array (n, 3)
        Corners in order. [m]

    Returns
    -------
    area, out_of_plane : float
        [m²] and the largest distance of a corner from the mean plane [m]. Where the
        second is not small the outline is warped and the area too low.

    Source
    ------
    Exact for plane outlines: half the length of Newell's vector.
    """
    p = np.asarray(points_m, dtype=float)
    local = p - p.mean(axis=0)
    normal = np.cross(local, np.roll(local, -1, axis=0)).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size == 0:
        return 0.0, float(np.abs(local).max(initial=0.0))
    return size / 2, float(np.abs(local @ (normal / size)).max())


def warped_area(*, length_m: float, width_m: float, corner_drop_m: float) -> float:
    """True area of a rectangle with three corners level and one dropped.

    The surface is ruled: z = −drop · xy / (length · width).

    Returns
    -------
    float
        [m²]

    Source
    ------
    Gauss-Legendre quadrature of √(1 + zx² + zy²), 24 × 24 points.
    """
    nodes, weights = np.polynomial.legendre.leggauss(24)
    x, y = (nodes + 1) / 2 * length_m, (nodes + 1) / 2 * width_m
    twist = corner_drop_m / (length_m * width_m)
    stretch = np.sqrt(1 + (twist * y[None, :]) ** 2 + (twist * x[:, None]) ** 2)
    return float(weights @ stretch @ weights) * length_m * width_m / 4


def heron(a_m: float, b_m: float, c_m: float) -> float:
    """Area of a triangle with three taped sides. [m²]

    Raises
    ------
    InputError
        If the sides do not close.

    Source
    ------
    Exact; sides sorted so that needles keep their digits.

    Examples
    --------
    >>> print(heron(13, 14, 15))
    84.0
    """
    a, b, c = sorted((a_m, b_m, c_m), reverse=True)
    if not (c > 0 and a < b + c):
        raise InputError(
            f"sides {a_m:g}, {b_m:g} and {c_m:g} m do not close a triangle.",
            do="Measure the longest side again.",
        )
    return math.sqrt((a + (b + c)) * (c - (a - b)) * (c + (a - b)) * (a + (b - c))) / 4


def quadrilateral_area(sides_m: Sequence[float], diagonal_m: float | None) -> float:
    """Area of a taped four-sided figure.

    Parameters
    ----------
    sides_m : four floats
        In order round the figure. [m]
    diagonal_m : float or None
        From the start of the first side to the end of the second. [m]

    Returns
    -------
    float
        [m²]

    Raises
    ------
    InputError
        Without a diagonal (four sides alone leave the angles open), or where a
        triangle does not close.
    """
    if diagonal_m is None:
        raise InputError(
            "four sides without a diagonal do not fix an area.",
            do="Tape the diagonal from the first corner to the third.",
        )
    a, b, c, d = sides_m
    return heron(a, b, diagonal_m) + heron(c, d, diagonal_m)
