"""Catalogues: both languages say the same things, and nothing is lost in saying."""

from __future__ import annotations

import shutil
import string
import subprocess
import sys
from pathlib import Path

import pytest

from tackfree import words
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


def test_a_folder_is_a_language(tmp_path: Path) -> None:
    source = Path(words.__file__).parents[1]
    shutil.copytree(
        source, tmp_path / "tackfree", ignore=shutil.ignore_patterns("__pycache__", "web", "assets")
    )
    more = tmp_path / "tackfree" / "words" / "pt"
    more.mkdir()
    (more / "field.toml").write_text('own-name = "Português"\nsave = "Guardar"\n', "utf-8")
    (more / "unit.toml").write_text('[symbol]\nmil = "milésimos"\n', "utf-8")
    code = """
from pydantic import TypeAdapter, ValidationError
from tackfree import words
from tackfree.bundle.documents.job import Language
from tackfree.units import show
print(words.LANGUAGES, words.names()['pt'], words.say('field.save', 'pt'),
      words.say('field.undo', 'pt'), show(254.0, 'film', 'us', language='pt').split('\xa0')[1])
print(TypeAdapter(list[Language]).validate_python(['pt', 'en']))
try:
    TypeAdapter(Language).validate_python('xx')
except ValidationError as fault:
    print(fault.errors()[0]['ctx']['expected'])
"""
    told = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True,
        env={"PYTHONPATH": str(tmp_path), "PYTHONUTF8": "1"},
    )  # fmt: skip
    # a sentence that is still to be translated is said in English
    assert told.stdout.splitlines() == [
        "('en', 'es', 'pt') Português Guardar Undo milésimos",
        "['pt', 'en']",
        "'en', 'es' or 'pt'",
    ]
