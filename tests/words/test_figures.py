"""Reasons of figures in Spanish: whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest

from tackfree.service import job as jobs
from tackfree.service.pipeline import Pipeline
from tackfree.service.quote import price_document
from tackfree.service.supply import order_document
from tackfree.words.figures import reason_in


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        ("area × (wet film + fill) / 1000", "área × (película húmeda + relleno) / 1000"),
        ("kits × kit − gross − details", "kits × kit − bruto − detalles"),
        ("length × leg² / 2 × (1 + loss)", "longitud × cateto² / 2 × (1 + pérdida)"),
        ("crew hours BU-STALL", "horas de cuadrilla BU-STALL"),  # ids stay
        ("loss of a ship", "loss of a ship"),  # no sentence half in one language
        ("", ""),
    ],
)
def test_a_reason_is_said_whole_or_left(english: str, spanish: str) -> None:
    assert reason_in(english, "es") == spanish
    assert reason_in(english, "en") == english


def reasons(found: Any) -> Iterator[str]:
    """Formulas, names of inputs and sources of everything below."""
    if isinstance(found, dict):
        if "formula" in found and "inputs" in found:
            yield found["formula"]
            yield (found.get("source") or {}).get("text") or ""
            for i in found["inputs"]:
                yield i["name"]
                yield (i.get("from") or {}).get("text") or ""
        for below in found.values():
            yield from reasons(below)
    elif isinstance(found, list):
        for below in found:
            yield from reasons(below)


def test_every_reason_of_order_and_price_is_known_in_spanish(tmp_path) -> None:
    jobs.new(tmp_path / "job", demo=True)
    made = Pipeline.of(tmp_path / "job")
    every = {r for d in (order_document(made), price_document(made)) for r in reasons(d)}
    assert len(every) > 60
    ids = re.compile(r"[A-Z][A-Z0-9-]+|P[159]0|\d")
    same = {r for r in every if re.search(r"[a-z]{3}", r) and reason_in(r, "es") == r}
    # By hand: words that both languages write alike.
    alike = {"kit", "kits", "base", "total", "material", "editable"}
    assert {r for r in same if ids.sub("", r).strip() not in alike} == set()
