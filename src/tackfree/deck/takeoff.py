"""Quantities zone by zone: floor, details, cracks, joints, drains, stalls.

Order of booleans: a zone's floor is its outline less the *union* of obstacles, so a
column drawn twice, or inside an opening, is taken out once, and one across the edge
by its inside part. Whatever borders two zones is counted in one of them.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.because import Figure, Given, Source
from tackfree.deck.area import helix_factor, slope_factor, sloped_length_m, steps_factor
from tackfree.deck.takeoff_types import CrackRun, JointRun, Takeoff, ZoneTakeoff
from tackfree.deck.types import Deck, Feature, FeatureKind, Helix, Steps, Zone
from tackfree.words import Message

TOUCH_M = 1e-7  # numbers of the same line
REACH_M = 0.3  # an edge line drawn this far off its zone still belongs to it
SNAP_M = 0.01  # so does a crack or joint along its edge
STRAY_M = 0.001  # shorter leftovers are arithmetic
HAIR_M = 1e-4  # floor thinner than two of these is arithmetic

DRAWN = Source(kind="drawn")
EXACT = Source(kind="exact")

FT_M = 0.3048
STALL_M2 = (300 * FT_M**2, 350 * FT_M**2)  # practice: floor for each stall, lanes included
FAR_OFF = 1.25  # beyond this part of the range an area or a count is wrong
FEW_STALLS = 10  # fewer prove nothing
SAW_CUT = "¼ in wide, ⅛ in deep"  # practice: a termination is keyed into a saw cut

Run = tuple[float | None, float | None]  # what makes two lines the same item


@dataclass(kw_only=True)
class Shares:
    """What each zone got of one kind of line, by item. ``left`` found no zone."""

    by_zone: dict[str, dict[Run, float]] = field(default_factory=lambda: defaultdict(dict))
    left: dict[Run, BaseGeometry] = field(default_factory=dict)


def take_off(decks: Sequence[Deck], *, rout_from_m: Mapping[str, float]) -> Takeoff:
    """Quantities of every zone.

    Parameters
    ----------
    decks : sequence of Deck
    rout_from_m : mapping
        Build-up id to the crack width from which cracks are routed. [m] A build-up
        that is not named routs none.

    Returns
    -------
    Takeoff
        Zones in the order declared. Lengths on a sloping zone are true lengths.
        Messages name what found no zone and what was drawn twice.

    Source
    ------
    Exact on the drawn outlines; drawn arcs keep their area.
    """
    zones: list[ZoneTakeoff] = []
    messages: list[Message] = []
    for deck in decks:
        zones += _Deck(deck, messages).zones(rout_from_m)
    return Takeoff(zones=tuple(zones), messages=tuple(messages))


class _Deck:
    """One deck's takeoff in the making."""

    def __init__(self, deck: Deck, messages: list[Message]) -> None:
        self.deck = deck
        self.messages = messages
        kinds: dict[FeatureKind, list[Feature]] = defaultdict(list)
        for feature in deck.features:
            kinds[feature.kind].append(feature)
        self.kinds = kinds
        obstacles = [f.geometry for k in OBSTACLES for f in kinds[k]]
        self.obstacles: BaseGeometry = shapely.union_all(obstacles)
        self.floors = {z.id: floor_of(z, self.obstacles) for z in deck.zones}

    def say(self, name: str, **values: object) -> None:
        self.messages.append(Message(id=f"deck.{name}", values={"deck": self.deck.id, **values}))

    def zones(self, rout_from_m: Mapping[str, float]) -> list[ZoneTakeoff]:
        floors = [(z, _solid(self.floors[z.id])) for z in self.deck.zones]
        edge = self.lines(FeatureKind.UPTURN, floors, reach=REACH_M)
        ends = self.lines(FeatureKind.TERMINATION, floors, reach=REACH_M)
        cracks = self.lines(FeatureKind.CRACK, floors, reach=SNAP_M)
        joints = self.lines(FeatureKind.JOINT, floors, reach=SNAP_M)
        drains = self.count(FeatureKind.DRAIN)
        penetrations = self.count(FeatureKind.PENETRATION)
        stalls = self.stalls()
        out = []
        for z in self.deck.zones:
            if self.floors[z.id].is_empty:
                self.say("no-floor", zone=z.id)
            rout = rout_from_m.get(z.build_up_id, math.inf)
            out.append(
                _zone_takeoff(
                    z,
                    self.floors[z.id],
                    self.obstacles,
                    upturns=edge.by_zone[z.id],
                    termination_m=math.fsum(ends.by_zone[z.id].values()),
                    cracks=(
                        *(
                            CrackRun(width_m=w or 0.0, length_m=n, rout=(w or 0.0) >= rout)
                            for (w, _), n in _ordered(cracks.by_zone[z.id])
                        ),
                        *_expected(z, self.floors[z.id].area, rout),
                    ),
                    joints=tuple(
                        JointRun(width_m=w or 0.0, depth_m=d or 0.0, length_m=n)
                        for (w, d), n in _ordered(joints.by_zone[z.id])
                    ),
                    drains=drains[z.id],
                    penetrations=penetrations[z.id],
                    stalls=stalls[z.id],
                )
            )
        self.doubt_stalls(out)
        return out

    def doubt_stalls(self, zones: Sequence[ZoneTakeoff]) -> None:
        """Say so where floor and stalls do not look like one garage."""
        count = sum(z.stalls for z in zones)
        if count < FEW_STALLS:
            return
        each = math.fsum(z.plan_m2 for z in zones) / count
        if not STALL_M2[0] / FAR_OFF <= each <= STALL_M2[1] * FAR_OFF:
            self.say(
                "stall-area",
                stalls=count,
                each_ft2=round(each / FT_M**2),
                each_m2=round(each, 1),
            )

    def lines(
        self, kind: FeatureKind, floors: list[tuple[Zone, BaseGeometry]], *, reach: float
    ) -> Shares:
        """Divide the lines of one kind among the zones; each bit counts once."""
        groups: dict[Run, list[BaseGeometry]] = defaultdict(list)
        for f in self.kinds[kind]:
            run: Run = (f.height_m, None) if kind is FeatureKind.UPTURN else (f.width_m, f.depth_m)
            groups[run].append(f.geometry)
        shares = Shares()
        for run, shapes in groups.items():
            line = shapely.union_all(shapes)
            doubled = math.fsum(s.length for s in shapes) - line.length
            if doubled > STRAY_M:
                self.say("line-doubled", kind=kind.value, length_m=round(doubled, 3))
            left = line
            for distance in (TOUCH_M, reach):
                if distance > TOUCH_M:  # not the stretch behind a column
                    left = left.difference(self.obstacles.buffer(TOUCH_M))
                for zone, floor in floors:
                    near = floor.buffer(distance, join_style="mitre")
                    got = left.intersection(near)
                    if distance > TOUCH_M:
                        got = _alongside(got, distance)
                    length = _true_length(got, zone)
                    if length > HAIR_M:
                        taken = shares.by_zone[zone.id]
                        taken[run] = taken.get(run, 0.0) + length
                        left = left.difference(got.buffer(TOUCH_M))
            inside = left.difference(self.obstacles.buffer(TOUCH_M))
            if inside.length > STRAY_M:
                shares.left[run] = inside
                spot = inside.representative_point()
                self.say(
                    "line-outside",
                    kind=kind.value,
                    length_m=round(inside.length, 3),
                    x_m=round(spot.x, 2),
                    y_m=round(spot.y, 2),
                )
        return shares

    def count(self, kind: FeatureKind) -> Counter[str]:
        """Pieces of a counted kind by zone; on a shared edge the first zone has them."""
        out: Counter[str] = Counter()
        for f in self.kinds[kind]:
            if self.obstacles.contains(f.geometry):
                self.say("in-obstacle", kind=kind.value, feature=f.id)
                continue
            best = min(self.deck.zones, key=lambda z: z.outline.distance(f.geometry), default=None)
            if best is None or best.outline.distance(f.geometry) > REACH_M:
                self.say("feature-outside", kind=kind.value, feature=f.id)
                continue
            out[best.id] += f.count
        return out

    def stalls(self) -> Counter[str]:
        """Stalls by the zone that holds most of each."""
        out: Counter[str] = Counter()
        for f in self.kinds[FeatureKind.STALL]:
            shared = [(z.outline.intersection(f.geometry).area, z.id) for z in self.deck.zones]
            most = max(shared, key=lambda s: s[0], default=(0.0, ""))
            if most[0] <= 0:
                self.say("feature-outside", kind="stall", feature=f.id)
                continue
            out[most[1]] += f.count
        return out


OBSTACLES = (FeatureKind.COLUMN, FeatureKind.OPENING)


def _expected(zone: Zone, plan_m2: float, rout_from_m: float) -> tuple[CrackRun, ...]:
    """Cracks that were allowed for by the area."""
    allowed = zone.cracks_expected
    if allowed is None or not allowed.m_per_m2 * plan_m2:
        return ()
    return (
        CrackRun(
            width_m=allowed.width_m,
            length_m=allowed.m_per_m2 * plan_m2,
            rout=allowed.width_m >= rout_from_m,
            basis="inferred",
        ),
    )


def true_factor(zone: Zone) -> Figure:
    """True area over plan area of a zone's floor, with its reason."""

    def typed(name: str, value: float, unit: str = "") -> Given:
        return Given(name=name, value=value, unit=unit, source=Source(kind="typed"))

    form = zone.form
    inputs: tuple[Given, ...]
    if isinstance(form, Helix):
        inputs = (
            typed("inner", form.inner_m, "m"),
            typed("outer", form.outer_m, "m"),
            typed("rise_per_turn", form.rise_per_turn_m, "m"),
        )
        value = helix_factor(
            inner_m=form.inner_m, outer_m=form.outer_m, rise_per_turn_m=form.rise_per_turn_m
        )
        formula = "2π ∫ √(r² + (rise_per_turn / 2π)²) dr ÷ π (outer² − inner²)"
    elif isinstance(form, Steps):
        inputs = (typed("tread", form.tread_m, "m"), typed("riser", form.riser_m, "m"))
        value = steps_factor(tread_m=form.tread_m, riser_m=form.riser_m)
        formula = "(tread + riser) ÷ tread"
    else:
        inputs = (typed("slope_x", zone.slope_x), typed("slope_y", zone.slope_y))
        value = slope_factor(zone.slope_x, zone.slope_y)
        formula = "√(1 + slope_x² + slope_y²)"
    return Figure(value=value, unit="", formula=formula, inputs=inputs)


def _ordered(runs: Mapping[Run, float]) -> list[tuple[Run, float]]:
    return sorted(runs.items(), key=lambda r: (r[0][0] or 0.0, r[0][1] or 0.0))


def floor_of(zone: Zone, obstacles: BaseGeometry) -> MultiPolygon:
    """A zone's outline less the union of obstacles, without hair-thin leftovers."""
    parts = _polygons(zone.outline.difference(obstacles)).geoms
    return MultiPolygon([p for p in parts if not p.buffer(-HAIR_M).is_empty])


def _solid(floor: BaseGeometry) -> BaseGeometry:
    """The floor without hairs along faces that only nearly coincide."""
    return floor.buffer(-HAIR_M, join_style="mitre").buffer(HAIR_M, join_style="mitre")


def _polygons(shape: BaseGeometry) -> MultiPolygon:
    """The polygons of a shape, without the points and lines a difference may leave."""
    if isinstance(shape, Polygon):
        return MultiPolygon([] if shape.is_empty else [shape])
    parts: Iterable[BaseGeometry] = getattr(shape, "geoms", ())
    return MultiPolygon([q for p in parts for q in _polygons(p).geoms])


def _lines(shape: BaseGeometry) -> list[LineString]:
    if isinstance(shape, LineString):
        return [] if shape.is_empty else [shape]
    if isinstance(shape, MultiLineString) or hasattr(shape, "geoms"):
        return [x for part in shape.geoms for x in _lines(part)]
    return []


def _alongside(shape: BaseGeometry, distance: float) -> MultiLineString:
    """Lines that run beside the floor, without ends that only run off it."""
    merged = shapely.line_merge(MultiLineString(_lines(shape)))
    return MultiLineString([x for x in _lines(merged) if x.length > 2 * distance])


def _true_length(shape: BaseGeometry, zone: Zone) -> float:
    return math.fsum(
        sloped_length_m(np.asarray(x.coords), slope_x=zone.slope_x, slope_y=zone.slope_y)
        for x in _lines(shape)
    )


def detail_edge_m(floor: MultiPolygon, obstacles: BaseGeometry, zone: Zone) -> float:
    """Length along which the floor meets obstacles. [m]

    Not the obstacles' own perimeter: a column half over the edge counts its inside
    part, and one flush with the edge not its face to the air.
    """
    if obstacles.is_empty:
        return 0.0
    near = _solid(floor).buffer(TOUCH_M, join_style="mitre")
    return _true_length(obstacles.boundary.intersection(near), zone)


def _zone_takeoff(
    zone: Zone,
    floor: MultiPolygon,
    obstacles: BaseGeometry,
    *,
    upturns: Mapping[Run, float],
    termination_m: float,
    cracks: tuple[CrackRun, ...],
    joints: tuple[JointRun, ...],
    drains: int,
    penetrations: int,
    stalls: int,
) -> ZoneTakeoff:
    outline, plan = zone.outline.area, floor.area
    reason = true_factor(zone)
    factor = float(reason.value or 1.0)
    edge = detail_edge_m(floor, obstacles, zone)
    upturn = math.fsum(upturns.values())
    upturn_area = math.fsum((height or 0.0) * length for (height, _), length in upturns.items())
    unknown = any(height is None for height, _ in upturns)

    def drawn(name: str, value: float, unit: str) -> Given:
        return Given(name=name, value=value, unit=unit, source=DRAWN)

    figures = {
        "outline_m2": Figure(value=outline, unit="m²", formula="outline", source=DRAWN),
        "obstacles_m2": Figure(
            value=outline - plan,
            unit="m²",
            formula="area of union(obstacles) inside outline",
            source=DRAWN,
        ),
        "plan_m2": Figure(
            value=plan,
            unit="m²",
            formula="outline - obstacles",
            inputs=(drawn("outline", outline, "m²"), drawn("obstacles", outline - plan, "m²")),
        ),
        "slope_factor": reason,
        "field_m2": Figure(
            value=plan * factor,
            unit="m²",
            formula="plan × slope_factor",
            inputs=(drawn("plan", plan, "m²"), Given(name="slope_factor", value=factor)),
        ),
        "upturn_m": Figure(
            value=upturn, unit="m", formula="length of upturn lines along the floor", source=DRAWN
        ),
        "upturn_m2": Figure(
            value=None if unknown else upturn_area,
            unit="m²",
            formula="sum of length × height",
            inputs=tuple(
                given
                for i, ((height, _), length) in enumerate(_ordered(upturns), 1)
                for given in (
                    drawn(f"length_{i}", length, "m"),
                    Given(
                        name=f"height_{i}",
                        value="missing" if height is None else height,
                        unit="m",
                        source=Source(kind="typed"),
                    ),
                )
            ),
        ),
        "obstacle_edge_m": Figure(
            value=edge,
            unit="m",
            formula="length of obstacle edges that meet the floor",
            source=DRAWN,
        ),
        "cracks_m": Figure(
            value=math.fsum(c.length_m for c in cracks),
            unit="m",
            formula="sum of crack lengths on the floor",
            inputs=tuple(
                drawn(
                    f"{c.width_m * 1000:g} mm wide{', routed' if c.rout else ''}", c.length_m, "m"
                )
                if c.basis == "drawn"
                else Given(
                    name=f"{c.width_m * 1000:g} mm wide, allowed for",
                    value=c.length_m,
                    unit="m",
                    source=Source(kind="typed", text="allowance by area"),
                )
                for c in cracks
            ),
            source=DRAWN,
        ),
        "joints_m": Figure(
            value=math.fsum(j.length_m for j in joints),
            unit="m",
            formula="sum of joint lengths on the floor",
            inputs=tuple(
                drawn(f"{j.width_m * 1000:g} × {j.depth_m * 1000:g} mm", j.length_m, "m")
                for j in joints
            ),
            source=DRAWN,
        ),
        "termination_m": Figure(
            value=termination_m, unit="m", formula="length of termination lines", source=DRAWN
        ),
        "cove_m": Figure(
            value=upturn + edge,
            unit="m",
            formula="upturn_m + obstacle_edge_m",
            inputs=(drawn("upturn_m", upturn, "m"), drawn("obstacle_edge_m", edge, "m")),
            source=Source(kind="practice", text="a bead in every inside corner"),
        ),
        "saw_cut_m": Figure(
            value=termination_m,
            unit="m",
            formula="termination_m",
            inputs=(drawn("termination_m", termination_m, "m"),),
            source=Source(kind="practice", text=SAW_CUT),
        ),
        "drains": Figure(value=drains, unit="", formula="count", source=DRAWN),
        "penetrations": Figure(value=penetrations, unit="", formula="count", source=DRAWN),
        "stalls": Figure(value=stalls, unit="", formula="count", source=DRAWN),
    }
    return ZoneTakeoff(
        zone_id=zone.id,
        deck_id=zone.deck_id,
        floor=floor,
        outline_m2=outline,
        obstacles_m2=outline - plan,
        plan_m2=plan,
        slope_factor=factor,
        field_m2=plan * factor,
        upturn_m=upturn,
        upturn_m2=upturn_area,
        obstacle_edge_m=edge,
        cracks=cracks,
        joints=joints,
        termination_m=termination_m,
        drains=drains,
        penetrations=penetrations,
        stalls=stalls,
        figures=figures,
        cove_m=upturn + edge,
        saw_cut_m=termination_m,
    )
