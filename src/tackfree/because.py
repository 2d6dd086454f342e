"""Figures that can be asked why: value, unit, formula, inputs, source."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

SourceKind = Literal[
    "drawn",  # measured on the drawing
    "typed",  # entered by the user
    "sheet",  # product sheet
    "specification",  # the contract
    "measured",  # read on the deck
    "modelled",  # a model of ours; its note names it
    "default",  # a default of ours, editable
    "published",  # document, edition, place
    "practice",  # the trade does it, no document settles it
    "memory",  # unchecked
    "exact",  # arithmetic or definition
]


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where a number comes from."""

    kind: SourceKind
    text: str = ""

    def to_json(self) -> dict[str, Any]:
        return {"kind": self.kind, "text": self.text}


@dataclass(frozen=True, kw_only=True)
class Given:
    """One input of a formula as it was used. ``unit`` is "" for pure numbers."""

    name: str
    value: float | int | str
    unit: str = ""
    source: Source = Source(kind="exact")

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "from": self.source.to_json(),
        }


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A number for a summary, with the reason it is what it is.

    ``formula`` is written with the names of ``inputs``. ``value`` is None where an
    input is missing: a figure is then shown as missing, never as 0.
    """

    value: float | int | None
    unit: str
    formula: str
    inputs: tuple[Given, ...] = ()
    source: Source = Source(kind="exact")

    def __post_init__(self) -> None:
        if self.value is not None and not math.isfinite(self.value):
            raise ValueError(f"a figure must be finite or None, not {self.value!r}")

    def to_json(self) -> dict[str, Any]:
        return {
            "value": self.value,
            "unit": self.unit,
            "because": {
                "formula": self.formula,
                "inputs": [g.to_json() for g in self.inputs],
                "source": self.source.to_json(),
            },
        }
