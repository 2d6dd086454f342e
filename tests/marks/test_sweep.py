"""The closed-form sweep against hand values and against cutting with scissors."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, box
from shapely.affinity import rotate

from tackfree.errors import InputError
from tackfree.marks import sweep as sw


def by_bisection(floor, area, steps: int = 60) -> float:
    """Independent oracle: clip and halve."""
    lo, _, hi, _ = floor.bounds
    for _ in range(steps):
        mid = (lo + hi) / 2
        if shapely.clip_by_rect(floor, -1e4, -1e4, mid, 1e4).area < area:
            lo = mid
        else:
            hi = mid
    return (lo + hi) / 2


def cuts(floor, kit: float, direction: float = 0.0) -> tuple[list[float], list[float]]:
    swept = sw.sweep(floor, direction_rad=direction)
    n = math.floor(swept.total_m2 / kit + 1e-7)
    wanted = [kit * k for k in range(1, n + 1) if kit * k < swept.total_m2 - 1e-3 * kit]
    places = sw.place_of(swept, wanted)
    return list(places), [s.area for s in sw.strips(floor, swept, places)]


def test_a_deck_of_exactly_ten_kits_gives_ten_cells() -> None:
    _, areas = cuts(box(0, 0, 100, 27), 270)
    # published: 100 × 27 = 2,700 = 10 × 270, plane geometry
    assert len(areas) == 10
    assert areas == pytest.approx([270] * 10, abs=0.27)


def test_a_column_in_the_lane_moves_the_cuts_after_it() -> None:
    lane = box(0, 0, 100, 10).difference(box(26, 4, 28, 6))
    places, areas = cuts(lane, 270)
    # published: the first cut has 270 = 10 x - 2 (x - 26) → 27.25; then + (270 + 1.5)/10
    # and + 27, plane geometry
    assert places == pytest.approx([27.25, 54.40, 81.40], abs=1e-9)
    assert areas[-1] == pytest.approx(186)


def test_a_triangle_from_its_apex() -> None:
    places, _ = cuts(Polygon([(0, 0), (90, -9), (90, 9)]), 270)
    # published: area to x is x²/10, so x = sqrt(2700), sqrt(5400), plane geometry
    assert places == pytest.approx([51.9615, 73.4847], abs=5e-5)


def test_two_parts_apart_cut_on_the_near_side_of_the_gap() -> None:
    floor = MultiPolygon([box(0, 0, 10, 10), box(30, 0, 40, 10)])
    swept = sw.sweep(floor)
    assert sw.place_of(swept, [100.0])[0] == pytest.approx(10.0)
    assert sw.area_left_of(swept, 25.0) == pytest.approx(100.0)
    assert list(swept.strands) == [1, 0, 1]


def test_strands_count_the_strips_beside_a_hole() -> None:
    lane = box(0, 0, 100, 10).difference(box(10, 4.5, 60, 5.5))
    assert list(sw.sweep(lane).strands) == [1, 2, 1]


@pytest.mark.parametrize("floor", [Polygon(), Polygon([(0, 0), (1, 0), (2, 0), (0, 0)])])
def test_a_floor_without_area_is_refused(floor) -> None:
    with pytest.raises(InputError, match="no area"):
        sw.sweep(floor)


@pytest.mark.parametrize("area", [-1.0, 2701.0, math.nan])
def test_an_area_outside_the_floor_is_refused(area) -> None:
    with pytest.raises(InputError, match="outside"):
        sw.place_of(sw.sweep(box(0, 0, 100, 27)), [area])


@st.composite
def floors(draw) -> Polygon | MultiPolygon:
    """Jagged blobs with rectangular holes, sometimes in two parts."""
    n = draw(st.integers(3, 14))
    radii = draw(st.lists(st.floats(8, 40), min_size=n, max_size=n))
    ring = [
        (50 + r * math.cos(2 * math.pi * k / n), 50 + r * math.sin(2 * math.pi * k / n))
        for k, r in enumerate(radii)
    ]
    floor = Polygon(ring).buffer(0)
    for _ in range(draw(st.integers(0, 4))):
        x, y = draw(st.floats(20, 80)), draw(st.floats(20, 80))
        floor = floor.difference(box(x, y, x + draw(st.floats(0.3, 6)), y + 2))
    if draw(st.booleans()):
        floor = floor.union(box(120, 0, 140, 30))
    return floor


@given(floors(), st.lists(st.floats(0.001, 0.999), min_size=1, max_size=4))
def test_places_agree_with_bisection(floor, fractions) -> None:
    swept = sw.sweep(floor)
    assert swept.total_m2 == pytest.approx(floor.area, rel=1e-9)
    for f in fractions:
        x = float(sw.place_of(swept, [f * floor.area])[0])
        left = shapely.clip_by_rect(floor, -1e4, -1e4, x, 1e4).area
        assert left == pytest.approx(f * floor.area, abs=2e-6 * floor.area)
        other = shapely.clip_by_rect(floor, -1e4, -1e4, by_bisection(floor, left), 1e4).area
        assert left == pytest.approx(other, abs=1e-5)
        assert sw.area_left_of(swept, x) == pytest.approx(f * floor.area, rel=1e-9)


@given(floors(), st.sampled_from([90.0, 17.3, 45.0, 180.0, -63.0]))
def test_every_strip_holds_its_share_whichever_way_the_deck_lies(floor, degrees) -> None:
    turned = rotate(floor, degrees, origin=(0, 0))
    swept = sw.sweep(turned, direction_rad=math.radians(degrees))
    places = sw.place_of(swept, swept.total_m2 * np.arange(1, 5) / 5)
    areas = [s.area for s in sw.strips(turned, swept, places)]
    assert areas == pytest.approx([floor.area / 5] * 5, rel=1e-6)
