"""Section size from crew and shift, and a kit against its pot life."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.supply.trade import FT2, PRODUCTS, build_up, coat

from tackfree.buildup.types import PotLife
from tackfree.marks.pace import kit_pace, pot_life_minutes, size_limit

BU = build_up(coat("PRIMER", "HEN-P", 5), coat("BASE", "HEN-B", 25))
RATES = {"primer": 2500 * FT2, "base": 1400 * FT2}


def test_the_slowest_coat_sets_the_size() -> None:
    limit = size_limit(BU, rates_m2_per_h=RATES, shift_h=8.5)
    # practice: 1,400 ft²/h over 8.5 h less 2 h of setting up and cleaning is 9,100 ft²
    assert limit.area_m2 == pytest.approx(9100 * FT2)
    assert limit.reason.id == "marks.limit.crew"
    assert limit.reason.values["coat"] == "BASE"


@pytest.mark.parametrize(
    ("rates", "user", "expected", "reason"),
    [
        (RATES, 300.0, 300.0, "marks.limit.user"),
        (RATES, 5000.0, 9100 * FT2, "marks.limit.crew"),
        ({}, 300.0, 300.0, "marks.limit.user"),
        ({}, None, None, "marks.limit.unknown"),
        ({"primer": 100.0}, None, 650.0, "marks.limit.crew"),
    ],
)
def test_the_smaller_limit_counts(rates, user, expected, reason) -> None:
    limit = size_limit(BU, rates_m2_per_h=rates, shift_h=8.5, section_max_m2=user)
    assert limit.area_m2 == (None if expected is None else pytest.approx(expected))
    assert limit.figure.value == limit.area_m2
    assert limit.reason.id == reason


@pytest.mark.parametrize(
    ("temp_f", "minutes"),
    [(75, 30), (65, 44), (85, 20), (95, 14), (105, 9)],  # practice: halves per 18 °F
)
def test_pot_life_halves_for_every_eighteen_degrees(temp_f, minutes) -> None:
    points = [PotLife(temp_c=(75 - 32) / 1.8, minutes=30)]
    assert pot_life_minutes(points, (temp_f - 32) / 1.8) == pytest.approx(minutes, abs=0.55)


def test_pot_life_between_two_points_of_the_sheet_follows_them() -> None:
    points = [PotLife(temp_c=30, minutes=15), PotLife(temp_c=10, minutes=60)]
    # published: halfway in the logarithm between 60 and 15 is 30
    assert pot_life_minutes(points, 20) == pytest.approx(30)
    assert pot_life_minutes([], 20) is None


def pace(life_min: float, **more):
    product = replace(
        PRODUCTS["HEN-B"], pot_life=(PotLife(temp_c=24, minutes=life_min),), mix_minutes=3.0
    )
    given = {"reach_m2": 295 * FT2, "rates_m2_per_h": {"base": 1500 * FT2}}
    return kit_pace(section_id="S-1", coat=BU.coats[1], product=product, **(given | more))


def test_a_kit_that_outlasts_its_pot_life_is_said() -> None:
    # practice: 295 ft² at 1,500 ft²/h last 11.8 min; with 3 min of mixing 14.8
    assert pace(15.0) is None
    note = pace(14.0)
    assert note.id == "marks.pot-life.short"
    assert note.values["minutes"] == 15
    assert note.values["kits_per_h"] == pytest.approx(5.1, abs=0.05)


def test_warm_kits_shorten_it() -> None:
    # practice: a 30 min pot life is 14 min at 95 °F (35 °C)
    assert pace(30.0) is None
    assert pace(30.0, kit_temp_c=35.0) is not None


def test_without_a_rate_or_a_pot_life_nothing_is_said() -> None:
    assert pace(1.0, rates_m2_per_h={}) is None
    assert kit_pace(section_id="S", coat=BU.coats[1], product=PRODUCTS["HEN-B"],
                    reach_m2=30.0, rates_m2_per_h=RATES) is None  # fmt: skip
