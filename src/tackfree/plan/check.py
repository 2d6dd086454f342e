"""An independent check of a plan: every rule anew, slot by slot, believing no solver.

Uses the problem's own tables and nothing of the solver's code.
"""

from __future__ import annotations

from collections import Counter

from tackfree.errors import Fault
from tackfree.plan.check_rules import check_rules
from tackfree.plan.types import Closure, Lag, Placed, Plan, Problem, ShiftSpan, Task

MOVE = "Move it, or make the plan anew."


def check_plan(problem: Problem, plan: Plan) -> tuple[Fault, ...]:
    """Everything in a plan that breaks its problem's rules; empty when it holds.

    A plan without an answer (not-found, infeasible) must hold no tasks.
    """
    if plan.status in {"not-found", "infeasible"}:
        if not plan.placed:
            return ()
        return (_fault("plan", f"It says {plan.status} and still places tasks."),)
    out: list[Fault] = []
    names = Counter(p.task_id for p in plan.placed)
    for task in problem.tasks:
        if names[task.id] != 1:
            out.append(_fault(task.id, f"It is placed {names[task.id]} times instead of once."))
    wanted = {t.id for t in problem.tasks}
    out.extend(
        _fault(n, "The plan places it; the problem lacks it.")
        for n in names - Counter({n: names[n] for n in wanted})
    )
    if out:
        return tuple(out)
    at = {p.task_id: p for p in plan.placed}
    tasks = {t.id: t for t in problem.tasks}
    for placed in plan.placed:
        out.extend(_placement(problem, tasks[placed.task_id], placed))
    out.extend(_crews(problem, plan))
    for lag in problem.lags:
        out.extend(_lag(problem, lag, at))
    out.extend(_closures(problem, plan, at))
    out.extend(check_rules(problem, plan))
    out.extend(_claims(plan))
    return tuple(out)


def _fault(where: str, what: str) -> Fault:
    return Fault(where=where, what=what, do=MOVE)


def _placement(problem: Problem, task: Task, p: Placed) -> list[Fault]:
    out: list[Fault] = []
    if (p.section_id, p.step_id) != (task.section_id, task.step_id):
        out.append(_fault(p.task_id, f"It is labelled {p.section_id} {p.step_id}."))
    if p.end - p.start != task.duration:
        out.append(
            _fault(p.task_id, f"It takes {p.end - p.start} slots; it needs {task.duration}.")
        )
    if not any(a <= p.start <= b for a, b in task.starts):
        out.append(_fault(p.task_id, f"Slot {p.start} is not an allowed start."))
    crew = next((c for c in problem.crews if c.id == p.crew_id), None)
    if crew is None:
        return [*out, _fault(p.task_id, f"There is no crew {p.crew_id}.")]
    if task.skill not in crew.skills:
        out.append(_fault(p.task_id, f"Crew {crew.id} lacks the skill {task.skill}."))
    if not [s for s in _holding(problem, p) if s.shift_id in crew.shift_ids]:
        out.append(_fault(p.task_id, f"It does not lie inside one shift of crew {crew.id}."))
    return out


def _holding(problem: Problem, p: Placed) -> list[ShiftSpan]:
    return [s for s in problem.shifts if s.begin <= p.start and p.end <= s.end]


def _crews(problem: Problem, plan: Plan) -> list[Fault]:
    out: list[Fault] = []
    for crew in problem.crews:
        doing: dict[int, str] = {}
        clashes = set()
        for p in plan.placed:
            if p.crew_id != crew.id:
                continue
            for slot in range(p.start, p.end):
                other = doing.setdefault(slot, p.task_id)
                if other != p.task_id:
                    clashes.add((other, p.task_id))
        out.extend(_fault(b, f"Crew {crew.id} is still at {a}.") for a, b in sorted(clashes))
    return out


def _lag(problem: Problem, lag: Lag, at: dict[str, Placed]) -> list[Fault]:
    a, b = at[lag.before], at[lag.after]
    out = []
    ready = lag.earliest[a.end] if 0 <= a.end < len(lag.earliest) else -1
    if ready < 0:
        out.append(_fault(b.task_id, f"It is not known when {a.task_id} lets it start."))
    elif b.start < ready:
        out.append(
            _fault(b.task_id, f"It starts at slot {b.start}; {a.task_id} lets it from {ready}.")
        )
    if lag.down_within is not None and b.end > a.start + lag.down_within:
        out.append(
            _fault(
                b.task_id,
                f"It is down at slot {b.end}; {a.task_id} must be followed by slot "
                f"{a.start + lag.down_within}.",
            )
        )
    latest = lag.latest[a.end] if a.end < len(lag.latest) else -1
    if 0 <= latest < b.start:
        out.append(_fault(b.task_id, f"It starts at slot {b.start}; it had to by slot {latest}."))
    if lag.same_or_next_shift and not _same_or_next(problem, a, b):
        out.append(_fault(b.task_id, f"It is not in the shift of {a.task_id} or the one after it."))
    return out


def _same_or_next(problem: Problem, a: Placed, b: Placed) -> bool:
    for span in _holding(problem, a):
        later = sorted(s.begin for s in problem.shifts if s.begin >= span.end)
        allowed = [span, *(s for s in problem.shifts if later and s.begin == later[0])]
        if any(s.begin <= b.start and b.end <= s.end for s in allowed):
            return True
    return False


def _closures(problem: Problem, plan: Plan, at: dict[str, Placed]) -> list[Fault]:
    out: list[Fault] = []
    for c in problem.closures:
        opens = _opens(c, at)
        said = plan.opens.get(c.section_id)
        if opens is None:
            out.append(_fault(c.section_id, "It is not known when cars may come back."))
            continue
        if said != opens:
            out.append(
                _fault(c.section_id, f"The plan opens it at slot {said}; cars may come at {opens}.")
            )
    return out


def _opens(c: Closure, at: dict[str, Placed]) -> int | None:
    found = []
    for name, table in ((c.last, c.open_at), *c.also):
        end = at[name].end
        found.append(table[end] if 0 <= end < len(table) else -1)
    return None if min(found) < 0 else max(found)


def _claims(plan: Plan) -> list[Fault]:
    out: list[Fault] = []
    finish = max([*(p.end for p in plan.placed), *plan.opens.values()], default=0)
    for stage in plan.stages:
        if stage.bound > stage.value:
            out.append(_fault(stage.name, f"Its bound {stage.bound:g} is past {stage.value:g}."))
        if stage.name == "finish" and stage.value != finish:
            out.append(_fault(stage.name, f"It says slot {stage.value:g}; it is {finish}."))
    return out
