"""Catalogues: both languages say the same things, and nothing is lost in saying."""

from __future__ import annotations

import string

import pytest

from tackfree.words import LANGUAGES, Message, catalogue, say


def braces(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_id_exists_in_every_language() -> None:
    english = set(catalogue("en"))
    assert english, "the English catalogue is empty"
    for language in LANGUAGES:
        assert set(catalogue(language)) ^ english == set(), language


@pytest.mark.parametrize("language", [n for n in LANGUAGES if n != "en"])
def test_braces_agree(language: str) -> None:
    english = catalogue("en")
    differ = {
        name: (sorted(braces(english[name])), sorted(braces(text)))
        for name, text in catalogue(language).items()
        if name in english and braces(text) != braces(english[name])
    }
    assert differ == {}


def test_no_sentence_is_empty() -> None:
    for language in LANGUAGES:
        assert [k for k, v in catalogue(language).items() if not v.strip()] == []


def test_say_fills_braces_in_the_language_asked_for() -> None:
    message = Message(id="sheet.people", values={"count": 7})
    assert say(message) == "7 people"
    assert say(message, "es") == "7 personas"
    assert say("sheet.people", "en", count=1) == "1 people"


def test_an_unknown_id_is_shown_with_its_values() -> None:
    assert say(Message(id="none.such", values={"a": 1, "b": "x"})) == "none.such (a 1, b x)"
    assert say("none.such") == "none.such"


def test_a_missing_value_leaves_its_brace() -> None:
    assert say("sheet.people") == "{count} people"


def test_an_unknown_language_is_not_silently_english() -> None:
    with pytest.raises((FileNotFoundError, NotADirectoryError)):
        say("sheet.people", "xx", count=2)


def test_a_message_is_plain_json() -> None:
    message = Message(id="sheet.people", values={"count": 2})
    assert message.to_json() == {"id": "sheet.people", "values": {"count": 2}}
