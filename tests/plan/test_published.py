"""Published job shops and projects through the planner's own builder."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.plan.made import jobshop

from tackfree.plan.check import check_plan
from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.model import Goal, Run, search
from tackfree.plan.solve import plan_of, solve
from tackfree.plan.types import Crew, Equipment, Lag, Task

# memory: la01, 10 jobs on 5 machines, Lawrence (1984); (machine, time) in order
LA01 = """
1 21 0 53 4 95 3 55 2 34
0 21 3 52 4 16 2 26 1 71
3 39 4 98 1 42 2 31 0 12
1 77 0 55 4 79 2 66 3 77
0 83 3 34 2 64 1 19 4 37
1 54 2 43 4 79 0 92 3 62
3 69 4 77 1 87 2 87 0 93
2 38 0 60 1 41 3 24 4 83
3 17 1 49 4 25 0 44 2 98
4 77 3 79 2 43 1 75 0 96
"""


@pytest.mark.outside
def test_ft06_is_proven(check):
    # library: Fisher and Thompson (1963), in Muth and Thompson; solved to proof elsewhere
    c = check("plan-ft06")
    problem = jobshop(c["inputs"]["durations"], c["inputs"]["machines"], slots=96)
    plan = solve(problem, deterministic_limit=10)
    assert plan.status == "optimal"
    assert plan.stages[0].value == c["expected"]["optimal_makespan"]
    assert check_plan(problem, plan) == ()


@pytest.mark.outside
def test_la01_is_proven(check):
    # library: Lawrence (1984), optimum in the check's list
    c = check("plan-jobshop-set")
    at = c["inputs"]["instance"].index("la01")
    rows = [[int(x) for x in line.split()] for line in LA01.split("\n") if line]
    problem = jobshop([r[1::2] for r in rows], [r[::2] for r in rows], slots=864)
    plan = solve(problem, deterministic_limit=10)
    assert plan.status == "optimal"
    assert plan.stages[0].value == c["expected"]["optimal_makespan"][at]
    assert check_plan(problem, plan) == ()


# memory: ft10, Fisher and Thompson (1963); its known optimum says whether it was remembered right
FT10 = """
0 29 1 78 2 9 3 36 4 49 5 11 6 62 7 56 8 44 9 21
0 43 2 90 4 75 9 11 3 69 1 28 6 46 5 46 7 72 8 30
1 91 0 85 3 39 2 74 8 90 5 10 7 12 6 89 9 45 4 33
1 81 2 95 0 71 4 99 6 9 8 52 7 85 3 98 9 22 5 43
2 14 0 6 1 22 5 61 3 26 4 69 8 21 7 49 9 72 6 53
2 84 1 2 5 52 3 95 8 48 9 72 0 47 6 65 4 6 7 25
1 46 0 37 3 61 2 13 6 32 5 21 9 32 8 89 7 30 4 55
2 31 0 86 1 46 5 74 4 32 6 88 8 19 9 48 7 36 3 79
0 76 1 69 3 76 5 51 2 85 9 11 6 40 7 89 4 26 8 74
1 85 0 13 2 61 6 7 8 64 9 76 5 47 3 52 4 90 7 45
"""


@pytest.mark.outside
def test_ft10_is_proven_by_trials_and_never_passed(check, request):
    # library: optimum in the check's list, there proven in about a minute of two cores
    c = check("plan-jobshop-set")
    at = c["inputs"]["instance"].index("ft10")
    best = c["expected"]["optimal_makespan"][at]
    rows = [[int(x) for x in line.split()] for line in FT10.split("\n") if line]
    problem = jobshop([r[1::2] for r in rows], [r[::2] for r in rows], slots=1440)
    trials = request.config.getoption("--trials")
    plan = solve(problem, order=("finish",), deterministic_limit=600 if trials else 0.2)
    finish = plan.stages[0]
    assert finish.bound <= best <= finish.value
    assert check_plan(problem, plan) == ()
    if trials:
        assert plan.status == "optimal"


def activities(duration, waits, demand, capacity, slots):
    """A project in the planner's terms: activities on one section, resources as machines.

    ``waits``: start of j at least so many slots after the start of i, by (i, j); a
    negative one from i to j is a latest start of i after j's. Pairs are told in the
    order of their indices.
    """
    ids = [f"P/{k}" for k in range(len(duration))]
    tasks = tuple(
        Task(id=ids[k], section_id="P", step_id=str(k), skill="any", duration=d,
             starts=((0, slots - d),),
             equipment=tuple(f"R{r}" for r, n in enumerate(demand[k]) for _ in range(n)))
        for k, d in enumerate(duration)
    )  # fmt: skip
    lags = []
    for i, j in sorted({(min(p), max(p)) for p in waits}):
        a, b = (i, j) if waits.get((i, j), -1) >= 0 or waits.get((j, i), -1) < 0 else (j, i)
        least, back = waits.get((a, b), -slots), waits.get((b, a))
        earliest = tuple(max(0, e - duration[a] + least) for e in range(slots + 1))
        within = None if back is None else duration[b] - back
        lags.append(Lag(before=ids[a], after=ids[b], earliest=earliest, down_within=within))
    one = jobshop([[1]], [[0]], slots)
    crews = tuple(
        Crew(id=f"C{k}", people=1, skills=("any",), shift_ids=("ALL",)) for k in range(len(tasks))
    )
    machines = tuple(Equipment(id=f"R{r}", count=n) for r, n in enumerate(capacity))
    return replace(one, tasks=tasks, lags=tuple(lags), crews=crews, equipment=machines)


def _proven(problem):
    """Finish that the exact model proves, or None where it proves that there is none."""
    arrays = arrays_of(problem)
    run = Run(seed=0, workers=1, left=20.0, stop=lambda: False)
    got = search(arrays, tighten(arrays), None, run, Goal(name="finish"), 1.0)
    if got.infeasible:
        return None
    assert got.draft is not None
    assert got.draft.finish == got.bound
    plan = plan_of(arrays, got.draft, (), 0, "CP-SAT")
    assert check_plan(problem, plan) == ()
    return got.bound


@pytest.mark.outside
def test_j301_1_is_proven(check):
    # library: PSPLIB, Kolisch and Sprecher (1996)
    c = check("plan-j301-1")
    given = c["inputs"]
    real = [k for k, d in enumerate(given["duration"]) if d]  # without source and sink
    at = {k: n for n, k in enumerate(real)}
    waits = {
        (at[k], at[x - 1]): given["duration"][k]
        for k in real
        for x in given["successors_1_based"][k]
        if x - 1 in at
    }
    duration = [given["duration"][k] for k in real]
    demand = [given["demand"][k] for k in real]
    problem = activities(duration, waits, demand, given["capacity"], sum(duration))
    assert _proven(problem) == c["expected"]["optimal_makespan"]
    free = activities(duration, waits, [[0] * 4] * len(real), given["capacity"], sum(duration))
    assert _proven(free) == c["expected"]["critical_path_no_resources"]


# library: UBO10_01 of PSPLIB's projects with latest times, from psplib's source archive:
# duration and resources of each activity; least waits from start to start, by pair
UBO10 = """
2 5 7 8 4 6
9 10 8 0 8 10
6 9 9 0 4 5
6 0 8 0 5 5
9 0 8 6 3 4
10 8 9 4 9 9
5 6 3 0 6 9
7 6 8 2 0 10
7 0 8 10 3 0
5 0 8 0 10 0
"""
UBO10_WAITS = {
    (0, 9): 2, (9, 0): -3, (1, 3): 5, (1, 6): 0, (2, 8): 3, (3, 4): 4, (4, 5): -5, (5, 4): -4,
    (5, 6): -4, (6, 7): -4, (7, 6): -2,
}  # fmt: skip


@pytest.mark.outside
def test_ubo10_01_is_proven_to_have_no_plan():
    rows = [[int(x) for x in line.split()] for line in UBO10.split("\n") if line]
    duration, demand = [r[0] for r in rows], [r[1:] for r in rows]
    slots = sum(duration) + sum(max(0, w) for w in UBO10_WAITS.values())
    assert _proven(activities(duration, UBO10_WAITS, demand, [10] * 5, slots)) is None
    # by hand: with machines enough for all at once only the waits are left
    assert _proven(activities(duration, UBO10_WAITS, demand, [99] * 5, slots)) is not None
