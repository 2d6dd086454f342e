"""Joints and coves: cross-section, length from a litre, depth for a width.

              rectangle      triangle     concave cove    convex quarter
              ┌─────┐        │╲           │               ╭─╮
    depth     │     │        │ ╲          ╰╮              │  ╲
              └─────┘        └──╲          ╰──            └───┘
               w · d         w · d / 2    a²(1 − π/4)     π a² / 4

The shape has to be asked for: with one leg, the tooled concave cove takes 43 % of the
triangle and 27 % of the convex quarter.
"""

from __future__ import annotations

import math
from typing import Literal, get_args

from tackfree.film.checks import FilmError, above_zero, not_below_zero
from tackfree.units import M_PER_IN

Shape = Literal["rectangle", "triangle", "concave", "convex"]

_SHARE_OF_BOX: dict[Shape, float] = {
    "rectangle": 1.0,
    "triangle": 0.5,
    "concave": 1 - math.pi / 4,
    "convex": math.pi / 4,
}
LITRES_PER_M3 = 1000.0
LEAST_DEPTH_M = 0.25 * M_PER_IN
MOST_DEPTH_M = 0.5 * M_PER_IN


def joint_section_m2(*, width_m: float, depth_m: float, shape: Shape = "rectangle") -> float:
    """Cross-section of sealant in a joint or cove.

    Parameters
    ----------
    width_m, depth_m : float
        Width and depth of a joint, or the legs of a cove. [m], above 0; round shapes
        need equal legs
    shape : Shape
        "rectangle", "triangle", "concave" or "convex".

    Returns
    -------
    float
        Area. [m²]

    Raises
    ------
    FilmError
        If a value is not above 0, a round shape has unequal legs, or the shape is
        not one of the four.

    Source
    ------
    Exact, as drawn at the head of this file.

    Examples
    --------
    >>> print(round(joint_section_m2(width_m=0.02, depth_m=0.01) * 1e6))
    200
    """
    if shape not in get_args(Shape):
        raise FilmError(
            f"'{shape}' is not a shape known here.", do=f"Use {', '.join(get_args(Shape))}."
        )
    width = float(above_zero(width_m, "width", "m", "Measure the joint."))
    depth = float(above_zero(depth_m, "depth", "m", "Measure the joint."))
    if shape in ("concave", "convex") and not math.isclose(width, depth, rel_tol=1e-6):
        raise FilmError(
            f"a {shape} cove has two equal legs, not {width:g} m and {depth:g} m.",
            do="Give both legs alike, or use a triangle.",
        )
    return width * depth * _SHARE_OF_BOX[shape]


def length_per_litre_m(section_m2: float) -> float:
    """Length of joint that one litre fills, without loss.

    Parameters
    ----------
    section_m2 : float
        Cross-section. [m²], above 0

    Returns
    -------
    float
        Length. [m/L]

    Raises
    ------
    FilmError
        If the section is not above 0.

    Source
    ------
    Exact; in trade units 231 / (12 w d) feet per gallon.

    Examples
    --------
    >>> print(round(length_per_litre_m(0.0002), 6))
    5.0
    """
    section = float(above_zero(section_m2, "cross-section", "m²", "Measure the joint."))
    return 1 / (LITRES_PER_M3 * section)


def sealant_l(*, length_m: float, section_m2: float, loss: float = 0.0) -> float:
    """Sealant for a length of joint. Loss is on net need, as for coats.

    Parameters
    ----------
    length_m : float
        Length. [m], 0 or more
    section_m2 : float
        Cross-section. [m²], above 0
    loss : float
        Loss on net need. [fraction], 0 or more

    Returns
    -------
    float
        Volume. [L]

    Raises
    ------
    FilmError
        If a value is out of its range or not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> print(round(sealant_l(length_m=50.0, section_m2=0.0002, loss=0.1), 6))
    11.0
    """
    length = float(not_below_zero(length_m, "length", "m", "Measure the joint."))
    extra = float(not_below_zero(loss, "loss", "", "For 8 % give 0.08."))
    return length / length_per_litre_m(section_m2) * (1 + extra)


def depth_for_width_m(width_m: float) -> float:
    """Sealant depth for a joint width: half of it, within 1/4 and 1/2 in.

    Parameters
    ----------
    width_m : float
        Joint width. [m], above 0

    Returns
    -------
    float
        Depth. [m]

    Raises
    ------
    FilmError
        If the width is not above 0.

    Source
    ------
    Published: architectural detailing handbook, sealant joint proportions (seen second
    hand). The sealant's sheet wins.

    Examples
    --------
    >>> depth_for_width_m(0.0254 * 0.75) == 0.0254 * 0.375
    True
    """
    width = float(above_zero(width_m, "width", "m", "Measure the joint."))
    return min(max(width / 2, LEAST_DEPTH_M), MOST_DEPTH_M)
