"""Published job shops through the planner's own builder."""

from __future__ import annotations

import pytest
from tests.plan.made import jobshop

from tackfree.plan.check import check_plan
from tackfree.plan.solve import solve

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
