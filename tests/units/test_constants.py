"""Constants and conversions, against the standards and a general units library."""

import math

import pint
import pytest

from tackfree import units

Q = pint.UnitRegistry().Quantity


@pytest.mark.parametrize(
    ("ours", "number", "unit", "to"),
    [  # library: pint, from NIST SP 811 and Handbook 44
        (units.M_PER_IN, 1, "inch", "m"),
        (units.M_PER_FT, 1, "foot", "m"),
        (units.UM_PER_MIL, 1, "thou", "um"),  # pint's "mil" is an angle
        (units.M2_PER_FT2, 1, "foot**2", "m**2"),
        (units.M2_PER_YD2, 1, "yard**2", "m**2"),
        (units.L_PER_GAL, 1, "gallon", "L"),
        (units.L_PER_IN3, 1, "inch**3", "L"),
        (units.L_PER_FT3, 1, "foot**3", "L"),
        (units.L_PER_FL_OZ, 1, "fluid_ounce", "L"),
        (units.KG_PER_LB, 1, "pound", "kg"),
        (units.M_S_PER_MPH, 1, "mile/hour", "m/s"),
        (units.PA_PER_PSI, 1, "psi", "Pa"),
        (units.FT2_MIL_PER_GAL, 1, "gallon", "foot**2*thou"),
        (units.M2_PER_L_PER_FT2_PER_GAL, 1, "foot**2/gallon", "m**2/L"),
        (units.KG_PER_M2_PER_LB_PER_100_FT2, 0.01, "pound/foot**2", "kg/m**2"),
        (units.KG_PER_L_PER_LB_PER_GAL, 1, "pound/gallon", "kg/L"),
        (units.UM_PER_L_PER_M2, 1, "L/m**2", "um"),
    ],
)
@pytest.mark.outside
def test_constants_agree_with_a_units_library(ours, number, unit, to):
    assert ours == pytest.approx(Q(number, unit).to(to).m, rel=1e-12)


@pytest.mark.outside
def test_a_gallon_spread_one_mil_thick(check):
    c = check("film-gallon-mil")  # published: NIST Handbook 44, App. C
    assert (
        pytest.approx(c["expected"]["coverage_ft2_mil_per_gal"], rel=c["tolerance"]["rel"])
        == units.FT2_MIL_PER_GAL
    )


@pytest.mark.outside
def test_metric_equivalents_of_the_trade_units(check):
    c = check("film-metric-equivalents")  # library: pint 0.25.3
    want, rel = c["expected"], c["tolerance"]["rel"]
    per_100 = units.parse("1 gal/100 ft²", "film")
    assert pytest.approx(want["um_per_L_per_m2"], rel=rel) == units.UM_PER_L_PER_M2
    assert per_100 / 1000 == pytest.approx(want["L_per_m2_per_gal_per_100ft2"], rel=rel)
    assert per_100 / 25.4 == pytest.approx(want["mils_per_gal_per_100ft2"], rel=rel)
    assert want["um_per_mil"] == units.UM_PER_MIL
    assert units.m2_per_l(ft2_per_gal=1) == pytest.approx(want["m2_per_L_per_ft2_per_gal"], rel=rel)


@pytest.mark.outside
def test_sand_rates_in_both_systems(check):
    c = check("aggregate-units")  # library: pint 0.25.3
    for lb, kg in zip(c["inputs"]["rate_lb_per_100ft2"], c["expected"]["kg_per_m2"], strict=True):
        got = units.parse(f"{lb} lb/100 ft²", "areal_mass")
        assert got == pytest.approx(kg, rel=c["tolerance"]["rel"])


@pytest.mark.outside
def test_overlay_sand_rates_from_pounds_per_square_yard(check):
    c = check("aggregate-tpo-rates")  # published: bridge-deck overlay synthesis, p. 36
    given, want, rel = c["inputs"], c["expected"], c["tolerance"]["rel"]
    binder = [units.parse(f"{x} lb/yd²", "areal_mass") for x in given["binder_lb_per_yd2"]]
    sand = [units.parse(f"{x} lb/sq yd", "areal_mass") for x in given["aggregate_lb_per_yd2"]]
    assert binder == pytest.approx(want["binder_kg_per_m2"], rel=rel)
    assert sand == pytest.approx(want["aggregate_kg_per_m2"], rel=rel)
    assert [units.in_system(x, "areal_mass", "us")[0] for x in sand] == pytest.approx(
        want["aggregate_lb_per_100ft2"], rel=rel
    )
    trap = check("aggregate-tpo-resin-share")  # the printed 25 % holds only after sweeping
    share = 100 * sum(binder) / (sum(binder) + sum(sand))
    assert share == pytest.approx(trap["expected"]["resin_mass_pct"], rel=1e-6)
    assert share != pytest.approx(trap["published"]["resin_mass_pct"], rel=0.05)


@pytest.mark.outside
def test_beads_by_the_gallon_of_paint(check):
    c = check("aggregate-beads")  # published: UFGS pavement markings, 3.2.1.1
    rate = units.m2_per_l(ft2_per_gal=c["inputs"]["rate_ft2_per_gal"])
    per_l = [units.parse(f"{x} lb/gal", "density") for x in c["inputs"]["beads_lb_per_gal"]]
    assert [1000 * x for x in per_l] == pytest.approx(c["expected"]["beads_g_per_L"], rel=1e-3)
    assert [units.in_system(x / rate, "areal_mass", "us")[0] for x in per_l] == pytest.approx(
        c["expected"]["beads_lb_per_100ft2"], rel=1e-3
    )


@pytest.mark.outside
def test_square_feet_are_not_square_yards(check):
    c = check("film-tpo-pulloff-area-misprint")  # the source prints 418 m² for 500 ft²
    area = c["inputs"]["printed_area_ft2"]
    as_feet = units.parse(f"{area} ft²", "area")
    assert as_feet == pytest.approx(c["expected"]["m2_if_ft2"], rel=1e-3)
    assert as_feet != pytest.approx(c["published"]["m2_if_ft2"], rel=0.01)
    assert units.parse(f"{area} yd²", "area") == pytest.approx(c["expected"]["m2_if_yd2"], rel=1e-3)


@pytest.mark.outside
def test_package_volumes(check):
    c = check("sealant-packages")  # library: pint 0.25.3
    want, rel = c["expected"], c["tolerance"]["rel"]
    trap = check("sealant-20oz-misprint")  # 36.6 in³ is 600 mL, not 20 fl oz
    litres = [units.parse(f"{x} fl oz", "volume") for x in c["inputs"]["package_fl_oz"]]
    assert [x / units.L_PER_IN3 for x in litres] == pytest.approx(want["volume_in3"], rel=rel)
    assert [1000 * x for x in litres] == pytest.approx(want["volume_mL"], rel=rel)
    sausage = units.parse("600 mL", "volume")
    assert sausage / units.L_PER_FL_OZ == pytest.approx(want["sausage_600mL_fl_oz"], rel=rel)
    assert sausage / units.L_PER_IN3 == pytest.approx(want["sausage_600mL_in3"], rel=rel)
    twenty = litres[1] / units.L_PER_IN3
    assert twenty == pytest.approx(trap["expected"]["volume_in3"][1], rel=1e-4)
    assert twenty != pytest.approx(trap["published"]["volume_in3"][1], rel=0.005)


def test_celsius_and_fahrenheit_meet():
    assert units.c_from_f(-40) == -40  # exact: the scales cross at -40
    assert units.f_from_c(units.c_from_f(75)) == pytest.approx(75)
    assert math.isclose(
        units.parse("200 psi", "pressure"), 1.378951e6, rel_tol=1e-6
    )  # library: pint
