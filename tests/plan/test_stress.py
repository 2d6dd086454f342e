"""A plan under other weather: laws of the policy on invented garages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.made import garage

from tackfree.plan.again import Way
from tackfree.plan.domains import arrays_of
from tackfree.plan.problem import allowed_starts, intervals
from tackfree.plan.solve import solve
from tackfree.plan.stress import Lived, Stressed, _next, _words, choose, live, stress, year_of
from tackfree.plan.types import Lag, Task


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


CURE = 20  # slots


def _way(problem, section, *, volume_l=30.0):
    """Abrade 4 slots, prime 2, wait: what a lost window between base and top takes."""
    row = []
    for step, skill, d in (("ABRADE", "prep", 4), ("TIE", "coating", 2)):
        starts = allowed_starts(np.ones(problem.slots, bool), d, problem.shifts)
        row.append(Task(id=f"{section}/{step}", section_id=section, step_id=step, skill=skill,
                        duration=d, starts=starts))  # fmt: skip
    ends = np.arange(problem.slots + 1)
    cured = np.where(ends + CURE <= problem.slots, ends + CURE, -1)
    lags = (
        Lag(before=row[0].id, after=row[1].id, earliest=tuple(ends.tolist()), down_within=72),
        Lag(before=row[1].id, after=f"{section}/TOP", earliest=tuple(cured.tolist()),
            down_within=400),
    )  # fmt: skip
    return Way(tasks=tuple(row), lags=lags, volume_l=volume_l)


@pytest.fixture(scope="module")
def lost():
    """A plan whose first base coat is followed by five days of rain: past its 96 slots."""
    problem = garage(2, 60)
    plan = solve(problem, deterministic_limit=0.05)
    base = next(p for p in plan.placed if p.task_id == "S01/BASE")
    top = next(t for t in problem.tasks if t.id == "S01/TOP")
    wet = replace(
        problem,
        tasks=tuple(
            replace(t, starts=tuple((a, b) for a, b in t.starts
                                    if a > base.start + 240 or b < base.start))
            if t.id == top.id else t for t in problem.tasks
        ),
    )  # fmt: skip
    return wet, plan, base


def _forced(year):
    """The same year with a foreman who does not look ahead."""
    return replace(year, gated=year.free)


def test_a_lost_window_is_abraded_and_tied_anew_with_its_hours_liquid_and_cure(lost):
    problem, plan, base = lost
    ways = {("S01/BASE", "S01/TOP"): _way(problem, "S01")}
    (plain,) = live(plan, [_forced(year_of(problem, "wet"))])
    (redone,) = live(plan, [_forced(year_of(problem, "wet", ways))])
    assert (plain.missed, plain.redone, plain.delay) == (1, 0, 0)
    assert (redone.missed, redone.redone) == (1, 1)
    # by hand: four slots abrading and two for the tie coat; the liquid is the way's own
    assert (redone.redo_slots, redone.redo_l) == (6, 30.0)
    assert redone.delay == redone.finish - plain.finish
    assert redone.delay >= 0
    top = min(a for t in problem.tasks if t.id == "S01/TOP" for a, _ in t.starts if a > base.end)
    assert top > base.start + 96  # the window of 96 slots is shut by then


def test_what_is_not_lost_is_not_redone(lost):
    plan = lost[1]
    own = garage(2, 60)
    ways = {("S01/BASE", "S01/TOP"): _way(own, "S01")}
    (lived,) = live(plan, [year_of(own, "own", ways)])
    assert (lived.missed, lived.redone, lived.redo_slots, lived.redo_l) == (0, 0, 0, 0.0)
    assert lived == live(plan, [year_of(own, "own")])[0]


def test_a_year_of_redoing_is_summed_over_lives():
    rows = [
        Lived(label="", finish=9, missed=n, stall_slots=0, redone=n, redo_slots=6 * n,
              redo_l=30.0 * n, delay=d)
        for n, d in ((0, 0), (1, 10), (2, None), (1, 20))
    ]  # fmt: skip
    found = Stressed(planned=5, lived=tuple(rows))
    # by hand: 4 coats in 4 lives, 24 slots, 120 L; of four delays the second and the fourth
    assert (found.redone, found.redo_slots, found.redo_l) == (1.0, 6.0, 30.0)
    assert [found.delay(p) for p in (0.5, 0.75, 0.9)] == [10, 20, None]
