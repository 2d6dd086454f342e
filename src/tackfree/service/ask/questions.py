"""Every question, declared once, and the door where text becomes an answer.

The command line and the page both hand their text to :func:`ask`, so they cannot give
different numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from tackfree import units
from tackfree.errors import Fault, InputError, NotFound, Refused, ToolError
from tackfree.service.ask import film_life, fresh_air, liquid, weather
from tackfree.service.ask.types import Answer
from tackfree.units import Kind


@dataclass(frozen=True, kw_only=True)
class Argument:
    """One thing to give. ``bare`` is the unit of a number that comes without one."""

    name: str
    kind: Kind | None  # None: a word, taken as it is
    required: bool = True
    bare: str = ""


@dataclass(frozen=True, kw_only=True)
class Question:
    """A question that can be asked, and the function that answers it in SI."""

    name: str
    arguments: tuple[Argument, ...]
    answer: Callable[..., Answer]


def _arg(name: str, kind: Kind, bare: str = "") -> Argument:
    return Argument(name=name, kind=kind, bare=bare)


def _opt(name: str, kind: Kind | None) -> Argument:
    return Argument(name=name, kind=kind, required=False)


_ALL = (
    Question(name="wet", arguments=(_arg("coverage", "coverage"),), answer=liquid.wet),
    Question(
        name="dry",
        arguments=(_arg("wft", "film"), _arg("solids", "fraction"), _opt("thinner", "fraction")),
        answer=liquid.dry,
    ),
    Question(
        name="reach",
        arguments=(
            _arg("kit", "volume"),
            _arg("wft", "film"),
            _opt("fill", "film"),
            _opt("loss", "fraction"),
            _opt("lane_width", "length"),
        ),
        answer=liquid.reach,
    ),
    Question(
        name="kits",
        arguments=(
            _arg("area", "area"),
            _arg("wft", "film"),
            _arg("kit", "volume"),
            _opt("fill", "film"),
            _opt("loss", "fraction"),
        ),
        answer=liquid.kits,
    ),
    Question(
        name="dewpoint",
        arguments=(_arg("air", "temperature"), _arg("rh", "fraction")),
        answer=weather.dewpoint,
    ),
    Question(
        name="spread",
        arguments=(_arg("slab", "temperature"), _arg("air", "temperature"), _arg("rh", "fraction")),
        answer=weather.spread,
    ),
    Question(
        name="potlife",
        arguments=(
            _arg("minutes", "time", bare="min"),
            _arg("at", "temperature"),
            _arg("now", "temperature"),
        ),
        answer=weather.potlife,
    ),
    Question(
        name="sealant",
        arguments=(
            _arg("width", "length"),
            _arg("depth", "length"),
            _opt("shape", None),
            _opt("length", "length"),
            _opt("package", "volume"),
            _opt("loss", "fraction"),
        ),
        answer=liquid.sealant,
    ),
    Question(
        name="sand",
        arguments=(_arg("area", "area"), _arg("rate", "areal_mass"), _opt("bag", "mass")),
        answer=liquid.sand,
    ),
    Question(
        name="cold",
        arguments=(
            _arg("hours", "time", bare="h"),
            _arg("at", "temperature"),
            _arg("now", "temperature"),
            _opt("hourly", None),
            Argument(name="before", kind="time", required=False, bare="h"),
        ),
        answer=weather.cold,
    ),
    Question(
        name="wetedge",
        arguments=(
            _arg("minutes", "time", bare="min"),
            _arg("at", "temperature"),
            _arg("slab", "temperature"),
            _opt("sun", None),
            _opt("width", "length"),
            _opt("reach", "area"),
            _opt("rate", "area_rate"),
            _opt("lane", "length"),
        ),
        answer=film_life.wetedge,
    ),
    Question(
        name="air",
        arguments=(
            _arg("solvent", "volume"),
            _arg("density", "density"),
            Argument(name="weight", kind=None),
            Argument(name="limit", kind=None),
            _opt("mixing", None),
            _opt("lfl", "fraction"),
        ),
        answer=fresh_air.air,
    ),
)
QUESTIONS: Mapping[str, Question] = {question.name: question for question in _ALL}


def ask(question: str, given: Mapping[str, str | None]) -> Answer:
    """Answer a question whose arguments are text as people write it.

    Parameters
    ----------
    question : str
        A key of ``QUESTIONS``.
    given : mapping of str to str or None
        Text by argument name; None or "" is not given.

    Returns
    -------
    Answer

    Raises
    ------
    NotFound
        If there is no such question.
    Refused
        With every argument that is missing or cannot be read, all at once.

    Source
    ------
    Each answer carries its own.

    Examples
    --------
    >>> ask("wet", {"coverage": "60 ft²/gal"}).headline().replace("\\u00a0", " ")
    '26.7 mil of wet film'
    """
    if question not in QUESTIONS:
        raise NotFound(
            f"'{question}' is not a question known here.", do=f"Ask {', '.join(QUESTIONS)}."
        )
    asked = QUESTIONS[question]
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for argument in asked.arguments:
        where = f"ask {question}: {argument.name.replace('_', ' ')}"
        text = given.get(argument.name)
        try:
            if text:
                values[argument.name] = _read(text, argument)
            elif argument.required:
                if argument.kind is None:
                    raise InputError("nothing is given.", do="Write a number.")
                units.parse("", argument.kind)
        except ToolError as fault:
            faults.append(Fault(where=where, what=fault.what, do=fault.do))
    if faults:
        raise Refused(faults)
    try:
        return asked.answer(**values)
    except ToolError as fault:
        where = f"ask {question}"
        raise Refused(Fault(where=where, what=f.what, do=f.do) for f in fault.faults) from fault


def _read(text: str, argument: Argument) -> float | str:
    if argument.kind is None:
        return text
    if argument.bare and text.strip().replace(".", "", 1).isdigit():
        text = f"{text} {argument.bare}"
    return units.parse(text, argument.kind)
