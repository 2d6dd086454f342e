"""The recoat clock of every section × coat, as the plan places them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime

from tackfree.buildup.types import Coat
from tackfree.bundle.types import Job
from tackfree.climate.stage import ClimateStage, Where
from tackfree.cure.types import Clock
from tackfree.errors import NotFound
from tackfree.marks.types import SectionStage
from tackfree.plan.types import Placed, Plan, Problem
from tackfree.service import climate, curing


@dataclass(frozen=True, kw_only=True)
class ClockLine:
    """One clock with its place."""

    section_id: str
    coat_id: str
    product_id: str
    clock: Clock


def clock_of(
    job: Job,
    sections: SectionStage,
    stage: ClimateStage,
    *,
    section_id: str,
    coat_id: str,
    placed_from: datetime,
    placed_to: datetime,
) -> ClockLine:
    """The clock of one section × coat placed between two moments (aware).

    Raises
    ------
    NotFound
        If the section or its coat does not exist; the message names those that do.
    """
    known = {s.id: s for s in sections.sections}
    if section_id not in known:
        raise NotFound(
            f"there is no section {section_id}.",
            where="--section",
            do=f"The job's sections are {', '.join(known)}.",
        )
    section = known[section_id]
    coats = {c.id: c for c in job.build_ups[section.build_up_id].coats}
    if coat_id not in coats:
        raise NotFound(
            f"section {section_id} has no coat {coat_id}.",
            where="--coat",
            do=f"Its coats are {', '.join(coats)}.",
        )
    coat = coats[coat_id]
    clock = curing.clock_for(
        stage, job, climate.where_of(job, section), coat, placed_from, placed_to
    )
    return ClockLine(
        section_id=section_id, coat_id=coat_id, product_id=coat.product_id, clock=clock
    )


def clocks_of(
    job: Job, sections: SectionStage, stage: ClimateStage, problem: Problem, plan: Plan
) -> tuple[ClockLine, ...]:
    """Every clock of a plan, in the order of placing.

    Placings of one coat under one exposure are worked out together: they share the
    slab's trace and the cure along it.
    """

    def moment(slot: int) -> datetime:
        return datetime.fromtimestamp(problem.slot0_utc_s + slot * problem.slot_s, UTC)

    known = {s.id: s for s in sections.sections}
    alike: dict[tuple[Where, Coat], list[Placed]] = defaultdict(list)
    for p in plan.placed:
        section = known[p.section_id]
        coats = job.build_ups[section.build_up_id].coats
        coat = next((c for c in coats if c.id == p.step_id), None)
        if coat is not None:
            alike[climate.where_of(job, section), coat].append(p)
    found: dict[str, ClockLine] = {}
    for (there, coat), group in alike.items():
        spans = [(moment(p.start), moment(p.end)) for p in group]
        for p, clock in zip(group, curing.clocks_for(stage, job, there, coat, spans), strict=True):
            found[p.task_id] = ClockLine(
                section_id=p.section_id, coat_id=coat.id, product_id=coat.product_id, clock=clock
            )
    order = sorted(plan.placed, key=lambda p: (p.start, p.section_id, p.step_id))
    return tuple(found[p.task_id] for p in order if p.task_id in found)
