"""Joints and coves."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, box

from tackfree import film, units
from tackfree.film import FilmError

IN, FT, GAL = units.M_PER_IN, units.M_PER_FT, units.L_PER_GAL


def ft_per_gal(width_in, depth_in, shape="rectangle"):
    section = film.joint_section_m2(width_m=width_in * IN, depth_m=depth_in * IN, shape=shape)
    return film.length_per_litre_m(section) * GAL / FT


@pytest.mark.outside
def test_feet_of_joint_from_a_gallon(check):
    c = check("sealant-lf-per-gal")  # library: pint 0.25.3
    pairs = zip(c["inputs"]["width_in"], c["inputs"]["depth_in"], strict=True)
    got = [ft_per_gal(w, d) for w, d in pairs]
    assert got == pytest.approx(c["expected"]["ft_per_gal"], rel=c["tolerance"]["rel"])


@pytest.mark.outside
def test_cants_and_coves(check):
    cant = check("sealant-cant-triangle")  # library: pint 0.25.3
    got = [ft_per_gal(leg, leg, "triangle") for leg in cant["inputs"]["leg_in"]]
    assert got == pytest.approx(cant["expected"]["ft_per_gal"], rel=1e-6)
    cove = check("sealant-cove-round")  # library: pint 0.25.3, shapely 2.2.0
    for shape, name in (("concave", "concave_cove"), ("convex", "convex_quarter")):
        legs = cove["inputs"]["leg_in"]
        areas = [film.joint_section_m2(width_m=a * IN, depth_m=a * IN, shape=shape) for a in legs]
        got = [ft_per_gal(a, a, shape) for a in legs]
        assert [x / IN**2 for x in areas] == pytest.approx(
            cove["expected"][f"{name}_area_in2"], rel=1e-5
        )
        assert got == pytest.approx(cove["expected"][f"{name}_ft_per_gal"], rel=1e-5)


@pytest.mark.outside
def test_feet_of_joint_from_a_package(check):
    c = check("sealant-per-cartridge")  # library: pint 0.25.3; charts that show double exist
    rows = zip(*(c["inputs"][k] for k in ("package_fl_oz", "width_in", "depth_in")), strict=True)
    got = [ft_per_gal(w, d) * oz / 128 for oz, w, d in rows]
    assert got == pytest.approx(c["expected"]["ft_per_package"], rel=1e-5)


@pytest.mark.outside
def test_metric_joints(check):
    c = check("sealant-metric")  # memory: mm × mm is mL/m
    pairs = list(zip(c["inputs"]["width_mm"], c["inputs"]["depth_mm"], strict=True))
    per_m = [
        1000 * film.sealant_l(
            length_m=1.0, section_m2=film.joint_section_m2(width_m=w / 1000, depth_m=d / 1000)
        )
        for w, d in pairs
    ]  # fmt: skip
    assert per_m == pytest.approx(c["expected"]["mL_per_m"], rel=1e-4)
    assert [600 / x for x in per_m] == pytest.approx(c["expected"]["m_per_600mL"], rel=1e-4)


@pytest.mark.outside
def test_depth_is_half_the_width_within_limits(check):
    c = check("sealant-depth-rule")  # published: architectural detailing handbook, second hand
    got = [film.depth_for_width_m(w * IN) / IN for w in c["inputs"]["width_in"]]
    assert got == pytest.approx(c["expected"]["depth_in"], abs=1e-9)


def test_the_quarter_inch_rout():
    # practice: cracks over 1/16 in are routed 1/4 × 1/4; 231 / (12 × 1/16) = 308 ft/gal
    assert ft_per_gal(0.25, 0.25) == pytest.approx(308)
    need = film.sealant_l(
        length_m=308 * FT,
        section_m2=film.joint_section_m2(width_m=IN / 4, depth_m=IN / 4),
        loss=0.1,
    )
    assert need / GAL == pytest.approx(1.1)


def test_shares_of_the_triangle_and_the_quarter_round():
    # library: a cove's shares as the checks' note gives them, 43 % and 27 %
    area = {
        shape: film.joint_section_m2(width_m=0.02, depth_m=0.02, shape=shape)
        for shape in ("triangle", "concave", "convex")
    }
    assert area["concave"] / area["triangle"] == pytest.approx(0.43, abs=0.005)
    assert area["concave"] / area["convex"] == pytest.approx(0.27, abs=0.005)


@given(st.floats(0.001, 0.1))
def test_round_shapes_against_drawn_polygons(leg):
    # library: shapely, quarter of a 4,000-gon
    quarter = Point(leg, leg).buffer(leg, quad_segs=1000).intersection(box(0, 0, leg, leg)).area
    for shape, area in (("convex", quarter), ("concave", leg * leg - quarter)):
        got = film.joint_section_m2(width_m=leg, depth_m=leg, shape=shape)
        assert got == pytest.approx(area, rel=1e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: film.joint_section_m2(width_m=0.0, depth_m=0.01),
        lambda: film.joint_section_m2(width_m=0.01, depth_m=float("nan")),
        lambda: film.joint_section_m2(width_m=0.01, depth_m=0.02, shape="concave"),
        lambda: film.joint_section_m2(width_m=0.01, depth_m=0.02, shape="oval"),
        lambda: film.length_per_litre_m(0.0),
        lambda: film.sealant_l(length_m=-1.0, section_m2=1e-4),
        lambda: film.sealant_l(length_m=1.0, section_m2=1e-4, loss=-0.1),
        lambda: film.depth_for_width_m(-0.01),
    ],
)
def test_impossible_joints_are_refused(call):
    with pytest.raises(FilmError) as fault:
        call()
    assert fault.value.do


@given(st.floats(0.003, 0.1))
def test_depth_stays_within_its_limits_and_grows(width):
    depth = film.depth_for_width_m(width)
    assert IN / 4 <= depth <= IN / 2
    assert film.depth_for_width_m(width * 1.1) >= depth
    assert math.isclose(depth, width / 2) or depth in (IN / 4, IN / 2)
