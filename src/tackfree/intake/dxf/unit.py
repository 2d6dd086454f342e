"""What one drawing unit is: evidence, never a decision.

Headers lie. The user confirms the unit; here the drawing is asked whether it agrees.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from ezdxf.document import Drawing
from numpy.typing import NDArray

from tackfree.intake.dxf.outlines import chain
from tackfree.intake.dxf.strokes import Drawn
from tackfree.words import Message

UNITS_M = {"mm": 0.001, "cm": 0.01, "in": 0.0254, "ft": 0.3048, "m": 1.0}
HEADER_M = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0, 10: 0.9144, 21: 1200 / 3937}
SAME = 1e-4  # a survey foot is a foot
FITS = 0.01  # a dimension speaks for a unit that it fits this well
ROOM_FITS = 0.05  # a room label, which is rounded and may count the walls
DECK_M = (12.0, 460.0)  # a deck is 40 to 1,500 ft across
TEXT_OFF = 0.001  # a dimension's text may round by this much

_FEET = re.compile(
    r"""^\s*(?P<ft>\d+(?:\.\d+)?)\s*'\s*-?\s*
        (?:(?P<in>\d+(?:\.\d+)?)?\s*(?P<num>\d+)?(?:/(?P<den>\d+))?\s*"?)?\s*$""",
    re.VERBOSE,
)


@dataclass(frozen=True, kw_only=True)
class UnitGuess:
    """One unit the drawing may be in, with what speaks for it."""

    unit: str
    unit_m: float
    weight: int
    evidence: tuple[Message, ...]


def name_of(unit_m: float) -> str:
    """The unit's name, or its length in metres."""
    for name, size in UNITS_M.items():
        if abs(size - unit_m) <= SAME * size:
            return name
    return f"{unit_m:g} m"


def doubts(document: Drawing, unit_m: float, *, file: str) -> list[Message]:
    """Where the drawing contradicts the confirmed unit.

    The header's unit, architectural lettering, and dimensions whose written text does
    not agree with what they measure.
    """
    out: list[Message] = []
    header = header_unit_m(document)
    if header is not None and abs(header - unit_m) > SAME * unit_m:
        out.append(
            Message(
                id="intake.unit-header",
                values={"file": file, "header": name_of(header), "unit": name_of(unit_m)},
            )
        )
    for text, measured, written_m in dimensions(document):
        off = measured * unit_m / written_m - 1
        if abs(off) > TEXT_OFF:
            out.append(
                Message(
                    id="intake.dimension-text",
                    values={
                        "file": file,
                        "text": text,
                        "measured": round(measured, 4),
                        "unit": name_of(unit_m),
                        "length_percent": round(100 * off, 3),
                        "area_percent": round(100 * ((1 + off) ** 2 - 1), 3),
                    },
                )
            )
    return out


def guesses(
    document: Drawing, drawn: Drawn, size: tuple[float, float], *, file: str
) -> tuple[UnitGuess, ...]:
    """Units the drawing may be in, likeliest first; none is applied.

    Written dimensions weigh most (5), then room labels that fit the outline around
    them (4), lettering in feet and inches (2), the header (1), and a size usual for a
    deck (1, or 2 where it is so in one unit only). Only units that something speaks for are given.

    Parameters
    ----------
    size : (float, float)
        Extent of what is drawn. [drawing units]

    Source
    ------
    Weights: a default of ours. Headers are often wrong, so they weigh little.
    """
    weight: dict[str, int] = dict.fromkeys(UNITS_M, 0)
    evidence: dict[str, list[Message]] = {name: [] for name in UNITS_M}

    def speaks(name: str, points: int, kind: str, **values: object) -> None:
        weight[name] += points
        evidence[name].append(
            Message(id=f"intake.speaks-{kind}", values={"file": file, "unit": name, **values})
        )

    for text, measured, written_m in dimensions(document):
        for name, unit_m in UNITS_M.items():
            if abs(measured * unit_m / written_m - 1) < FITS:
                speaks(name, 5, "dimension", text=text, measured=round(measured, 4))
    for name, texts in sorted(_room_labels(drawn).items()):
        speaks(name, 4, "room", text=texts[0], count=len(texts))
    if int(document.header.get("$LUNITS", 2)) in (3, 4):
        speaks("in", 2, "lettering")
    header = header_unit_m(document)
    usual = [n for n, m in UNITS_M.items() if DECK_M[0] <= max(size) * m <= DECK_M[1]]
    for name, unit_m in UNITS_M.items():
        if header is not None and abs(header - unit_m) <= SAME * unit_m:
            speaks(name, 1, "header")
        if name in usual:
            alone = 2 if len(usual) == 1 else 1
            speaks(name, alone, "size", size_m=round(max(size) * unit_m, 1))
    ranked = sorted((n for n in UNITS_M if weight[n]), key=lambda n: (-weight[n], -UNITS_M[n]))
    return tuple(
        UnitGuess(unit=n, unit_m=UNITS_M[n], weight=weight[n], evidence=tuple(evidence[n]))
        for n in ranked
    )


def _room_labels(drawn: Drawn) -> dict[str, list[str]]:
    """By unit, the room labels that fit the lines around them."""
    found: dict[str, list[str]] = {}
    for room in rooms(drawn):
        for name, unit_m in UNITS_M.items():
            if room.fits(unit_m):
                found.setdefault(name, []).append(room.text)
    return found


@dataclass(frozen=True, kw_only=True)
class Room:
    """A room label and the clear width and depth between the lines around it, each pair
    the shorter side first. ``sides_m`` is what the label says."""

    text: str
    sides_m: tuple[float, float]
    drawn: tuple[float, float]  # drawing units

    def fits(self, unit_m: float) -> bool:
        """Labels are rounded and may count the walls: within `ROOM_FITS` both ways."""
        pairs = zip(self.drawn, self.sides_m, strict=True)
        return max(abs(d * unit_m / w - 1) for d, w in pairs) < ROOM_FITS

    @property
    def unit_m(self) -> float | None:
        """The unit that both sides agree on, None where they do not."""
        a, b = (w / d for d, w in zip(self.drawn, self.sides_m, strict=True))
        mean = math.sqrt(a * b)
        return mean if self.fits(mean) else None


def rooms(drawn: Drawn) -> list[Room]:
    """Labels such as 21'2 x 20'10. The lines left, right, below and above a label are taken
    for the room's walls."""
    labels = []
    for item in drawn.letterings:
        sides = re.split(r"\s*[xX×]\s*", item.text.strip())
        lengths = [length_m(s) for s in sides]
        if len(sides) == 2 and lengths[0] and lengths[1]:
            labels.append((item, sorted((lengths[0], lengths[1]))))
    if not labels or not drawn.strokes:
        return []
    legs = np.concatenate([np.hstack([c[:-1], c[1:]]) for c in map(chain, drawn.strokes)])
    found = []
    for item, (short, long) in labels:
        clear = _walls_around(legs, item.at)
        if clear is not None and min(clear) > 0:
            room = Room(text=item.text, sides_m=(short, long), drawn=(min(clear), max(clear)))
            found.append(room)
    return found


def _walls_around(legs: NDArray[np.float64], at: tuple[float, float]) -> tuple[float, float] | None:
    """Clear width and depth at a point, between the longest walls that face it."""
    clear = []
    for along in (0, 1):
        across = 1 - along
        a, b = legs[:, [along, 2 + along]].T, legs[:, [across, 2 + across]].T
        level = np.abs(a[0] - a[1]) <= 1e-6 * (1 + np.abs(b[0] - b[1]))
        spans = (b.min(axis=0) <= at[across]) & (b.max(axis=0) >= at[across])
        places = a[0][level & spans]
        before, after = places[places < at[along]], places[places > at[along]]
        if not len(before) or not len(after):
            return None
        clear.append(float(after.min() - before.max()))
    return (clear[0], clear[1])


def header_unit_m(document: Drawing) -> float | None:
    """Metres per unit as the header claims, None where it says nothing usable."""
    return HEADER_M.get(int(document.header.get("$INSUNITS", 0)))


def dimensions(document: Drawing) -> list[tuple[str, float, float]]:
    """(written text, measured length [drawing units], written length [m]) of every
    linear dimension whose text was typed with a unit."""
    found = []
    for entity in document.modelspace().query("DIMENSION"):
        text = str(entity.dxf.get("text", "") or "")
        written = length_m(text)
        if written is None or entity.dimtype not in (0, 1):
            continue
        measured = _measured(entity)
        if measured:
            found.append((text, measured, written))
    return found


def _measured(entity: Any) -> float | None:
    try:
        value = entity.get_measurement()
    except (ValueError, TypeError, ZeroDivisionError):
        return None
    return float(value) if isinstance(value, int | float) else None


def length_m(text: str) -> float | None:
    """A length written with its unit: 200'-0", 12' 6 1/2", 12.5 ft, 3.82 m.

    A bare number has no unit and gives None.

    Examples
    --------
    >>> print(length_m("200'-0\\""))
    60.96
    """
    feet = _FEET.match(text)
    if feet:
        inches = float(feet["in"] or 0)
        if feet["den"]:
            if feet["num"]:
                inches += float(feet["num"]) / float(feet["den"])
            else:
                inches = inches / float(feet["den"])
        return (float(feet["ft"]) * 12 + inches) * 0.0254 or None
    plain = re.match(r"^\s*(\d+(?:[.,]\d+)?)\s*(mm|cm|m|ft|in|\")\s*$", text)
    if plain:
        unit = "in" if plain[2] == '"' else plain[2]
        return float(plain[1].replace(",", ".")) * UNITS_M[unit] or None
    return None
