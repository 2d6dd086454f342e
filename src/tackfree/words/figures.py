"""Reasons of figures in another language, phrase by phrase.

Formulas, their inputs and sources are written in English where they are worked out
(``area × (wet film + fill) / 1000``). Their phrases stand in ``figure.toml`` of both
languages and the longest that fits is taken. A text with other words than these stays
as it is, so that no sentence is half in one language.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from tackfree.words import catalogue

_WORD = re.compile(r"[a-zß-ÿ]{3,}")  # no id, which is in capitals, and no unit


def reason_in(text: str, language: str) -> str:
    """A formula, the name of an input or a source in one language.

    >>> reason_in("area × (wet film + fill) / 1000", "es")
    'área × (película húmeda + relleno) / 1000'
    """
    if language == "en":
        return text
    pattern, known = _phrases(language)
    if _WORD.search(pattern.sub("", text)):
        return text
    return pattern.sub(lambda m: known[m[0]], text)


@cache
def _phrases(language: str) -> tuple[re.Pattern[str], Mapping[str, str]]:
    there = catalogue(language)
    known = {
        text: there.get(name, text)
        for name, text in catalogue("en").items()
        if name.startswith("figure.")
    }
    longest = sorted(known, key=lambda t: (-len(t), t))
    inside = "|".join(re.escape(t) for t in longest)
    return re.compile(rf"(?<![\w])(?:{inside})(?![\w])"), known
