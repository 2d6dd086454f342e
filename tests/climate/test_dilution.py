"""Dilution air against the handbooks' constants and examples."""

from __future__ import annotations

import pytest

from tackfree.climate.dilution import (
    MOLAR_M3,
    air_for_fire_m3_s,
    air_for_health_m3_s,
    vapour_m3_s,
)
from tackfree.errors import InputError
from tackfree.service.ask import ask, spoken

FT3, PINT_L, LB_KG = 0.3048**3, 0.473176473, 0.45359237


@pytest.mark.outside
def test_constants(check):
    k = check("safety-vapour-constants")["expected"]
    per_lbmol = MOLAR_M3 * LB_KG * 1000 / FT3
    assert per_lbmol == pytest.approx(k["ft3_per_lbmol_70F"], rel=1e-4)
    # a pint of water-like liquid of molecular weight 1
    per_pint = vapour_m3_s(evaporated_l_per_h=PINT_L, density_kg_per_l=1, molar_g=1) * 3600 / FT3
    assert per_pint == pytest.approx(k["ft3_MW_per_pint_SG"], rel=1e-3)


@pytest.mark.outside
def test_the_manuals_example(check):
    k = check("safety-dilution-acgih")
    i = k["inputs"]
    vapour = vapour_m3_s(
        evaporated_l_per_h=i["evaporation_pints"] * PINT_L * 60 / i["time_min"],
        density_kg_per_l=i["specific_gravity"], molar_g=i["molecular_weight"],
    )  # fmt: skip
    air = air_for_health_m3_s(vapour, limit_ppm=i["tlv_ppm"], mixing_k=i["mixing_factor_K"])
    assert air * 60 / FT3 == pytest.approx(k["expected"]["airflow_cfm"], rel=0.002)
    told = ask("air", {
        "solvent": f"{i['evaporation_pints'] / 8} gal", "density": "1.32 kg/L",
        "weight": "133.4", "limit": "350", "mixing": "5",
    })  # fmt: skip
    # the answer is rounded up to whole ft³/min
    assert told.to_json()["answer"]["airflow_cfm"] == pytest.approx(1425, abs=3)
    assert "ask.air_hygienist" in [n.id for n in told.notes]
    assert "hygienist" in " ".join(spoken(n) for n in told.notes)


@pytest.mark.outside
def test_a_quarter_of_the_flammable_limit(check):
    k = check("safety-1910-94-volume")
    i = k["inputs"]
    air = air_for_fire_m3_s(i["vapour_ft3_per_gal"], lfl=i["lel_pct"] / 100)
    assert air == pytest.approx(k["expected"]["dilution_ft3_per_gal"], rel=1e-3)
    limits = check("safety-lel-25")["expected"]
    tenth = air_for_fire_m3_s(1.0, lfl=0.01, share=limits["confined_space_hazard_pct_lfl"] / 100)
    assert tenth == pytest.approx(2.5 * air_for_fire_m3_s(1.0, lfl=0.01))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: vapour_m3_s(evaporated_l_per_h=0, density_kg_per_l=1, molar_g=9), "evaporation"),
        (lambda: air_for_health_m3_s(1, limit_ppm=0), "ppm"),
        (lambda: air_for_health_m3_s(1, limit_ppm=50, mixing_k=0.5), "mixing"),
        (lambda: air_for_fire_m3_s(1, lfl=1.1), "110 %"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()
