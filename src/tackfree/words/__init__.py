"""Messages that leave the core as id and values, and the catalogues that say them.

Core rooms return :class:`Message`; pages, sheets and the command line call
:func:`say`. A catalogue is a folder of TOML files, one per area
(``words/en/plan.toml`` holds the ids that begin with ``plan.``), so that rooms
do not write into each other's files. English is complete; Spanish holds the same
ids (a test compares them).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

_FOLDERS = {e.name for e in resources.files(__name__).iterdir() if (e / "field.toml").is_file()}
LANGUAGES = ("en", *sorted(_FOLDERS - {"en"}))  # a folder of catalogues is a language


@dataclass(frozen=True, kw_only=True)
class Message:
    """A sentence not yet spoken: ``id`` is ``area.name``; values fill its braces."""

    id: str
    values: Mapping[str, Any] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        return {"id": self.id, "values": dict(self.values)}


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Every sentence of one language by id.

    Reads the package's own data files once; the only file access below ``service``
    besides ``record``, ``bundle``, ``intake`` and ``sheets``.
    """
    found: dict[str, str] = {}
    folder = resources.files("tackfree.words") / language
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if not entry.name.endswith(".toml"):
            continue
        area = entry.name.removesuffix(".toml")
        for name, text in _flat(tomllib.loads(entry.read_text("utf-8"))).items():
            found[f"{area}.{name}"] = text
    return found


def names() -> Mapping[str, str]:
    """Languages by what they call themselves."""
    return {one: catalogue(one).get("field.own-name", one) for one in LANGUAGES}


def _flat(table: Mapping[str, Any], prefix: str = "") -> dict[str, str]:
    out: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            out.update(_flat(value, f"{prefix}{key}."))
        else:
            out[f"{prefix}{key}"] = str(value)
    return out


def say(message: Message | str, language: str = "en", **values: Any) -> str:
    """The sentence of a message in one language.

    An id that the language lacks falls back to English; one that English lacks is
    shown as its id with its values, so that nothing is lost on a sheet.
    """
    if isinstance(message, str):
        message = Message(id=message, values=values)
    text = catalogue(language).get(message.id) or catalogue("en").get(message.id)
    if text is None:
        inside = ", ".join(f"{k} {v}" for k, v in message.values.items())
        return f"{message.id} ({inside})" if inside else message.id
    return text.format_map(_Blank(message.values))


class _Blank(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "{" + key + "}"
