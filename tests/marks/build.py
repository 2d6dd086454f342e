"""Small decks for the tests of sections; quantities counted by hand beside them."""

from __future__ import annotations

from collections.abc import Sequence

from shapely import MultiPolygon, Polygon, get_parts

from tackfree.because import Figure
from tackfree.deck.takeoff_types import Takeoff, ZoneTakeoff
from tackfree.deck.types import Deck, Duty, Exposure, Feature, Zone
from tackfree.marks.types import SizeLimit
from tackfree.words import Message


def zone(id: str, outline, **changes) -> Zone:
    given = {
        "deck_id": "P1",
        "name": id,
        "duty": Duty.LIGHT,
        "exposure": Exposure.COVERED,
        "build_up_id": "BU-STALL",
    }
    return Zone(id=id, outline=outline, **(given | changes))


def taken(z: Zone, floor=None, slope_factor: float = 1.0, **changes) -> ZoneTakeoff:
    floor = z.outline if floor is None else floor
    whole = MultiPolygon([p for p in get_parts(floor) if isinstance(p, Polygon)])
    given = {
        "outline_m2": z.outline.area,
        "obstacles_m2": z.outline.area - whole.area,
        "upturn_m": 0.0,
        "upturn_m2": 0.0,
        "obstacle_edge_m": 0.0,
        "cracks": (),
        "joints": (),
        "termination_m": 0.0,
        "drains": 0,
        "penetrations": 0,
        "stalls": 0,
        "figures": {},
    }
    return ZoneTakeoff(
        zone_id=z.id,
        deck_id=z.deck_id,
        floor=whole,
        plan_m2=whole.area,
        slope_factor=slope_factor,
        field_m2=whole.area * slope_factor,
        **(given | changes),
    )


def deck(zones: Sequence[Zone], features: Sequence[Feature] = ()) -> Deck:
    return Deck(id="P1", name="Level 1", zones=tuple(zones), features=tuple(features))


def takeoff(*zones: ZoneTakeoff) -> Takeoff:
    return Takeoff(zones=zones)


def limit(area_m2: float | None) -> dict[str, SizeLimit]:
    return {
        "BU-STALL": SizeLimit(
            area_m2=area_m2,
            figure=Figure(value=area_m2, unit="m²", formula="given"),
            reason=Message(id="marks.limit.user"),
        )
    }
