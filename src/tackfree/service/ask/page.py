"""Quick answers as a page shows them: a question, its fields, and the answer under them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from tackfree.errors import Fault, ToolError
from tackfree.service.ask.questions import QUESTIONS, Argument, ask
from tackfree.service.ask.types import Answer, spoken
from tackfree.units import System
from tackfree.words import say
from tackfree.words.faults import fault_in

# What a person might write, by question and argument: US units, then metric.
LIKE: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "wet": {"coverage": ("60 ft²/gal", "1.5 m²/L")},
    "dry": {"wft": ("25 mil", "640 µm"), "solids": ("85%", "85%"), "thinner": ("10%", "10%")},
    "reach": {
        "kit": ("5 gal", "20 L"), "wft": ("25 mil", "640 µm"), "fill": ("5 mil", "130 µm"),
        "loss": ("8%", "8%"), "lane_width": ("24 ft", "7.3 m"),
    },
    "kits": {
        "area": ("4200 ft²", "390 m²"), "wft": ("28 mil", "710 µm"), "kit": ("5 gal", "20 L"),
        "fill": ("6 mil", "150 µm"), "loss": ("8%", "8%"),
    },
    "dewpoint": {"air": ("75 °F", "24 °C"), "rh": ("60%", "60%")},
    "spread": {"slab": ("68 °F", "20 °C"), "air": ("72 °F", "22 °C"), "rh": ("78%", "78%")},
    "potlife": {"minutes": ("30", "30"), "at": ("75 °F", "24 °C"), "now": ("95 °F", "35 °C")},
    "sealant": {
        "width": ("1/2 in", "12 mm"), "depth": ("1/4 in", "6 mm"), "length": ("200 ft", "60 m"),
        "package": ("20 fl oz", "600 mL"), "loss": ("8%", "8%"),
    },
    "sand": {
        "area": ("612 ft²", "57 m²"), "rate": ("12 lb/100 ft²", "0.6 kg/m²"),
        "bag": ("50 lb", "25 kg"),
    },
    "cold": {
        "hours": ("16", "16"), "at": ("75 °F", "24 °C"), "now": ("55 °F", "13 °C"),
        "hourly": ("60F 58 55 52 50", "16C 14 13 11 10"), "before": ("24", "24"),
    },
    "wetedge": {
        "minutes": ("30", "30"), "at": ("75 °F", "24 °C"), "slab": ("92 °F", "33 °C"),
        "width": ("60 ft", "18 m"), "reach": ("295 ft²", "27 m²"),
        "rate": ("1500 ft²/h", "140 m²/h"), "lane": ("8 ft", "2.4 m"),
    },
    "air": {
        "solvent": ("2 gal", "7.5 L"), "density": ("0.87 kg/L", "0.87 kg/L"),
        "weight": ("92.1", "92.1"), "limit": ("50", "50"), "mixing": ("5", "5"),
        "lfl": ("1.1%", "1.1%"),
    },
}  # fmt: skip
_BARE = re.compile(r"[-+]?\d+([.,]\d+)?")
CHOICES: Mapping[str, tuple[str, ...]] = {
    "shape": ("rectangle", "triangle", "concave", "convex"),
    "sun": ("none", "hazy", "full"),
}


@dataclass(frozen=True, kw_only=True)
class Field:
    """One thing to type, with what was typed. ``choices`` are (value, word); "" is not said."""

    name: str
    label: str
    required: bool
    typed: str
    like: str
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Shown:
    """An answer in the reader's words: first his units, then the other system's."""

    headline: str
    other: str
    working: str
    source: str
    why: str
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AskPage:
    """The questions, and the one that is asked with its fields, faults and answer."""

    questions: tuple[tuple[str, str], ...]  # name, title
    question: str
    title: str
    fields: tuple[Field, ...]
    faults: tuple[Fault, ...]
    answer: Shown | None


def asking_page(question: str, given: Mapping[str, str], system: System, language: str) -> AskPage:
    """The page of one question, answered as soon as what it needs is typed.

    Parameters
    ----------
    question : str
        A key of ``QUESTIONS``; anything else shows the list alone.
    given : mapping of str to str
        Text by argument name, as typed. Nothing typed asks nothing; a bare number gets the
        unit that the field names, and is shown with it.
    system, language
        How the reader likes figures and words.

    Returns
    -------
    AskPage
        With the faults of what was typed instead of an answer, where there are any.

    Source
    ------
    Each answer carries its own (:func:`tackfree.service.ask.ask`).
    """
    titles = tuple((q, say(f"askpage.title.{q}", language)) for q in QUESTIONS)
    if question not in QUESTIONS:
        return AskPage(questions=titles, question="", title="", fields=(), faults=(), answer=None)
    typed = {
        a.name: _with_unit(given.get(a.name, "").strip(), question, a, system)
        for a in QUESTIONS[question].arguments
    }
    answer = None
    faults: tuple[Fault, ...] = ()
    if any(typed.values()):
        try:
            answer = _shown(ask(question, typed), system, language)
        except ToolError as refused:
            faults = tuple(
                _named(question, fault_in(f, language), language) for f in refused.faults
            )
    return AskPage(
        questions=titles,
        question=question,
        title=dict(titles)[question],
        fields=tuple(
            _field(question, a, typed[a.name], system, language)
            for a in QUESTIONS[question].arguments
        ),
        faults=faults,
        answer=answer,
    )


def _with_unit(text: str, question: str, argument: Argument, system: System) -> str:
    """A bare number as the field means it: "75" is 75 °F where the field says "as 75 °F"."""
    if argument.kind is None or argument.bare or not _BARE.fullmatch(text):
        return text
    return text + LIKE[question][argument.name][0 if system == "us" else 1].lstrip("0123456789./")


def _named(question: str, fault: Fault, language: str) -> Fault:
    """The fault with its field's label in place of the argument's name."""
    name = fault.where.rpartition(": ")[2].replace(" ", "_")
    known = any(a.name == name for a in QUESTIONS[question].arguments)
    return replace(fault, where=say(f"askpage.{question}.{name}", language) if known else "")


def _field(question: str, argument: Argument, typed: str, system: System, language: str) -> Field:
    like = LIKE[question].get(argument.name, ("", ""))
    return Field(
        name=argument.name,
        label=say(f"askpage.{question}.{argument.name}", language),
        required=argument.required,
        typed=typed,
        like=like[0 if system == "us" else 1],
        choices=tuple(
            (c, say(f"askpage.choice.{c}", language)) for c in CHOICES.get(argument.name, ())
        ),
    )


def _shown(answer: Answer, system: System, language: str) -> Shown:
    kind = say(f"page.source.{answer.source.kind}", language)
    return Shown(
        headline=answer.headline(system, language),
        other=answer.headline("si" if system == "us" else "us", language),
        working=answer.working[system],
        source=f"{kind}: {answer.source.text}" if answer.source.text else kind,
        why=say(f"ask.{answer.question}_why", language),
        notes=tuple(spoken(n, system, language) for n in answer.notes),
    )
