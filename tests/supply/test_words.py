"""Every message of sections, materials and rules is a sentence in both languages."""

from __future__ import annotations

import re

import pytest

from tackfree.words import LANGUAGES, catalogue

AREAS = ("marks.", "supply.", "buildup.")


def ids(language: str) -> set[str]:
    return {k for k in catalogue(language) if k.startswith(AREAS)}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_languages_hold_the_same_ids_and_values(language) -> None:
    assert ids(language) == ids("en") != set()
    for name in ids("en"):
        wanted = set(re.findall(r"{(\w+)}", catalogue("en")[name]))
        assert set(re.findall(r"{(\w+)}", catalogue(language)[name])) == wanted, name


def test_notes_and_reasons_end_as_sentences() -> None:
    for language in LANGUAGES:
        for name in ids(language):
            if name.startswith(
                ("marks.cut", "marks.group", "marks.pot-life", "buildup.rule", "supply.note")
            ):
                assert catalogue(language)[name].endswith("."), (language, name)
