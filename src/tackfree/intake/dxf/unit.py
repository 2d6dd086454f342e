"""What one drawing unit is: evidence, never a decision.

Headers lie. The user confirms the unit; here the drawing is asked whether it agrees.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from ezdxf.document import Drawing

from tackfree.words import Message

UNITS_M = {"mm": 0.001, "cm": 0.01, "in": 0.0254, "ft": 0.3048, "m": 1.0}
HEADER_M = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0, 10: 0.9144, 21: 1200 / 3937}
SAME = 1e-4  # a survey foot is a foot
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
