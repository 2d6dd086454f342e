"""Faults in another language, by the sentences they are stated with.

A fault is stated in English where it is found. ``fault.toml`` holds such sentences with
what varies in braces, in both languages; a sentence that stands in none stays English.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from tackfree.errors import Fault
from tackfree.words import catalogue

_BRACE = re.compile(r"\\\{(\w+)\\\}")
_OWNER = re.compile(r"([A-Z0-9][A-Z0-9-]*: )(.+)", re.DOTALL)  # the id of a product or coat


def fault_in(fault: Fault, language: str) -> Fault:
    """A fault in one language; its place stays as it is."""
    if language == "en":
        return fault
    what, do = sentence_in(fault.what, language), sentence_in(fault.do, language)
    return replace(fault, what=what, do=do)


def sentence_in(text: str, language: str) -> str:
    """One sentence of a fault.

    >>> sentence_in('"soon" is no amount of money.', "es")
    '"soon" no es un importe de dinero.'
    """
    owner = _OWNER.fullmatch(text)
    if owner:
        return owner[1] + sentence_in(owner[2], language)
    for pattern, said in _sentences(language):
        found = pattern.fullmatch(text)
        if found:
            return said.format_map({k: _part(v, language) for k, v in found.groupdict().items()})
    return text


def _part(text: str, language: str) -> str:
    """What stands in a brace: a noun, or values with "or" between them."""
    nouns = _nouns(language)
    return nouns.get(text) or text.replace(" or ", f" {nouns['or']} ")


@cache
def _sentences(language: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Sentences with the most words of their own first, so that none hides another."""
    there = catalogue(language)
    found = [
        (text, there.get(name, text))
        for name, text in catalogue("en").items()
        if name.startswith("fault.") and not name.startswith("fault.noun.")
    ]
    found.sort(key=lambda f: (-len(re.sub(r"\{\w+\}", "", f[0])), f[0]))
    return tuple(
        (re.compile(_BRACE.sub(_varies, re.escape(text)), re.DOTALL), said) for text, said in found
    )


def _varies(brace: re.Match[str]) -> str:
    """A key is one word; anything else may be several."""
    what = r"[\w.]+" if brace[1] == "key" else ".+?"
    return f"(?P<{brace[1]}>{what})"


@cache
def _nouns(language: str) -> Mapping[str, str]:
    there = catalogue(language)
    return {
        text: there.get(name, text)
        for name, text in catalogue("en").items()
        if name.startswith("fault.noun.")
    }
