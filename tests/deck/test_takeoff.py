"""Takeoff of plain figures that can be added up by hand."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, affinity, box

from tackfree.deck.takeoff import take_off
from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, Zone

K = FeatureKind


def zone(outline, ident="Z", **more):
    return Zone(
        id=ident,
        deck_id="D",
        name=ident,
        outline=outline,
        duty=Duty.LIGHT,
        exposure=Exposure.OPEN_SKY,
        build_up_id="BU",
        **more,
    )


def feature(kind, geometry, number=1, **more):
    return Feature(id=f"{kind.value.upper()}-{number}", kind=kind, geometry=geometry, **more)


def taken(zones, features=(), rout_from_m=0.0015875):
    deck = Deck(id="D", name="D", zones=tuple(zones), features=tuple(features))
    return take_off([deck], rout_from_m={"BU": rout_from_m})


def one(outline, *features, **more):
    return taken([zone(outline, **more)], features).zones[0]


def test_opening_and_twelve_columns():
    columns = [
        feature(K.COLUMN, box(x, y, x + 2, y + 2), i)
        for i, (x, y) in enumerate([(x, y) for x in (19, 39, 159, 179) for y in (19, 79, 109)])
    ]
    z = one(box(0, 0, 200, 120), feature(K.OPENING, box(80, 40, 140, 64)), *columns)
    assert z.plan_m2 == pytest.approx(200 * 120 - 60 * 24 - 12 * 4)  # exact: 22,512
    assert z.obstacle_edge_m == pytest.approx(168 + 12 * 8)  # exact


def test_a_column_half_over_the_edge():
    z = one(box(0, 0, 100, 50), feature(K.COLUMN, box(49, -1, 51, 1)))
    assert z.plan_m2 == pytest.approx(4998)  # exact: only its inside half
    assert z.obstacle_edge_m == pytest.approx(4)  # exact: 1 + 2 + 1


def test_a_column_flush_with_the_edge_has_no_detail_on_its_outer_face():
    z = one(box(0, 0, 100, 50), feature(K.COLUMN, box(49, 0, 51, 2)))
    assert z.obstacle_edge_m == pytest.approx(6)  # exact: 2 + 2 + 2


def test_the_same_column_twice_is_taken_out_once():
    c = box(10, 10, 12, 12)
    z = one(box(0, 0, 100, 50), feature(K.COLUMN, c), feature(K.COLUMN, c, 2))
    assert (z.plan_m2, z.obstacles_m2) == (pytest.approx(4996), pytest.approx(4))  # exact


def test_a_column_inside_an_opening():
    z = one(
        box(0, 0, 100, 50),
        feature(K.OPENING, box(20, 10, 50, 30)),
        feature(K.COLUMN, box(30, 15, 32, 17)),
    )
    assert z.plan_m2 == pytest.approx(4400)  # exact: 5,000 - 600
    assert z.obstacle_edge_m == pytest.approx(100)  # exact: the opening's edge alone


def test_a_sloping_zone():
    z = one(box(0, 0, 24, 60), feature(K.CRACK, LineString([(5, 0), (5, 60)]), width_m=0.001),
            slope_y=0.0667)  # fmt: skip
    assert z.plan_m2 == pytest.approx(1440)
    assert z.field_m2 == pytest.approx(1440 * 1.0022220)  # exact: sqrt(1 + 0.0667²)
    assert z.cracks[0].length_m == pytest.approx(60 * 1.0022220)  # exact: along the slope


def test_a_curb_between_two_zones_counts_once():
    curb = feature(K.UPTURN, LineString([(10, 0), (10, 20)]), height_m=0.1)
    t = taken([zone(box(0, 0, 10, 20), "A"), zone(box(10, 0, 30, 20), "B")], [curb])
    assert [z.upturn_m for z in t.zones] == [pytest.approx(20), pytest.approx(0)]  # exact
    assert t.zones[0].upturn_m2 == pytest.approx(2.0)  # exact: 20 × 0.1


def test_a_curb_drawn_twice_counts_once_and_says_so():
    line = LineString([(0, 0), (10, 0)])
    pair = [feature(K.UPTURN, line, 1, height_m=0.1), feature(K.UPTURN, line, 2, height_m=0.1)]
    t = taken([zone(box(0, 0, 10, 20))], pair)
    assert t.zones[0].upturn_m == pytest.approx(10)  # exact
    assert [m.id for m in t.messages] == ["deck.line-doubled"]


def test_a_curb_drawn_beside_the_edge_still_belongs_to_the_zone():
    off = feature(K.UPTURN, LineString([(0, -0.2), (10, -0.2)]), height_m=0.1)
    assert one(box(0, 0, 10, 20), off).upturn_m == pytest.approx(10)  # exact


def test_the_stretch_behind_a_column_is_no_upturn():
    wall = feature(K.UPTURN, LineString([(0, 0), (10, 0)]), height_m=0.1)
    z = one(box(0, 0, 10, 20), wall, feature(K.COLUMN, box(4, 0, 4.5, 0.5)))
    assert z.upturn_m == pytest.approx(9.5, abs=1e-5)  # exact


def test_cracks_are_cut_at_zones_and_columns():
    crack = feature(K.CRACK, LineString([(5, 5), (25, 5)]), width_m=0.003)
    t = taken(
        [zone(box(0, 0, 10, 10), "A"), zone(box(10, 0, 20, 10), "B")],
        [crack, feature(K.COLUMN, box(12, 4, 14, 6))],
    )
    a, b = t.zones
    assert a.cracks[0].length_m == pytest.approx(5)  # exact
    assert b.cracks[0].length_m == pytest.approx(8, abs=1e-5)  # exact: 10 less the column's 2
    assert a.cracks[0].rout  # practice: 1/16 in and wider
    outside = [m for m in t.messages if m.id == "deck.line-outside"]
    assert outside[0].values["length_m"] == pytest.approx(5, abs=0.02)


def test_cracks_by_width():
    lines = [
        feature(K.CRACK, LineString([(1, y), (1 + n, y)]), i, width_m=w)
        for i, (y, n, w) in enumerate([(1, 3, 0.001), (2, 4, 0.001), (3, 2, 0.0015875)])
    ]
    z = one(box(0, 0, 10, 10), *lines)
    got = [(c.width_m, round(c.length_m, 5), c.rout) for c in z.cracks]
    assert got == [(0.001, 7, False), (0.0015875, 2, True)]  # exact


def test_counted_things():
    t = taken(
        [zone(box(0, 0, 10, 10), "A"), zone(box(10, 0, 20, 10), "B")],
        [
            feature(K.DRAIN, Point(5, 5), 1),
            feature(K.DRAIN, Point(10, 5), 2),  # on the line between: the first zone's
            feature(K.DRAIN, Point(15.5, 5.5), 3),  # in the opening
            feature(K.DRAIN, Point(50, 5), 4),  # nowhere
            feature(K.PENETRATION, Point(12, 2), count=3),
            feature(K.OPENING, box(15, 5, 16, 6)),
            feature(K.STALL, box(6, 0, 12, 3)),  # mostly in A
        ],
    )
    a, b = t.zones
    assert (a.drains, b.drains) == (2, 0)
    assert (a.penetrations, b.penetrations) == (0, 3)
    assert (a.stalls, b.stalls) == (1, 0)
    assert [m.id for m in t.messages] == ["deck.in-obstacle", "deck.feature-outside"]


def test_joints_and_terminations():
    z = one(
        box(0, 0, 10, 10),
        feature(K.JOINT, LineString([(0, 5), (10, 5)]), width_m=0.025, depth_m=0.0125),
        feature(K.TERMINATION, LineString([(2, 0), (8, 0)])),
    )
    (joint,) = z.joints
    assert (joint.width_m, joint.depth_m) == (0.025, 0.0125)
    assert joint.length_m == pytest.approx(10, abs=1e-5)  # exact
    assert z.termination_m == pytest.approx(6, abs=1e-5)  # exact


def test_a_zone_in_several_parts():
    z = one(MultiPolygon([box(0, 0, 4, 2), box(5, 0, 9, 2)]), feature(K.COLUMN, box(3, 0, 6, 1)))
    assert z.plan_m2 == pytest.approx(16 - 2)  # exact: one square metre out of each


def test_a_zone_all_taken_by_an_opening_says_so():
    t = taken([zone(box(0, 0, 4, 2))], [feature(K.OPENING, box(-1, -1, 5, 3))])
    assert t.zones[0].plan_m2 == 0
    assert [m.id for m in t.messages] == ["deck.no-floor"]


def test_an_upturn_without_height_has_no_area():
    z = one(box(0, 0, 10, 20), feature(K.UPTURN, LineString([(0, 0), (10, 0)])))
    assert z.figures["upturn_m2"].value is None
    assert z.figures["upturn_m"].value == pytest.approx(10)


def test_every_quantity_can_be_asked_why():
    z = one(box(0, 0, 10, 20))
    for name, figure in z.figures.items():
        if hasattr(z, name):
            assert figure.value == getattr(z, name), name
        assert figure.formula


def test_no_decks():
    assert take_off([], rout_from_m={}).zones == ()


mm = st.integers  # drawings are exact to a millimetre at best; 1e-186 m is no place
obstacle = st.tuples(mm(-2000, 20000), mm(-2000, 12000), mm(500, 6000), mm(500, 6000)).map(
    lambda t: box(t[0] / 1e3, t[1] / 1e3, (t[0] + t[2]) / 1e3, (t[1] + t[3]) / 1e3)
)


@settings(deadline=None, max_examples=60)
@given(st.lists(obstacle, max_size=6), st.floats(0, 360))
def test_turning_the_drawing_moves_no_quantity(obstacles, angle):
    """Law: floor and obstacles make the outline; areas and lengths do not turn."""
    outline = Polygon([(0, 0), (20, 0), (20, 8), (12, 8), (12, 12), (0, 12)])

    def quantities(turn):
        def turned(shape):
            return affinity.rotate(shape, turn, origin=(3, 4))

        z = one(
            turned(outline),
            *(feature(K.COLUMN, turned(o), i) for i, o in enumerate(obstacles)),
            feature(K.CRACK, turned(LineString([(1, 1), (19, 7)])), width_m=0.001),
        )
        assert z.plan_m2 + z.obstacles_m2 == pytest.approx(outline.area, rel=1e-9)
        return z.plan_m2, z.obstacle_edge_m, sum(c.length_m for c in z.cracks)

    assert quantities(angle) == pytest.approx(quantities(0), rel=1e-6, abs=1e-4)
