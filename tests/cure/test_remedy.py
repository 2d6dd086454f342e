"""Ways out of a missed window, with the figures of the trade notes' scenarios."""

from __future__ import annotations

import numpy as np
import pytest
from tests.cure.test_clock import BASE, COLD_NIGHT, H, at_75, hourly

from tackfree.cure.clock import CureSheet, Trace
from tackfree.cure.remedy import earned_h, last_safe_placing_utc_s, least_slab_c, ways_out
from tackfree.errors import InputError

FT2, GAL = 0.09290304, 3.785411784


def test_a_cold_night_offers_heat_accelerator_and_abrading():
    found = ways_out(
        hourly(COLD_NIGHT), BASE, area_m2=5000 * FT2, primer=False, placed_from_utc_s=0,
        placed_to_utc_s=0, now_utc_s=15 * H, before_utc_s=24 * H,
    )  # fmt: skip
    by_id = {r.id: r for r in found}
    assert list(by_id) == ["heat", "heaters", "accelerator", "abrade_tie"]
    # exact: from 07:00 to 16:00 the slab's own hours are 66 69 71 and six times 72 °F, mean
    # 70.9; 16 W/m²K for what is missing, 0.4206 MJ/m²K warmed through in a third of 9 h
    held = by_id["heat"].message.values["temp_c"]
    missing, cold = held - (638 / 9 - 32) / 1.8, held - (66 - 32) / 1.8
    watts = 16 * missing + 420_624 * cold / 10_800
    assert by_id["heaters"].power_kw == pytest.approx(watts * 5000 * FT2 / 1000, rel=0.01)
    # exact: 6.455 h of 16 are earned by 07:00 (the scenario's 6.5); 9 h are left for 9.545,
    # so the slab needs 75 °F + 18 °F x log2(9.545/9) = 76.5 °F, in steps of 0.5 K
    assert by_id["heat"].message.values["temp_f"] == pytest.approx(76.5, abs=0.6)
    assert by_id["heat"].hours == pytest.approx(9)
    assert by_id["accelerator"].hours is None
    # practice: tie coat at 400 ft²/gal
    assert by_id["abrade_tie"].volume_l / GAL == pytest.approx(12.5)


def test_a_missed_primer_after_rain():
    # practice: the scenario of 11,000 ft² primed Friday 15:00, window 24 h, Monday 07:00
    # = 64 h, rain on Saturday: abrade and re-prime 11,000/300 = 37 gal, and a moisture test
    found = ways_out(
        hourly([70] * 80), BASE, area_m2=11_000 * FT2, primer=True, placed_from_utc_s=0,
        placed_to_utc_s=2 * H, now_utc_s=64 * H, before_utc_s=24 * H, wet=True,
    )  # fmt: skip
    assert [r.id for r in found] == ["moisture_test", "abrade_reprime"]
    assert round(found[1].volume_l / GAL) == 37
    assert found[1].hours == pytest.approx(11_000 / 800 + 11_000 / 2000)


def test_a_smaller_section_is_offered_where_it_would_do():
    sheet = CureSheet(recoat_after=at_75(8), recoat_before_h=12, rate_law="doubling-18F")
    # exact: last kit at 6 h is ready at 14 h, two hours past the 12 h of the first
    found = ways_out(
        hourly([75] * 40), sheet, area_m2=100, primer=False, placed_from_utc_s=0,
        placed_to_utc_s=6 * H, now_utc_s=0, before_utc_s=12 * H,
    )  # fmt: skip
    smaller = next(r for r in found if r.id == "smaller")
    assert smaller.hours == pytest.approx(2, abs=0.01)


def test_no_heater_can_do_it():
    sheet = CureSheet(recoat_after=at_75(16), recoat_before_h=24, rate_law="doubling-18F")
    assert least_slab_c(sheet, placed_to_utc_s=0, now_utc_s=0, done_h=0, before_utc_s=2 * H) is None


STORM = Trace(
    start_utc_s=0, step_s=H,
    temp_c=(np.array([75, 78, 79, 78, 75, 71, 67, 67], float) - 32) / 1.8,
)  # fmt: skip


def test_where_to_stop_before_the_storm():
    # practice: the storm scenario; laid at noon 6.6 h of age by 18:30, at 14:00 4.5 h; 8 wanted
    sheet = CureSheet(tack_free=at_75(8), rate_law="doubling-18F")
    assert last_safe_placing_utc_s(STORM, sheet, by_utc_s=6.5 * H) is None
    shorter = CureSheet(tack_free=at_75(5), rate_law="doubling-18F")
    stop = last_safe_placing_utc_s(STORM, shorter, by_utc_s=6.5 * H)
    assert 1 * H < stop < 2 * H
    aged = CureSheet(recoat_after=at_75(5), rate_law="doubling-18F")
    assert earned_h(STORM, aged, since_utc_s=stop, until_utc_s=6.5 * H) == pytest.approx(
        5, abs=0.02
    )


@pytest.mark.parametrize("until", [-1, 9 * H])
def test_what_leaves_the_trace_is_refused(until):
    with pytest.raises(InputError):
        earned_h(STORM, BASE, since_utc_s=0, until_utc_s=until)
