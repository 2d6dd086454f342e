"""Invented jobs, recomputed: what the trade text prints and where it does not hold.

The figures come from invented scenarios of the trade text: practice. Where our
arithmetic differs it is said beside the number.
"""

import pytest

from tackfree import film, units

MIL, GAL, FT, FT2 = units.UM_PER_MIL, units.L_PER_GAL, units.M_PER_FT, units.M2_PER_FT2
KIT = 5 * GAL
LB, LB100 = units.KG_PER_LB, units.KG_PER_M2_PER_LB_PER_100_FT2


def gal(area_ft2, wft_mil, fill_mil, loss):
    volume = film.gross_l(
        area_m2=area_ft2 * FT2, wft_um=wft_mil * MIL, fill_um=fill_mil * MIL, loss=loss
    )
    return volume / GAL


def kits(gallons):
    return film.kits_needed(gallons * GAL, KIT)


def test_twelve_balconies():
    base = gal(612, 25, 3, 0.12)
    top = gal(612, 15, 0, 0.12)
    wall = film.upturn_area_m2(length_m=12 * 29 * FT, height_m=4 / 12 * FT) / FT2
    upturn = gal(wall, 2 * 20, 0, 0.12)
    assert base == pytest.approx(12.0, abs=0.05)  # practice
    assert kits(base) == 3
    assert top == pytest.approx(6.4, abs=0.05)  # practice
    assert kits(top) == 2
    assert wall == pytest.approx(116, abs=0.5)  # practice
    assert wall / 612 == pytest.approx(0.19, abs=0.005)  # practice
    # The text prints 3.3 gal; 116 ft² × 40 mil / 1604.17 × 1.12 is 3.24, so 3.2.
    assert upturn == pytest.approx(116 * 40 / 1604.1667 * 1.12, rel=1e-6)
    assert f"{upturn:.1f}" == "3.2"
    # So one material for both is 15.2 gal, not 15.3: still a fourth kit, 0.2 gal over three.
    assert f"{base + upturn:.1f}" == "15.2"
    assert kits(base + upturn) == 4
    assert kits(base) + kits(upturn) == 4
    sand = film.thrown_kg(area_m2=612 * FT2, rate_kg_per_m2=12 * LB100)
    assert sand / LB == pytest.approx(73, abs=0.5)  # practice
    assert film.bags_needed(sand, 50 * LB) == 2
    assert base / 12 == pytest.approx(1.0, abs=0.005)  # practice: one kit does five balconies


def test_ramp_with_sand_to_refusal():
    assert gal(4200, 28, 6, 0.08) == pytest.approx(96.1, abs=0.05)  # practice
    assert kits(gal(4200, 28, 6, 0.08)) == 20
    assert gal(4200, 22, 0, 0.08) == pytest.approx(62.2, abs=0.05)  # practice
    assert kits(gal(4200, 22, 0, 0.08)) == 13
    assert gal(4200, 18, 0, 0.08) == pytest.approx(50.9, abs=0.05)  # practice
    assert kits(gal(4200, 18, 0, 0.08)) == 11
    # 11 is a lower bound: the lock coat lies on sand, and any fill there buys more.
    fill = film.fill_over_sand_um(grain_mm=(0.6, 1.18), method="to-refusal")
    for um in (fill.low_um, fill.mid_um, fill.high_um):
        assert kits(gal(4200, 18, um / MIL, 0.08)) > 11
    sand = film.thrown_kg(area_m2=4200 * FT2, rate_kg_per_m2=60 * LB100)
    assert sand / LB == pytest.approx(2520)  # practice
    assert film.bags_needed(sand, 50 * LB) == 51


def test_plaza_with_a_late_truck():
    whole = gal(9000, 25, 4, 0.06)
    assert whole == pytest.approx(172.5, abs=0.05)  # practice
    assert kits(whole) == 35
    reach = film.reach_m2(kit_l=22 * KIT, wft_um=25 * MIL, fill_um=4 * MIL, loss=0.06) / FT2
    assert reach == pytest.approx(5740, abs=0.5)  # practice
    assert pytest.approx(6.4, abs=0.05) == 9000 / 1400  # practice: crew at 1,400 ft²/h
    assert (9000 - reach) / 1400 == pytest.approx(2.3, abs=0.05)  # practice
    assert reach / 1400 == pytest.approx(4.1, abs=0.05)  # practice


def test_stadium_tiers():
    developed = 14_000 * (33 + 14) / 33
    assert developed == pytest.approx(19_939, abs=0.5)  # practice: tread 33 in, riser 14 in
    tread, riser = gal(14_000, 25, 3, 0.08), gal(developed - 14_000, 25, 0, 0.12)
    assert tread == pytest.approx(263.9, abs=0.05)  # practice
    assert kits(tread) == 53
    assert riser == pytest.approx(103.7, abs=0.05)  # practice
    assert kits(riser) == 21


def test_thin_bay_by_mass_balance():
    # practice: 45 gal on 3,200 ft², 25 wet wanted, 6 mil of texture
    gross = film.film_over_peaks_um(volume_l=45 * GAL, area_m2=3200 * FT2) / MIL
    peaks = film.film_over_peaks_um(volume_l=45 * GAL, area_m2=3200 * FT2, fill_um=6 * MIL) / MIL
    assert gross == pytest.approx(22.6, abs=0.05)
    assert peaks == pytest.approx(16.6, abs=0.05)
    assert gal(3200, 25, 6, 0) == pytest.approx(61.8, abs=0.05)


def test_mechanical_room_over_a_data_hall():
    field = 48 * 60 - 38 * 4 * 6
    assert field == 1968  # practice: 2,880 less 912 ft²
    assert gal(field, 40, 3, 0.10) == pytest.approx(58.0, abs=0.05)  # practice
    assert kits(gal(field, 40, 3, 0.10)) == 12
    flashing = film.upturn_area_m2(length_m=976 * FT, height_m=0.5 * FT) / FT2
    assert flashing == pytest.approx(488)  # practice: 976 ft by 6 in
    assert gal(flashing, 40, 0, 0.15) == pytest.approx(14.0, abs=0.05)  # practice
    assert kits(gal(flashing, 40, 0, 0.15)) == 3


def test_retop_of_a_whole_garage():
    top = gal(86_000, 18, 3, 0.08)
    assert top == pytest.approx(1216, abs=0.5)  # practice
    assert kits(top) == 244
    # practice: the tie coat at 400 ft²/gal, waste not counted: 215 gal
    tie = film.wet_film_thickness_um(units.parse("400 ft²/gal", "coverage"))
    assert gal(86_000, tie / MIL, 0, 0.0) == pytest.approx(215, abs=0.05)
