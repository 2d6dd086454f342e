"""Figures taped on the deck."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from tackfree.deck.declared import Taped, TapedLeg
from tackfree.deck.tape import outline_of
from tackfree.errors import InputError

FT, FT2 = 0.3048, 0.3048**2


def legs(*rows):
    return tuple(TapedLeg(length_m=n * FT, bearing_deg=b) for n, b in rows)


def sides(*lengths):
    return tuple(TapedLeg(length_m=n * FT) for n in lengths)


def test_a_traverse_that_misses_its_start():
    taped = Taped(sides=legs((100, 90), (60, 0), (99.75, 270), (60.2, 180)))
    found = outline_of(taped, name="Z")
    # published: geometry notes, case 28: 0.320 ft, 1 in 999, 6,002.5 ft² by the compass rule
    assert found.misclosure_m / FT == pytest.approx(math.hypot(0.25, 0.2), abs=1e-9)
    assert found.outline.area / FT2 == pytest.approx(6002.5, abs=0.05)
    (said,) = found.messages
    assert said.id == "deck.misclosure"
    assert said.values["ratio"] == pytest.approx(999, abs=1)


def test_a_traverse_that_misses_by_far_is_refused():
    taped = Taped(sides=legs((100, 90), (60, 0), (90, 270), (60, 180)))
    with pytest.raises(InputError, match="miss their start"):
        outline_of(taped, name="Z")


def test_four_sides_and_a_diagonal():
    taped = Taped(sides=sides(80, 50, 82, 48), diagonals_m=((1, 3, 95 * FT),))
    # published: geometry notes, case 29, by Heron twice
    assert outline_of(taped, name="Z").outline.area / FT2 == pytest.approx(3967.76, abs=0.01)


def test_four_sides_alone_are_refused():
    with pytest.raises(InputError, match="do not fix a figure"):
        outline_of(Taped(sides=sides(80, 50, 82, 48)), name="Z")


def test_a_second_diagonal_checks_the_first():
    square = sides(30, 40, 30, 40)
    good = Taped(sides=square, diagonals_m=((1, 3, 50 * FT), (2, 4, 50 * FT)))  # exact: 3-4-5
    assert outline_of(good, name="Z").messages == ()
    bad = Taped(sides=square, diagonals_m=((1, 3, 50 * FT), (2, 4, 51 * FT)))
    assert [m.id for m in outline_of(bad, name="Z").messages] == ["deck.diagonal-off"]


def test_offsets_from_a_wall():
    rows = ((0, 10), (20, 14), (50, 10))
    taped = Taped(offsets_m=tuple((a * FT, o * FT) for a, o in rows))
    # exact: trapezoids 20 × 12 and 30 × 12
    assert outline_of(taped, name="Z").outline.area / FT2 == pytest.approx(600)


@pytest.mark.parametrize(
    ("taped", "why"),
    [
        (Taped(), "three sides"),
        (Taped(sides=legs((10, 0), (10, 90))), "three sides"),
        (Taped(sides=(*legs((10, 0)), *sides(10, 10))), "some have none"),
        (Taped(sides=sides(10, 10, 30)), "do not close a triangle"),
        (Taped(sides=sides(3, 4, 5), diagonals_m=((1, 7, 2.0),)), "no diagonal from corner"),
        (Taped(offsets_m=((5, 1), (0, 1))), "in order"),
        (Taped(offsets_m=((0, 0), (5, 0))), "enclose nothing"),
    ],
)
def test_what_fixes_no_figure(taped, why):
    with pytest.raises(InputError, match=why):
        outline_of(taped, name="Z")


@given(
    st.lists(st.floats(5, 60), min_size=3, max_size=9),
    st.floats(1, 50),
)
def test_a_convex_figure_comes_back_from_its_own_lengths(turns, radius):
    """Corners on a circle; sides and all diagonals from the first corner as taped."""
    if sum(turns) >= 355:
        return
    angles = [math.radians(sum(turns[:i])) for i in range(len(turns))]
    points = [(radius * math.cos(a), radius * math.sin(a)) for a in angles]
    n = len(points)
    area = Polygon(points).area
    taped = Taped(
        sides=tuple(TapedLeg(length_m=math.dist(points[i], points[(i + 1) % n])) for i in range(n)),
        diagonals_m=tuple((1, k + 1, math.dist(points[0], points[k])) for k in range(2, n - 1)),
    )
    assert outline_of(taped, name="Z").outline.area == pytest.approx(area, rel=1e-6)
