"""Tiny problems against brute force; bigger ones through the checker."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from tests.plan.brute import best_of
from tests.plan.made import garage

from tackfree.plan.bound import finish_bound
from tackfree.plan.check import check_plan
from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.solve import solve
from tackfree.plan.types import Closure, Crew, Lag, Problem, ShiftSpan, Task

SLOTS = 14
SPANS = (
    *(ShiftSpan(shift_id="A", on=date(2027, 4, 19), begin=a, end=b) for a, b in ((0, 5), (6, 10))),
    ShiftSpan(shift_id="B", on=date(2027, 4, 20), begin=10, end=14),
)


@st.composite
def rising(draw, least: int, most: int):
    steps = draw(st.lists(st.integers(0, 2), min_size=SLOTS + 1, max_size=SLOTS + 1))
    out, last = [], 0
    for e, more in enumerate(steps):
        last = max(last, e + least + (more if most else 0))
        out.append(last if last <= SLOTS + 4 else -1)
    return tuple(out)


@st.composite
def problems(draw) -> Problem:
    """One or two sections of two steps, sometimes two crews, limits of every kind."""
    tasks, lags, closures = [], [], []
    crews = [Crew(id="C1", people=3, skills=("x",), shift_ids=("A", "B"))]
    if draw(st.booleans()):
        crews.append(
            Crew(
                id="C2",
                people=3,
                skills=("x", "y"),
                shift_ids=draw(st.sampled_from([("A",), ("A", "B")])),
            )
        )
    skills = sorted({s for c in crews for s in c.skills})
    for n in range(draw(st.integers(1, 2))):
        sid = f"S{n}"
        for step in "PQ":
            d = draw(st.integers(1, 3))
            # The later step leans late, so that many problems have an answer.
            first = 0 if step == "P" else 4
            free = draw(st.sets(st.integers(first, SLOTS - d), min_size=1, max_size=4))
            starts = tuple((s, s) for s in sorted(free))
            tasks.append(
                Task(
                    id=f"{sid}/{step}", section_id=sid, step_id=step,
                    skill=draw(st.sampled_from(skills)), duration=d, starts=starts,
                )
            )  # fmt: skip
        lags.append(
            Lag(
                before=f"{sid}/P",
                after=f"{sid}/Q",
                earliest=draw(rising(0, 2)),
                down_within=draw(st.none() | st.integers(3, 9)),
                same_or_next_shift=draw(st.booleans()),
                latest=draw(st.just(()) | rising(2, 2)),
            )
        )
        closures.append(
            Closure(
                section_id=sid, stalls=draw(st.integers(0, 3)), first=f"{sid}/P", last=f"{sid}/Q",
                open_at=draw(rising(1, 2)),
                also=draw(st.just(()) | st.tuples(st.tuples(st.just(f"{sid}/P"), rising(2, 2)))),
            )
        )  # fmt: skip
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=SLOTS, shifts=SPANS, crews=tuple(crews),
        tasks=tuple(tasks), lags=tuple(lags), closures=tuple(closures), stalls_total=6,
        stalls_closed_max=draw(st.integers(3, 6)),
    )  # fmt: skip


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(problems())
def test_the_solver_finds_what_brute_force_finds_and_no_bound_passes_it(problem):
    want = best_of(problem)
    event(f"feasible: {want is not None}")
    plan = solve(problem, deterministic_limit=5)
    if want is None:
        assert plan.status == "infeasible"
        assert plan.reasons
        return
    assert plan.status == "optimal"
    assert check_plan(problem, plan) == ()
    got = [s.value for s in plan.stages]
    assert got[0] == want[0]
    if len(got) > 1:
        assert got[1] == want[1] == plan.stages[1].bound
    arrays = arrays_of(problem)
    assert finish_bound(arrays, tighten(arrays)).slot <= want[0]
    assert finish_bound(arrays, tighten(arrays, want[0])).slot <= want[0]


def test_the_same_problem_gives_the_same_plan():
    problem = garage(3, 35)
    one, two = (solve(problem, seed=3, deterministic_limit=0.3) for _ in range(2))
    assert one == two
    assert check_plan(problem, one) == ()
    assert one.stages[0].bound <= one.stages[0].value


def test_stopping_early_still_gives_a_sound_plan():
    problem = garage(3, 35)
    plan = solve(problem, stop=lambda: True, deterministic_limit=5)
    assert plan.method == "first plan"
    assert check_plan(problem, plan) == ()


def test_sections_that_cannot_fit_together_are_named():
    problem = garage(3, 21)
    # Two sections whose base may only start in one and the same slot, one crew.
    one = next(a for a, _ in problem.tasks[3].starts if a > 480)
    tight = tuple(
        replace(t, starts=((one, one),)) if t.id in {"S01/BASE", "S02/BASE"} else t
        for t in problem.tasks
    )
    plan = solve(replace(problem, tasks=tight))
    assert plan.status == "infeasible"
    assert plan.placed == ()
    assert plan.reasons[0].id == "plan.reason.together"
    assert plan.reasons[0].values["sections"] == "S01, S02"


def test_a_limit_shorter_than_its_wait_is_named():
    problem = garage(2, 21)
    lags = tuple(
        replace(x, down_within=6) if (x.before, x.after) == ("S01/BASE", "S01/TOP") else x
        for x in problem.lags
    )
    plan = solve(replace(problem, lags=lags))
    assert plan.status == "infeasible"
    assert plan.reasons[0].id == "plan.reason.wait"
    assert dict(plan.reasons[0].values) == {"section": "S01", "before": "BASE", "after": "TOP"}


def test_no_tasks_is_a_plan_too():
    empty = replace(garage(1, 7), tasks=(), lags=(), closures=())
    assert solve(empty).status == "optimal"
