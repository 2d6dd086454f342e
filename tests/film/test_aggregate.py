"""Sand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree import film, units
from tackfree.film import FilmError
from tackfree.film.aggregate import PACKED_SHARE, USUAL_RATE

LB100 = units.KG_PER_M2_PER_LB_PER_100_FT2


@pytest.mark.outside
def test_one_closest_layer_is_the_floor_of_refusal(check):
    c = check("aggregate-monolayer")  # memory: plane sphere packing
    want, rel = c["expected"], c["tolerance"]["rel"]
    got = film.monolayer_kg_per_m2(
        c["inputs"]["grain_mm"] / 1000, grain_kg_per_l=c["inputs"]["grain_density_kg_per_m3"] / 1000
    )
    assert pytest.approx(want["packing_fraction"], rel=rel) == PACKED_SHARE
    assert got == pytest.approx(want["mass_kg_per_m2"], rel=rel)
    assert got / LB100 == pytest.approx(want["mass_lb_per_100ft2"], rel=rel)


@pytest.mark.outside
def test_voids_of_loose_sand(check):
    c = check("aggregate-void-fraction")  # library: pint 0.25.3
    grain = c["inputs"]["specific_gravity"]
    per_ft3 = units.parse("1 lb/ft³", "density")
    assert grain / per_ft3 == pytest.approx(c["expected"]["solid_density_lb_per_ft3"], rel=1e-5)
    got = [
        film.void_fraction(bulk_kg_per_l=x * per_ft3, grain_kg_per_l=grain)
        for x in c["inputs"]["bulk_density_lb_per_ft3"]
    ]
    assert got == pytest.approx(c["expected"]["void_fraction"], rel=1e-5)


@pytest.mark.outside
def test_usual_rates(check):
    c = check("aggregate-practice")["expected"]  # practice: no open source seen
    for i, name in enumerate(("seeded-backrolled", "to-refusal")):
        low, high = USUAL_RATE[name]
        assert low / LB100 == pytest.approx(c["rate_lb_per_100ft2_min"][i])
        assert high / LB100 == pytest.approx(c["rate_lb_per_100ft2_max"][i])


def test_light_sand_covers_part_of_a_layer_and_refusal_more_than_one():
    # practice: 15-20 lb/100 ft² is a light broadcast, 40-100 is thrown to refusal, 16/30 sand
    grain = 0.00089  # middle of 0.6 to 1.18 mm
    for lb in (15, 20):
        assert 0.4 < film.cover_fraction(rate_kg_per_m2=lb * LB100, grain_m=grain) < 1
    for lb in (40, 100):
        assert film.cover_fraction(rate_kg_per_m2=lb * LB100, grain_m=grain) > 1


def test_bags_and_retained():
    # practice: scenario of a ramp, 2,520 lb thrown in 50 lb bags, about 70 % retained
    thrown = film.thrown_kg(area_m2=4200 * units.M2_PER_FT2, rate_kg_per_m2=60 * LB100)
    assert thrown / units.KG_PER_LB == pytest.approx(2520)
    assert film.bags_needed(thrown, 50 * units.KG_PER_LB) == 51
    kept = film.retained_kg(thrown_kg=thrown, retained=0.7)
    assert kept / units.KG_PER_LB == pytest.approx(1764)
    assert film.bags_needed(0.0, 25.0) == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: film.thrown_kg(area_m2=-1.0, rate_kg_per_m2=1.0),
        lambda: film.thrown_kg(area_m2=1.0, rate_kg_per_m2=float("nan")),
        lambda: film.retained_kg(thrown_kg=1.0, retained=1.1),
        lambda: film.bags_needed(10.0, 0.0),
        lambda: film.monolayer_kg_per_m2(0.0),
        lambda: film.void_fraction(bulk_kg_per_l=2.7),
    ],
)
def test_impossible_sand_is_refused(call):
    with pytest.raises(FilmError) as fault:
        call()
    assert fault.value.do


@given(st.floats(0, 1e4), st.floats(0, 1))
def test_retained_and_swept_are_all_that_was_thrown(thrown, share):
    kept = film.retained_kg(thrown_kg=thrown, retained=share)
    swept = film.retained_kg(thrown_kg=thrown, retained=1 - share)
    assert kept + swept == pytest.approx(thrown)
