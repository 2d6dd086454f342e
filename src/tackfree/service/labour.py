"""Hours of work by kind of step, from quantities and the crews' rates."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from tackfree.bundle.types import Job
from tackfree.marks.types import SectionStage
from tackfree.service.plan import steps_of
from tackfree.service.sections import shift_hours
from tackfree.supply.learning import learned_h


@dataclass(frozen=True, kw_only=True)
class Work:
    """One kind of step of one build-up: how long a crew takes and how many they are."""

    kind: str
    build_up_id: str
    quantity: float  # m², or m for details
    crew_hours: float
    people: int
    crew_days: float

    @property
    def person_hours(self) -> float:
        return self.crew_hours * self.people


def work_of(job: Job, stage: SectionStage) -> tuple[Work, ...]:
    """Every kind of step of every build-up, at the slowest able crew's rate.

    Where the price list has a learning share, the n-th section of a kind of step takes
    n^log2(share) of its hours. Steps that no crew has a rate for count no hours; planning
    the job refuses them.
    """
    share = job.price.learning if job.price else 1.0
    nth: dict[str, int] = defaultdict(int)
    hours: dict[tuple[str, str], list[float]] = defaultdict(lambda: [0.0, 0.0])
    by: dict[str, tuple[int, float]] = {}
    for section in stage.sections:
        for step in steps_of(job, section, stage.details_of(section.id)):
            able = [
                c for c in job.crews if step.skill in c.skills and c.rates.get(step.kind, 0) > 0
            ]
            if not able:
                continue
            crew = min(able, key=lambda c: (c.rates[step.kind], c.id))
            by[step.kind] = (crew.people, shift_hours(crew, job.shifts))
            row = hours[step.kind, section.build_up_id]
            row[0] += step.quantity
            nth[step.kind] += 1
            row[1] += learned_h(step.quantity / crew.rates[step.kind], nth[step.kind], share)
    return tuple(
        Work(
            kind=kind,
            build_up_id=build_up_id,
            quantity=quantity,
            crew_hours=taken,
            people=by[kind][0],
            crew_days=taken / by[kind][1] if by[kind][1] > 0 else 0.0,
        )
        for (kind, build_up_id), (quantity, taken) in hours.items()
    )
