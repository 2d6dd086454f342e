"""Quantities as people write them, as field types of the documents.

A quantity in a document is text with its unit ("25 mil", "75 °F"); inside it is a
float in SI. Each type below pairs a kind of :mod:`tackfree.units` with a sentence
and examples, which the JSON Schemas and the faults both show.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from tackfree import units
from tackfree.errors import InputError


def fault(what: str, do: str) -> PydanticCustomError:
    """An error that carries both halves of a :class:`tackfree.errors.Fault`."""
    return PydanticCustomError("tackfree", "{what}", {"what": what, "do": do})


def _shown(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """Text with a unit, read by ``tackfree.units.parse(text, kind)``.

    ``above`` and ``at_least`` bound the SI value from below, ``at_most`` from above.
    ``bare`` lets a plain number stand (fractions).
    """

    kind: units.Kind
    noun: str
    examples: tuple[str, ...]
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    bare: bool = False

    def read(self, given: Any) -> float:
        """The SI value of what a document gives."""
        plain = isinstance(given, int | float) and not isinstance(given, bool)
        if plain and self.bare:
            value = float(given)
        elif plain:
            raise fault(
                f"{given} is a bare number; {self.noun} needs its unit.",
                f"Write {self._examples()}.",
            )
        elif not isinstance(given, str):
            raise fault(f"{given!r} is not {self.noun}.", f"Write {self._examples()}.")
        else:
            try:
                value = float(units.parse(given, self.kind))
            except InputError as error:
                do = f"Write {self._examples()}."
                if not error.do.startswith("Write for example") and error.do != "Write the unit.":
                    do = f"{error.do} For example {self._examples()}."
                raise fault(error.what, do) from error
        self._bound(given, value)
        return value

    def _bound(self, given: Any, value: float) -> None:
        if not math.isfinite(value):
            raise fault(f"{_shown(given)} is not a finite number.", "Write a number.")
        if self.above is not None and value <= self.above:
            low = f"it must be above {self.above:g}"
        elif self.at_least is not None and value < self.at_least:
            low = f"it must not be below {self.at_least:g}"
        elif self.at_most is not None and value > self.at_most:
            low = f"it must not be over {self.at_most:g}"
        else:
            return
        do = f"Write {self._examples()}."
        if self.bare and isinstance(given, int | float) and 1 < given <= 100:
            do = f'For {given:g} % write {given / 100:g} or "{given:g} %".'
        raise fault(f"{_shown(given)} is not {self.noun}: {low}.", do)

    def _examples(self) -> str:
        return " or ".join(f'"{e}"' for e in self.examples[:2])

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        said = {
            "description": f"{self.noun[0].upper()}{self.noun[1:]} with its unit.",
            "examples": list(self.examples),
        }
        if self.bare:
            bounds: dict[str, Any] = {}
            if self.above is not None:
                bounds["exclusiveMinimum"] = self.above
            if self.at_least is not None:
                bounds["minimum"] = self.at_least
            if self.at_most is not None:
                bounds["maximum"] = self.at_most
            said["description"] = (
                f"{self.noun[0].upper()}{self.noun[1:]}: a number from 0 to 1, or a percentage."
            )
            return {"anyOf": [{"type": "number", **bounds}, {"type": "string"}], **said}
        return {"type": "string", "minLength": 1, **said}


@dataclass(frozen=True, kw_only=True)
class QuantityRange:
    """Two quantities, low then high; one text stands for both ends."""

    of: Quantity

    def read(self, given: Any) -> tuple[float, float]:
        if not isinstance(given, list):
            value = self.of.read(given)
            return (value, value)
        example = f'["{self.of.examples[0]}", "{self.of.examples[1]}"]'
        if len(given) != 2:
            raise fault(f"a range has 2 ends, not {len(given)}.", f"Write {example}.")
        low, high = (self.of.read(end) for end in given)
        if low > high:
            raise fault(
                f"the range runs backwards: {_shown(given[0])} to {_shown(given[1])}.",
                "Write the smaller end first.",
            )
        return (low, high)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        one = {"type": "string", "minLength": 1}
        return {
            "anyOf": [one, {"type": "array", "items": one, "minItems": 2, "maxItems": 2}],
            "description": f"{self.of.noun[0].upper()}{self.of.noun[1:]}: low and high end, "
            "or one value for both.",
            "examples": [list(self.of.examples[:2]), self.of.examples[0]],
        }


Length = Annotated[
    float,
    Quantity(kind="length", noun="a length", examples=("0.25 in", "6 mm"), above=0),
]
LengthFromZero = Annotated[
    float,
    Quantity(kind="length", noun="a length", examples=("1 in", "25 mm"), at_least=0),
]
Coordinate = Annotated[
    float, Quantity(kind="length", noun="a coordinate", examples=("10 ft", "3 m"))
]
Elevation = Annotated[
    float, Quantity(kind="length", noun="an elevation", examples=("273 m", "11 ft"))
]
Film = Annotated[
    float, Quantity(kind="film", noun="a film thickness", examples=("25 mil", "640 µm"), above=0)
]
FilmFromZero = Annotated[
    float, Quantity(kind="film", noun="a film thickness", examples=("3 mil", "75 µm"), at_least=0)
]
Area = Annotated[
    float, Quantity(kind="area", noun="an area", examples=("6000 ft²", "550 m²"), above=0)
]
Volume = Annotated[
    float, Quantity(kind="volume", noun="a volume", examples=("5 gal", "19 L"), above=0)
]
Coverage = Annotated[
    float,
    Quantity(kind="coverage", noun="a coverage", examples=("64 ft²/gal", "1.6 m²/L"), above=0),
]
Temperature = Annotated[
    float,
    Quantity(
        kind="temperature", noun="a temperature", examples=("75 °F", "24 °C"), at_least=-273.15
    ),
]
TemperatureStep = Annotated[
    float,
    Quantity(
        kind="temperature_step", noun="a temperature difference", examples=("5 °F", "3 K"), above=0
    ),
]
ArealMass = Annotated[
    float,
    Quantity(
        kind="areal_mass",
        noun="a mass over an area",
        examples=("15 lb/100 ft²", "0.7 kg/m²"),
        above=0,
    ),
]
Mass = Annotated[float, Quantity(kind="mass", noun="a mass", examples=("50 lb", "25 kg"), above=0)]
Hours = Annotated[float, Quantity(kind="time", noun="a time", examples=("8 h", "30 min"), above=0)]
Speed = Annotated[
    float, Quantity(kind="speed", noun="a wind speed", examples=("15 mph", "7 m/s"), above=0)
]
Density = Annotated[
    float, Quantity(kind="density", noun="a density", examples=("9.2 lb/gal", "1.1 kg/L"), above=0)
]
AreaRate = Annotated[
    float,
    Quantity(kind="area_rate", noun="an area rate", examples=("1500 ft²/h", "140 m²/h"), above=0),
]
LengthRate = Annotated[
    float,
    Quantity(kind="length_rate", noun="a length rate", examples=("100 ft/h", "30 m/h"), above=0),
]
Slope = Annotated[
    float,
    Quantity(kind="slope", noun="a slope", examples=("2 %", "0 %")),
]
Fraction = Annotated[
    float,
    Quantity(
        kind="fraction",
        noun="a fraction",
        examples=("62 %", "8 %"),
        at_least=0,
        at_most=1,
        bare=True,
    ),
]
PositiveFraction = Annotated[
    float,
    Quantity(
        kind="fraction",
        noun="a fraction above 0 and up to 1",
        examples=("62 %", "85 %"),
        above=0,
        at_most=1,
        bare=True,
    ),
]
HourRange = Annotated[
    tuple[float, float],
    QuantityRange(of=Quantity(kind="time", noun="a time", examples=("6 h", "12 h"), above=0)),
]
LengthRange = Annotated[
    tuple[float, float],
    QuantityRange(
        of=Quantity(kind="length", noun="a length", examples=("0.6 mm", "1.2 mm"), above=0)
    ),
]
