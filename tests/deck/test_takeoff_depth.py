"""Forms of a floor, allowances, doubts, and the rows of a takeoff."""

from __future__ import annotations

import math

import pytest
from shapely import LineString, Point, box

from tackfree.deck.takeoff import take_off
from tackfree.deck.takeoff_rows import takeoff_rows
from tackfree.deck.types import (
    CracksExpected,
    Deck,
    Duty,
    Exposure,
    Feature,
    FeatureKind,
    Helix,
    Steps,
    Zone,
)

FT, FT2, INCH = 0.3048, 0.3048**2, 0.0254


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


def taken(*zones, features=()):
    deck = Deck(id="D", name="D", zones=zones, features=tuple(features))
    return deck, take_off([deck], rout_from_m={"BU": INCH / 16})


def feet(*bounds):
    return box(*(v * FT for v in bounds))


def test_tiers_of_a_stadium():
    """14,000 ft² of plan, tread 33, riser 14 in."""
    steps = Steps(tread_m=33 * INCH, riser_m=14 * INCH)
    _, found = taken(zone(feet(0, 0, 140, 100), form=steps))
    # practice: trade scenario S9, 19,939 ft²
    assert found.zones[0].field_m2 / FT2 == pytest.approx(19_939, abs=1)


def test_a_helical_ramp():
    ring = Point(0, 0).buffer(40 * FT, 512).difference(Point(0, 0).buffer(20 * FT, 512))
    helix = Helix(inner_m=20 * FT, outer_m=40 * FT, rise_per_turn_m=10 * FT)
    _, found = taken(zone(ring, form=helix))
    # published: geometry notes, case 6: plan 3,769.91, true 3,775.42 ft²
    assert found.zones[0].field_m2 / FT2 == pytest.approx(3775.42, rel=1e-4)
    assert found.zones[0].slope_factor == pytest.approx(3775.42 / 3769.91, rel=2e-6)


def test_a_fall_both_ways():
    _, found = taken(zone(feet(0, 0, 100, 100), slope_x=0.02, slope_y=0.015))
    # published: geometry notes, case 5: factor 1.0003125 to first order
    assert found.zones[0].slope_factor == pytest.approx(1.0003125, abs=1e-7)


def test_cracks_allowed_for_by_area():
    allowed = CracksExpected(m_per_m2=50 * FT / (1000 * FT2), width_m=INCH / 16)
    deck, found = taken(zone(feet(0, 0, 100, 60), cracks_expected=allowed))
    (run,) = found.zones[0].cracks
    assert run.length_m / FT == pytest.approx(300)  # exact: 50 ft for each of six 1,000 ft²
    assert (run.basis, run.rout) == ("inferred", True)
    rows = takeoff_rows(found, [deck])
    assert [(r.item, r.basis) for r in rows if r.item == "rout"] == [("rout", "inferred")]


def stalls(count):
    return [
        Feature(id=f"S-{i}", kind=FeatureKind.STALL, geometry=feet(9 * i, 0, 9 * i + 9, 18))
        for i in range(count)
    ]


@pytest.mark.parametrize(
    ("depth_ft", "doubted"),
    [
        (36, False),  # practice: 9 × 36 = 324 ft² for each stall
        (30, False),  # 270, a tight floor
        (24, True),  # 216
        (60, True),  # 540
        (36 * 12, True),  # a floor in inches
    ],
)
def test_stalls_against_the_floor(depth_ft, doubted):
    _, found = taken(zone(feet(0, 0, 180, depth_ft)), features=stalls(20))
    assert ("deck.stall-area" in [m.id for m in found.messages]) is doubted


def test_a_curb_between_two_zones_counts_once():
    curb = Feature(
        id="U",
        kind=FeatureKind.UPTURN,
        geometry=LineString([(10, 0), (10, 20)]),
        height_m=0.1,
    )
    a, b = zone(box(0, 0, 10, 20), "A"), zone(box(10, 0, 20, 20), "B")
    _, found = taken(a, b, features=[curb])
    assert sum(z.upturn_m for z in found.zones) == pytest.approx(20)  # exact


def test_rows_carry_their_basis():
    features = [
        Feature(id="C", kind=FeatureKind.COLUMN, geometry=box(4, 4, 5, 5)),
        Feature(
            id="T", kind=FeatureKind.TERMINATION, geometry=LineString([(0, 0), (20, 0)]),
            source="typed",
        ),
    ]  # fmt: skip
    deck, found = taken(zone(box(0, 0, 20, 10), source="typed"), features=features)
    rows = {r.item: (r.value, r.kind, r.basis) for r in takeoff_rows(found, [deck])}
    # exact: 20 × 10 m less 1 m²; a bead round the column; the saw cut is the termination's
    assert rows["outline"] == (200, "area", "typed")
    assert rows["field"] == (pytest.approx(199), "area", "inferred")
    assert rows["cove"] == (pytest.approx(4), "length", "inferred")
    assert rows["termination"] == (pytest.approx(20), "length", "typed")
    assert rows["saw-cut"] == (pytest.approx(20), "length", "inferred")
    assert "drain" not in rows
    assert math.isclose(found.zones[0].cove_m, 4)
