"""The recoat clock of every section × coat, as the plan places them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from tackfree.bundle.types import Job
from tackfree.climate.stage import ClimateStage
from tackfree.cure.types import Clock
from tackfree.errors import NotFound
from tackfree.marks.types import SectionStage
from tackfree.plan.types import Plan, Problem
from tackfree.service import climate


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
    clock = climate.clock_for(stage, job, section.exposure, coat, placed_from, placed_to)
    return ClockLine(
        section_id=section_id, coat_id=coat_id, product_id=coat.product_id, clock=clock
    )


def clocks_of(
    job: Job, sections: SectionStage, stage: ClimateStage, problem: Problem, plan: Plan
) -> tuple[ClockLine, ...]:
    """Every clock of a plan, in the order of placing."""
    out = []
    for p in sorted(plan.placed, key=lambda p: (p.start, p.section_id, p.step_id)):
        section = next(s for s in sections.sections if s.id == p.section_id)
        if p.step_id in {c.id for c in job.build_ups[section.build_up_id].coats}:
            begin, end = (
                datetime.fromtimestamp(problem.slot0_utc_s + s * problem.slot_s, UTC)
                for s in (p.start, p.end)
            )
            out.append(
                clock_of(
                    job,
                    sections,
                    stage,
                    section_id=p.section_id,
                    coat_id=p.step_id,
                    placed_from=begin,
                    placed_to=end,
                )
            )
    return tuple(out)
