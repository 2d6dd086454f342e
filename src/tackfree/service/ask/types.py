"""An answer and its parts, as the command line and the page receive them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tackfree import units
from tackfree.because import Figure, Source
from tackfree.units import Kind, System
from tackfree.words import Message, say

SCHEMA = "tackfree.ask/1"
SYSTEMS: tuple[System, System] = ("si", "us")


@dataclass(frozen=True, kw_only=True)
class Amount:
    """A number inside a sentence, not yet in anybody's units. ``kind`` None is a count."""

    value: float | int | None
    kind: Kind | None = None
    digits: int | None = None

    def shown(self, system: System, language: str = "en") -> str:
        if self.value is None:
            return say("ask.missing", language)
        if self.kind is None:
            return str(self.value)
        return units.show(self.value, self.kind, system, self.digits, language)


@dataclass(frozen=True, kw_only=True)
class Told:
    """One named number of an answer; ``figure`` is in SI and says why."""

    name: str
    kind: Kind | None
    figure: Figure
    digits: int | None = None

    @property
    def amount(self) -> Amount:
        return Amount(value=self.figure.value, kind=self.kind, digits=self.digits)


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What was asked and what is so.

    ``message`` is the answer as a sentence and ``notes`` what should be known beside
    it; their values are :class:`Amount`, so speak them with :func:`spoken`. ``working``
    is the formula with the numbers in it, by system of units.
    """

    question: str
    answer: tuple[Told, ...]
    message: Message
    working: Mapping[System, str]
    source: Source
    notes: tuple[Message, ...] = ()

    def headline(self, system: System = "us", language: str = "en") -> str:
        return spoken(self.message, system, language)

    def to_json(self, system: System = "us", language: str = "en") -> dict[str, Any]:
        """One document; every quantity stands in both systems of units."""
        values: dict[str, float | int | None] = {}
        for told in self.answer:
            values.update(_both(told.name, told.kind, told.figure.value))
        return {
            "schema": SCHEMA,
            "question": self.question,
            "answer": values,
            "text": self.headline(system, language),
            "formula": dict(self.working),
            "source": self.source.to_json(),
            "notes": [{"id": n.id, "text": spoken(n, system, language)} for n in self.notes],
            "because": {t.name: t.figure.to_json() for t in self.answer},
        }


def _both(name: str, kind: Kind | None, value: float | int | None) -> dict[str, Any]:
    if kind is None:
        return {name: value}
    keys = [(units.key_of(name, kind, s), s) for s in SYSTEMS]
    if value is None:
        return {key: None for key, _ in keys}
    found = {key: units.in_system(value, kind, s)[0] for key, s in keys}
    if kind == "time":
        found[f"{name}_min"] = value * 60
    return found


def spoken(message: Message, system: System = "us", language: str = "en") -> str:
    """A message of this room as a sentence, its amounts in one system of units."""
    values = {
        name: value.shown(system, language) if isinstance(value, Amount) else value
        for name, value in message.values.items()
    }
    return say(Message(id=message.id, values=values), language)
