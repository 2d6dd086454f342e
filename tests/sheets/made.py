"""An invented parking level for drawing tests: three modules, 60 ft deep each."""

from __future__ import annotations

from shapely import LineString, MultiPolygon, Point, Polygon, box

from tackfree.deck.types import (
    Deck,
    Duty,
    Exposure,
    Feature,
    FeatureKind,
    PostTensioned,
    Section,
    Zone,
)

FT = 0.3048
WIDE, DEEP = 166 * FT, 180 * FT


def rect(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    """A rectangle given in feet."""
    return box(x0 * FT, y0 * FT, x1 * FT, y1 * FT)


# stall strips and lanes, from the bottom up [ft]
STRIPS = [
    ("S", 0, 18),
    ("L", 18, 42),
    ("S", 42, 78),
    ("L", 78, 102),
    ("S", 102, 138),
    ("L", 138, 162),
    ("S", 162, 180),
]


def level() -> Deck:
    zones, features = [], []
    for kind, y0, y1 in STRIPS:
        stalls = kind == "S"
        zones.append(
            Zone(
                id=f"P1-{kind}{y0}",
                deck_id="P1",
                name="stalls" if stalls else "lane",
                outline=rect(0, y0, 166, y1),
                duty=Duty.LIGHT if stalls else Duty.HEAVY,
                exposure=Exposure.COVERED,
                build_up_id="BU-STALL" if stalls else "BU-LANE",
            )
        )
    number = 100
    for y0 in (0, 42, 60, 102, 120, 162):
        for k in range(18):
            number += 1
            features.append(
                Feature(
                    id=f"ST{number}",
                    kind=FeatureKind.STALL,
                    label=str(number),
                    geometry=rect(2 + 9 * k, y0, 11 + 9 * k, y0 + 18),
                )
            )
    for k, x in enumerate((28, 55, 83, 110, 137)):
        for y in (18, 60, 120, 162):
            features.append(
                Feature(
                    id=f"C{k}-{y}", kind=FeatureKind.COLUMN, geometry=rect(x, y - 1, x + 2, y + 1)
                )
            )
    features += [
        Feature(id="OP1", kind=FeatureKind.OPENING, geometry=rect(150, 62, 162, 76)),
        Feature(id="D1", kind=FeatureKind.DRAIN, geometry=Point(40 * FT, 30 * FT)),
        Feature(id="D2", kind=FeatureKind.DRAIN, geometry=Point(120 * FT, 90 * FT)),
        Feature(id="PN1", kind=FeatureKind.PENETRATION, geometry=Point(12 * FT, 92 * FT)),
        Feature(
            id="CR1",
            kind=FeatureKind.CRACK,
            width_m=0.0006,
            geometry=LineString([(20 * FT, 20 * FT), (36 * FT, 26 * FT), (60 * FT, 24 * FT)]),
        ),
        Feature(
            id="CR2",
            kind=FeatureKind.CRACK,
            width_m=0.003,
            geometry=LineString([(90 * FT, 106 * FT), (104 * FT, 118 * FT), (109 * FT, 133 * FT)]),
        ),
        Feature(
            id="J1",
            kind=FeatureKind.JOINT,
            width_m=0.0127,
            depth_m=0.0127,
            geometry=LineString([(69.5 * FT, 0), (69.5 * FT, DEEP)]),
        ),
        Feature(
            id="U1",
            kind=FeatureKind.UPTURN,
            height_m=0.15,
            geometry=LineString([(0, 0), (0, DEEP), (WIDE, DEEP)]),
        ),
        Feature(
            id="T1",
            kind=FeatureKind.TERMINATION,
            geometry=LineString([(WIDE, 18 * FT), (WIDE, 42 * FT)]),
        ),
        Feature(
            id="EN", kind=FeatureKind.ENTRANCE, geometry=Point(WIDE, 150 * FT), connects=("street",)
        ),
        Feature(
            id="EX", kind=FeatureKind.EXIT, geometry=Point(WIDE, 30 * FT), connects=("street",)
        ),
    ]
    return Deck(
        id="P1",
        name="Covered level",
        zones=tuple(zones),
        features=tuple(features),
        post_tensioned=PostTensioned.NO,
    )


def sections(deck: Deck) -> tuple[Section, ...]:
    solid = [
        f.geometry for f in deck.features if f.kind in (FeatureKind.COLUMN, FeatureKind.OPENING)
    ]
    out = []
    for k, zone in enumerate(deck.zones, start=1):
        floor = zone.outline
        for hole in solid:
            floor = floor.difference(hole)
        multi = MultiPolygon([floor]) if isinstance(floor, Polygon) else floor
        out.append(
            Section(
                id=f"S{k:02d}",
                deck_id=deck.id,
                zone_ids=(zone.id,),
                build_up_id=zone.build_up_id,
                exposure=zone.exposure,
                duty=zone.duty,
                floor=multi,
                developed_m2=multi.area,
                stalls=18 if zone.duty is Duty.LIGHT else 0,
            )
        )
    return tuple(out)


def balconies() -> tuple[Deck, tuple[Section, ...]]:
    """Twelve narrow balconies, five to a section: no label fits inside one."""
    zones = [
        Zone(
            id=f"BAL-{k + 1}",
            deck_id="BAL",
            name="balcony",
            outline=rect(24 * (k % 4), 14 * (k // 4), 24 * (k % 4) + 17, 14 * (k // 4) + 3),
            duty=Duty.PEDESTRIAN,
            exposure=Exposure.OPEN_SKY,
            build_up_id="BU-BALC",
        )
        for k in range(12)
    ]
    deck = Deck(id="BAL", name="Balconies", zones=tuple(zones), features=())
    groups = [zones[0:4], zones[4:8], zones[8:12]]
    made = []
    for k, group in enumerate(groups, start=1):
        floor = MultiPolygon([z.outline for z in group if isinstance(z.outline, Polygon)])
        made.append(
            Section(
                id=f"B{k}",
                deck_id="BAL",
                zone_ids=tuple(z.id for z in group),
                build_up_id="BU-BALC",
                exposure=Exposure.OPEN_SKY,
                duty=Duty.PEDESTRIAN,
                floor=floor,
                developed_m2=floor.area,
            )
        )
    return deck, tuple(made)


def ramp() -> tuple[Deck, tuple[Section, ...]]:
    """A ramp that rises to the right and belongs to an open level."""
    outline = rect(0, 0, 150, 24)
    zone = Zone(
        id="RAMP-1",
        deck_id="RAMP",
        name="ramp",
        outline=outline,
        duty=Duty.EXTRA_HEAVY,
        exposure=Exposure.OPEN_SKY,
        build_up_id="BU-RAMP",
        slope_x=0.0667,
    )
    feature = Feature(id="R1", kind=FeatureKind.RAMP, geometry=outline, connects=("P1", "P2"))
    deck = Deck(id="RAMP", name="Ramp to P2", zones=(zone,), features=(feature,))
    section = Section(
        id="R1",
        deck_id="RAMP",
        zone_ids=(zone.id,),
        build_up_id="BU-RAMP",
        exposure=zone.exposure,
        duty=zone.duty,
        floor=MultiPolygon([outline]),
        developed_m2=outline.area * 1.0022,
    )
    return deck, (section,)
