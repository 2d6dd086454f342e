"""A plan under other weather: laws of the policy on invented garages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.made import garage

from tackfree.plan.domains import arrays_of
from tackfree.plan.problem import intervals
from tackfree.plan.solve import solve
from tackfree.plan.stress import Lived, Stressed, _next, _words, choose, live, stress, year_of


def _rained_off(problem, first, last):
    """The same problem with no start of any task in some slots."""
    arrays = arrays_of(problem)
    tasks = []
    for task, mask in zip(problem.tasks, arrays.ok, strict=True):
        mask = mask.copy()
        mask[first:last] = False
        tasks.append(replace(task, starts=intervals(mask)))
    return replace(problem, tasks=tuple(tasks))


def test_under_its_own_weather_a_plan_is_lived_as_planned():
    problem = garage(4, 49)
    plan = solve(problem, deterministic_limit=0.05)
    (lived,) = live(plan, [year_of(problem, "own")])
    assert lived.finish == plan.stages[0].value
    assert lived.stall_slots == plan.stages[1].value
    assert lived.missed == 0


def test_worse_weather_never_ends_a_plan_earlier():
    problem = garage(4, 60)
    plan = solve(problem, deterministic_limit=0.05)
    ends = []
    for days in (0, 2, 5, 60):
        year = year_of(_rained_off(problem, 96, 96 + 48 * days), f"{days} days of rain")
        (lived,) = live(plan, [year])
        ends.append(10**9 if lived.finish is None else lived.finish)
    assert ends == sorted(ends)
    assert ends[0] == plan.stages[0].value
    assert ends[-1] == 10**9  # rain to the end of the horizon: never done


def _of(*ends):
    return Stressed(
        planned=5,
        lived=tuple(Lived(label="", finish=e, missed=0, stall_slots=None) for e in ends),
    )


def test_percentiles_are_nearest_ranks_and_a_plan_is_chosen_by_its_eightieth():
    # published: nearest-rank percentile, the ordinal ceil(P/100 * N)
    kind = _of(10, 11, 12, 13, None)
    steady = _of(12, 12, 12, 12, 12)
    assert [kind.finish(p) for p in (0.1, 0.5, 0.8, 0.9)] == [10, 12, 13, None]
    assert choose([kind, steady]) == 1
    assert stress(solve(garage(2, 40)), [year_of(garage(2, 40), "own")]).finish(0.8) is not None


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.booleans(), min_size=1, max_size=200), st.integers(0, 199))
def test_the_next_start_in_bits_is_the_next_start_in_the_list(mask, slot):
    n = len(mask)
    slot = min(slot, n - 1)
    words = _words(np.array([[True] * n, mask]))
    plain = next((s for s in range(slot, n) if mask[s]), n)
    assert _next(words, 1, slot, n) == plain
    assert _next(words, 0, slot, n) == slot
