"""Hold points: the next step waits for who was told in time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.plan.made import garage

from tackfree.plan.check import check_plan
from tackfree.plan.holds import rest_of_holds, visit_table, visits_of, with_holds, without_holds
from tackfree.plan.problem import require_nondecreasing
from tackfree.plan.solve import solve
from tackfree.plan.types import Hold
from tackfree.plan.why import rules_of

PROBLEM = garage(2, 42)
DAY = 48


def _comes(slots, hour):
    """One visit a day, at an hour."""
    at = np.arange(slots + 1)
    found = at + (2 * hour - at) % DAY
    return np.where(found <= slots, found, -1)


def _hold(after="PREP", before="PRIMER", hour=10, takes=2, notice=48, first=0, agreed=None):
    ready = np.arange(PROBLEM.slots + 1)
    visits = visit_table(ready, _comes(PROBLEM.slots, hour), first=first, agreed=agreed)
    return Hold(id="SEEN", section_id="S01", after=f"S01/{after}",
                before=before and f"S01/{before}", who="the inspector", sees="the deck",
                notice=notice, takes=takes, visits=visits)  # fmt: skip


def test_the_next_step_waits_for_the_visit_and_the_checker_sees_to_it():
    problem = with_holds(PROBLEM, [_hold("PRIMER", "BASE")])
    plan = solve(problem, deterministic_limit=0.05)
    assert check_plan(problem, plan) == ()
    at = {p.task_id: p for p in plan.placed}
    (visit,) = visits_of(problem, plan)
    assert visit.begin % DAY == 20  # practice: they come at 10:00, and the grid's day is UTC's
    assert at["S01/PRIMER"].end <= visit.begin < visit.end <= at["S01/BASE"].start
    assert visit.begin - visit.notice_by == 48  # a day's notice on half-hour slots
    early = tuple(
        replace(p, start=visit.begin, end=visit.begin + p.end - p.start)
        if p.task_id == "S01/BASE" else p for p in plan.placed
    )  # fmt: skip
    told = [f for f in check_plan(problem, replace(plan, placed=early)) if "inspector" in f.what]
    assert [f.where for f in told] == ["S01/BASE"]


def test_cars_wait_for_a_visit_after_the_last_step():
    problem = with_holds(PROBLEM, [_hold("STRIPE", "", hour=16, takes=4)])
    plan = solve(problem, deterministic_limit=0.05)
    assert check_plan(problem, plan) == ()
    (visit,) = visits_of(problem, plan)
    assert plan.opens["S01"] >= visit.end
    soon = replace(plan, opens={**plan.opens, "S01": visit.begin})
    assert any("inspector" in f.what for f in check_plan(problem, soon))


def test_no_visit_before_the_notice_and_an_agreed_one_is_kept():
    comes = _comes(200, 10)
    ready = np.arange(201)
    plain = visit_table(ready, comes, first=0)
    late = visit_table(ready, comes, first=50)
    kept = visit_table(ready, comes, first=50, agreed=20)
    # by hand: visits at slots 20, 68, 116 …; told at slot 2 with 48 slots' notice
    assert (plain[3], late[3], kept[3], kept[20], kept[21]) == (20, 68, 20, 20, 68)
    assert visit_table(np.array([-1]), comes, first=0) == (-1,)


@given(st.integers(0, 150), st.integers(0, 23), st.none() | st.integers(0, 150))
def test_a_later_end_is_never_looked_at_sooner(first, hour, agreed):
    table = visit_table(np.arange(151), _comes(150, hour), first=first, agreed=agreed)
    require_nondecreasing(table, where="visits")
    assert all(v < 0 or v >= e for e, v in enumerate(table))
    plain = visit_table(np.arange(151), _comes(150, hour), first=0)
    if agreed is None:
        assert all(v < 0 or v >= p for v, p in zip(table, plain, strict=True))


def test_leaving_hold_points_out_gives_the_problem_back():
    held = with_holds(PROBLEM, [_hold(), _hold("STRIPE", "")])
    assert without_holds(held) == PROBLEM
    assert held.lags[-1].hold == "SEEN"
    assert rules_of(held)["hold point SEEN"](held) == PROBLEM
    assert with_holds(held, [_hold()]) == with_holds(PROBLEM, [_hold()])


@pytest.mark.parametrize(
    ("done", "now", "left"),
    [
        ({}, 100, [None]),
        ({"S01/PREP": (8, 15)}, 20, [15]),  # by hand: they come at slot 20 and stay to 22
        ({"S01/PREP": (8, 15)}, 22, []),
        ({"S01/PREP": (8, 15), "S01/PRIMER": (23, 26)}, 30, []),
        ({"S02/PREP": (8, 15)}, 30, [None]),
    ],
)
def test_what_is_looked_at_is_behind_us(done, now, left):
    assert [h.ended for h in rest_of_holds([_hold()], done, now=now)] == left
