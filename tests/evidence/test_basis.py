"""On what each rule of the film stands, printed beside it."""

from __future__ import annotations

import pytest

from tackfree.because import Source
from tackfree.evidence.rules import ContractRule
from tackfree.service.film_basis import basis_of

MIL = 25.4


def said(language: str, system: str, **rule: object) -> tuple[str, ...]:
    found = basis_of(ContractRule(**rule), specified_um=20 * MIL, system=system, language=language)
    return tuple(line.replace("\u00a0", " ") for line in found)


def test_whose_numbers_the_contracts_rule_has() -> None:
    usual, tolerance = said("en", "us")
    assert "The specification states no rule" in usual
    assert "no reading under 80 % of it, one reading for each 250 ft²" in usual
    assert "NIST/SEMATECH e-Handbook, 7.2.6.3" in tolerance
    stated, _ = said("en", "us", floor=0.9, source=Source(kind="specification"))
    assert "are the specification's" in stated
    assert "no reading under 90 % of it" in stated


@pytest.mark.parametrize(
    ("name", "numbers"),
    [
        # published: the standards' teaching texts; least 20 mil, most 1.5 times that
        ("SSPC-PA-2-level-3", ("from 16.0 mil (80 % of the least, 20.0 mil)",
                               "to 36.0 mil (120 % of the most, 30.0 mil)",
                               "5 spots in each", "mean of 3 readings", "one more for each")),
        ("SSPC-PA-9-level-3", ("from 15.0 mil (75 %", "to 37.5 mil (125 %",
                               "every such area is measured")),
    ],
)  # fmt: skip
def test_each_named_rule_prints_its_numbers_and_its_basis(name: str, numbers: tuple) -> None:
    line = said("en", "us", spots=name)[-1]
    assert line.startswith(f"{name}: areas of about 100 ft²")
    for text in (*numbers, "not checked against the standard itself", "Not for a film with sand"):
        assert text in line
    spanish = said("es", "si", spots=name)[-1]
    assert "508 µm" in spanish
    assert "sin cotejar con la norma" in spanish
