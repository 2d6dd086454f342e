"""The scale of a drawing from lengths measured on the deck."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tackfree.deck.declared import Measured
from tackfree.errors import InputError
from tackfree.words import Message

MOST_OFF = 0.005  # scales that differ by more are a stretched sheet
ALONG_DEG = 5.0  # a stretched sheet is stretched along its own edges


@dataclass(frozen=True, kw_only=True)
class Scale:
    """Metres per drawing unit along x and y, equal unless the sheet is stretched."""

    x_m: float
    y_m: float
    messages: tuple[Message, ...] = ()


def scale_from(measured: tuple[Measured, ...], *, stretched: bool, file: str) -> Scale:
    """The scale that one or two measured lengths give.

    Parameters
    ----------
    measured : one or two Measured
        The first gives the scale; a second, at right angles, checks it.
    stretched : bool
        True gives each direction its own scale.

    Raises
    ------
    InputError
        If a length or a distance is nothing, or two lengths cannot give two scales.

    Source
    ------
    Exact; the limit of 0.5 % is a default of ours.
    """
    if not 1 <= len(measured) <= 2:
        raise InputError(
            f"{len(measured)} lengths were given to calibrate with.",
            where=file,
            do="Give one, and a second at right angles to check it.",
        )
    first = _per_unit(measured[0], file)
    if len(measured) == 1:
        if stretched:
            raise InputError(
                "a stretched sheet needs two measured lengths.",
                where=file,
                do="Measure a second length at right angles to the first.",
            )
        return Scale(x_m=first, y_m=first)
    second = _per_unit(measured[1], file)
    turn = abs(math.sin(_direction(measured[1]) - _direction(measured[0])))
    if turn < math.sin(math.radians(60)):
        raise InputError(
            "the two measured lengths run nearly the same way, so that the second checks nothing.",
            where=file,
            do="Choose a second length at right angles to the first.",
        )
    off = second / first - 1
    if abs(off) <= MOST_OFF and not stretched:
        return Scale(x_m=first, y_m=first)
    if not stretched:
        said = Message(
            id="intake.stretched",
            values={
                "file": file,
                "length_percent": round(100 * abs(off), 2),
                "area_percent": round(100 * abs(off), 2),
            },
        )
        return Scale(x_m=first, y_m=first, messages=(said,))
    lean = abs(math.degrees(_direction(measured[0]))) % 90
    if min(lean, 90 - lean) > ALONG_DEG:
        raise InputError(
            "a stretched sheet is measured along its own edges, and this length runs askew.",
            where=file,
            do="Choose one length across the sheet and one up it.",
        )
    across = abs(math.cos(_direction(measured[0]))) > 0.5
    return Scale(x_m=first if across else second, y_m=second if across else first)


def _direction(m: Measured) -> float:
    return math.atan2(m.end[1] - m.start[1], m.end[0] - m.start[0])


def _per_unit(m: Measured, file: str) -> float:
    apart = math.dist(m.start, m.end)
    if not (apart > 0 and m.length_m > 0 and math.isfinite(apart) and math.isfinite(m.length_m)):
        raise InputError(
            "a measured length needs two different points and a length above zero.",
            where=file,
            do="Pick the two ends of a long dimension and type what it says.",
        )
    return m.length_m / apart
