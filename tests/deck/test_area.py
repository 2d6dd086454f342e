"""Closed-form areas against published and hand-worked figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from tackfree.deck import arcs
from tackfree.deck.area import (
    bulge_area,
    bulge_length,
    helix_area,
    heron,
    newell_area,
    quadrilateral_area,
    slope_factor,
    sloped_length_m,
    warped_area,
)
from tackfree.errors import InputError

CORNER = math.tan(math.pi / 8)  # a quarter turn


@pytest.mark.outside
def test_slopes(check):
    c = check("geometry-slope")
    for percent, area in zip(c["inputs"]["slope_pct"], c["expected"]["true_area_ft2"], strict=True):
        got = c["inputs"]["plan_area_ft2"] * slope_factor(percent / 100)
        assert got == pytest.approx(area, rel=c["tolerance"]["rel"])


@pytest.mark.parametrize(
    ("sx", "sy", "factor"),
    [
        (0, 0, 1.0),  # exact
        (0.02, 0, 1.00020),  # library: mpmath, sqrt(1.0004)
        (0.15, 0, 1.01119),  # library: mpmath, sqrt(1.0225)
        (0.02, 0.015, 1.0003125),  # library: mpmath, sqrt(1.000625)
    ],
)
def test_slope_factor(sx, sy, factor):
    assert slope_factor(sx, sy) == pytest.approx(factor, abs=5e-6)


def test_a_ramp_of_60_by_100_ft():
    # exact: 6,000 × sqrt(1 + 0.0667²) and sqrt(1 + 0.15²), worked by hand
    assert 6000 * slope_factor(0.0667) == pytest.approx(6013.33, abs=0.01)
    assert 6000 * slope_factor(0.15) == pytest.approx(6067.12, abs=0.01)


@given(st.floats(0, 0.3), st.floats(0, 7), st.floats(0, 7))
def test_only_the_steepest_line_grows_by_the_whole_slope_factor(slope, uphill, walk):
    """Law: a level line keeps its length, the line uphill grows most."""
    sx, sy = slope * math.cos(uphill), slope * math.sin(uphill)

    def length(way):
        leg = (50 * math.cos(way), 50 * math.sin(way))
        return sloped_length_m([(0, 0), leg], slope_x=sx, slope_y=sy)

    assert length(uphill) == pytest.approx(50 * slope_factor(sx, sy), rel=1e-12)
    assert length(uphill + math.pi / 2) == pytest.approx(50, rel=1e-12)
    assert 50 * (1 - 1e-12) <= length(walk) <= length(uphill) * (1 + 1e-12)


@pytest.mark.outside
def test_helical_ramp(check):
    c = check("geometry-helix-ramp")
    i, want = c["inputs"], c["expected"]
    got = helix_area(
        inner_m=i["inner_radius_ft"],
        outer_m=i["outer_radius_ft"],
        rise_per_turn_m=i["rise_ft_per_turn"],
    )
    flat = helix_area(inner_m=i["inner_radius_ft"], outer_m=i["outer_radius_ft"], rise_per_turn_m=0)
    assert got == pytest.approx(want["true_area_ft2"], rel=c["tolerance"]["rel"])
    assert flat == pytest.approx(want["plan_area_ft2"], rel=c["tolerance"]["rel"])


@pytest.mark.outside
@pytest.mark.parametrize("name", ["geometry-bulge-polygon", "geometry-bulge-negative"])
def test_arc_sides(check, name):
    c = check(name)
    vertices, bulges = c["inputs"]["vertices_ft"], c["inputs"]["bulge"]
    rel = c["tolerance"]["rel"]
    assert bulge_area(vertices, bulges) == pytest.approx(c["expected"]["area_ft2"], rel=rel)
    assert bulge_length(vertices, bulges) == pytest.approx(c["expected"]["perimeter_ft"], rel=rel)
    flat = arcs.with_bulges(vertices, bulges, closed=True, tolerance=0.001)
    assert Polygon(flat).area == pytest.approx(c["expected"]["area_ft2"], rel=rel)


@pytest.mark.outside
def test_circle_figures(check):
    c = check("geometry-circle-figures")
    r = c["inputs"]["circle_radius"]
    circle = bulge_area([(-r, 0), (r, 0)], [1, 1])
    outer = c["inputs"]["annulus_outer"]
    ring = bulge_area([(-outer, 0), (outer, 0)], [1, 1]) - circle
    angle = math.radians(c["inputs"]["sector_deg"])
    tip = (r * math.cos(angle), r * math.sin(angle))
    bulge = math.tan(angle / 4)
    sector = bulge_area([(0, 0), (r, 0), tip], [0, bulge, 0])
    segment = bulge_area([(r, 0), tip], [bulge, 0])
    a, b = c["inputs"]["ellipse_a"], c["inputs"]["ellipse_b"]
    unit = arcs.unit_arc(start=0, angle=2 * math.pi, steps=64)
    ellipse = Polygon(unit * (a, b)).area
    for got, key in (
        (circle, "circle_area"),
        (ring, "annulus_area"),
        (sector, "sector_area"),
        (segment, "segment_area"),
        (ellipse, "ellipse_area"),
    ):
        assert got == pytest.approx(c["expected"][key], rel=c["tolerance"]["rel"]), key


@pytest.mark.outside
def test_triangle_by_tape(check):
    c = check("geometry-heron")
    assert heron(*c["inputs"]["sides"]) == pytest.approx(
        c["expected"]["area"], rel=c["tolerance"]["rel"]
    )


@pytest.mark.parametrize(
    ("bulge", "area"),
    [
        (CORNER, 200 * 100 - (4 - math.pi) * 400),  # exact: four corners r 20, 19,656.637
        (-CORNER, 200 * 100 - math.pi * 400),  # exact: four quarter discs out, 18,743.363
    ],
)
def test_rounded_corners(bulge, area):
    ring = [(20, 0), (180, 0), (200, 20), (200, 80), (180, 100), (20, 100), (0, 80), (0, 20)]
    assert bulge_area(ring, [0, bulge] * 4) == pytest.approx(area, rel=1e-12)


def test_quadrilateral_needs_its_diagonal():
    with pytest.raises(InputError, match="diagonal"):
        quadrilateral_area([80, 50, 82, 48], None)
    # library: two triangles by Heron in mpmath
    assert quadrilateral_area([80, 50, 82, 48], 95) == pytest.approx(3967.76, abs=0.005)


@pytest.mark.parametrize("sides", [(1, 2, 3), (1, 1, 5), (0, 1, 1), (math.nan, 1, 1)])
def test_sides_that_do_not_close(sides):
    with pytest.raises(InputError, match="triangle"):
        heron(*sides)


def test_an_outline_in_space():
    far_side_up = [(0, 0, 0), (100, 0, 0), (100, 50, 6), (0, 50, 6)]
    area, off = newell_area(far_side_up)
    assert area == pytest.approx(100 * math.hypot(50, 6), rel=1e-12)  # exact: 5,035.87
    assert off == pytest.approx(0, abs=1e-9)
    long_way_up = [(0, 0, 0), (100, 0, 6), (100, 50, 6), (0, 50, 0)]
    assert newell_area(long_way_up)[0] == pytest.approx(5008.99, abs=0.01)  # exact: 50 √(100²+6²)
    warped = [(0, 0, 0), (100, 0, 0), (100, 100, -6), (0, 100, 0)]
    assert newell_area(warped)[1] == pytest.approx(1.5, rel=1e-3)  # exact: a quarter of 6, ± tilt
    assert newell_area([(0, 0, 0)] * 3)[0] == 0.0


def test_a_warped_slab():
    # library: scipy dblquad of sqrt(1 + zx² + zy²), 10,011.990
    got = warped_area(length_m=100, width_m=100, corner_drop_m=6)
    assert got == pytest.approx(10011.99, abs=0.005)


@given(
    st.floats(0.2, 200),
    st.floats(-math.pi, math.pi),
    st.floats(0.05, 2 * math.pi - 0.05),
    st.sampled_from([0.01, 0.001]),
)
def test_chords_keep_the_area_and_stay_near(radius, start, angle, tolerance):
    """Law: sector area is r²θ/2, and no corner or chord middle strays."""
    points = arcs.circle_arc((0, 0), radius, start=start, angle=angle, tolerance=tolerance)
    p, q = points[:-1], points[1:]
    area = float((p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]).sum()) / 2
    assert area == pytest.approx(radius**2 * angle / 2, rel=1e-10)
    near = np.hypot(*np.concatenate([points, (p + q) / 2]).T)
    if arcs.steps_for(angle=angle, radius=radius, tolerance=tolerance) > 2:
        assert np.abs(near - radius).max() <= max(tolerance, 1e-12 * radius)
    assert np.hypot(*points[0]) == pytest.approx(radius, rel=1e-12)
    assert np.hypot(*points[-1]) == pytest.approx(radius, rel=1e-12)


def test_two_vertices_make_a_circle():
    flat = arcs.with_bulges([(0, 0), (10, 0)], [1, 1], closed=True, tolerance=0.001)
    assert Polygon(flat).area == pytest.approx(25 * math.pi, rel=1e-12)  # exact: 78.5398
