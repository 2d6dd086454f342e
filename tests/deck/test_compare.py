"""What moved between two revisions."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import LineString, Point, box

from tackfree.deck.compare import compare
from tackfree.deck.takeoff import take_off
from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, Zone


def zone(ident, outline, build_up="BU", **more):
    return Zone(
        id=ident,
        deck_id="D",
        name=ident,
        outline=outline,
        duty=Duty.LIGHT,
        exposure=Exposure.OPEN_SKY,
        build_up_id=build_up,
        **more,
    )


def deck(*zones, features=(), **more):
    return Deck(id="D", name="D", zones=zones, features=tuple(features), **more)


def moved(a, b):
    takeoffs = [take_off([d], rout_from_m={}) for d in (a, b)]
    return compare([a], takeoffs[0], [b], takeoffs[1])


A = zone("A", box(0, 0, 20, 10))
CRACK = Feature(
    id="C", kind=FeatureKind.CRACK, geometry=LineString([(1, 1), (9, 1)]), width_m=0.002
)
DRAIN = Feature(id="D", kind=FeatureKind.DRAIN, geometry=Point(5, 5))


def test_the_same_decks():
    found = moved(deck(A, features=[CRACK, DRAIN]), deck(A, features=[DRAIN, CRACK]))
    assert found.zones == ()
    assert found.features == ()


def test_an_outline_that_moved():
    found = moved(deck(A), deck(zone("A", box(2, 0, 25, 10))))
    (change,) = found.zones
    # exact: 2 × 10 lost on one side, 5 × 10 gained on the other
    assert change.lost.area == pytest.approx(20)
    assert change.gained.area == pytest.approx(50)
    assert change.change_m2 == pytest.approx(30)


def test_zones_that_came_and_went():
    found = moved(deck(A), deck(zone("B", box(0, 0, 20, 10))))
    rows = {z.zone_id: (z.before_m2, z.after_m2) for z in found.zones}
    assert rows == {"B": (None, pytest.approx(200)), "A": (pytest.approx(200), None)}


def test_a_slope_or_a_build_up_that_changed():
    (steeper,) = moved(deck(A), deck(replace(A, slope_x=0.15))).zones
    assert steeper.change_m2 == pytest.approx(200 * (1.15**0 * (1 + 0.15**2) ** 0.5 - 1))
    (other,) = moved(deck(A), deck(replace(A, build_up_id="BU-2"))).zones
    assert other.build_up == ("BU", "BU-2")


def test_an_edge_drawn_a_hair_apart_has_not_moved():
    found = moved(deck(A), deck(zone("A", box(0.0000001, 0, 20, 10))))
    assert found.zones == ()


def test_features():
    longer = replace(CRACK, geometry=LineString([(1, 1), (12, 1)]))
    wider = replace(CRACK, width_m=0.003)
    more = [CRACK, DRAIN, replace(DRAIN, id="E", geometry=Point(9, 9))]
    (crack,) = moved(deck(A, features=[CRACK]), deck(A, features=[longer])).features
    assert (crack.unit, crack.before, crack.after) == ("m", pytest.approx(8), pytest.approx(11))
    assert (len(crack.added), len(crack.removed)) == (1, 1)
    (width,) = moved(deck(A, features=[CRACK]), deck(A, features=[wider])).features
    assert (len(width.added), len(width.removed)) == (1, 1)
    (drain,) = moved(deck(A, features=[CRACK, DRAIN]), deck(A, features=more)).features
    assert (drain.kind, drain.before, drain.after) == (FeatureKind.DRAIN, 1, 2)
    assert drain.removed == ()


def test_a_far_drawing_moved_by_other_metres():
    far = deck(zone("A", box(3, 0, 23, 10)), offset_m=(1_000_000.0, 0.0))
    near = deck(zone("A", box(1, 0, 21, 10)), offset_m=(1_000_002.0, 0.0))
    assert moved(far, near).zones == ()
