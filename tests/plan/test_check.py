"""The checker finds each broken rule when a sound plan is spoiled."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.plan.made import garage

from tackfree.plan.check import check_plan
from tackfree.plan.solve import solve
from tackfree.plan.types import Stage

PROBLEM = garage(4, 35)


@pytest.fixture(scope="module")
def plan():
    made = solve(PROBLEM, stop=lambda: True)
    assert check_plan(PROBLEM, made) == ()
    return made


def move(plan, task_id, **change):
    return replace(
        plan,
        placed=tuple(replace(p, **change) if p.task_id == task_id else p for p in plan.placed),
    )


def at(plan, task_id):
    return next(p for p in plan.placed if p.task_id == task_id)


def said(problem, plan):
    return " ".join(str(f) for f in check_plan(problem, plan))


def test_missing_double_and_foreign_tasks(plan):
    assert "placed 0 times" in said(PROBLEM, replace(plan, placed=plan.placed[1:]))
    assert "placed 2 times" in said(PROBLEM, replace(plan, placed=(*plan.placed, plan.placed[0])))
    foreign = replace(plan.placed[0], task_id="S99/BASE")
    assert "the problem lacks it" in said(PROBLEM, replace(plan, placed=(*plan.placed, foreign)))


def test_wrong_length_label_crew_and_start(plan):
    p = at(plan, "S01/BASE")
    assert "it needs" in said(PROBLEM, move(plan, p.task_id, end=p.end + 1))
    assert "labelled S01 TOP" in said(PROBLEM, move(plan, p.task_id, step_id="TOP"))
    assert "no crew CREW-9" in said(PROBLEM, move(plan, p.task_id, crew_id="CREW-9"))
    d = p.end - p.start
    assert "not an allowed start" in said(PROBLEM, move(plan, p.task_id, start=0, end=d))
    assert "inside one shift" in said(PROBLEM, move(plan, p.task_id, start=0, end=d))
    unskilled = (replace(PROBLEM.crews[0], skills=("prep",)),)
    assert "lacks the skill" in said(replace(PROBLEM, crews=unskilled), plan)


def test_a_crew_in_two_places(plan):
    p, q = at(plan, "S01/BASE"), at(plan, "S02/BASE")
    both = move(plan, q.task_id, start=p.start, end=p.start + q.end - q.start)
    assert "Crew CREW-1 is still at" in said(PROBLEM, both)


def test_waits_limits_shifts_and_rain(plan):
    p = at(plan, "S01/BASE")
    lag = next(x for x in PROBLEM.lags if x.after == "S01/TOP")
    others = tuple(x for x in PROBLEM.lags if x is not lag)

    def spoiled(**change):
        return said(replace(PROBLEM, lags=(*others, replace(lag, **change))), plan)

    late = at(plan, "S01/TOP").start + 1
    assert f"lets it from {late}" in spoiled(earliest=(late,) * (PROBLEM.slots + 1))
    assert "not known when" in spoiled(earliest=(-1,) * (PROBLEM.slots + 1))
    assert f"by slot {p.start + 3}" in spoiled(down_within=3)
    assert "it had to by slot 5" in spoiled(latest=(5,) * (PROBLEM.slots + 1))
    details = next(x for x in PROBLEM.lags if x.before == "S01/DETAILS")
    held = replace(details, same_or_next_shift=True)
    assert "or the one after it" in said(replace(PROBLEM, lags=(held,)), plan)


def test_stalls_and_openings(plan):
    assert "stalls are closed at slot" in said(replace(PROBLEM, stalls_closed_max=0), plan)
    wrong = {**plan.opens, "S01": plan.opens["S01"] - 1}
    assert "The plan opens it at slot" in said(PROBLEM, replace(plan, opens=wrong))
    never = tuple(replace(c, open_at=(-1,) * len(c.open_at)) for c in PROBLEM.closures)
    assert "not known when cars" in said(replace(PROBLEM, closures=never), plan)


def test_claims(plan):
    proud = Stage(name="finish", value=1.0, bound=2.0, bound_source="CP-SAT")
    assert "is past 1" in said(PROBLEM, replace(plan, stages=(proud,)))
    assert "It says slot 1" in said(PROBLEM, replace(plan, stages=(proud,)))
    assert "still places tasks" in said(PROBLEM, replace(plan, status="infeasible"))
