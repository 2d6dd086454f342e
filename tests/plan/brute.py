"""Every placement of a tiny problem, judged by the independent checker alone."""

from __future__ import annotations

from itertools import pairwise, product

from tackfree.plan.check import check_plan
from tackfree.plan.check_rules import closed_slots, lost_stalls
from tackfree.plan.types import Placed, Plan, Problem


def best_of(problem: Problem) -> tuple[int, int] | None:
    """Least (finish, stall-slots) over every placement that the checker accepts.

    Where the problem names days, a finish counts as the last slot of its day.
    """
    best = None
    options = [
        [
            (s, c.id)
            for a, b in t.starts
            for s in range(a, b + 1)
            for c in problem.crews
            if t.skill in c.skills
        ]
        for t in problem.tasks
    ]
    for choice in product(*options):
        placed = tuple(
            Placed(task_id=t.id, section_id=t.section_id, step_id=t.step_id, crew_id=c,
                   start=s, end=s + t.duration)
            for t, (s, c) in zip(problem.tasks, choice, strict=True)
        )  # fmt: skip
        at = {p.task_id: p for p in placed}
        opens = {
            c.section_id: max(
                c.open_at[at[c.last].end], *(table[at[k].end] for k, table in c.also), 0
            )
            for c in problem.closures
        }
        finish = max([*(p.end for p in placed), *opens.values()])
        for begin, following in pairwise(problem.days):
            if begin <= finish < following:
                finish = following - 1
                break
        if best is not None and finish > best[0]:
            continue
        plan = Plan(status="feasible", placed=placed, opens=opens, stages=(), seed=0, method="")
        if check_plan(problem, plan):
            continue
        lost = sum(lost_stalls(problem, shut) for shut in closed_slots(problem, plan).values())
        score = (finish, lost)
        if best is None or score < best:
            best = score
    return best
