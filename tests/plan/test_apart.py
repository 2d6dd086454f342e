"""Closures that must follow one another: no bound past the optimum of brute force."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from tests.plan.brute import best_of

from tackfree.plan.apart import apart
from tackfree.plan.bound import finish_bound, stall_slots_bound
from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.solve import solve
from tackfree.plan.types import Access, Closure, Crew, Problem, ShiftSpan, StallGroup, Task

SLOTS = 20
NAMES = ("A", "B", "C")


def _lanes(starts, cures, behind, cap: int, linked: bool = False) -> Problem:
    """Three lanes, a crew for each; stalls that nobody coats lie behind them. ``linked``:
    some lie behind B and C together and are lost only where both are closed."""
    tasks = tuple(
        Task(id=f"{s}/P", section_id=s, step_id="P", skill=s, duration=1,
             starts=tuple((x, x) for x in sorted(free)))
        for s, free in zip(NAMES, starts, strict=True)
    )  # fmt: skip
    groups = [StallGroup(section_id="REST", node=s, count=n)
              for s, n in zip(NAMES, behind, strict=True)]  # fmt: skip
    edges = [("street", s, False) for s in NAMES]
    if linked:
        edges += [("B", "far", False), ("C", "far", False)]
        groups.append(StallGroup(section_id="REST", node="far", count=cap))
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=SLOTS,
        shifts=(ShiftSpan(shift_id="A", on=date(2027, 4, 19), begin=0, end=SLOTS),),
        crews=tuple(Crew(id=f"C{s}", people=3, skills=(s,), shift_ids=("A",)) for s in NAMES),
        tasks=tasks, lags=(),
        closures=tuple(
            Closure(section_id=s, stalls=0, first=f"{s}/P", last=f"{s}/P",
                    open_at=tuple(e + cure for e in range(SLOTS + 2)))
            for s, cure in zip(NAMES, cures, strict=True)
        ),
        stalls_total=sum(g.count for g in groups), stalls_closed_max=cap,
        access=Access(nodes=(*NAMES, "far"), edges=tuple(edges),
                      blocks=tuple((s, (s,)) for s in NAMES), groups=tuple(groups)),
    )  # fmt: skip


def test_lanes_that_exclude_each_other_are_proven_one_after_another():
    every = [range(SLOTS)] * 3
    problem = _lanes(every, (3, 3, 3), (2, 2, 2), cap=3)
    arrays = arrays_of(problem)
    bound = finish_bound(arrays, tighten(arrays))
    # practice: by hand: three closures of one slot's work and three of cure, in a row
    assert (bound.slot, bound.source) == (12, "closures apart")
    plan = solve(problem)
    assert plan.stages[0].value == plan.stages[0].bound == 12
    # practice: by hand: two may be closed at once where four stalls may be lost
    roomy = arrays_of(replace(problem, stalls_closed_max=4))
    assert apart(roomy) == {0: set(), 1: set(), 2: set()}
    assert finish_bound(roomy, tighten(roomy)).slot < 12


def test_stalls_cut_off_only_by_two_closures_together_keep_them_apart():
    every = [range(SLOTS)] * 3
    arrays = arrays_of(_lanes(every, (3, 3, 3), (1, 1, 1), cap=3, linked=True))
    # practice: by hand: B and C together take 1 + 1 + 3 stalls, A with either takes 2
    assert apart(arrays) == {0: set(), 1: {2}, 2: {1}}
    assert finish_bound(arrays, tighten(arrays)).slot == 8


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    st.lists(st.sets(st.integers(0, 15), min_size=1, max_size=5), min_size=3, max_size=3),
    st.lists(st.integers(0, 3), min_size=3, max_size=3),
    st.lists(st.integers(1, 3), min_size=3, max_size=3),
    st.integers(3, 5),
    st.booleans(),
)
def test_no_bound_passes_brute_force(starts, cures, behind, cap, linked):
    problem = _lanes(starts, cures, behind, cap, linked)
    want = best_of(problem)
    arrays = arrays_of(problem)
    bound = finish_bound(arrays, tighten(arrays))
    event(f"{bound.source}, feasible: {want is not None}")
    if want is None:
        return
    assert bound.slot <= want[0]
    if all(len(row) == 2 for row in apart(arrays).values()):
        assert bound.slot == want[0]  # all three in one row: the bound is exact
    ok = tighten(arrays, want[0])
    assert finish_bound(arrays, ok).slot <= want[0]
    assert stall_slots_bound(arrays, ok) <= want[1]
    plan = solve(problem, deterministic_limit=5)
    assert (plan.stages[0].value, plan.stages[1].value) == want
