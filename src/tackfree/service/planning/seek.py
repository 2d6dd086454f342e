"""A plan sought in rounds, each from the best so far, until somebody stops it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tackfree.plan.drafts import FINISH
from tackfree.plan.types import Plan, Problem
from tackfree.service.plan import EFFORT, make_plan

MOST_EFFORT = 8 * EFFORT  # of one round; rounds double up to here


@dataclass(frozen=True, kw_only=True)
class Best:
    """The best plan so far, after how many rounds, and whether no better one exists."""

    plan: Plan
    rounds: int

    @property
    def proven(self) -> bool:
        return self.plan.status == "optimal"


def seek(
    problem: Problem,
    was: Plan | None,
    *,
    order: Sequence[str],
    stop: Callable[[], bool],
    told: Callable[[int, int], None] | None = None,
    better: Callable[[Best], None] | None = None,
    effort: float = EFFORT,
) -> Plan:
    """The best plan found before ``stop`` says so, or before one is proven best.

    Parameters
    ----------
    problem
        With the steps fixed that must stay.
    was
        The plan in force; the first round begins from it where it keeps every rule.
    order
        Objectives, the one that matters most first.
    told
        Told the finish of the round's best plan and the bound, in slots.
    better
        Told after every round the best plan so far.
    effort
        Of the first round; the next ones take twice as much each, up to a limit.
    """
    best: Plan | None = None
    start = was
    rounds = 0
    while True:
        found = make_plan(problem, stop, seed=rounds, order=order, progress=told, effort=effort,
                          start=start)  # fmt: skip
        rounds += 1
        if best is None or not best.placed or is_better(problem, found, best):
            best = _with_bounds(found, best)
        else:
            best = _with_bounds(best, found)
        if better is not None and best.placed:
            better(Best(plan=best, rounds=rounds))
        if stop() or best.status in ("optimal", "infeasible"):
            return best
        start = best if best.placed else was
        effort = min(2 * effort, MOST_EFFORT)


def is_better(problem: Problem, a: Plan, b: Plan) -> bool:
    """Whether a plan is worth more than another, stage by stage; the finish by its day."""
    return bool(a.placed) and (not b.placed or _worth(problem, a) < _worth(problem, b))


def _worth(problem: Problem, plan: Plan) -> tuple[float, ...]:
    return tuple(
        bisect_right(problem.days, s.value) if s.name == FINISH and problem.days else s.value
        for s in plan.stages
    )


def _with_bounds(plan: Plan, other: Plan | None) -> Plan:
    """The plan with the other's bounds where those are higher and speak of the same.

    A later stage's bound speaks of plans whose earlier stages are as good.
    """
    if other is None or not plan.placed:
        return plan
    stages = []
    same = True
    for mine, theirs in zip(plan.stages, other.stages, strict=False):
        if same and mine.bound < theirs.bound <= mine.value:
            mine = replace(mine, bound=theirs.bound, bound_source=theirs.bound_source)
        stages.append(mine)
        same = same and mine.value == theirs.value
    if len(stages) < len(plan.stages):
        return plan
    proven = all(s.bound >= s.value for s in stages)
    return replace(plan, stages=tuple(stages), status="optimal" if proven else plan.status)
