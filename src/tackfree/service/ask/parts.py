"""What the answers share: amounts, figures and the formula with its numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tackfree import units
from tackfree.because import Figure, Given, Source
from tackfree.service.ask.types import Amount
from tackfree.units import Kind, System
from tackfree.words import Message

EXACT = Source(kind="exact", text="1 US gal = 231 in³ = 1604.17 ft²·mil; 1 L/m² = 1000 µm")
TYPED = Source(kind="typed")


def shown(value: float, kind: Kind, system: System) -> str:
    return units.show(value, kind, system)


def degrees(temp_c: float) -> Amount:
    return Amount(value=temp_c, kind="temperature", digits=1)


def message(name: str, **values: Any) -> Message:
    return Message(id=f"ask.{name}", values=values)


def given(name: str, value: float, kind: Kind) -> Given:
    if kind in ("fraction", "slope"):
        return Given(name=name, value=value, source=TYPED)
    return Given(name=name, value=value, unit=_si_unit(kind), source=TYPED)


def _si_unit(kind: Kind) -> str:
    return units.KINDS[kind].si.symbol


def reasoned(value: float | int, kind: Kind | None, formula: str, *inputs: Given) -> Figure:
    return Figure(
        value=value, unit=_si_unit(kind) if kind else "", formula=formula, inputs=inputs,
        source=EXACT,
    )  # fmt: skip


def working(line: Callable[[System], str]) -> Mapping[System, str]:
    return {"us": line("us"), "si": line("si")}
