"""Published limits that lie around our own numbers: sands, base coats, pull-offs, areas."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from tests.conftest import SHARED, published

from tackfree.buildup.case import Defaults
from tackfree.evidence.rules import areas_to_measure
from tackfree.film.sieves import OPENING_MM, fineness_modulus, grain_range_mm
from tackfree.units import M2_PER_FT2, in_system, parse

pytestmark = pytest.mark.outside

# Published checks of film, sand, sealant and cost that no number of ours rests on.
NOT_USED = {
    "aggregate-gfn": "grain fineness number is foundry practice; a broadcast sand is told by "
    "its two sieves and its fineness modulus",
    "film-dead-volume-steel": "blasted steel; the depth of concrete is measured or taken from "
    "its profile class",
    "film-sp13-tensile": "limits from memory; pull-off limits come from the specification",
    "film-d4414-range": "the reach of a gauge; a reading holds the two teeth that were read",
    "film-d4414-resolution": "the steps of one gauge; the same",
}
AREAS = ("film", "aggregate", "sealant", "cost")
BUYING = {"stats-newsvendor-normal", "stats-newsboy-nahmias"}  # of the statistics


def test_every_published_check_of_buying_is_used_or_left_for_a_reason() -> None:
    if not (SHARED / "checks" / "published.toml").exists():
        pytest.skip("shared/checks/published.toml is not beside this checkout")
    every = {name for name, c in published().items() if c["area"] in AREAS} | BUYING
    here = Path(__file__).resolve()
    files = [p for p in here.parents[1].rglob("*.py") if p != here]
    text = "".join(p.read_text("utf-8") for p in files)
    own = here.read_text("utf-8").partition("def number")[2]
    named = set(re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", text + own))
    used = every & named
    assert every - used == set(NOT_USED)


def number(sieve: str) -> int | None:
    return int(sieve.removeprefix("No. ")) if sieve.startswith("No.") else None


@pytest.mark.parametrize("sand", ["16/30", "20/40"])
def test_broadcast_sand_is_a_narrow_cut_of_concrete_sand(check, sand) -> None:
    c = check("aggregate-c33-grading")["inputs"]
    for name, mm in zip(c["sieve"], c["opening_mm"], strict=True):
        if (n := number(name)) is not None:
            assert OPENING_MM[n] == mm
    fine, coarse = grain_range_mm(sand)
    assert min(c["opening_mm"]) < fine < coarse < max(c["opening_mm"])
    assert coarse / fine < 2.1  # one cut, where the whole grading spans 63


def test_the_limits_of_fineness_lie_between_the_ends_of_the_grading(check) -> None:
    grading, limits = check("aggregate-c33-grading"), check("aggregate-fm-limits")
    places = [grading["inputs"]["sieve"].index(s) for s in limits["inputs"]["sieves"]]
    finest, coarsest = (
        fineness_modulus([100 - grading["expected"][f"passing_{end}_pct"][i] for i in places])
        for end in ("upper", "lower")
    )
    assert finest < limits["expected"]["fm_min"] < limits["expected"]["fm_max"] < coarsest


def test_overlay_sand_is_coarser_than_broadcast_sand(check) -> None:
    c = check("aggregate-tpo-grading")
    passing = dict(zip(c["inputs"]["sieve"], c["expected"]["passing_upper_pct"], strict=True))
    fine, coarse = grain_range_mm("4/16")
    assert (passing["No. 4"], passing["No. 16"]) == (100, 5)  # 95 % or more of it is 4/16
    assert (fine, coarse) == (OPENING_MM[16], OPENING_MM[4])
    assert fine >= grain_range_mm("16/30")[1]


def test_no_duty_asks_for_less_than_the_thinnest_tested_base_coat(check) -> None:
    least_mm = check("film-c957-base-coat")["expected"]["base_coat_dft_mm_min"]
    assert min(Defaults().dry_min_um.values()) >= 1000 * least_mm


def test_a_pull_off_on_a_50_mm_dolly(check) -> None:
    c = check("film-pulloff-dolly")
    mpa = parse(f"{c['inputs']['pull_off_strength_psi']} psi", "pressure") / 1e6
    area_mm2 = math.pi / 4 * c["inputs"]["dolly_diameter_mm"] ** 2
    assert mpa == pytest.approx(c["expected"]["strength_MPa"], rel=1e-5)
    assert mpa * area_mm2 / 1000 == pytest.approx(c["expected"]["force_kN"], rel=1e-5)


def test_pull_off_strength_of_an_overlay_in_both_systems(check) -> None:
    c = check("film-tpo-pulloff")
    pa = parse(f"{c['inputs']['strength_MPa']} MPa", "pressure")
    psi, unit = in_system(pa, "pressure", "us")
    assert unit == "psi"
    assert psi == pytest.approx(c["expected"]["strength_psi"], rel=c["tolerance"]["rel"])


def test_areas_to_measure_on_a_larger_deck(check) -> None:
    c = check("film-pa2-12500")
    areas = areas_to_measure(c["inputs"]["coated_area_ft2"] * M2_PER_FT2)
    assert areas == c["expected"]["areas"]
    assert 5 * areas == c["expected"]["spot_measurements"]
    assert 15 * areas == c["expected"]["gage_readings_min"]
