"""SI numbers as text, rounded as on paper."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

from tackfree.units.constants import M_PER_IN
from tackfree.units.kinds import Kind, System, UnitError, in_system, printed
from tackfree.words import catalogue

NBSP = "\u00a0"  # between a number and its unit, and between groups of three
_TRIMMED: frozenset[Kind] = frozenset({"fraction", "slope"})


def show(
    value: float,
    kind: Kind,
    system: System = "us",
    digits: int | None = None,
    language: str = "en",
    *,
    decimal: str = ".",
) -> str:
    """One quantity as text, rounded as on paper.

    US lengths come in feet and inches to 1/8 in, gallons and mils to 0.1, square feet
    and degrees to 1. Thousands are parted by a comma in US units and by a no-break
    space otherwise, so that no text reads two ways. Times under an hour come in
    minutes; metric lengths under 0.1 m in millimetres.

    Parameters
    ----------
    value : float
        In the program's unit of ``kind`` (m, µm, m², L, m²/L, °C, K, kg/m², kg, h, m/s,
        kg/L, m²/h, m/h, fraction, Pa, rise over run).
    kind : Kind
        What is measured.
    system : "us" or "si"
        Which units to print.
    digits : int, optional
        Decimals, where the default of the kind will not do. A US length with
        ``digits`` is printed in decimal feet.
    language : str
        Whose name a unit bears: Spanish writes *mils*, because *mil* is a thousand there.
    decimal : "." or ","
        The decimal mark.

    Returns
    -------
    str
        Number, no-break space, unit.

    Raises
    ------
    UnitError
        If the value is not finite.

    Source
    ------
    Exact.

    Examples
    --------
    >>> show(3.81, "length")
    '12\\'-6"'
    >>> show(679.1, "film").replace(NBSP, " ")
    '26.7 mil'
    >>> show(1500.0, "area", "si").replace(NBSP, " ")
    '1 500.0 m²'
    """
    if kind == "length" and system == "us" and digits is None:
        return feet_and_inches(value)
    number, symbol = in_system(value, kind, system)
    places = printed(kind, system).digits if digits is None else digits
    if digits is None and kind == "time" and abs(value) < 1:
        number, symbol, places = value * 60, "min", 0
    if digits is None and kind == "length" and 0 < abs(value) < 0.1:
        number, symbol, places = value * 1000, "mm", 1
    symbol = catalogue(language).get(f"unit.symbol.{symbol}", symbol)
    # A comma reads back as thousands only beside a unit that is US alone: not % or h.
    ours = printed(kind, "us").symbol != printed(kind, "si").symbol
    group = "," if system == "us" and decimal == "." and ours else NBSP
    text = _number(number, places, group=group, decimal=decimal)
    if digits is None and kind in _TRIMMED and decimal in text:
        text = text.rstrip("0").removesuffix(decimal)
    return f"{text}{NBSP}{symbol}"


def _number(number: float, places: int, *, group: str, decimal: str) -> str:
    # Half up, as on paper, after dropping the dust of binary arithmetic.
    rounded = Decimal(f"{number:.12g}").quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP)
    text = f"{rounded:,f}" if rounded else f"{abs(rounded):f}"
    return text.replace(".", "\0").replace(",", group).replace("\0", decimal)


def feet_and_inches(length_m: float, *, parts: int = 8) -> str:
    """A length as it is read on a tape, to 1/``parts`` in.

    >>> feet_and_inches(0.0095)
    '3/8"'
    >>> feet_and_inches(-1.2192)
    '-4\\'-0"'
    """
    if not math.isfinite(length_m):
        raise UnitError(f"{length_m} is not a length.", do="Give a finite value.")
    ticks = round(abs(length_m) / M_PER_IN * parts)
    sign = "-" if length_m < 0 and ticks else ""
    feet, rest = divmod(ticks, 12 * parts)
    whole, part = divmod(rest, parts)
    inches = str(whole) if whole or feet or not part else ""
    if part:
        shared = math.gcd(part, parts)
        inches = f"{inches} {part // shared}/{parts // shared}".strip()
    return f"{sign}{feet}'-{inches}\"" if feet else f'{sign}{inches}"'
