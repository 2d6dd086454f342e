"""The same reduced problem in this planner and in a general scheduling library.

Reduced: constant waits with a latest end, crews on shifts, weather as spans in which
nothing can be placed; no stalls, no closed ways. Both must prove the same finish, or
both that there is none.
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from tackfree.plan.check import check_plan
from tackfree.plan.problem import allowed_starts, starts_of_clear_runs
from tackfree.plan.solve import solve
from tackfree.plan.types import Closure, Crew, Equipment, Lag, Problem, ShiftSpan, Task

SLOTS = 96
DAY = 24  # slots
EFFORT = 6.0  # deterministic; far above what any of these needs


def reduced(seed: int) -> Problem:
    """Sections of three steps, one or two crews for each of two skills, a shared machine."""
    rng = np.random.default_rng(seed)
    shifts = tuple(
        ShiftSpan(shift_id=name, on=date(2027, 4, 19 + d), begin=d * DAY + a, end=d * DAY + b)
        for d in range(SLOTS // DAY)
        for name, a, b in (("DAY", 6, 15), ("EVE", 16, 22))
    )
    crews = tuple(
        Crew(id=f"{skill}{n}", people=4, skills=(skill,), shift_ids=on)
        for skill in ("prep", "coat")
        for n, on in enumerate((("DAY",), ("DAY", "EVE"))[: int(rng.integers(1, 3))])
    )
    clear = np.ones(SLOTS, dtype=bool)
    for a in rng.integers(0, SLOTS, int(rng.integers(1, 4))):
        clear[a : a + int(rng.integers(1, 8))] = False
    ends = np.arange(SLOTS + 1)
    tasks: list[Task] = []
    lags, closures = [], []
    for n in range(int(rng.integers(2, 5))):
        row = []
        for step, skill in (("PREP", "prep"), ("BASE", "coat"), ("TOP", "coat")):
            d = int(rng.integers(1, 5))
            ids = {s for c in crews if c.skills == (skill,) for s in c.shift_ids}
            dry = starts_of_clear_runs(clear, d) if skill == "coat" else np.ones(SLOTS, bool)
            row.append(
                Task(
                    id=f"S{n}/{step}", section_id=f"S{n}", step_id=step, skill=skill, duration=d,
                    starts=allowed_starts(dry, d, [s for s in shifts if s.shift_id in ids]),
                    equipment=("BLASTER",) if step == "PREP" else (),
                )
            )  # fmt: skip
        tasks += row
        for before, after in pairwise(row):
            least = int(rng.integers(0, 9))
            most = before.duration + least + after.duration + int(rng.integers(2, 20))
            lags.append(
                Lag(
                    before=before.id, after=after.id, earliest=_plus(ends, least),
                    down_within=most if rng.random() < 0.7 else None,
                )
            )  # fmt: skip
        cars = _plus(ends, int(rng.integers(0, 30)), far=True)
        closures.append(
            Closure(section_id=f"S{n}", stalls=0, first=row[0].id, last=row[-1].id, open_at=cars)
        )
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=SLOTS, shifts=shifts, crews=crews, tasks=tuple(tasks),
        lags=tuple(lags), closures=tuple(closures), stalls_total=0, stalls_closed_max=0,
        equipment=(Equipment(id="BLASTER", count=1),),
    )  # fmt: skip


def _plus(ends: np.ndarray, wait: int, *, far: bool = False) -> tuple[int, ...]:
    found = ends + wait
    return tuple((found if far else np.where(found <= SLOTS, found, -1)).tolist())


def elsewhere(problem: Problem) -> tuple[str, int]:
    """Status and finish by the library, built from the same problem."""
    from pyjobshop import MAX_VALUE, Model

    model = Model()
    crews = {}
    for c in problem.crews:
        on = np.zeros(problem.slots, bool)
        for s in problem.shifts:
            on[s.begin : s.end] |= s.shift_id in c.shift_ids
        crews[c.id] = model.add_machine(breaks=_gaps(on))
    machines = {e.id: model.add_renewable(e.count) for e in problem.equipment}
    made = {}
    for t in problem.tasks:
        task = model.add_task(latest_end=problem.slots, name=t.id)
        made[t.id] = task
        allowed = np.zeros(problem.slots, bool)
        for a, b in t.starts:
            allowed[a : b + 1] = True
        # A span without any allowed start becomes one that no placement may touch.
        clear = np.zeros(problem.slots, bool)
        for s in np.flatnonzero(allowed):
            clear[s : s + t.duration] = True
        weather = model.add_machine(breaks=_gaps(clear))
        for c in problem.crews:
            if t.skill in c.skills:
                takes = [crews[c.id], weather, *(machines[m] for m in t.equipment)]
                model.add_mode(task, takes, t.duration, [0, 0, *(1 for _ in t.equipment)])
    for lag in problem.lags:
        wait = lag.earliest[0]
        model.add_end_before_start(made[lag.before], made[lag.after], wait)
        if lag.down_within is not None:
            model.add_end_before_start(made[lag.after], made[lag.before], -lag.down_within)
    for c in problem.closures:
        cars = model.add_task(latest_end=MAX_VALUE)
        nobody = model.add_renewable(1)
        model.add_mode(cars, nobody, c.open_at[0], 0)
        model.add_end_before_start(made[c.last], cars)
    result = model.solve(display=False, num_workers=1, time_limit=60)
    status = result.status.value.lower()
    return status, -1 if status == "infeasible" else int(result.objective)


def _gaps(on: np.ndarray) -> list[tuple[int, int]]:
    """Spans without work, closed to the end so that nothing runs past the grid."""
    edge = np.flatnonzero(np.diff(np.concatenate(([True], on, [True])).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]


@pytest.mark.outside
def test_both_prove_the_same_finish(request):
    # library: PyJobShop, each time on the same instance with a latest end
    trials = 300 if request.config.getoption("--trials") else 30
    seen = {"optimal": 0, "infeasible": 0}
    for seed in range(trials):
        problem = reduced(seed)
        plan = solve(problem, order=("finish",), deterministic_limit=EFFORT)
        status, finish = elsewhere(problem)
        assert plan.status == status, f"problem {seed}"
        seen[status] += 1
        if status == "optimal":
            assert plan.stages[0].value == plan.stages[0].bound == finish, f"problem {seed}"
            assert check_plan(problem, plan) == (), f"problem {seed}"
    assert min(seen.values()) >= trials // 10, seen  # both kinds are really tried
