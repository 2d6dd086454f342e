"""Sands by sieve number and the fineness of a grading."""

from __future__ import annotations

import pytest

from tackfree.film.checks import FilmError
from tackfree.film.sieves import OPENING_MM, fineness_modulus, grain_range_mm


@pytest.mark.outside
def test_openings_by_number(check) -> None:
    c = check("aggregate-sieve-openings")
    for number, mm in zip(c["inputs"]["sieve_no"], c["expected"]["opening_mm"], strict=True):
        assert OPENING_MM[number] == pytest.approx(mm, rel=0.01)


@pytest.mark.outside
def test_fineness_of_the_grading_limits(check) -> None:
    c = check("aggregate-c33-fm")
    finest, coarsest = (
        fineness_modulus([100 - p for p in c["inputs"][f"passing_{end}_pct"]])
        for end in ("upper", "lower")
    )
    assert finest == pytest.approx(c["expected"]["fm_finest"])
    assert coarsest == pytest.approx(c["expected"]["fm_coarsest"])
    assert (finest + coarsest) / 2 == pytest.approx(c["expected"]["fm_mid"])


def test_a_sand_by_two_sieves() -> None:
    # published: ASTM E11, No. 20 is 0.85 mm and No. 40 is 0.425 mm
    assert grain_range_mm("20/40") == (0.425, 0.85)


@pytest.mark.parametrize("text", ["30/16", "16", "16/31", "a/b", "16/30/50"])
def test_what_is_no_sand(text) -> None:
    with pytest.raises(FilmError):
        grain_range_mm(text)
