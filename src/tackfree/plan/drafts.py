"""A plan by task index, and how good it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tackfree.plan.domains import Arrays
from tackfree.plan.types import Plan, ShiftSpan

FINISH, STALLS, SHIFTS, SLACK = "finish", "stall-slots", "crew-shifts", "slack"
MOVED = "moved"  # tasks of the next days that do not start when people count on it
GOALS = (FINISH, STALLS, SHIFTS, SLACK)
OVERTIME_COUNTS = 2  # practice: an overtime shift is worth two others
SLACK_WANTED_H = 6.0  # practice: what a foreman likes to have before a window closes


@dataclass(kw_only=True)
class Draft:
    """Starts and crew classes by task index, and how good they are."""

    start: list[int]
    group: list[int]
    finish: int
    stall_slots: int
    day: int  # last slot of the day of the finish

    @property
    def score(self) -> tuple[int, int]:
        return (self.day, self.stall_slots)


def draft_of(arrays: Arrays, start: Sequence[int], group: Sequence[int]) -> Draft:
    """A draft with its figures, from starts that keep every rule."""
    finish = arrays.finish(start)
    return Draft(
        start=list(start),
        group=list(group),
        finish=finish,
        stall_slots=arrays.stall_slots(start),
        day=arrays.last_of_day(finish),
    )


def draft_from(arrays: Arrays, plan: Plan) -> Draft:
    """The draft of a plan that places every task."""
    crews = arrays.problem.crews
    group = {crews[k].id: g for g, members in enumerate(arrays.classes) for k in members}
    at = {p.task_id: p for p in plan.placed}
    mine = [at[t.id] for t in arrays.tasks]
    return draft_of(arrays, [p.start for p in mine], [group[p.crew_id] for p in mine])


def measure(arrays: Arrays, draft: Draft, name: str) -> int:
    """The value of one objective; the finish as the last slot of its day."""
    if name == FINISH:
        return draft.day
    if name == STALLS:
        return draft.stall_slots
    if name == SHIFTS:
        return sum(
            OVERTIME_COUNTS if span.overtime else 1
            for span, g in crew_shifts(arrays)
            if any(
                draft.group[k] == g and span.begin <= s < span.end
                for k, s in enumerate(draft.start)
            )
        )
    if name == MOVED:
        return sum(draft.start[k] != slot for k, slot in counted_on(arrays))
    wanted = slack_wanted(arrays)
    return sum(
        max(0, wanted - (draft.start[x.i] + x.within - draft.start[x.j]))
        for x in arrays.lags
        if x.within is not None
    )


def counted_on(arrays: Arrays) -> list[tuple[int, int]]:
    """Task indices with the starts that people count on."""
    at = {t.id: k for k, t in enumerate(arrays.tasks)}
    return [(at[name], slot) for name, slot in arrays.problem.was if name in at]


def crew_shifts(arrays: Arrays) -> list[tuple[ShiftSpan, int]]:
    """Every shift with every class of crews that works it."""
    crews = arrays.problem.crews
    return [
        (span, g)
        for span in arrays.problem.shifts
        for g, members in enumerate(arrays.classes)
        if span.shift_id in crews[members[0]].shift_ids
    ]


def slack_wanted(arrays: Arrays) -> int:
    return int(SLACK_WANTED_H * 3600 // arrays.problem.slot_s)


def crews_of(arrays: Arrays, draft: Draft) -> list[int]:
    """A crew for each task: those of one class take turns, whoever is free first."""
    out = [0] * len(draft.start)
    free = [[0] * len(members) for members in arrays.classes]
    for k in sorted(range(len(out)), key=lambda k: (draft.start[k], k)):
        row = free[draft.group[k]]
        n = next(n for n, until in enumerate(row) if until <= draft.start[k])
        row[n] = draft.start[k] + arrays.duration[k]
        out[k] = arrays.classes[draft.group[k]][n]
    return out
