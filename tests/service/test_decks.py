"""The demo's decks: drawing, reading and takeoff, added up by hand from its sketch."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

import pytest
from demo import draw
from tests.intake.dxf_cases import feature_doc, zone_doc

from tackfree.deck.declared import DeckDoc
from tackfree.deck.types import FeatureKind, PostTensioned
from tackfree.errors import Refused
from tackfree.service import decks as service
from tackfree.words import LANGUAGES, catalogue, say

FT, FT2, INCH = 0.3048, 0.3048**2, 0.0254
DEMO = Path(draw.__file__).resolve().parent / "job" / "decks"

LEVEL_FEATURES = (
    feature_doc("COLUMN", "column"),
    feature_doc("OPENING", "opening"),
    feature_doc("DRAIN", "drain"),
    feature_doc("CRACK-HAIR", "crack", width_m=INCH / 64),
    feature_doc("CRACK-FINE", "crack", width_m=INCH / 16),
    feature_doc("CRACK-WIDE", "crack", width_m=INCH / 8),
    feature_doc("JOINT", "joint", width_m=INCH, depth_m=INCH / 2),
    feature_doc("UPTURN", "upturn", height_m=4 * INCH),
    feature_doc("TERMINATION", "termination"),
    feature_doc("STALL", "stall"),
    feature_doc("ENTRANCE", "entrance", connects=("street",)),
    feature_doc("EXIT", "exit", connects=("street",)),
    feature_doc("STOP-LINE", "stop-line"),
)


ACCESSIBLE = feature_doc("STALL-ACCESS", "stall", accessible=True)


def deck(ident, *zones, features=LEVEL_FEATURES, geojson=None, drawing=True):
    return DeckDoc(
        id=ident,
        name=ident,
        drawing=f"{ident}.dxf" if drawing else None,
        geojson=geojson,
        unit_m=FT,
        post_tensioned=PostTensioned.UNKNOWN,
        elevation_m=0.0,
        zones=zones,
        features=features,
    )


P1 = deck(
    "P1",
    zone_doc("P1-STALL", "ZONE-STALL"),
    zone_doc("P1-LANE", "ZONE-LANE"),
    features=(*LEVEL_FEATURES, ACCESSIBLE),
)
P2 = deck(
    "P2",
    zone_doc("P2-STALL", "ZONE-STALL"),
    zone_doc("P2-LANE", "ZONE-LANE"),
    zone_doc("RAMP", "ZONE-RAMP", slope_y=-1 / 12),
)
BAL = deck(
    "BAL",
    zone_doc("BAL", "ZONE-BALC"),
    features=(
        feature_doc("DRAIN", "drain"),
        feature_doc("UPTURN", "upturn", height_m=4 * INCH),
        feature_doc("TERMINATION", "termination"),
    ),
)


@dataclass
class Bundle:
    """As much of a job as these services read."""

    root: Path
    decks: tuple[DeckDoc, ...]
    build_ups: dict[str, SimpleNamespace] = field(
        default_factory=lambda: {
            "BU": SimpleNamespace(id="BU", details=SimpleNamespace(rout_from_m=INCH / 16))
        }
    )


@pytest.fixture(scope="module")
def stage():
    return service.read_decks(Bundle(DEMO.parent, (P1, P2, BAL)))


@pytest.fixture(scope="module")
def taken(stage):
    takeoff = service.take_off_job(Bundle(DEMO.parent, ()), stage.decks)
    return {z.zone_id: z for z in takeoff.zones}


@pytest.mark.parametrize("hash_seed", ["1", "2"])
def test_the_drawings_are_drawn_the_same_every_time(tmp_path, hash_seed):
    environment = {**os.environ, "PYTHONHASHSEED": hash_seed}
    command = [sys.executable, str(draw.__file__), str(tmp_path)]
    subprocess.run(command, check=True, env=environment, capture_output=True)
    for name in ("P1.dxf", "P2.dxf", "BAL.dxf"):
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes(), name


# Each level is 180 ft by 166 ft, with a landing of 24 × 22 ft where the ramp meets it.
# Stalls: 18 + 36 + 36 + 18 = 108 ft wide and 144 ft long; lanes, and a cross aisle of 22 ft at
# the head of P1 and at the foot of P2, are the rest. Columns 2 × 2 ft in 4 × 7 places: one
# inside the stair, one row in the aisle. The ramp climbs 1 in 12 between the landings.
# exact: everything below is added up by hand from the sketch, in feet.
STALLS = 108 * 144
LANES = 180 * 166 + 24 * 22 - STALLS
STAIR = 10 * 22
ISLAND = 12 * 4 + math.pi * 2**2  # 12 ft straight, 4 ft wide, round ends
SLOPING = math.sqrt(1 + 1 / 12**2)
AREAS = {
    "P1-STALL": (STALLS, 24 * 4),
    "P1-LANE": (LANES, STAIR + 3 * 4),
    "P2-STALL": (STALLS, STAIR + 23 * 4 + ISLAND),
    "P2-LANE": (LANES, 4 * 4),
    "RAMP": (24 * 122, 0),
    "BAL": (12 * 51, 0),
}


@pytest.mark.parametrize("zone", AREAS)
def test_areas(taken, zone):
    outline, obstacles = AREAS[zone]
    z = taken[zone]
    assert z.outline_m2 / FT2 == pytest.approx(outline, rel=1e-9)
    assert z.obstacles_m2 / FT2 == pytest.approx(obstacles, rel=1e-9, abs=1e-9)
    assert z.plan_m2 / FT2 == pytest.approx(outline - obstacles, rel=1e-9)
    factor = SLOPING if zone == "RAMP" else 1
    assert z.field_m2 / FT2 == pytest.approx((outline - obstacles) * factor, rel=1e-9)


# Inner columns show four faces, those flush with an edge three, those in a corner two.
EDGES = {
    # 5 rows: two inner, two flush; south row: two flush, two in corners; stair's south face
    "P1-STALL": 5 * (2 * 8 + 2 * 6) + 2 * 6 + 2 * 4 + 10,
    # north row: three flush (the eastern one's east face is on the landing); stair's east face
    "P1-LANE": 3 * 6 + 22,
    # 5 rows; north row: two flush, one in a corner; two faces of the stair; the island
    "P2-STALL": 5 * (2 * 8 + 2 * 6) + 2 * 6 + 4 + 22 + 10 + 24 + 4 * math.pi,
    # south row: one in a corner, three flush
    "P2-LANE": 4 + 3 * 6,
    "RAMP": 5 * 2 * SLOPING,  # the far faces of the eastern columns
}


@pytest.mark.parametrize(("zone", "feet"), EDGES.items())
def test_edges_of_columns_and_openings(taken, zone, feet):
    # The island's round ends are chords of equal area: length within 1e-4.
    assert taken[zone].obstacle_edge_m / FT == pytest.approx(feet, rel=1e-4, abs=1e-6)


# Each less 2 ft for every column that stands flush with it.
UPTURNS = {
    # west, stair's south face, east, south
    "P1-STALL": (144 - 12) + 10 + (144 - 12) + (108 - 8),
    # south, lane B only: gates at A and C; north with the landing; its end; stair's east face
    "P1-LANE": 24 + (204 - 10 - 6) + 22 + 22,
    # west; two faces of the stair; north; east beyond the ramp; the curb beside the ramp, which
    # counts once, with the stalls, since they are declared first
    "P2-STALL": (122 - 10) + 10 + 22 + (108 - 10 - 6) + (22 - 2) + (122 - 10),
    # west; south with the landing; its end; north, lanes B and C: the gate is at A
    "P2-LANE": (22 - 2) + (204 - 8) + 22 + 2 * 24,
    "RAMP": 122 * SLOPING,
    "BAL": 12 * (12 + 2 * 4.25),
}


@pytest.mark.parametrize("zone", UPTURNS)
def test_upturns(taken, zone):
    z = taken[zone]
    assert z.upturn_m / FT == pytest.approx(UPTURNS[zone], rel=1e-6, abs=1e-6)
    assert z.upturn_m2 / FT2 == pytest.approx(UPTURNS[zone] / 3, rel=1e-6, abs=1e-6)  # 4 in


HAIR, FINE, WIDE = INCH / 64, INCH / 16, INCH / 8
CRACKS = {
    "P1-STALL": {HAIR: 18 - 5, WIDE: 20 - 2},  # the wide one runs through a column
    "P1-LANE": {HAIR: 40 + (35 - 18), FINE: 5 + 30},  # 3-4-5 leg, then 30
    "P2-STALL": {WIDE: 30},
    "P2-LANE": {HAIR: 80, FINE: 60, WIDE: 24},
    "RAMP": {HAIR: 40 * SLOPING},
    "BAL": {},
}


@pytest.mark.parametrize("zone", CRACKS)
def test_cracks(taken, zone):
    got = {c.width_m: c.length_m / FT for c in taken[zone].cracks}
    assert got == pytest.approx(CRACKS[zone], rel=1e-6)
    assert all(c.rout == (c.width_m >= FINE) for c in taken[zone].cracks)


@pytest.mark.parametrize(
    ("zone", "joints", "terminations", "drains", "stalls"),
    [
        # stalls: six rows of 16; on P1 three accessible ones take five places in two rows
        ("P1-STALL", 108, 0, 0, 6 * 16 - 2 * 2),
        ("P1-LANE", 72, 48, 12, 0),
        # less three at the stair and one in each of the two rows at the island
        ("P2-STALL", 108, 0, 0, 6 * 16 - 3 - 2),
        ("P2-LANE", 72, 24, 12, 0),
        ("RAMP", 0, 24, 0, 0),
        ("BAL", 0, 12 * 12, 12, 0),
    ],
)
def test_counts_and_lengths(taken, zone, joints, terminations, drains, stalls):
    z = taken[zone]
    assert sum(j.length_m for j in z.joints) / FT == pytest.approx(joints, rel=1e-6)
    assert z.termination_m / FT == pytest.approx(terminations, rel=1e-6)
    assert (z.drains, z.penetrations, z.stalls) == (drains, 0, stalls)


def test_every_stall_has_its_own_number(stage):
    for d in stage.decks[:2]:
        labels = [f.label for f in d.features if f.kind is FeatureKind.STALL]
        assert "" not in labels
        assert len(set(labels)) == len(labels)


def test_accessible_stalls_are_wide_and_known(stage):
    # published: 2010 ADA Standards for Accessible Design, table 208.2 asks for 6 of 151 to 200
    # stalls; 502.2 and 502.3: 96 in of car space with 60 in of aisle, for a van 96 + 96 in.
    found = [f for d in stage.decks for f in d.features if f.accessible]
    widths = sorted(round((f.geometry.bounds[3] - f.geometry.bounds[1]) / FT, 3) for f in found)
    assert widths == [13.5] * 4 + [18.0] * 2
    assert 13.5 * 12 >= 96 + 60
    assert 18 * 12 >= 96 + 96


def test_what_is_no_part_of_the_job_is_listed(stage):
    ignored = {
        (m.values["file"], m.values["layer"], m.values["entity"], m.values["count"])
        for m in stage.messages
        if m.id == "intake.ignored"
    }
    # nobody has said whether these decks hold tendons
    assert {m.id for m in stage.messages} == {"intake.ignored", "deck.tendons-unknown"}
    unknown = [m.values["deck"] for m in stage.messages if m.id == "deck.tendons-unknown"]
    assert unknown == ["P1", "P2", "BAL"]
    assert ("P1.dxf", "DIMENSION", "DIMENSION", 2) in ignored
    assert ("P1.dxf", "WALL", "LWPOLYLINE", 1) in ignored
    assert ("BAL.dxf", "TITLE", "TEXT", 13) in ignored


def test_messages_have_their_sentence_in_every_language(stage):
    for language in LANGUAGES:
        sentence = say(stage.messages[0], language)
        assert stage.messages[0].id not in sentence
        assert "{" not in sentence
    for area in ("intake.", "deck."):
        ids = [{i for i in catalogue(n) if i.startswith(area)} for n in LANGUAGES]
        assert ids[0] == ids[1]


def test_a_deck_survives_its_own_geojson(tmp_path, stage):
    (tmp_path / "decks").mkdir()
    text = service.deck_geojson(stage.decks[1])
    (tmp_path / "decks" / "P2.geojson").write_text(text, "utf-8")
    zones = tuple(zone_doc(z.id, None, slope_y=z.slope_y) for z in P2.zones)
    doc = deck("P2", *zones, features=(), geojson="P2.geojson", drawing=False)
    again = service.read_decks(Bundle(tmp_path, (doc,))).decks[0]
    assert service.deck_geojson(again) == text
    old = service.take_off_job(Bundle(tmp_path, ()), [stage.decks[1]])
    new = service.take_off_job(Bundle(tmp_path, ()), [again])
    for a, b in zip(old.zones, new.zones, strict=True):
        assert b.plan_m2 == pytest.approx(a.plan_m2, rel=1e-6)
        assert b.upturn_m == pytest.approx(a.upturn_m, rel=1e-5, abs=1e-5)
        assert (b.drains, b.stalls) == (a.drains, a.stalls)


def test_a_zone_may_be_traced_beside_the_drawing(tmp_path, stage):
    (tmp_path / "decks").mkdir()
    (tmp_path / "decks" / "P2.dxf").write_bytes((DEMO / "P2.dxf").read_bytes())
    ramp = service.deck_geojson(stage.decks[1])
    (tmp_path / "decks" / "P2.geojson").write_text(ramp, "utf-8")
    doc = deck(
        "P2",
        zone_doc("P2-LANE", "ZONE-LANE"),
        zone_doc("TRACED", None, geojson_id="RAMP"),
        geojson="P2.geojson",
        features=(),
    )
    read = service.read_decks(Bundle(tmp_path, (doc,))).decks[0]
    assert [z.id for z in read.zones] == ["P2-LANE", "TRACED"]
    clash = deck("P2", zone_doc("A", "ZONE-RAMP"), zone_doc("RAMP", None),
                 geojson="P2.geojson", features=())  # fmt: skip
    with pytest.raises(Refused, match="overlap"):
        service.read_decks(Bundle(tmp_path, (clash,)))


def test_faults_of_all_decks_come_together(tmp_path):
    none = deck("NONE", zone_doc(), drawing=False)
    with pytest.raises(Refused) as caught:
        service.read_decks(Bundle(tmp_path, (P1, P2, none)))
    assert [f.where for f in caught.value.faults] == ["P1.dxf", "P2.dxf", "deck NONE"]
