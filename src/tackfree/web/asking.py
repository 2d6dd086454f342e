"""What a request asks for: its language, units and ground, and the view it wants."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from starlette.requests import Request

from tackfree import words
from tackfree.errors import Fault, Refused
from tackfree.service.pages import Asked

CHOICES: Mapping[str, tuple[str, ...]] = {
    "lang": words.LANGUAGES,
    "units": ("us", "si"),
    "ground": ("day", "night", "system"),
}
ID = re.compile(r"^[A-Z0-9-]{1,40}$")
SURFACE = re.compile(r"^[a-z0-9-]{1,40}(/[A-Za-z0-9-]{1,40})?$")


@dataclass(frozen=True, kw_only=True)
class Taste:
    """How this reader likes pages; kept in three cookies that hold nothing else."""

    lang: str
    units: str
    ground: str


def taste_of(request: Request, units: str) -> Taste:
    """From the address, else the cookie, else the browser and the job.

    A bad word in the address is not taken here; :func:`asked_of` refuses it.
    """

    def pick(name: str, otherwise: str) -> str:
        for found in (request.query_params.get(name), request.cookies.get(f"tackfree-{name}")):
            if found in CHOICES[name]:
                return str(found)
        return otherwise

    return Taste(
        lang=pick("lang", _spoken(request.headers.get("accept-language", ""))),
        units=pick("units", units),
        ground=pick("ground", "system"),
    )


def asked_of(request: Request) -> Asked:
    """The view asked for, all faults of the address at once.

    Raises
    ------
    Refused
        If a parameter cannot be what it should be.
    """
    query = request.query_params
    faults: list[Fault] = []
    language = taste_of(request, "us").lang

    def fault(where: str, kind: str, **values: str) -> None:
        faults.append(
            Fault(
                where=where,
                what=words.say(f"page.error.{kind}", language, **values),
                do=words.say(f"page.error.{kind}-do", language, **values),
            )
        )

    for name, choices in CHOICES.items():
        found = query.get(name)
        if found is not None and found not in choices:
            fault(name, "bad-choice", value=_short(found), choices=", ".join(choices))
    for name, rule in (("deck", ID), ("shift", ID), ("surface", SURFACE)):
        found = query.get(name)
        if found is not None and not rule.match(found):
            fault(name, "bad-id", value=_short(found))
    day = None
    if (text := query.get("day")) is not None:
        try:
            day = date.fromisoformat(text)
        except ValueError:
            fault("day", "bad-date", value=_short(text))
    if faults:
        raise Refused(faults)
    return Asked(
        deck=query.get("deck"), day=day, shift=query.get("shift"), surface=query.get("surface")
    )


def _spoken(header: str) -> str:
    """The first of our languages by the browser's wish."""
    wishes = []
    for i, part in enumerate(header.split(",")):
        name, _, rest = part.strip().partition(";")
        found = re.search(r"q=([01](?:\.\d{0,3})?)", rest)
        weight = float(found.group(1)) if found else 1.0
        wishes.append((-weight, i, name.split("-")[0].lower()))
    for weight, _, name in sorted(wishes):
        if name in words.LANGUAGES and weight < 0:
            return name
    return "en"


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")
