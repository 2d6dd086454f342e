"""Numbers, moments and reasons as a person reads them, in their units and language."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tackfree import words
from tackfree.words.figures import reason_in

Json = Mapping[str, Any]

MISSING = "–"


@dataclass(frozen=True, kw_only=True)
class Shown:
    """How one SI unit is shown: factor and offset to the reader's unit, decimals."""

    unit: str
    times: float = 1.0
    plus: float = 0.0
    decimals: int = 0


# Exact definitions: foot, pound, US gallon (231 in³).
_US = {
    "m2": Shown(unit="ft²", times=1 / 0.3048**2),
    "m": Shown(unit="ft", times=1 / 0.3048),
    "um": Shown(unit="mil", times=1 / 25.4, decimals=1),
    "l": Shown(unit="gal", times=1 / 3.785411784, decimals=1),
    "kg": Shown(unit="lb", times=1 / 0.45359237),
    "c": Shown(unit="°F", times=1.8, plus=32.0),
    "k": Shown(unit="°F", times=1.8),
}
_SI = {
    "m2": Shown(unit="m²"),
    "m": Shown(unit="m", decimals=1),
    "um": Shown(unit="µm"),
    "l": Shown(unit="L", decimals=1),
    "kg": Shown(unit="kg"),
    "c": Shown(unit="°C"),
    "k": Shown(unit="K", decimals=1),
}
_SPELLED = {
    "m²": "m2", "m2": "m2", "m": "m", "µm": "um", "um": "um", "L": "l", "l": "l", "kg": "kg",
    "°C": "c", "degC": "c", "K": "k",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Input:
    """One input of a formula, ready to read."""

    name: str
    text: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Why:
    """Formula, inputs and source of one figure."""

    formula: str
    inputs: tuple[Input, ...]
    source: str


@dataclass(frozen=True, kw_only=True)
class Value:
    """One labelled figure: rounded text, unit beside it, and its reason if it has one."""

    label: str
    text: str
    unit: str = ""
    why: Why | None = None
    strong: bool = False


@dataclass(frozen=True, kw_only=True)
class Reader:
    """For whom a page is made: language, units, the job's clock."""

    language: str
    units: str  # us or si
    zone: ZoneInfo

    def say(self, name: str, /, **values: Any) -> str:
        return words.say(f"page.{name}", self.language, **values)

    def word(self, area: str, name: str) -> str:
        """A term such as a step or an exposure; unknown ones are shown as they are."""
        key = f"page.{area}.{name.lower()}"
        return words.say(key, self.language) if key in words.catalogue("en") else name

    def step(self, name: str) -> str:
        """A step as the job's own words have it: "Base coat"."""
        key = f"step.{name}"
        said = words.say(key, self.language) if key in words.catalogue("en") else name
        return said[:1].upper() + said[1:]

    def message(self, found: Json | str | None) -> str:
        """A stored message, spoken; plain text stays."""
        if found is None:
            return ""
        if isinstance(found, str):
            return found
        spoken = words.Message(id=str(found.get("id", "")), values=found.get("values", {}))
        return words.say(spoken, self.language)

    def amount(self, value: float | int | None, unit: str) -> tuple[str, str]:
        """Text and unit of an SI amount in the reader's units; a dash where missing."""
        kind = _SPELLED.get(unit)
        shown = (_US if self.units == "us" else _SI)[kind] if kind else Shown(unit=unit)
        if value is None:
            return MISSING, shown.unit
        if kind is None:
            text = f"{value:,}" if isinstance(value, int) else f"{value:,.4g}"
            return text, shown.unit
        return f"{_half_up(value * shown.times + shown.plus, shown.decimals)}", shown.unit

    def both(self, value: float | int | str, unit: str) -> str:
        """An input as the formula uses it (SI), and in the reader's units behind it."""
        if isinstance(value, str):
            return value
        plain = f"{value:,.6g} {unit}".strip()
        text, shown = self.amount(value, unit)
        return f"{plain} ({text} {shown})" if self.units == "us" and unit in _SPELLED else plain

    def moment(self, utc_s: float | None, *, toward: str = "up") -> str:
        """Day and time of the job's clock, to 5 min: ``up`` for from, ``down`` for by."""
        if utc_s is None:
            return MISSING
        at = five(utc_s, toward, self.zone)
        return f"{self.day(at.date())}, {at:%H:%M}"

    def clock(self, utc_s: float) -> str:
        return f"{datetime.fromtimestamp(utc_s, self.zone):%H:%M}"

    def day(self, on: date) -> str:
        """A date as "Mon 19 Apr"."""
        return f"{self.weekday(on)} {on.day} {self.say('months').split()[on.month - 1]}"

    def weekday(self, on: date) -> str:
        return self.say("weekdays").split()[on.weekday()]

    def why(self, figure: Json | None) -> Why | None:
        """The reason stored with a figure."""
        because = (figure or {}).get("because")
        if not isinstance(because, dict):
            return None
        return Why(
            formula=reason_in(str(because.get("formula", "")), self.language),
            inputs=tuple(
                Input(
                    name=reason_in(str(i.get("name", "")).replace("_", " "), self.language),
                    text=self.both(i.get("value", ""), str(i.get("unit", ""))),
                    source=self.source(i.get("from", {})),
                )
                for i in because.get("inputs", ())
            ),
            source=self.source(because.get("source", {})),
        )

    def source(self, found: Json) -> str:
        kind = str(found.get("kind", ""))
        text = reason_in(str(found.get("text", "")), self.language)
        word = self.word("source", kind) if kind else ""
        return f"{word}: {text}" if word and text else word or text

    def value(
        self,
        label: str,
        value: float | int | None,
        unit: str,
        *,
        figure: Json | None = None,
        strong: bool = False,
    ) -> Value:
        text, shown = self.amount(value, unit)
        return Value(label=label, text=text, unit=shown, why=self.why(figure), strong=strong)


def five(utc_s: float, toward: str, zone: ZoneInfo) -> datetime:
    """A moment on the 5-minute grid, rounded to the safe side."""
    step = 300
    whole = math.ceil(utc_s / step - 1e-9) if toward == "up" else math.floor(utc_s / step + 1e-9)
    return datetime.fromtimestamp(whole * step, zone)


def local_day(utc_s: float, zone: ZoneInfo) -> date:
    return datetime.fromtimestamp(utc_s, zone).date()


def day_span(on: date, zone: ZoneInfo) -> tuple[float, float]:
    """Unix times of the job's midnights around one date; 23 or 25 h where clocks change."""
    begin = datetime(on.year, on.month, on.day, tzinfo=zone)
    after = on + timedelta(days=1)
    end = datetime(after.year, after.month, after.day, tzinfo=zone)
    return begin.timestamp(), end.timestamp()


def _half_up(value: float, decimals: int) -> str:
    scale = 10**decimals
    rounded = math.copysign(math.floor(abs(value) * scale + 0.5 + 1e-9) / scale, value)
    return f"{rounded + 0.0:,.{decimals}f}"
