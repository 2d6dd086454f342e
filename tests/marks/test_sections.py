"""Sections: equal shares, stop lines, groups, and nothing lost or counted twice."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.affinity import rotate, scale
from tests.marks import build
from tests.marks.test_sweep import floors

from tackfree.deck.takeoff_types import CrackRun, JointRun
from tackfree.deck.types import Duty, Exposure, Feature, FeatureKind
from tackfree.errors import Refused
from tackfree.marks.cutting import cut_part, long_direction_rad
from tackfree.marks.sections import cut_sections


def stage_of(floor, limit_m2, features=(), **taken):
    z = build.zone("P1-STALL-A", floor)
    return cut_sections(
        [build.deck([z], features)],
        build.takeoff(build.taken(z, **taken)),
        limits=build.limit(limit_m2),
    )


def ids(messages) -> list[str]:
    return [m.id for m in messages]


def test_a_zone_within_the_limit_is_one_section() -> None:
    stage = stage_of(box(0, 0, 30, 20), 600.0)
    assert [s.id for s in stage.sections] == ["P1-STALL-A-1"]
    assert ids(stage.messages) == ["marks.cut.whole"]


def test_a_long_zone_is_cut_into_equal_shares_across_its_long_side() -> None:
    stage = stage_of(box(0, 0, 10, 90), 400.0)
    # published: 900 m² over at most 400 m² is 3 sections of 300 m², 30 m long
    assert [s.id for s in stage.sections] == [f"P1-STALL-A-{n}" for n in (1, 2, 3)]
    assert [s.floor.bounds for s in stage.sections] == [
        pytest.approx((0, y, 10, y + 30), abs=1e-6) for y in (0, 30, 60)
    ]


def test_a_stop_line_near_the_even_cut_takes_its_place() -> None:
    joint = Feature(
        id="J1", kind=FeatureKind.JOINT, geometry=LineString([(44, -0.2), (46, 9.9)]), width_m=0.02
    )
    stage = stage_of(box(0, 0, 100, 10), 600.0, [joint])
    # published: the line runs from x = 44.04 at y 0 to 46.02 at y 10 → 450.3 m² behind it
    assert [s.developed_m2 for s in stage.sections] == pytest.approx([450.3, 549.7], abs=0.05)
    assert "marks.cut.stop-lines" in ids(stage.messages)


@pytest.mark.parametrize(
    ("line", "limit_m2", "why"),
    [
        (LineString([(30, 0), (30, 10)]), 600.0, "too far from the even cut"),
        (LineString([(44, 0), (44, 10)]), 550.0, "the other share would pass the limit"),
        (LineString([(50, 0), (50, 5)]), 600.0, "it does not cross the floor"),
        (LineString([(0, 5), (100, 5)]), 600.0, "it runs along the floor"),
    ],
)
def test_a_stop_line_that_will_not_do_is_left_alone(line, limit_m2, why) -> None:
    stop = Feature(id="S", kind=FeatureKind.STOP_LINE, geometry=line)
    stage = stage_of(box(0, 0, 100, 10), limit_m2, [stop])
    assert [s.developed_m2 for s in stage.sections] == pytest.approx([500, 500]), why


def test_strips_of_stalls_apart_are_cut_each_on_its_own() -> None:
    strips = MultiPolygon([box(0, 0, 50, 6), box(0, 20, 50, 26)])
    stage = stage_of(strips, 200.0)
    assert [s.developed_m2 for s in stage.sections] == pytest.approx([150] * 4)
    assert all(len(s.floor.geoms) == 1 for s in stage.sections)


def test_a_dozen_balconies_in_one_zone_are_one_section() -> None:
    balconies = MultiPolygon([box(8 * k, 0, 8 * k + 3, 1.58) for k in range(12)])
    stage = stage_of(balconies, 845.0)
    assert [len(s.floor.geoms) for s in stage.sections] == [12]
    assert "marks.cut.small-parts" in ids(stage.messages)


def test_a_u_shaped_floor_gives_only_connected_sections() -> None:
    u = box(0, 0, 60, 40).difference(box(10, 10, 50, 40))
    stage = stage_of(u, 300.0)
    assert all(len(s.floor.geoms) == 1 for s in stage.sections)
    assert sum(s.developed_m2 for s in stage.sections) == pytest.approx(u.area, rel=1e-9)
    assert max(s.developed_m2 for s in stage.sections) <= 300 * 1.02


def test_a_ramp_is_cut_by_its_true_area() -> None:
    z = build.zone("RAMP", box(0, 0, 100, 6), slope_x=0.2)
    factor = math.sqrt(1 + 0.2**2)
    stage = cut_sections(
        [build.deck([z])],
        build.takeoff(build.taken(z, slope_factor=factor)),
        limits=build.limit(601.0),
    )
    # published: 600 m² of plan at 20 % is 611.9 m² on the slope, over 601
    assert [s.developed_m2 for s in stage.sections] == pytest.approx([305.94] * 2, abs=0.01)


def test_grouped_zones_become_one_section_with_the_heavier_duty() -> None:
    zones = [build.zone(f"BAL-{k}", box(10 * k, 0, 10 * k + 4, 1.2)) for k in range(5)]
    zones[3] = build.zone("BAL-3", zones[3].outline, duty=Duty.HEAVY)
    lone = build.zone("WALK", box(0, 20, 10, 24))
    stage = cut_sections(
        [build.deck([*zones, lone])],
        build.takeoff(*(build.taken(z, drains=1) for z in [*zones, lone])),
        limits=build.limit(20.0),
        groups=[tuple(z.id for z in zones)],
    )
    group, *rest = stage.sections
    assert group.id == "BAL-0-1"
    assert group.zone_ids == tuple(z.id for z in zones)
    assert group.duty is Duty.HEAVY
    assert group.developed_m2 == pytest.approx(24.0)
    assert len(group.floor.geoms) == 5
    assert stage.details_of("BAL-0-1").drains == 5
    assert [s.id for s in rest] == ["WALK-1", "WALK-2"]
    assert ids(stage.messages)[:2] == ["marks.group.made", "marks.group.over-limit"]


def test_a_group_that_cannot_be_coated_alike_is_refused_with_every_reason() -> None:
    zones = [
        build.zone("A", box(0, 0, 4, 1)),
        build.zone("B", box(5, 0, 9, 1), exposure=Exposure.OPEN_SKY, build_up_id="BU-LANE"),
    ]
    with pytest.raises(Refused) as refused:
        cut_sections(
            [build.deck(zones)],
            build.takeoff(*map(build.taken, zones)),
            limits={},
            groups=[("A", "B", "C"), ("A",)],
        )
    said = str(refused.value)
    for part in ("C is not on any deck", "build-ups", "exposures", "in two groups"):
        assert part in said


def test_details_follow_the_drawing_and_add_up_to_the_takeoff() -> None:
    def line(*xy):
        return LineString(xy)

    features = [
        Feature(id="U", kind=FeatureKind.UPTURN, geometry=line((0, 0), (75, 0)), height_m=0.1),
        Feature(id="T", kind=FeatureKind.TERMINATION, geometry=LineString([(100, 0), (100, 10)])),
        Feature(id="C1", kind=FeatureKind.CRACK, geometry=line((20, 5), (60, 5)), width_m=0.001),
        Feature(id="C2", kind=FeatureKind.CRACK, geometry=line((70, 5), (80, 5)), width_m=0.003),
        Feature(id="D1", kind=FeatureKind.DRAIN, geometry=Point(10, 5)),
        Feature(id="D2", kind=FeatureKind.DRAIN, geometry=Point(90, 5), count=2),
        Feature(id="J", kind=FeatureKind.JOINT, geometry=line((50, 0), (50, 10)),
                width_m=0.02, depth_m=0.01),
        Feature(id="S1", kind=FeatureKind.STALL, geometry=box(46, 0, 49, 5), label="101"),
        Feature(id="S2", kind=FeatureKind.STALL, geometry=box(49, 0, 52, 5), label="102"),
        Feature(id="ELSEWHERE", kind=FeatureKind.STALL, geometry=box(49, 40, 52, 45)),
    ]  # fmt: skip
    stage = stage_of(
        box(0, 0, 100, 10), 500.0, features,
        upturn_m=75.0, upturn_m2=7.5, termination_m=10.0, drains=3, stalls=2,
        cracks=(CrackRun(width_m=0.001, length_m=40.0, rout=False),
                CrackRun(width_m=0.003, length_m=10.0, rout=True)),
        joints=(JointRun(width_m=0.02, depth_m=0.01, length_m=10.0),),
    )  # fmt: skip
    first, second = stage.details
    # published: lengths read off the drawing above on both sides of x = 50
    assert (first.upturn_m, second.upturn_m) == pytest.approx((50, 25), abs=0.2)
    assert first.upturn_m2 + second.upturn_m2 == pytest.approx(7.5, rel=1e-12)
    assert (first.termination_m, second.termination_m) == (0.0, 10.0)
    assert [(c.width_m, round(c.length_m, 1)) for c in first.cracks] == [(0.001, 30.0)]
    assert [(c.width_m, round(c.length_m, 1)) for c in second.cracks] == [
        (0.001, 10.0),
        (0.003, 10.0),
    ]
    assert (first.drains, second.drains) == (1, 2)
    assert first.joints[0].length_m == pytest.approx(5.0)
    assert [s.stalls for s in stage.sections] == [1, 1]


def test_quantities_without_a_place_are_shared_by_floor_area() -> None:
    stage = stage_of(box(0, 0, 100, 10), 500.0, upturn_m=30.0, upturn_m2=3.0, stalls=5, drains=3)
    assert [d.upturn_m for d in stage.details] == pytest.approx([15, 15])
    assert sum(s.stalls for s in stage.sections) == 5
    assert sum(d.drains for d in stage.details) == 3


def test_obstacle_edges_go_to_the_section_the_column_stands_in() -> None:
    z = build.zone("P1-STALL-A", box(0, 0, 100, 10))
    floor = z.outline.difference(box(10, 4, 11, 5))
    stage = cut_sections(
        [build.deck([z])],
        build.takeoff(build.taken(z, floor, obstacle_edge_m=4.0)),
        limits=build.limit(500.0),
    )
    assert [d.obstacle_edge_m for d in stage.details] == pytest.approx([4.0, 0.0])


@given(floors(), st.integers(1, 9), st.sampled_from([0.0, 90.0, 17.3]))
def test_sections_never_lose_or_double_area(floor, shares, degrees) -> None:
    floor = rotate(floor, degrees, origin=(0, 0))
    limit_m2 = floor.area / shares * 1.001
    stage = stage_of(floor, limit_m2)
    assert sum(s.floor.area for s in stage.sections) == pytest.approx(floor.area, rel=1e-6)
    assert sum(s.developed_m2 for s in stage.sections) == pytest.approx(floor.area, rel=1e-6)
    for i, a in enumerate(stage.sections):
        assert a.floor.is_valid
        assert a.developed_m2 <= limit_m2 * 1.08
        for b in stage.sections[i + 1 :]:
            assert a.floor.intersection(b.floor).area < 1e-6


spot = st.tuples(st.floats(-5, 105), st.floats(-5, 105))


@given(
    floors(),
    st.floats(0.15, 1.1),
    st.lists(st.tuples(spot, spot).filter(lambda p: p[0] != p[1]), max_size=5),
    st.lists(spot, max_size=5),
    st.integers(0, 40),
)
def test_details_add_up_whatever_is_drawn(floor, share, lines, spots, stalls) -> None:
    kinds = (FeatureKind.UPTURN, FeatureKind.CRACK, FeatureKind.TERMINATION)
    features = [
        Feature(id=f"L{i}-{kind}", kind=kind, geometry=LineString(ends), height_m=0.1)
        for i, ends in enumerate(lines)
        for kind in kinds
    ]
    features += [
        Feature(id=f"D{i}-{kind}", kind=kind, geometry=Point(at))
        for i, at in enumerate(spots)
        for kind in (FeatureKind.DRAIN, FeatureKind.PENETRATION, FeatureKind.STALL)
    ]
    stage = stage_of(
        floor, floor.area * share, features, upturn_m=12.5, upturn_m2=1.25, termination_m=7.0,
        obstacle_edge_m=3.0, drains=len(spots), penetrations=4, stalls=stalls,
        cracks=(CrackRun(width_m=0.001, length_m=9.0, rout=False),),
    )  # fmt: skip
    d = stage.details
    assert sum(x.upturn_m for x in d) == pytest.approx(12.5, rel=1e-12)
    assert sum(x.upturn_m2 for x in d) == pytest.approx(1.25, rel=1e-12)
    assert sum(s.upturn_m2 for s in stage.sections) == pytest.approx(1.25, rel=1e-12)
    assert sum(x.termination_m for x in d) == pytest.approx(7.0, rel=1e-12)
    assert sum(x.obstacle_edge_m for x in d) == pytest.approx(3.0, rel=1e-12)
    assert sum(c.length_m for x in d for c in x.cracks) == pytest.approx(9.0, rel=1e-12)
    assert sum(x.drains for x in d) == len(spots)
    assert sum(x.penetrations for x in d) == 4
    assert sum(s.stalls for s in stage.sections) == stalls


@given(floors(), st.floats(0.2, 1.1))
def test_the_same_drawing_gives_the_same_sections(floor, share) -> None:
    a, b = (stage_of(floor, floor.area * share) for _ in range(2))
    assert [(s.id, s.floor.wkb) for s in a.sections] == [(s.id, s.floor.wkb) for s in b.sections]


@given(st.floats(1.1, 8), st.floats(-89, 90))
def test_the_long_side_is_found_however_the_floor_lies(longer, degrees) -> None:
    floor = rotate(scale(box(0, 0, 10, 10), longer, 1, origin=(0, 0)), degrees, origin=(0, 0))
    found = math.degrees(long_direction_rad(floor))
    off = (found - degrees + 90) % 180 - 90
    assert abs(off) < 1e-5


def test_no_limit_does_not_cut() -> None:
    floor = Polygon([(0, 0), (500, 0), (500, 100), (0, 100)])
    assert [s.floor for s in cut_part(floor, None)] == [floor]
