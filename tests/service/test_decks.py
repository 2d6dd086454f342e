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


P1 = deck("P1", zone_doc("P1-STALL", "ZONE-STALL"), zone_doc("P1-LANE", "ZONE-LANE"))
P2 = deck(
    "P2",
    zone_doc("P2-STALL", "ZONE-STALL"),
    zone_doc("P2-LANE", "ZONE-LANE"),
    zone_doc("RAMP", "ZONE-RAMP", slope_y=0.0667),
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


# Each level is 180 ft by 166 ft. Stalls: 18 + 36 + 36 + 18 = 108 ft wide; lanes 3 × 24 ft.
# Columns 2 × 2 ft: 24 of them, of which one stands inside the 10 × 20 ft stair.
# exact: everything below is added up by hand from the sketch, in feet.
STAIR, COLUMNS = 10 * 20, 23 * 4
ISLAND = 12 * 4 + math.pi * 2**2  # 12 ft straight, 4 ft wide, round ends
AREAS = {
    "P1-STALL": (108 * 166, STAIR + COLUMNS),
    "P1-LANE": (72 * 166, 0),
    "P2-STALL": (108 * 166, STAIR + COLUMNS + ISLAND),
    "P2-LANE": (2 * 24 * 166 + 24 * 106, 0),  # the ramp takes 60 ft of lane C
    "RAMP": (24 * 60, 0),
    "BAL": (12 * 51, 0),
}


@pytest.mark.parametrize("zone", AREAS)
def test_areas(taken, zone):
    outline, obstacles = AREAS[zone]
    z = taken[zone]
    assert z.outline_m2 / FT2 == pytest.approx(outline, rel=1e-9)
    assert z.obstacles_m2 / FT2 == pytest.approx(obstacles, rel=1e-9, abs=1e-9)
    assert z.plan_m2 / FT2 == pytest.approx(outline - obstacles, rel=1e-9)
    factor = math.sqrt(1 + 0.0667**2) if zone == "RAMP" else 1
    assert z.field_m2 / FT2 == pytest.approx((outline - obstacles) * factor, rel=1e-9)


# Columns flush with an edge (5 west beside the stair's, 6 east) show three faces, the 12
# inner ones four; of the corner stair 10 + 20 ft border the floor.
DETAIL = 11 * 6 + 12 * 8 + 30


@pytest.mark.parametrize(
    ("zone", "feet"),
    [("P1-STALL", DETAIL), ("P1-LANE", 0), ("P2-STALL", DETAIL + 24 + 4 * math.pi), ("RAMP", 0)],
)
def test_edges_of_columns_and_openings(taken, zone, feet):
    # The island's round ends are chords of equal area: length within 1e-4.
    assert taken[zone].obstacle_edge_m / FT == pytest.approx(feet, rel=1e-4, abs=1e-6)


WEST = 146 - 5 * 2  # up to the stair, less what stands behind columns
STAIR_WALLS = 10 + 20
EAST = 166 - 6 * 2
NORTH_STALLS, NORTH_LANES = (18 - 10) + 36 + 36 + 18, 72
UPTURNS = {
    # south edge: all stalls, and of the lanes only C (A and B are entrance and exit)
    "P1-STALL": WEST + STAIR_WALLS + EAST + NORTH_STALLS + 108,
    "P1-LANE": NORTH_LANES + 24,
    # south edge: all stalls and lanes A and B; the curbs beside the ramp, 60 ft each, lie
    # between stalls and ramp and count once, with the stalls, which are declared first
    "P2-STALL": WEST + STAIR_WALLS + EAST + NORTH_STALLS + 108 + 2 * 60,
    "P2-LANE": NORTH_LANES + 48,
    "RAMP": 0,
    "BAL": 12 * (12 + 2 * 4.25),
}


@pytest.mark.parametrize("zone", UPTURNS)
def test_upturns(taken, zone):
    z = taken[zone]
    assert z.upturn_m / FT == pytest.approx(UPTURNS[zone], rel=1e-6, abs=1e-6)
    assert z.upturn_m2 / FT2 == pytest.approx(UPTURNS[zone] / 3, rel=1e-6, abs=1e-6)  # 4 in


HAIR, FINE, WIDE = INCH / 64, INCH / 16, INCH / 8
SLOPING = math.sqrt(1 + 0.0667**2)
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
        # stalls: six rows of 18, less the two at the stair
        ("P1-STALL", 108, 0, 0, 6 * 18 - 2),
        ("P1-LANE", 72, 48, 12, 0),
        # less two in each row at the island, and seven in each row beside the ramp
        ("P2-STALL", 108, 0, 0, 6 * 18 - 2 - 4 - 14),
        ("P2-LANE", 72, 0, 11, 0),
        ("RAMP", 0, 24, 1, 0),
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


def test_what_is_no_part_of_the_job_is_listed(stage):
    ignored = {
        (m.values["file"], m.values["layer"], m.values["entity"], m.values["count"])
        for m in stage.messages
    }
    assert {m.id for m in stage.messages} == {"intake.ignored"}
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
