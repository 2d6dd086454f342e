"""Printing as on paper, and reading back what was printed."""

import doctest
import importlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree import units
from tackfree.units import KINDS, UnitError, feet_and_inches, in_system, parse, show


@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [  # practice: gallons and mils to 0.1, square feet and degrees to 1, tapes to 1/8 in
        (679.097, "film", "us", "26.7 mil"),
        (679.097, "film", "si", "679 µm"),
        (539.75, "film", "us", "21.3 mil"),  # 21.25 rounds up, as on paper
        (1114.83648, "area", "us", "12,000 ft²"),
        (1114.83648, "area", "si", "1 114.8 m²"),
        (18.92705892, "volume", "us", "5.0 gal"),
        (18.92705892, "volume", "si", "18.9 L"),
        (23.8889, "temperature", "us", "75 °F"),
        (23.8889, "temperature", "si", "23.9 °C"),
        (-0.01, "temperature", "si", "0.0 °C"),
        (2.54, "temperature_step", "us", "4.6 °F"),  # not 5: limits are 5
        (3.8227, "length", "us", "12'-6 1/2\""),
        (7.33425, "length", "us", "24'-0 3/4\""),
        (0.00635, "length", "us", '1/4"'),
        (0.00635, "length", "si", "6.4 mm"),
        (3.8227, "length", "si", "3.82 m"),
        (0.0, "length", "us", '0"'),
        (-0.3048, "length", "us", "-1'-0\""),
        (0.732364, "areal_mass", "us", "15.0 lb/100 ft²"),
        (0.2333, "time", "us", "14 min"),
        (26.04, "time", "si", "26.0 h"),
        (0.08, "fraction", "us", "8 %"),
        (0.065, "fraction", "si", "6.5 %"),
        (10.0, "fraction", "us", "1 000 %"),  # 1,000 % would read two ways
        (0.0667, "slope", "us", "6.67 %"),
        (1378951.4586, "pressure", "us", "200 psi"),
        (1378951.4586, "pressure", "si", "1.38 N/mm²"),
    ],
)
def test_printed_as_on_paper(value, kind, system, text):
    assert show(value, kind, system).replace("\u00a0", " ") == text


def test_decimal_comma_digits_and_spanish():
    assert show(1234.56, "area", "si", decimal=",").replace("\u00a0", " ") == "1 234,6 m²"
    assert show(12.5 * 25.4, "film", "us", decimal=",").replace("\u00a0", " ") == "12,5 mil"
    assert show(3.8227, "length", "us", 2).replace("\u00a0", " ") == "12.54 ft"
    # memory: in Spanish "mil" is a thousand
    assert show(635, "film", "us", language="es").replace("\u00a0", " ") == "25.0 mils"


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_not_finite_is_not_printed(bad):
    with pytest.raises(UnitError):
        show(bad, "film")
    with pytest.raises(UnitError):
        feet_and_inches(bad)


@given(
    st.sampled_from([k for k in KINDS if k != "slope"]),
    st.sampled_from(["us", "si"]),
    st.floats(0.2, 5e5),
    st.sampled_from([".", ","]),
)
def test_reading_what_was_printed_gives_it_back(kind, system, number, decimal):
    unit = KINDS[kind].us if system == "us" else KINDS[kind].si
    value = number * unit.factor + unit.offset
    text = show(value, kind, system, decimal=decimal)
    if kind == "length" and system == "us":
        step = 0.0254 / 8
    else:
        minutes = kind == "time" and abs(value) < 1
        fine = kind == "length" and abs(value) < 0.1
        step = 1 / 60 if minutes else 1e-4 if fine else unit.factor * 10.0**-unit.digits
    assert parse(text, kind) == pytest.approx(value, abs=0.5001 * step + 1e-9 * abs(value))


@given(st.sampled_from(list(KINDS)), st.floats(-1e4, 1e6))
def test_both_systems_hold_the_same_quantity(kind, value):
    for system, unit in (("us", KINDS[kind].us), ("si", KINDS[kind].si)):
        number, symbol = in_system(value, kind, system)
        assert number * unit.factor + unit.offset == pytest.approx(value, abs=1e-6, rel=1e-12)
        assert symbol == unit.symbol


@pytest.mark.parametrize("name", ["constants", "kinds", "read", "show"])
def test_examples_in_the_docstrings(name):
    assert doctest.testmod(importlib.import_module(f"tackfree.units.{name}")).failed == 0


def test_keys_carry_their_unit():
    assert units.key_of("wft", "film", "us") == "wft_mil"
    assert units.key_of("reach", "area", "si") == "reach_m2"
