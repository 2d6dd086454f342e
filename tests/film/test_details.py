"""Strips, upturns, chalk lines."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree import film, units
from tackfree.film import FilmError

FT, FT2, IN = units.M_PER_FT, units.M2_PER_FT2, units.M_PER_IN


def test_four_inches_each_side_is_eight_inches_wide():
    width = film.total_width_m(each_side_m=4 * IN)
    assert width / IN == pytest.approx(8)  # exact: total width
    assert film.total_width_m(each_side_m=4 * IN, gap_m=0.25 * IN) / IN == pytest.approx(8.25)
    area = film.strip_area_m2(length_m=150 * FT, total_width_m=width)
    assert area / FT2 == pytest.approx(100)  # exact


def test_flashing_up_and_out():
    # practice: flashing 4-6 in up and 4 in out; 976 lf × 6 in is 488 ft²
    assert film.upturn_area_m2(length_m=976 * FT, height_m=6 * IN) / FT2 == pytest.approx(488)
    both = film.upturn_area_m2(length_m=30 * FT, height_m=6 * IN, out_m=4 * IN)
    assert both / FT2 == pytest.approx(25)  # exact
    many = film.upturn_area_m2(length_m=np.array([0.0, 10.0]), height_m=0.15)
    assert many.tolist() == [0.0, 1.5]


@pytest.mark.parametrize(
    "call",
    [
        lambda: film.total_width_m(each_side_m=0.0),
        lambda: film.strip_area_m2(length_m=-1.0, total_width_m=0.1),
        lambda: film.upturn_area_m2(length_m=1.0, height_m=float("nan")),
        lambda: film.chalk_length_m(reach_m2=30.0, lane_width_m=0.0),
    ],
)
def test_impossible_details_are_refused(call):
    with pytest.raises(FilmError) as fault:
        call()
    assert fault.value.do


@given(st.floats(0.1, 500), st.floats(0.5, 30))
def test_the_chalked_rectangle_is_what_the_kit_must_cover(reach, lane):
    assert film.chalk_length_m(reach_m2=reach, lane_width_m=lane) * lane == pytest.approx(reach)
