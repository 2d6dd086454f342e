"""Faults in Spanish by the sentences they are stated with."""

from __future__ import annotations

import re

import pytest

from tackfree.errors import Fault
from tackfree.words import catalogue
from tackfree.words.faults import fault_in, sentence_in

SENTENCES = {
    name: text
    for name, text in catalogue("en").items()
    if name.startswith("fault.") and not name.startswith("fault.noun.")
}


@pytest.mark.parametrize("name", SENTENCES)
def test_every_sentence_keeps_what_varies(name: str) -> None:
    keys = re.findall(r"\{(\w+)\}", SENTENCES[name])
    values = {key: "each" if key == "key" else f"'{k + 1} q'" for k, key in enumerate(keys)}
    spanish = catalogue("es")[name]
    assert sorted(re.findall(r"\{(\w+)\}", spanish)) == sorted(keys)
    found = sentence_in(SENTENCES[name].format_map(values), "es")
    assert found == spanish.format_map(values)


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        ("HEN-B: each is missing.", "HEN-B: Falta each."),
        ("There is no build-up BU-X.", "No existe el sistema BU-X."),
        ("'5 gal' is a volume; an area is wanted.", "'5 gal' es un volumen; se espera un área."),
        ('Write "6000 ft²" or "550 m²".', 'Escriba "6000 ft²" o "550 m²".'),
        ("The moon is full.", "The moon is full."),
    ],
)  # fmt: skip
def test_owners_nouns_and_unknown_sentences(english: str, spanish: str) -> None:
    assert sentence_in(english, "es") == spanish


def test_a_place_stays_as_it_is() -> None:
    fault = Fault(where="price.toml, margin", what="margin is missing.", do="Add margin.")
    assert fault_in(fault, "en") is fault
    said = fault_in(fault, "es")
    assert (said.where, said.what) == ("price.toml, margin", "Falta margin.")
