"""Arcs as chords that keep the arc's area.

Chords with every corner on the arc always enclose too little. Here the inner corners
stand a hair outside, so that the polygon has exactly the area of the arc while no
point strays more than the tolerance from it. Affine maps keep the property.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]

COARSEST_STEP = math.pi / 8  # at least 16 chords to a circle
MOST_STEPS = 100_000


def steps_for(*, angle: float, radius: float, tolerance: float) -> int:
    """Number of chords for an arc so that none is further away than ``tolerance``."""
    # Corner and chord stray at most 4/3 of the sagitta of equal chords (two chords).
    share = min(1.0, 0.75 * tolerance / radius) if radius > 0 else 1.0
    step = min(COARSEST_STEP, 2.0 * math.acos(1.0 - share))
    if not step or abs(angle) / step > MOST_STEPS:
        raise InputError(
            f"an arc of radius {radius:.3g} needs more than {MOST_STEPS} chords.",
            do="Draw it as a line, or check the unit of the drawing.",
        )
    return max(2, math.ceil(abs(angle) / step - 1e-9))


def unit_arc(*, start: float, angle: float, steps: int) -> FloatArray:
    """Corners of an arc of radius 1 about the origin, ends on the arc, area kept.

    Parameters
    ----------
    start, angle : float
        Where the arc starts and how far it turns, negative clockwise. [rad]
    steps : int
        Number of chords, at least 2.

    Returns
    -------
    array (steps + 1, 2)
        For a full turn the last corner repeats the first.
    """
    step = angle / steps
    turn = start + step * np.arange(steps + 1)
    reach = np.ones(steps + 1)
    if abs(abs(angle) - 2 * math.pi) < 1e-12:
        reach[:] = math.sqrt(step / math.sin(step))
    else:
        # (n-2) q² + 2 q = θ / sin(θ/n): the sector's area, ends held at radius 1.
        need = angle / math.sin(step)
        reach[1:-1] = need / (1.0 + math.sqrt(1.0 + (steps - 2) * need))
    return np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])


def circle_arc(
    centre: ArrayLike, radius: float, *, start: float, angle: float, tolerance: float
) -> FloatArray:
    """Corners of a circular arc. [drawing units, radians]"""
    steps = steps_for(angle=angle, radius=radius, tolerance=tolerance)
    return np.asarray(centre, dtype=float) + radius * unit_arc(
        start=start, angle=angle, steps=steps
    )


def with_bulges(
    vertices: ArrayLike, bulges: ArrayLike, *, closed: bool, tolerance: float
) -> FloatArray:
    """Corners of a polyline with its arc sides flattened.

    Parameters
    ----------
    vertices : array (n, 2)
    bulges : array (n,)
        tan(included angle / 4) of the side starting at each vertex; the last counts
        only where ``closed``.
    tolerance : float
        Largest distance between chord and arc. [unit of the vertices]

    Returns
    -------
    array (m, 2)
        For a closed polyline the first vertex is not repeated.
    """
    p = np.asarray(vertices, dtype=float)
    b = np.asarray(bulges, dtype=float)
    if not b.any():
        return p
    out: list[FloatArray] = []
    count = len(p)
    for i in range(count if closed else count - 1):
        out.append(p[i : i + 1])
        j = (i + 1) % count
        if b[i] and not np.array_equal(p[i], p[j]):
            out.append(_bulge_inside(p[i], p[j], float(b[i]), tolerance))
    if not closed:
        out.append(p[-1:])
    return np.concatenate(out)


def _bulge_inside(a: FloatArray, c: FloatArray, bulge: float, tolerance: float) -> FloatArray:
    """Corners strictly between the ends of one bulged side."""
    half = (c - a) / 2
    left = np.array([-half[1], half[0]])
    centre = a + half + left * (1 - bulge**2) / (2 * bulge)
    radius = float(np.hypot(*(a - centre)))
    start = math.atan2(a[1] - centre[1], a[0] - centre[0])
    angle = 4.0 * math.atan(bulge)
    return circle_arc(centre, radius, start=start, angle=angle, tolerance=tolerance)[1:-1]
