"""A plan's objectives counted anew, as the planner counts them."""

from __future__ import annotations

from dataclasses import replace

from tackfree.plan.domains import arrays_of
from tackfree.plan.drafts import FINISH, draft_from, measure
from tackfree.plan.types import Plan, Problem, Stage


def measured(problem: Problem, plan: Plan) -> Plan:
    """The plan with the value of each of its stages as its steps now stand.

    A bound stays where it still holds: that of the first stage always, a later one's as
    long as the stages before it are no worse than when it was proven.
    """
    arrays = arrays_of(problem)
    draft = draft_from(arrays, plan)
    stages: list[Stage] = []
    held = True
    for old in plan.stages:
        value = float(draft.finish if old.name == FINISH else measure(arrays, draft, old.name))
        keeps = held and old.bound <= value
        stages.append(
            replace(old, value=value) if keeps
            else replace(old, value=value, bound=0.0, bound_source="none")
        )  # fmt: skip
        day = arrays.last_of_day(int(old.value))
        held = held and (draft.day <= day if old.name == FINISH else value <= old.value)
    proven = bool(stages) and all(s.bound >= s.value for s in stages)
    return replace(plan, stages=tuple(stages), status="optimal" if proven else "feasible")
