"""Hold points of the contract, as waits of the plan, and who must be told by when."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tackfree.bundle.types import HoldPoint, Job
from tackfree.deck.types import Section
from tackfree.plan.holds import Visit, visit_table, visits_of, with_holds
from tackfree.plan.problem import shift_spans, shift_starts
from tackfree.plan.types import Hold, Plan, Problem, Task

IntArray = NDArray[np.int64]


def with_hold_points(
    problem: Problem,
    job: Job,
    sections: Sequence[Section],
    days_off: frozenset[date],
    *,
    now: datetime | None = None,
    agreed: Mapping[tuple[str, str], int] | None = None,
) -> Problem:
    """The problem with every hold point of the contract at every section it is for.

    A coat is looked at once it is tack-free, other work when it is done. Notice begins
    at ``now``, left out at the moment the job is looked at. ``agreed``: visits of which
    people were told already, by hold point and section.
    """
    points = job.spec.hold_points
    if not points:
        return problem
    asked = (now or job.as_of).timestamp() - problem.slot0_utc_s
    comes = {p.id: _comes(problem, job, p, days_off) for p in points}
    mine: dict[str, list[Task]] = {}
    for task in problem.tasks:
        mine.setdefault(task.section_id, []).append(task)
    found = []
    for point in points:
        first = max(0, math.ceil((asked + point.notice_h * 3600) / problem.slot_s - 1e-9))
        for section in sections:
            if _is_for(point, section):
                found += _holds(problem, point, mine[section.id], comes[point.id], first, agreed)
    return with_holds(problem, found)


def _is_for(point: HoldPoint, section: Section) -> bool:
    zones, build_ups = point.zones, point.build_ups
    return (not zones or bool(set(zones) & set(section.zone_ids))) and (
        not build_ups or section.build_up_id in build_ups
    )


def _holds(
    problem: Problem,
    point: HoldPoint,
    tasks: Sequence[Task],
    comes: IntArray,
    first: int,
    agreed: Mapping[tuple[str, str], int] | None,
) -> list[Hold]:
    """The hold point at one section; none where the section lacks the step."""
    at = next((n for n, t in enumerate(tasks) if t.step_id == point.after), None)
    if at is None:
        return []
    task = tasks[at]
    ready = np.array(task.wet) if task.wet else np.arange(problem.slots + 1)
    key = (point.id, task.section_id)
    return [
        Hold(
            id=point.id,
            section_id=task.section_id,
            after=task.id,
            before=tasks[at + 1].id if at + 1 < len(tasks) else "",
            who=point.who,
            sees=point.sees,
            notice=math.ceil(point.notice_h * 3600 / problem.slot_s - 1e-9),
            takes=_takes(problem, point),
            visits=visit_table(ready, comes, first=first, agreed=(agreed or {}).get(key)),
        )
    ]


def _takes(problem: Problem, point: HoldPoint) -> int:
    return max(1, math.ceil(point.takes_h * 3600 / problem.slot_s - 1e-9))


def _comes(problem: Problem, job: Job, point: HoldPoint, days_off: frozenset[date]) -> IntArray:
    """Next slot at which a visit can begin, by slot; -1 where none does."""
    zone = ZoneInfo(job.place.time_zone)

    def utc_of(day: date, clock: time) -> int:
        return int(datetime.combine(day, clock, zone).timestamp())

    spans = shift_spans(
        [point.hours],
        days_off,
        first_day=job.starts_on,
        days=job.horizon_days,
        slot0_utc_s=problem.slot0_utc_s,
        slot_s=problem.slot_s,
        utc_of=utc_of,
    )
    can = shift_starts(spans, _takes(problem, point), problem.slots)
    never = problem.slots + 1
    at = np.where(np.append(can, False), np.arange(problem.slots + 1), never)
    following = np.minimum.accumulate(at[::-1])[::-1]
    return np.where(following == never, -1, following)


def agreed_by(problem: Problem, was: Plan, now: int) -> dict[tuple[str, str], int]:
    """Visits of the plan before that people were told of by slot ``now``."""
    return {
        (v.hold.id, v.hold.section_id): v.begin
        for v in visits_of(problem, was)
        if v.notice_by <= now
    }


def hold_rows(problem: Problem, plan: Plan, zone: ZoneInfo) -> list[dict[str, Any]]:
    """Every visit of a plan for JSON: where, who, when, and by when they must be told."""

    def at(slot: int) -> str:
        return datetime.fromtimestamp(problem.slot0_utc_s + slot * problem.slot_s, zone).isoformat()

    def row(v: Visit) -> dict[str, Any]:
        h = v.hold
        return {
            "id": h.id,
            "section_id": h.section_id,
            "after": h.after,
            "before": h.before or "cars",
            "who": h.who,
            "sees": h.sees,
            "notice_by": at(v.notice_by),
            "visit_begin": at(v.begin),
            "visit_end": at(v.end),
        }

    return [row(v) for v in visits_of(problem, plan)]
