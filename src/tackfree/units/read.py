"""Text as people write it, read into SI.

One rule for commas and points: a single comma before exactly three digits parts
thousands where the unit is American (``12,000 ft²``) and is refused where it is not
(``1,500 m`` could be 1.5 m or 1500 m); before any other number of digits it is a
decimal comma. A single point is always a decimal point. Where both appear, the last
is the decimal mark.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from tackfree.units import constants as k
from tackfree.units.kinds import KINDS, Kind, UnitError

_DECIMAL = r"(?:\d{1,3}(?: \d{3})+(?:[.,]\d+)?|\d(?:[\d.,]*\d)?|[.,]\d+)(?:e[+-]?\d+)?"
_NUMBER = rf"(?:\d+(?: +| ?- ?)\d+ ?/ ?\d+|\d+ ?/ ?\d+|{_DECIMAL})"
_START = re.compile(_NUMBER)
_PAIRS = re.compile(rf"[ -]*({_NUMBER}) *([a-zµ'\"]*)")
_RANGE = re.compile(rf"({_DECIMAL}) ?- ?({_DECIMAL})(.*)")
_RATIO = re.compile(rf"({_DECIMAL}) ?: ?({_DECIMAL})")
_LONGEST = 60  # characters; keeps the patterns quick on pasted text
_SUMS: dict[Kind, tuple[str, str]] = {"length": ("ft", "in"), "time": ("h", "min")}


@dataclass(frozen=True, kw_only=True)
class _Unit:
    """What a unit can measure: SI = number × factor (or its reciprocal)."""

    kind: Kind
    factor: float
    us: bool = False
    inverse: bool = False


def _table() -> dict[str, tuple[_Unit, ...]]:
    rows: list[tuple[str, bool, dict[Kind, float]]] = [
        ("m metre metres meter meters", False, {"length": 1}),
        ("km", False, {"length": 1000}),
        ("cm", False, {"length": 0.01, "film": 1e4}),
        ("mm", False, {"length": 0.001, "film": 1000}),
        ("µm um micron microns micrometre micrometres micrometer micrometers", False, {"film": 1}),
        ("in inch inches \"", True, {"length": k.M_PER_IN, "film": k.M_PER_IN * 1e6}),
        ("ft foot feet lf linft '", True, {"length": k.M_PER_FT}),
        ("yd yard yards", True, {"length": 3 * k.M_PER_FT}),
        ("mil mils thou", True, {"film": k.UM_PER_MIL}),
        ("m2 sqm", False, {"area": 1}),
        ("cm2", False, {"area": 1e-4}),
        ("mm2", False, {"area": 1e-6}),
        ("ft2 sf sqft", True, {"area": k.M2_PER_FT2}),
        ("in2 sqin", True, {"area": k.M_PER_IN**2}),
        ("yd2 sy sqyd", True, {"area": k.M2_PER_YD2}),
        ("l litre litres liter liters dm3", False, {"volume": 1}),
        ("ml cm3 cc", False, {"volume": 0.001}),
        ("m3", False, {"volume": 1000}),
        ("gal gals gallon gallons usgal", True, {"volume": k.L_PER_GAL}),
        ("qt qts quart quarts", True, {"volume": k.L_PER_GAL / 4}),
        ("pt pts pint pints", True, {"volume": k.L_PER_GAL / 8}),
        ("floz", True, {"volume": k.L_PER_FL_OZ}),
        ("oz", True, {"mass": k.KG_PER_LB / 16, "volume": k.L_PER_FL_OZ}),
        ("in3 cuin", True, {"volume": k.L_PER_IN3}),
        ("ft3 cuft cf", True, {"volume": k.L_PER_FT3}),
        ("kg kgs", False, {"mass": 1}),
        ("g", False, {"mass": 0.001}),
        ("t", False, {"mass": 1000}),
        ("lb lbs pound pounds #", True, {"mass": k.KG_PER_LB}),
        ("s sec secs second seconds", False, {"time": 1 / 3600}),
        ("min mins minute minutes", False, {"time": 1 / 60}),
        ("h hr hrs hour hours", False, {"time": 1}),
        ("d day days", False, {"time": 24}),
        ("mph mi/h", True, {"speed": k.M_S_PER_MPH}),
        ("kph kmh", False, {"speed": 1 / 3.6}),
        ("kn kt knot knots", False, {"speed": 1852 / 3600}),
        ("% pct percent", False, {"fraction": 0.01, "slope": 0.01}),
        ("pa", False, {"pressure": 1}),
        ("hpa mbar", False, {"pressure": 100}),
        ("kpa", False, {"pressure": 1000}),
        ("mpa n/mm2", False, {"pressure": 1e6}),
        ("bar", False, {"pressure": 1e5}),
        ("psi", True, {"pressure": k.PA_PER_PSI}),
        ("k kelvin", False, {"temperature": 1, "temperature_step": 1}),
        ("°c c degc celsius", False, {"temperature": 1, "temperature_step": 1}),
        ("°f f degf fahrenheit", True,
         {"temperature": k.K_PER_F, "temperature_step": k.K_PER_F}),
        ("° deg degree degrees", False, {"slope": math.nan}),  # by tangent, in _scaled
    ]  # fmt: skip
    return {
        alias: tuple(_Unit(kind=kind, factor=f, us=us) for kind, f in means.items())
        for aliases, us, means in rows
        for alias in aliases.split()
    }


_UNITS = _table()
_OFFSETS = {"k": -273.15, "f": -32 * k.K_PER_F}  # °C = number × factor + offset
# numerator, denominator → what the quotient measures, and the factor to its SI unit
_QUOTIENTS: dict[tuple[Kind, Kind], tuple[tuple[Kind, float, bool], ...]] = {
    ("area", "volume"): (("coverage", 1, False),),
    ("volume", "area"): (("film", k.UM_PER_L_PER_M2, False), ("coverage", 1, True)),
    ("mass", "area"): (("areal_mass", 1, False),),
    ("mass", "volume"): (("density", 1, False),),
    ("area", "time"): (("area_rate", 1, False),),
    ("length", "time"): (("length_rate", 1, False), ("speed", 1 / 3600, False)),
    ("length", "length"): (("slope", 1, False),),
    ("length", "volume"): (("length_per_volume", 1, False),),
}


def parse(text: str, kind: Kind) -> float:
    """Read one quantity as people write it.

    Feet and inches (``12'-6 1/2"``), fractions, mixed numbers, decimal comma or point,
    grouped thousands, curly quotes, primes and no-break spaces are understood. Nothing
    is guessed: text with more than one reading is refused with its readings, and so is
    a number without its unit (0 and a share below 1 need none).

    Parameters
    ----------
    text : str
        What was typed.
    kind : Kind
        What is wanted.

    Returns
    -------
    float
        In m, µm, m², L, m²/L, °C, K, kg/m², kg, h, m/s, kg/L, m²/h, m/h, fraction, Pa,
        or rise over run, by ``kind``.

    Raises
    ------
    UnitError
        If it is empty, has no number, no unit, a unit of another kind, or two readings.

    Source
    ------
    Exact; constants in ``units.constants``.

    Examples
    --------
    >>> parse("12'-6 1/2\\"", "length")
    3.8227
    >>> parse("24 °C", "temperature")
    24.0
    >>> parse("1:12", "slope") == 1 / 12
    True
    """
    shown = text.strip()
    if len(shown) > _LONGEST:
        raise UnitError(f"'{shown[:20]}…' is too long for one quantity.", do=_example(kind))
    body = _plain(shown)
    if not body:
        raise UnitError(f"Nothing was given; {KINDS[kind].noun} is wanted.", do=_example(kind))
    sign = -1.0 if body.startswith("-") else 1.0
    body = body[1:].strip() if body[0] in "+-" else body
    if (value := _ratio(body, kind, shown)) is None:
        if (
            kind in _SUMS
            and body[:1] != "-"
            and (pairs := _PAIRS.findall(body))
            and not _PAIRS.sub("", body).strip()
        ):
            value = _sum(pairs, kind, shown)
        else:
            value = _single(body, kind, shown, sign)
            sign = 1.0
    value *= sign
    if not math.isfinite(value):
        raise UnitError(f"'{shown}' is not a finite number.", do=_example(kind))
    if value < 0 and not KINDS[kind].signed:
        raise UnitError(f"'{shown}' is below zero.", do="Give a value of 0 or more.")
    return value


def _plain(text: str) -> str:
    """One spelling for look-alikes, in lower case."""
    vulgar = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8",
              "⅞": "7/8", "⅓": "1/3", "⅔": "2/3"}  # fmt: skip
    for mark, spelled in vulgar.items():
        text = text.replace(mark, f" {spelled}")
    for marks, plain in (
        ("′’‘ʹ´`", "'"), ("″”“ʺ„", '"'), ("−–—‐‑‒", "-"), ("⁄∕", "/"), ("²", "2"),
        ("³", "3"), ("º˚", "°"), ("μ", "µ"), ("\u00a0\u202f\u2009\u2007\t\n", " "), ("^", ""),
    ):  # fmt: skip
        for mark in marks:
            text = text.replace(mark, plain)
    text = text.replace("℃", "°c").replace("℉", "°f").replace("''", '"').lower()
    text = re.sub(r"(?<=[a-z])\.", "", text)  # ft. in. sq.
    return re.sub(r" +", " ", text).strip()


def _single(body: str, kind: Kind, shown: str, sign: float) -> float:
    """One number and one unit."""
    if spread := _RANGE.fullmatch(body):
        _refuse_range(spread[1], spread[2], spread[3].strip(), kind, shown)
    found = _START.match(body)
    if not found:
        raise UnitError(f"'{shown}' has no number.", do=_example(kind))
    name = _unit_name(body[found.end() :])
    if not name:
        return sign * _bare(found[0], kind, shown)
    unit = _unit(name, kind, shown)
    return _scaled(sign * _value(found[0], shown, unit.us, name), unit, name, shown)


def _sum(pairs: list[tuple[str, str]], kind: Kind, shown: str) -> float:
    """``12 ft 6 in`` and ``1 h 30 min``: each part smaller than the one before."""
    if len(pairs) == 1 and not pairs[0][1]:
        return _bare(pairs[0][0], kind, shown)
    if not pairs[0][1]:
        _refuse_range(pairs[0][0], pairs[1][0], pairs[1][1], kind, shown)
    big, small = _SUMS[kind]
    total, last = 0.0, math.inf
    for i, (number, name) in enumerate(pairs):
        if not name and i == 1 and _unit(pairs[0][1], kind, shown) == _unit(big, kind, shown):
            name = small  # 12' 6 is 12 ft 6 in
        unit = _unit(name, kind, shown) if name else None
        if unit is None or unit.factor >= last:
            raise UnitError(
                f"'{shown}' does not read as one length or time; each part must be in a smaller "
                "unit than the part before.",
                do=_example(kind),
            )
        last = unit.factor
        total += _value(number, shown, unit.us, name) * unit.factor
    return total


def _ratio(body: str, kind: Kind, shown: str) -> float | None:
    found = _RATIO.fullmatch(body)
    if not found:
        return None
    a, b = found[1], found[2]
    if kind == "time":
        raise UnitError(
            f"'{shown}' could be {a} h {b} min, {a} min {b} s, or a time of day.",
            do=f"Write {a} h {b} min.",
        )
    if kind != "slope":
        raise UnitError(f"'{shown}' is a ratio; {KINDS[kind].noun} is wanted.", do=_example(kind))
    rise, run = _value(a, shown, False, ""), _value(b, shown, False, "")
    if rise > run or run == 0:
        raise UnitError(
            f"'{shown}' could be {a} up in {b} along, or {b} up in {a} along.",
            do="Write the rise first, as in 1:12, or give the slope in %.",
        )
    return rise / run


def _bare(number: str, kind: Kind, shown: str) -> float:
    """A number without a unit: only where it cannot be misread."""
    value = _value(number, shown, True, "")
    if kind == "fraction" and value < 1:
        return value
    if value == 0 and kind != "temperature":
        return 0.0
    if kind == "fraction":
        other = f"{100 * value:g} %" if value == 1 else f"a multiple of {value:g}"
        raise UnitError(f"'{shown}' could be {value:g} % or {other}.", do=f"Write {value:g} %.")
    readings = [f"{number} {unit}" for unit in KINDS[kind].examples]
    raise UnitError(
        f"'{shown}' has no unit; it could be {', '.join(readings[:-1])} or {readings[-1]}.",
        do="Write the unit.",
    )


def _unit_name(text: str) -> str:
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(?:square|sq) ?(ft|feet|foot|in|inch|inches|yd|yards?|m|met(?:er|re)s?)\b",
                  lambda m: {"f": "ft2", "i": "in2", "y": "yd2", "m": "m2"}[m[1][0]],
                  text)  # fmt: skip
    return text.replace(" ", "")


def _unit(name: str, kind: Kind, shown: str) -> _Unit:
    meanings = _meanings(name)
    for unit in meanings:
        if unit.kind == kind:
            return unit
    if not meanings:
        raise UnitError(f"'{shown}': '{name}' is not a unit known here.", do=_example(kind))
    raise UnitError(
        f"'{shown}' is {KINDS[meanings[0].kind].noun}; {KINDS[kind].noun} is wanted.",
        do=_example(kind),
    )


def _meanings(name: str) -> tuple[_Unit, ...]:
    if name in _UNITS:
        return _UNITS[name]
    over, slash, under = name.partition("/")
    found = re.fullmatch(r"(\d*)(\D.*)", under)
    if not slash or not found:
        return ()
    many = float(found[1] or 1)
    if many == 0:
        return ()
    return tuple(
        _Unit(kind=kind, factor=top.factor / (bottom.factor * many) * scale,
              us=top.us or bottom.us, inverse=inverse)
        for top in _UNITS.get(over, ())
        for bottom in _UNITS.get(found[2], ())
        for kind, scale, inverse in _QUOTIENTS.get((top.kind, bottom.kind), ())
    )  # fmt: skip


def _scaled(number: float, unit: _Unit, name: str, shown: str) -> float:
    if unit.kind == "slope" and math.isnan(unit.factor):
        if abs(number) >= 90:
            raise UnitError(f"'{shown}' is not the slope of a deck.", do="Give less than 90°.")
        return math.tan(math.radians(number))
    if unit.inverse:
        if number == 0:
            raise UnitError(f"'{shown}' covers without end.", do="Give a rate above 0.")
        return 1 / (number * unit.factor)
    value = number * unit.factor
    if unit.kind == "temperature":
        value += _OFFSETS.get(name.removeprefix("°").removeprefix("deg")[0], 0.0)
        if value < -273.15:
            raise UnitError(f"'{shown}' is below absolute zero.", do="Check the sign and unit.")
    return value


def _value(number: str, shown: str, us: bool, unit: str) -> float:
    """A number's text as a float; ``us`` says the comma may part thousands."""
    if "/" in number:
        *whole, top, bottom = re.findall(r"\d+", number)
        if int(bottom) == 0:
            raise UnitError(f"'{shown}' divides by zero.", do="Check the fraction.")
        return sum(map(int, whole)) + int(top) / int(bottom)
    digits, e, exponent = number.replace(" ", "").partition("e")
    points, commas = digits.count("."), digits.count(",")
    mark = ""
    if points and commas:
        mark = "." if digits.rfind(".") > digits.rfind(",") else ","
    elif points == 1:
        mark = "."
    elif commas == 1:
        before, after = digits.split(",")
        if len(after) == 3 and re.fullmatch(r"[1-9]\d{0,2}", before):
            if not us:
                raise UnitError(
                    f"'{shown}' could be {before}.{after} {unit} or {before}{after} {unit}.",
                    do=f"Write {float(f'{before}.{after}'):g} {unit} or {before}{after} {unit}.",
                )
        else:
            mark = ","
    whole_part, _, decimals = digits.rpartition(mark) if mark else (digits, "", "")
    groups = re.split(r"[.,]", whole_part)
    if len(groups) > 1 and not (
        re.fullmatch(r"\d{1,3}", groups[0]) and all(re.fullmatch(r"\d{3}", g) for g in groups[1:])
    ):
        raise UnitError(f"'{shown}' is not grouped in threes.", do="Leave the thousands marks out.")
    return float(f"{''.join(groups) or '0'}.{decimals or '0'}{e}{exponent}")


def _refuse_range(a: str, b: str, unit: str, kind: Kind, shown: str) -> None:
    readings = [f"from {a} to {b} {unit}".strip(), f"{a} minus {b} {unit}".strip()]
    if kind == "length":
        readings.insert(0, f"{a} ft {b} in")
    raise UnitError(
        f"'{shown}' could be {', '.join(readings[:-1])} or {readings[-1]}.",
        do=f"Write {a} ft {b} in, or one value with its unit."
        if kind == "length"
        else "Write one value with its unit.",
    )


def _example(kind: Kind) -> str:
    examples = KINDS[kind].examples[:2]
    numbers = {"temperature": ("75", "24"), "slope": ("2", "1"), "fraction": ("8",),
               "coverage": ("60", "2"), "area": ("600", "56")}.get(kind, ("25", "9"))  # fmt: skip
    told = " or ".join(f"{n} {unit}" for n, unit in zip(numbers, examples, strict=True))
    return f"Write for example {told}."
