"""Who can drive where."""

from __future__ import annotations

from dataclasses import replace

from shapely import LineString, box

from tackfree.deck.access import STREET, access_graph
from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, Zone


def feature(ident, kind, geometry, **more):
    return Feature(id=ident, kind=FeatureKind(kind), geometry=geometry, **more)


def deck(*features, ident="D", outline=None):
    zone = Zone(
        id=f"{ident}-Z",
        deck_id=ident,
        name="",
        outline=outline or box(0, 0, 60, 40),
        duty=Duty.LIGHT,
        exposure=Exposure.COVERED,
        build_up_id="BU",
    )
    return Deck(id=ident, name=ident, zones=(zone,), features=features)


def row(prefix, x0, x1, count):
    """Stalls 2.5 m wide up the deck between two x."""
    return [
        feature(f"{prefix}{i}", "stall", box(x0, 2.5 * i, x1, 2.5 * i + 2.5)) for i in range(count)
    ]


# Two lanes 7 m wide with a double row of stalls between; rows end 5 m below the far edge.
LANES = (feature("A", "lane", box(10, 0, 17, 40)), feature("B", "lane", box(30, 0, 37, 40)))
GATES = (
    feature("IN", "entrance", LineString([(11, 0), (16, 0)]), connects=(STREET,)),
    feature("OUT", "exit", LineString([(31, 0), (36, 0)]), connects=(STREET,)),
)


def stalls(count):
    return [*row("W", 17, 23.5, count), *row("E", 23.5, 30, count)]


def ways(graph):
    return {frozenset((e.start, e.end)) for e in graph.edges}


def test_a_cross_aisle_joins_two_lanes():
    graph = access_graph([deck(*LANES, *GATES, *stalls(14), outline=box(10, 0, 37, 40))])
    (aisle,) = [n for n in graph.nodes if n.kind == "open"]
    assert {frozenset(("A", aisle.id)), frozenset(("B", aisle.id))} <= ways(graph)
    assert graph.stalls["W0"] == "A"
    assert graph.stalls["E13"] == "B"
    assert graph.cut_off() == ()
    # a closed lane takes its own stalls, and the way out with it
    assert len(graph.cut_off(["B"])) == 28


def test_stalls_to_the_wall_leave_no_way_through():
    graph = access_graph([deck(*LANES, *GATES, *stalls(16), outline=box(10, 0, 37, 40))])
    assert [n.id for n in graph.nodes] == ["A", "B"]
    # cars come into A and cannot leave; B cannot be reached
    assert len(graph.cut_off()) == 32


def test_a_gap_too_narrow_for_a_car():
    gap = access_graph([deck(*LANES, *stalls(15), outline=box(10, 0, 37, 39.5))])
    assert [n.kind for n in gap.nodes] == ["lane", "lane"]  # 2.0 m between rows and wall
    asked = access_graph([deck(*LANES, *stalls(15), outline=box(10, 0, 37, 39.5))], passage_m=1.9)
    assert [n.kind for n in asked.nodes] == ["lane", "lane", "open"]


def test_a_ramp_joins_two_decks():
    both = (
        feature("IN", "entrance", LineString([(11, 0), (16, 0)]), connects=(STREET,)),
        feature("OUT", "exit", LineString([(11, 0), (16, 0)]), connects=(STREET,)),
    )
    low = deck(LANES[0], *both, ident="P1")
    up = feature("RAMP", "ramp", box(10, 0, 17, 20), connects=("P1", "P2"))
    top = feature("T", "lane", box(10, 0, 17, 40))
    high = deck(top, up, *row("S", 17, 22, 14), ident="P2")
    graph = access_graph([low, high])
    assert {frozenset(("RAMP", "A")), frozenset(("RAMP", "T"))} <= ways(graph)
    assert [e.basis for e in graph.edges if {e.start, e.end} == {"RAMP", "A"}] == ["inferred"]
    assert "S13" not in graph.cut_off()
    # with the ramp closed the upper deck is cut off
    assert set(graph.cut_off(["RAMP"])) == set(graph.stalls)


def test_a_stall_behind_a_wall_of_stalls():
    inner = feature("X", "stall", box(20, 10, 22, 12))
    ring = feature("Y", "stall", box(18, 8, 24, 14).difference(box(20, 10, 22, 12)))
    graph = access_graph([deck(LANES[0], *GATES, inner, ring, outline=box(10, 0, 17, 40))])
    assert graph.stalls["X"] is None


def test_a_lane_that_names_another():
    """What the drawing does not show, somebody may say: cars pass through the gate."""
    said = replace(LANES[0], connects=("FAR",))
    decks = deck(said, LANES[1], *GATES, *stalls(16), outline=box(10, 0, 23.5, 40))
    far = replace(decks.zones[0], id="FAR", outline=box(23.5, 0, 37, 40))
    graph = access_graph([replace(decks, zones=(*decks.zones, far))])
    assert [e.basis for e in graph.edges if {e.start, e.end} == {"A", "B"}] == ["typed"]
    assert graph.cut_off() == ()


def test_no_car_climbs_a_curb():
    curb = feature("U", "upturn", LineString([(17, 0), (17, 40)]), height_m=0.15)
    graph = access_graph([deck(*LANES, *GATES, curb, *stalls(14), outline=box(10, 0, 37, 40))])
    (aisle,) = [n for n in graph.nodes if n.kind == "open"]
    assert frozenset(("A", aisle.id)) not in ways(graph)
    assert graph.stalls["W0"] is None


def test_nothing_drawn():
    graph = access_graph([deck(outline=box(0, 0, 60, 40))])
    assert graph.stalls == {}
    assert graph.cut_off() == ()
