"""Sections: what is coated in one go.

A zone larger than the crew can place in a shift is cut into equal shares along its
long side; a stop line or joint near a cut takes its place. Zones named as a group
become one section of several parts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon, Polygon

from tackfree.deck.takeoff_types import Takeoff, ZoneTakeoff
from tackfree.deck.types import Deck, Duty, FeatureKind, Section, Zone
from tackfree.errors import Fault, Refused
from tackfree.marks.cutting import Slice, cut_part
from tackfree.marks.pace import both_areas
from tackfree.marks.share import share_details, share_stalls
from tackfree.marks.types import SectionDetails, SectionStage, SizeLimit
from tackfree.words import Message

# Separate parts no larger than this share of the limit are coated together: a crew
# does not set up for a lone balcony.
SMALL_PART = 0.10


@dataclass(frozen=True, kw_only=True)
class _Measured:
    """A zone beside its takeoff and the deck it lies on."""

    zone: Zone
    takeoff: ZoneTakeoff
    deck: Deck


def cut_sections(
    decks: Sequence[Deck],
    takeoff: Takeoff,
    *,
    limits: Mapping[str, SizeLimit],
    groups: Sequence[Sequence[str]] = (),
) -> SectionStage:
    """Cut every zone of a job into sections.

    Parameters
    ----------
    decks : sequence of Deck
        With their features. Sections come in the order of decks and zones.
    takeoff : Takeoff
        Floors and quantities of the same zones.
    limits : mapping
        Largest section by build-up id; a build-up without one is not cut.
    groups : sequence of zone ids
        Zones coated together; one build-up, exposure and deck each.

    Returns
    -------
    SectionStage
        Sections that add up to the zones, details that add up to their takeoff.

    Raises
    ------
    Refused
        If a group names an unknown zone, names one twice, or mixes build-ups,
        exposures or decks.
    """
    measured = _side_by_side(decks, takeoff)
    group_of = _groups(groups, measured)
    sections: list[Section] = []
    details: list[SectionDetails] = []
    messages: list[Message] = []
    done: set[str] = set()
    for zone_id, one in measured.items():
        if zone_id in done:
            continue
        members = [measured[z] for z in group_of.get(zone_id, (zone_id,))]
        done.update(m.zone.id for m in members)
        if len(members) > 1:
            found, said = _one_group(members, limits)
            owners = [found] * len(members)
        else:
            cut, said = _cut_zone(one, limits)
            found, owners = cut, [cut]
        messages += said
        shared = [share_details(m.takeoff, m.zone, m.deck.features, o)
                  for m, o in zip(members, owners, strict=True)]  # fmt: skip
        stalls = [share_stalls(m.takeoff, m.zone, m.deck.features, o)
                  for m, o in zip(members, owners, strict=True)]  # fmt: skip
        for i, section in enumerate(found):
            joined = _join([s[i] for s in shared])
            details.append(joined)
            sections.append(
                replace(section, upturn_m2=joined.upturn_m2, stalls=sum(s[i] for s in stalls))
            )
    return SectionStage(
        sections=tuple(sections),
        details=tuple(details),
        limits=dict(limits),
        messages=tuple(messages),
    )


def _side_by_side(decks: Sequence[Deck], takeoff: Takeoff) -> dict[str, _Measured]:
    taken = {t.zone_id: t for t in takeoff.zones}
    return {
        z.id: _Measured(zone=z, takeoff=taken[z.id], deck=d)
        for d in decks
        for z in d.zones
        if z.id in taken and not taken[z.id].floor.is_empty
    }


def _groups(
    groups: Sequence[Sequence[str]], measured: Mapping[str, _Measured]
) -> dict[str, tuple[str, ...]]:
    faults: list[Fault] = []
    group_of: dict[str, tuple[str, ...]] = {}
    for i, wanted in enumerate(groups):
        where = f"cutting.group_zones {i + 1}"
        for zone_id in wanted:
            if zone_id not in measured:
                faults.append(
                    Fault(
                        where=where,
                        what=f"Zone {zone_id} is not on any deck.",
                        do="Use the ids of zones that are drawn.",
                    )
                )
            elif zone_id in group_of or wanted.count(zone_id) > 1:
                faults.append(
                    Fault(
                        where=where,
                        what=f"Zone {zone_id} is in two groups.",
                        do="Name each zone once.",
                    )
                )
        known = [measured[z] for z in wanted if z in measured]
        for noun, kinds in (
            ("build-ups", {m.zone.build_up_id for m in known}),
            ("exposures", {m.zone.exposure.value for m in known}),
            ("decks", {m.deck.id for m in known}),
        ):
            if len(kinds) > 1:
                faults.append(
                    Fault(
                        where=where,
                        what=f"The zones have several {noun}: {', '.join(sorted(kinds))}.",
                        do="Group only zones that are coated alike on one deck.",
                    )
                )
        order = tuple(z for z in measured if z in wanted)
        group_of.update(dict.fromkeys(order, order))
    if faults:
        raise Refused(faults)
    return group_of


def _one_group(
    members: Sequence[_Measured], limits: Mapping[str, SizeLimit]
) -> tuple[list[Section], list[Message]]:
    first = members[0].zone
    section = _section(
        f"{first.id}-1", members, MultiPolygon(
            [p for m in members for p in shapely.get_parts(m.takeoff.floor)]
        ), sum(m.takeoff.field_m2 for m in members)
    )  # fmt: skip
    values = {"section": section.id, "zones": len(members), **both_areas(section.developed_m2)}
    said = [Message(id="marks.group.made", values=values)]
    limit = limits.get(first.build_up_id)
    if limit and limit.area_m2 is not None and section.developed_m2 > limit.area_m2 * (1 + 1e-9):
        over = both_areas(limit.area_m2)
        said.append(
            Message(
                id="marks.group.over-limit",
                values={**values, "limit_m2": over["area_m2"], "limit_ft2": over["area_ft2"]},
            )
        )
    return [section], said


def _cut_zone(
    one: _Measured, limits: Mapping[str, SizeLimit]
) -> tuple[list[Section], list[Message]]:
    zone, factor = one.zone, one.takeoff.field_m2 / one.takeoff.floor.area
    limit = limits.get(zone.build_up_id)
    limit_m2 = limit.area_m2 / factor if limit and limit.area_m2 is not None else None
    stops = tuple(
        f.geometry
        for f in one.deck.features
        if f.kind in (FeatureKind.STOP_LINE, FeatureKind.JOINT)
    )
    parts = sorted(shapely.get_parts(one.takeoff.floor), key=_place)
    small = [p for p in parts if limit_m2 is not None and p.area <= SMALL_PART * limit_m2]
    if len(small) < 2:
        small = []
    slices: list[tuple[tuple[Polygon, ...], str]] = []
    for part in parts:
        if not any(part is s for s in small):
            slices += [((s.floor,), s.ended_by) for s in cut_part(part, limit_m2, stops)]
    packed = _pack(small, limit_m2)
    slices += [(tuple(p), "") for p in packed]
    found = [
        _section(f"{zone.id}-{n}", [one], MultiPolygon(list(polygons)),
                 sum(p.area for p in polygons) * factor)
        for n, (polygons, _) in enumerate(slices, 1)
    ]  # fmt: skip
    values = {"zone": zone.id, "count": len(found), **both_areas(one.takeoff.field_m2)}
    said = []
    if len(found) == 1:
        said.append(Message(id="marks.cut.whole", values=values))
    else:
        said.append(Message(id="marks.cut.several", values=values))
    at_stops = sum(1 for _, ended_by in slices if ended_by == Slice.STOP_LINE)
    if at_stops:
        said.append(Message(id="marks.cut.stop-lines", values={**values, "cuts": at_stops}))
    if small:
        said.append(Message(id="marks.cut.small-parts", values={**values, "parts": len(small)}))
    return found, said


def _pack(parts: Sequence[Polygon], limit_m2: float | None) -> list[list[Polygon]]:
    """Small parts in reading order, a new section whenever the limit is reached."""
    packed: list[list[Polygon]] = []
    for part in parts:
        room = packed and limit_m2 is not None
        if room and sum(p.area for p in packed[-1]) + part.area <= (limit_m2 or 0.0):
            packed[-1].append(part)
        else:
            packed.append([part])
    return packed


def _section(
    id: str, members: Sequence[_Measured], floor: MultiPolygon, developed_m2: float
) -> Section:
    first = members[0].zone
    return Section(
        id=id,
        deck_id=members[0].deck.id,
        zone_ids=tuple(m.zone.id for m in members),
        build_up_id=first.build_up_id,
        exposure=first.exposure,
        duty=max((m.zone.duty for m in members), key=list(Duty).index),
        floor=floor,
        developed_m2=developed_m2,
    )


def _place(part: Polygon) -> tuple[float, float]:
    minx, miny, _, _ = part.bounds
    return round(miny, 3), round(minx, 3)


def _join(parts: Sequence[SectionDetails]) -> SectionDetails:
    """The details of one section from each of its zones."""
    first, *rest = parts
    for other in rest:
        first = SectionDetails(
            section_id=first.section_id,
            upturn_m=first.upturn_m + other.upturn_m,
            upturn_m2=first.upturn_m2 + other.upturn_m2,
            obstacle_edge_m=first.obstacle_edge_m + other.obstacle_edge_m,
            cracks=first.cracks + other.cracks,
            joints=first.joints + other.joints,
            termination_m=first.termination_m + other.termination_m,
            drains=first.drains + other.drains,
            penetrations=first.penetrations + other.penetrations,
        )
    return first
