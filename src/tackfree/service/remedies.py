"""What can be done about one clock: while its window is open, and once it is missed."""

from __future__ import annotations

from tackfree.buildup.types import Role
from tackfree.cure.remedy import Remedy, abraded, ways_out
from tackfree.service import climate as climates
from tackfree.service import curing
from tackfree.service.clocks import ClockLine
from tackfree.service.pipeline import Pipeline
from tackfree.words import Message


def ways_now(made: Pipeline, line: ClockLine) -> tuple[Remedy, ...]:
    """Ways out where a clock leaves no legal moment; nothing where it leaves one."""
    if not line.clock.no_legal_moment:
        return ()
    return ways_at(made, line, line.clock.placed_from_utc_s)


def ways_late(made: Pipeline, line: ClockLine) -> tuple[Remedy, ...]:
    """What a coat needs once recoat before has passed; nothing where there is no limit."""
    before = line.clock.recoat_before_utc_s
    return () if before is None else ways_at(made, line, before)


def ways_at(
    made: Pipeline, line: ClockLine, now_utc_s: float, *, wet: bool = False
) -> tuple[Remedy, ...]:
    """Ways out at a moment, with hours and gallons for the section's own area."""
    c = line.clock
    if c.recoat_before_utc_s is None:
        return ()
    section = next(s for s in made.sections.sections if s.id == line.section_id)
    coats = made.job.build_ups[section.build_up_id].coats
    coat = next(x for x in coats if x.id == line.coat_id)
    return ways_out(
        curing.trace_of(made.climate, made.job, climates.where_of(made.job, section), coat),
        curing.cure_sheet(made.job.products[coat.product_id]),
        area_m2=section.developed_m2,
        primer=coat.role == Role.PRIMER,
        placed_from_utc_s=c.placed_from_utc_s,
        placed_to_utc_s=c.placed_to_utc_s,
        now_utc_s=now_utc_s,
        before_utc_s=c.recoat_before_utc_s,
        wet=wet,
    )


def way_lost(made: Pipeline, section_id: str, step_id: str) -> Remedy:
    """What a section needs once the window after a step is lost, with hours and gallons."""
    section = next(s for s in made.sections.sections if s.id == section_id)
    if step_id == "PREP":
        rates = [r for c in made.job.crews if (r := c.rates.get("prep"))]
        hours = section.developed_m2 / min(rates) if rates else None
        values = {"hours": "?" if hours is None else round(hours, 1)}
        message = Message(id="planning.replan.prep-again", values=values)
        return Remedy(id="prep_again", message=message, hours=hours, volume_l=0.0)
    coats = made.job.build_ups[section.build_up_id].coats
    primer = any(c.id == step_id and c.role == Role.PRIMER for c in coats)
    return abraded(area_m2=section.developed_m2, primer=primer)
