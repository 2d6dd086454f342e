"""A finish that counts in days: what happens inside the last day is left to the stalls."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from tests.plan.brute import best_of
from tests.plan.made import garage
from tests.plan.test_solve import SLOTS, problems

from tackfree.plan.check import check_plan
from tackfree.plan.domains import arrays_of
from tackfree.plan.solve import solve
from tackfree.plan.types import Closure, Crew, Lag, Plan, Problem, ShiftSpan, Task

DAYS = st.lists(st.integers(0, SLOTS + 4), unique=True, min_size=2, max_size=4).map(
    lambda days: tuple(sorted(days))
)


def two_coats(days: tuple[int, ...]) -> Problem:
    """One section: the first coat at slot 0 or 4, the second at slot 5 or 6.

    The second coat waits until slot 5 after an early first coat, until 6 after a late one.
    """
    span = ShiftSpan(shift_id="A", on=date(2027, 4, 19), begin=0, end=12)
    tasks = tuple(
        Task(id=f"S/{n}", section_id="S", step_id=n, skill="x", duration=1, starts=starts)
        for n, starts in (("P", ((0, 0), (4, 4))), ("Q", ((5, 6),)))
    )
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=12, shifts=(span,),
        crews=(Crew(id="C", people=3, skills=("x",), shift_ids=("A",)),),
        tasks=tasks,
        lags=(Lag(before="S/P", after="S/Q", earliest=(0, 5, 5, 5, 6, 6, *range(6, 13))),),
        closures=(
            Closure(section_id="S", stalls=1, first="S/P", last="S/Q", open_at=tuple(range(13))),
        ),
        stalls_total=2, stalls_closed_max=2, days=days,
    )  # fmt: skip


def figures(plan: Plan) -> list[float]:
    return [s.value for s in plan.stages[:2]]


def test_within_the_last_day_the_stalls_decide():
    # By hand: slots 0..6 lose 6 slots of one stall, slots 4..7 lose 3 and end one later.
    assert figures(solve(two_coats(()))) == [6, 6]
    by_day = solve(two_coats((0, 12)))
    assert figures(by_day) == [7, 3]
    assert by_day.status == "optimal"
    # A day that begins at slot 7 makes the later finish a day too late again.
    assert figures(solve(two_coats((0, 7, 12)))) == [6, 6]


def test_a_bound_on_the_day_of_the_finish_proves_it():
    finish = solve(two_coats((0, 12))).stages[0]
    assert finish.bound == finish.value == 7
    # Stopped before any search: the first plan is proven where its day is the bound's.
    early = solve(two_coats((0, 12)), stop=lambda: True, deterministic_limit=0.0)
    assert early.stages[0].bound == early.stages[0].value


def test_every_slot_counts_as_the_last_of_its_day():
    arrays = arrays_of(two_coats((2, 5, 9)))
    # By hand: before the first day and from the last on, a slot is its own.
    assert [arrays.last_of_day(s) for s in range(12)] == [0, 1, 4, 4, 4, 8, 8, 8, 8, 9, 10, 11]


def test_one_day_for_each_slot_is_as_no_days():
    problem = garage(3, 35)
    slots = replace(problem, days=tuple(range(problem.slots + 1)))
    one, two = (solve(p, deterministic_limit=0.3) for p in (problem, slots))
    assert one.stages[0].value == two.stages[0].value
    assert one.stages[0].bound == two.stages[0].bound


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(problems(), DAYS)
def test_the_solver_finds_what_brute_force_finds_by_day(problem, days):
    problem = replace(problem, days=days)
    want = best_of(problem)
    event(f"feasible: {want is not None}")
    plan = solve(problem, deterministic_limit=5)
    if want is None:
        assert plan.status == "infeasible"
        return
    assert plan.status == "optimal"
    assert check_plan(problem, plan) == ()
    finish = int(plan.stages[0].value)
    assert arrays_of(problem).last_of_day(finish) == want[0]
    assert plan.stages[1].value == want[1] == plan.stages[1].bound
