"""Reading quantities as people write them, and refusing what reads two ways."""

import contextlib
import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree import units
from tackfree.errors import InputError
from tackfree.units import UnitError, parse

Q = pint.UnitRegistry().Quantity
IN, FT = 0.0254, 0.3048  # exact: international inch and foot


@pytest.mark.parametrize(
    ("text", "metres"),
    [  # exact: inch and foot
        ("12'-6 1/2\"", 12 * FT + 6.5 * IN),
        ("12’–6½”", 12 * FT + 6.5 * IN),
        ("12′ 6½″", 12 * FT + 6.5 * IN),
        ("12'-6-1/2\"", 12 * FT + 6.5 * IN),
        ("12' 6.5\"", 12 * FT + 6.5 * IN),
        ("12'6", 12 * FT + 6 * IN),
        ("12 ft 6 in", 12 * FT + 6 * IN),
        ("12 ft. 6 in.", 12 * FT + 6 * IN),
        ("12 FEET 6 INCHES", 12 * FT + 6 * IN),
        ("-4 ft 6 in", -(4 * FT + 6 * IN)),
        ("3/8 in", 0.375 * IN),
        ("¼ in", 0.25 * IN),
        ('1¼"', 1.25 * IN),
        ('1 1/2"', 1.5 * IN),
        ("1-1/2 in", 1.5 * IN),
        ("1/4''", 0.25 * IN),
        ("40 lf", 40 * FT),
        ("3.82 m", 3.82),
        ("1,5 m", 1.5),
        ("0,500 m", 0.5),  # no thousands begin with 0
        ("1234,5 m", 1234.5),
        ("1 234,5 m", 1234.5),
        ("1.234,5 m", 1234.5),
        ("1,234.5 m", 1234.5),
        ("1,234,567 m", 1234567),
        ("+6 mm", 0.006),
        (".5 m", 0.5),
        ("1e-3 m", 0.001),
        ("0", 0),
    ],
)
def test_lengths(text, metres):
    assert parse(text, "length") == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "number", "unit", "to"),
    [  # library: pint
        ("60 ft²/gal", "coverage", 60, "foot**2/gallon", "m**2/L"),
        ("60 sf/gal", "coverage", 60, "foot**2/gallon", "m**2/L"),
        ("60 ft2/gal", "coverage", 60, "foot**2/gallon", "m**2/L"),
        ("60 sq. ft. per gallon", "coverage", 60, "foot**2/gallon", "m**2/L"),
        ("2.5 m²/L", "coverage", 2.5, "m**2/L", "m**2/L"),
        ("25 mil", "film", 25, "thou", "um"),
        ("25 mils", "film", 25, "thou", "um"),
        ("0.6 mm", "film", 0.6, "mm", "um"),
        ("600 µm", "film", 600, "um", "um"),
        ("600 μm", "film", 600, "um", "um"),  # Greek mu
        ("600um", "film", 600, "um", "um"),
        ("0.02 in", "film", 0.02, "inch", "um"),
        ("1.5 L/m²", "film", 1.5, "L/m**2", "um"),
        ("12,000 ft²", "area", 12000, "foot**2", "m**2"),
        ("12 000 m²", "area", 12000, "m**2", "m**2"),
        ("12\u00a0000 m²", "area", 12000, "m**2", "m**2"),
        ("612 sq ft", "area", 612, "foot**2", "m**2"),
        ("5 gal", "volume", 5, "gallon", "L"),
        ("2 1/2 gallons", "volume", 2.5, "gallon", "L"),
        ("10.1 fl oz", "volume", 10.1, "fluid_ounce", "L"),
        ("20 oz", "volume", 20, "fluid_ounce", "L"),
        ("20 oz", "mass", 20, "ounce", "kg"),
        ("75 °F", "temperature", 75, "degF", "degC"),
        ("75F", "temperature", 75, "degF", "degC"),
        ("75 deg F", "temperature", 75, "degF", "degC"),
        ("24 °C", "temperature", 24, "degC", "degC"),
        ("−5 ºC", "temperature", -5, "degC", "degC"),
        ("300 K", "temperature", 300, "kelvin", "degC"),
        ("5 °F", "temperature_step", 5, "delta_degF", "kelvin"),
        ("15 lb/100 ft²", "areal_mass", 0.15, "pound/foot**2", "kg/m**2"),
        ("15 lbs per 100 sf", "areal_mass", 0.15, "pound/foot**2", "kg/m**2"),
        ("15 #/100 ft2", "areal_mass", 0.15, "pound/foot**2", "kg/m**2"),
        ("700 g/m²", "areal_mass", 0.7, "kg/m**2", "kg/m**2"),
        ("50 lb", "mass", 50, "pound", "kg"),
        ("30 min", "time", 30, "minute", "hour"),
        ("8 h", "time", 8, "hour", "hour"),
        ("2 d", "time", 2, "day", "hour"),
        ("1 h 30 min", "time", 90, "minute", "hour"),
        ("10 mph", "speed", 10, "mile/hour", "m/s"),
        ("36 km/h", "speed", 36, "km/hour", "m/s"),
        ("9.2 lb/gal", "density", 9.2, "pound/gallon", "kg/L"),
        ("1400 ft²/h", "area_rate", 1400, "foot**2/hour", "m**2/hour"),
        ("120 lf/hr", "length_rate", 120, "foot/hour", "m/hour"),
        ("308 ft/gal", "length_per_volume", 308, "foot/gallon", "m/L"),
        ("200 psi", "pressure", 200, "psi", "Pa"),
        ("1,5 N/mm²", "pressure", 1.5, "MPa", "Pa"),
    ],
)
@pytest.mark.outside
def test_kinds_agree_with_a_units_library(text, kind, number, unit, to):
    want = Q(number, unit).to(to).m
    assert parse(text, kind) == pytest.approx(want, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("8 %", "fraction", 0.08),  # exact
        ("8%", "fraction", 0.08),
        ("0.08", "fraction", 0.08),
        (",08", "fraction", 0.08),
        ("150 %", "fraction", 1.5),
        ("1:12", "slope", 1 / 12),
        ("6.67 %", "slope", 0.0667),
        ("-2 %", "slope", -0.02),
        ("1/4 in/ft", "slope", 0.25 / 12),
        ("1/4 in per ft", "slope", 0.25 / 12),
        ("45°", "slope", 1.0),
        ("1.25 gal/100 ft²", "coverage", 80 * units.M2_PER_L_PER_FT2_PER_GAL),
    ],
)
def test_shares_and_slopes(text, kind, value):
    assert parse(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "readings"),
    [  # memory: how each would be read on two sites
        ("12-6", "length", ["12 ft 6 in", "from 12 to 6", "12 minus 6"]),
        ('12-6"', "length", ["12 ft 6 in"]),
        ("25-30 mil", "film", ["from 25 to 30 mil", "25 minus 30 mil"]),
        ("1,500 m", "length", ["1.500 m", "1500 m"]),
        ("1,500 m²", "area", ["1.500 m2", "1500 m2"]),
        ("25", "film", ["25 mil", "25 µm", "25 mm"]),
        ("75", "temperature", ["75 °F", "75 °C"]),
        ("0", "temperature", ["0 °F", "0 °C"]),
        ("12", "length", ["12 ft", "12 in", "12 m", "12 mm"]),
        ("60", "coverage", ["60 ft²/gal", "60 m²/L"]),
        ("1", "fraction", ["1 %", "100 %"]),
        ("80", "fraction", ["80 %"]),
        ("8:30", "time", ["8 h 30 min", "8 min 30 s"]),
        ("2:1", "slope", ["2 up in 1 along", "1 up in 2 along"]),
    ],
)
def test_text_with_two_readings_is_refused_with_them(text, kind, readings):
    with pytest.raises(UnitError) as fault:
        parse(text, kind)
    for reading in readings:
        assert reading in str(fault.value)
    assert fault.value.do


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("25 mil", "temperature", "a film thickness; a temperature is wanted"),
        ("25 mil", "length", "a film thickness; a length is wanted"),
        ("30 m", "time", "a length; a length of time is wanted"),
        ("75 °F", "film", "a temperature; a film thickness is wanted"),
        ("1:12", "area", "a ratio; an area is wanted"),
        ("25 furlongs", "length", "'furlongs' is not a unit"),
        ("25 ft²/0 gal", "coverage", "not a unit"),
        ("", "film", "Nothing was given"),
        (" \u00a0 ", "film", "Nothing was given"),
        ("^", "film", "Nothing was given"),
        ("nan", "film", "no number"),
        ("inf m", "length", "no number"),
        ("-", "length", "no number"),
        ("--5 m", "length", "no number"),
        ("1e999 m", "length", "not a finite number"),
        ("1/0 in", "length", "divides by zero"),
        ("1,23,4 ft", "length", "not grouped in threes"),
        ("-5 ft²", "area", "below zero"),
        ("-300 °C", "temperature", "below absolute zero"),
        ("12 in 6 ft", "length", "smaller unit"),
        ("12 ft 6 ft", "length", "smaller unit"),
        ("5 % rh", "fraction", "not a unit"),
        ("0 gal/100 ft²", "coverage", "without end"),
        ("90°", "slope", "not the slope of a deck"),
        ("9" * 61, "area", "too long"),
    ],
)
def test_what_cannot_be_read_is_refused(text, kind, said):
    with pytest.raises(UnitError, match=said) as fault:
        parse(text, kind)
    assert isinstance(fault.value, InputError)
    assert fault.value.do


@given(st.text(max_size=30), st.sampled_from(list(units.KINDS)))
def test_any_text_is_read_or_refused(text, kind):
    with contextlib.suppress(UnitError):  # any other error would be a bug
        assert math.isfinite(parse(text, kind))


@given(
    st.text(alphabet="0123456789 .,-+/'\"½:eftinmlgaC°F%²", max_size=16),
    st.sampled_from(list(units.KINDS)),
)
def test_near_misses_are_read_or_refused(text, kind):
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse(text, kind))


@given(st.integers(0, 500), st.integers(0, 11), st.integers(0, 7))
def test_feet_inches_and_eighths_add_up(feet, inches, eighths):
    got = parse(f"{feet}'-{inches} {eighths}/8\"", "length")
    assert got == pytest.approx(feet * FT + (inches + eighths / 8) * IN, abs=1e-12)
