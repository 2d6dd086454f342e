"""One connected floor of a section laid for one coat, at the pace of its crews."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.ops import nearest_points

from tackfree.buildup.types import Coat
from tackfree.deck.types import Deck, FeatureKind, Section
from tackfree.errors import NotFound
from tackfree.marks.cell_types import EIGHTH_INCH_M, Cell, Layout, Wishes
from tackfree.marks.layout import OFF_FLOOR_M, best_layouts, directions, lay, rank, whole_width_m
from tackfree.marks.pace import kit_pace, pot_life_minutes, rate_of
from tackfree.marks.stopping import lay_within
from tackfree.marks.tempo import keeps_wet_edge, kits_within, minutes_per_kit
from tackfree.service.marks_types import TWO_MM_M, Ask
from tackfree.service.pipeline import Pipeline
from tackfree.supply.types import CoatLine
from tackfree.words import Message

_EASY = 3  # seam age with bent cells below which no other lane width is tried
_FAR_M = 30.0  # a drawn exit farther away than this is not this section's


@dataclass(frozen=True, kw_only=True)
class Chosen:
    layouts: tuple[Layout, ...]
    lines: tuple[LineString, ...] = ()

    @property
    def age_kits(self) -> int:
        return max(one.check.age_kits for one in self.layouts)


@dataclass(frozen=True, kw_only=True)
class LaidPart:
    """One connected floor: its layouts, what is said of it, and of each one's tempo."""

    choices: tuple[Chosen, ...]
    messages: tuple[Message, ...]
    tempo: Callable[[Sequence[Layout]], list[Message]]


def lay_part(
    made: Pipeline,
    section: Section,
    line: CoatLine,
    ask: Ask,
    deck: Deck,
    part: Polygon,
    slope: float,
    count: int,
    search: bool,
) -> LaidPart:
    target = line.reach_m2 / slope
    told = []
    near = sorted(ask.exits, key=lambda e: (part.distance(e), e.x, e.y))
    ways = [nearest_points(part, e)[0] for e in near if part.distance(e) <= OFF_FLOOR_M]
    # A part that no given exit touches is left toward the nearest one.
    ways = ways or [nearest_points(part, e)[0] for e in near[:1]] or _exits(deck, part)
    if not ways:
        x, y = part.bounds[:2]
        ways = [nearest_points(part, Point(x, y))[0]]
        told.append(Message(id="marks.cells.no-exit", values={"section": section.id}))
    wishes = Wishes(
        exits=tuple(ways), direction_rad=ask.direction_rad, module=ask.module, start=ask.start,
        stop_lines=(*ask.stop_lines, *_stop_lines(deck)), no_go=ask.no_go,
        tape_m=EIGHTH_INCH_M if made.job.units != "si" else TWO_MM_M,
    )  # fmt: skip
    if ask.lane_m is not None:
        wishes = replace(wishes, lane_m=ask.lane_m, any_width=False)
    if ask.passage_m is not None:
        wishes = replace(wishes, passage_m=ask.passage_m)
    tempo = _tempo(made, section, line, ask, slope)
    if count > 1:
        found = best_layouts(part, target_m2=target, wishes=wishes, count=count)
    else:
        found = (_best(part, target, wishes, search),)
        if tempo.age is not None and found[0].check.age_kits > tempo.age:
            # Another direction may keep the edge wet where the one of fewest kits does not.
            found += best_layouts(part, target_m2=target, wishes=wishes)
    choices = [Chosen(layouts=(one,)) for one in found]
    if tempo.age is not None:
        late = tempo.age
        choices.sort(key=lambda one: one.age_kits > late)
        if count == 1:
            choices = choices[:1]
        for k, one in enumerate(choices):
            if one.age_kits > late:
                # The directions differ from choice to choice; a single one may turn its lanes.
                way = one.layouts[0].direction_rad if count > 1 else ask.direction_rad
                choices[k] = _parted(part, replace(wishes, direction_rad=way), target, late, search)
        choices.sort(key=lambda one: one.age_kits > late)
    return LaidPart(choices=tuple(choices), messages=tuple(told), tempo=tempo.say)


def _parted(part: Polygon, wishes: Wishes, target_m2: float, age: int, search: bool) -> Chosen:
    """A floor cut at stop lines, so that no edge waits longer where lines allow it."""
    cut = lay_within(
        part, wishes=wishes, age_kits=age, lay_one=lambda p, w: _best(p, target_m2, w, search)
    )
    return Chosen(layouts=cut.layouts, lines=cut.lines)


def _best(part: Polygon, target_m2: float, wishes: Wishes, search: bool) -> Layout:
    if not search and not wishes.module:
        ways = directions(part, wishes.direction_rad)[:2]
        tried = [lay(part, target_m2=target_m2, wishes=wishes, direction_rad=w) for w in ways]
        if min(one.check.age_kits + one.bent for one in tried) > _EASY:
            for way in ways:
                width = whole_width_m(part, target_m2, wishes, way)
                if width is not None:
                    other = replace(wishes, lane_m=width)
                    tried.append(lay(part, target_m2=target_m2, wishes=other, direction_rad=way))
        one = min(tried, key=rank)
        if not one.check.faults and len(one.check.slivers) <= 1:
            return one
    return best_layouts(part, target_m2=target_m2, wishes=wishes, count=1)[0]


@dataclass(frozen=True, kw_only=True)
class _Tempo:
    """How old a seam may be [kits] for the slowest crew, and what to say of layouts."""

    age: int | None
    say: Callable[[Sequence[Layout]], list[Message]]


def _tempo(made: Pipeline, section: Section, line: CoatLine, ask: Ask, slope: float) -> _Tempo:
    coat = coat_of(made, section, line)
    minutes = ask.open_minutes or _open_by_sheet(made, line, ask)
    rates = rates_of(made, coat)
    if not rates or minutes is None:
        return _Tempo(age=None, say=lambda layouts: [])
    paces = [(people, minutes_per_kit(reach_m2=line.reach_m2, rate_m2_per_h=rate))
             for people, rate in sorted(rates)]  # fmt: skip

    def said(layouts: Sequence[Layout]) -> list[Message]:
        worst = max(layouts, key=lambda one: one.check.age_kits)
        out = []
        if len(layouts) > 1:
            out.append(Message(id="marks.wet-edge.cut", values={
                "section": section.id, "coat": line.coat_id, "stretches": len(layouts),
            }))  # fmt: skip
        return out + [
            keeps_wet_edge(worst, section_id=section.id, coat_id=line.coat_id, kit_minutes=pace,
                           open_minutes=minutes, people=people)
            for people, pace in paces
        ]  # fmt: skip

    return _Tempo(age=min(kits_within(minutes, pace) for _, pace in paces), say=said)


def rates_of(made: Pipeline, coat: Coat) -> set[tuple[int, float]]:
    """Hands and rate of every crew that places a coat. [m²/h]"""
    return {(crew.people, r) for crew in made.job.crews if (r := rate_of(coat, crew.rates))}


def _open_by_sheet(made: Pipeline, line: CoatLine, ask: Ask) -> float | None:
    return pot_life_minutes(made.job.products[line.product_id].open_time, ask.slab_c)


def said_before(made: Pipeline, section: Section, line: CoatLine, ask: Ask) -> list[Message]:
    """What must be known before the first cell: details, open time, pail life."""
    out = []
    about = {"section": section.id, "coat": line.coat_id}
    if line.detail_l > 0:
        values: dict[str, object] = {**about, "litres": round(line.detail_l, 1),
                  "gallons": round(line.detail_l / 3.785411784, 1)}  # fmt: skip
        out.append(Message(id="marks.cells.details-first", values=values))
    minutes = None if ask.open_minutes else _open_by_sheet(made, line, ask)
    if minutes is not None:
        values = {"product": line.product_id, "open_min": math.floor(minutes + 1e-6),
                  "temp_f": round(ask.slab_c * 1.8 + 32), "temp_c": round(ask.slab_c)}  # fmt: skip
        out.append(Message(id="marks.wet-edge.sheet", values=values))
    coat = coat_of(made, section, line)
    for crew in made.job.crews:
        short = kit_pace(
            section_id=section.id, coat=coat, product=made.job.products[line.product_id],
            reach_m2=line.reach_m2, rates_m2_per_h=crew.rates,
        )  # fmt: skip
        if short is not None and short not in out:
            out.append(short)
    return out


def coat_of(made: Pipeline, section: Section, line: CoatLine) -> Coat:
    return next(c for c in made.job.build_ups[section.build_up_id].coats if c.id == line.coat_id)


def whole_parts(
    parts: Sequence[Polygon], slopes: Sequence[float], reach_m2: float, shift: int
) -> list[Cell]:
    """Separate parts, in their order, as many whole ones as a kit covers."""
    groups: list[list[tuple[Polygon, float]]] = [[]]
    order = sorted(zip(parts, slopes, strict=True),
                   key=lambda p: (round(p[0].centroid.y, 3), p[0].centroid.x))  # fmt: skip
    for p, s in order:
        if groups[-1] and sum(q.area * t for q, t in groups[-1]) + p.area * s > reach_m2 * 1.001:
            groups.append([])
        groups[-1].append((p, s))
    out = []
    for n, group in enumerate(groups, 1 + shift):
        kits = sum(p.area * s for p, s in group) / reach_m2
        plan = sum(p.area for p, _ in group)
        out.append(
            Cell(number=n, outline=MultiPolygon([p for p, _ in group]), plan_m2=plan, kits=kits,
                 full=abs(kits - 1) <= 1e-3, lane=1)
        )  # fmt: skip
    return out


def section_slope(section: Section) -> float:
    """True area over plan area of a whole section."""
    return section.developed_m2 / section.floor.area


def slope_of(made: Pipeline, section: Section, part: Polygon) -> float:
    """True area over plan area where a part lies: its own zone's, not the section's mean."""
    if len(section.zone_ids) < 2:
        return section_slope(section)
    here = [z for z in made.takeoff.zones if z.zone_id in section.zone_ids]
    zone = max(here, key=lambda z: (z.floor.intersection(part).area, z.zone_id))
    return zone.field_m2 / zone.floor.area


def _exits(deck: Deck, part: Polygon) -> list[Point]:
    """Where the crew leaves: the floor's nearest point to the nearest way off the deck."""
    ways = [f for f in deck.features if f.kind in (FeatureKind.EXIT, FeatureKind.ENTRANCE)]
    near = sorted((part.distance(f.geometry), f.id, f) for f in ways)
    if not near or near[0][0] > max(_FAR_M, part.length):
        return []
    return [nearest_points(part, near[0][2].geometry)[0]]


def _stop_lines(deck: Deck) -> tuple[Any, ...]:
    kinds = (FeatureKind.STOP_LINE, FeatureKind.JOINT)
    return tuple(f.geometry for f in deck.features if f.kind in kinds)


def film_of(lines: Sequence[Any], section_id: str, coat_id: str) -> tuple[float, float]:
    """Wet film and fill of a coat, from the lines of the materials stage. [µm]"""
    for line in lines:
        if (line["section_id"], line["coat_id"]) == (section_id, coat_id):
            return float(line["wft_um"]), float(line["fill_um"] or 0.0)
    raise NotFound(f"no material of {section_id} {coat_id} is built.", where="materials.json",
                   do="Build the job again.")  # fmt: skip
