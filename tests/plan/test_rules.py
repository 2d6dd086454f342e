"""Rules between sections: tiny problems with all of them against brute force."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from tests.plan.brute import best_of
from tests.plan.test_solve import SLOTS, problems, rising

from tackfree.plan.bound import finish_bound, stall_slots_bound
from tackfree.plan.check import check_plan
from tackfree.plan.check_rules import closed_slots, lost_stalls
from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.greedy import draft_plan
from tackfree.plan.problem import check_problem
from tackfree.plan.solve import solve
from tackfree.plan.types import (
    Access,
    Blackout,
    Equipment,
    Keep,
    Problem,
    Promise,
    Span,
    StallGroup,
    Stock,
)


@st.composite
def ruled(draw) -> Problem:
    """A tiny problem with each rule between sections there or not."""
    base = draw(problems())
    names = tuple(dict.fromkeys(t.section_id for t in base.tasks))
    tasks = []
    for t in base.tasks:
        first = 0 if t.step_id == "P" else 4
        free = draw(st.sets(st.integers(first, SLOTS - t.duration), min_size=3, max_size=5))
        tasks.append(
            replace(
                t,
                starts=tuple((s, s) for s in sorted(free)),
                dusty=t.step_id == "P" and draw(st.booleans()),
                wet=draw(rising(1, 2)) if t.step_id == "Q" and draw(st.booleans()) else (),
                equipment=draw(st.sampled_from([(), ("M",), ("M", "M")])),
                needs=(("K", draw(st.integers(1, 2))),) if draw(st.booleans()) else (),
            )
        )
    lags = tuple(
        replace(x, same_or_next_shift=False, latest=(), down_within=None)
        if draw(st.booleans())
        else x
        for x in base.lags
    )
    access = None
    if draw(st.booleans()):
        nodes = ("L0", "L1")
        edges = [("street", "L0", False)]
        edges.append(("L0", "L1", False) if draw(st.booleans()) else ("street", "L1", False))
        if draw(st.booleans()):
            edges.append(("L0", "L1", True))
        groups = [
            StallGroup(section_id=draw(st.sampled_from([*names, "REST"])), node=n,
                       count=draw(st.integers(1, 2)), accessible=draw(st.integers(0, 1)))
            for n in (*nodes, draw(st.sampled_from(nodes)))
        ]  # fmt: skip
        access = Access(
            nodes=nodes,
            edges=tuple(edges),
            blocks=tuple(
                (s, (draw(st.sampled_from(nodes)),)) for s in names if draw(st.booleans())
            ),
            groups=tuple(groups),
            accessible_open_min=draw(st.sampled_from([0, 0, 1])),
            agreed=tuple(s for s in names if draw(st.booleans())),
        )
    return replace(
        base,
        tasks=tuple(tasks),
        lags=lags,
        access=access,
        stalls_closed_max=draw(st.integers(3, 6)) if access else base.stalls_closed_max,
        neighbours=(names,) if len(names) == 2 and draw(st.booleans()) else (),
        ways_in=(names[0],) if draw(st.booleans()) else (),
        keeps=(Keep(name="exits", sections=(*names, "REST")[:2], open_min=1),)
        if len(names) == 2 and draw(st.booleans()) else (),
        blackouts=(Blackout(name="match", begin=7, end=8, sections=(names[0],)),)
        if draw(st.integers(0, 3)) == 0 else (),
        promises=(Promise(name="opening", sections=(names[0],), by=draw(st.integers(8, 16))),)
        if draw(st.integers(0, 2)) == 0 else (),
        equipment=(Equipment(id="M", count=draw(st.integers(1, 2))),),
        stocks=(
            Stock(id="K", on_hand=draw(st.integers(1, 4)),
                  arrivals=((draw(st.integers(3, 9)), 6),)),
        ),
        shut=(Span(section_id="REST", begin=0, end=draw(st.integers(1, 6))),)
        if draw(st.integers(0, 3)) == 0 else (),
        wet_now=(Span(section_id=names[0], begin=0, end=draw(st.integers(1, 4))),)
        if draw(st.integers(0, 3)) == 0 else (),
    )  # fmt: skip


@settings(
    max_examples=120, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
@given(ruled())
def test_exact_equals_brute_force_with_every_rule(problem):
    if check_problem(problem):
        event("named before the solver")
        assert solve(problem).status == "infeasible"
        return
    want = best_of(problem)
    event(f"feasible: {want is not None}")
    plan = solve(problem, deterministic_limit=5)
    if want is None:
        assert plan.status == "infeasible", plan
        return
    assert check_plan(problem, plan) == ()
    got = [int(s.value) for s in plan.stages]
    assert got[0] == want[0] == plan.stages[0].bound
    assert got[1] == want[1]
    assert plan.stages[1].bound <= want[1]
    arrays = arrays_of(problem)
    assert finish_bound(arrays, tighten(arrays)).slot <= want[0]
    ok = tighten(arrays, want[0])
    assert finish_bound(arrays, ok).slot <= want[0]
    assert stall_slots_bound(arrays, ok) <= want[1]


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(ruled())
def test_the_first_plan_alone_keeps_every_rule(problem):
    if check_problem(problem):
        return
    arrays = arrays_of(problem)
    ok = tighten(arrays)
    draft = draft_plan(arrays, ok) if all(m.any() for m in ok) else None
    event(f"found: {draft is not None}")
    if draft is None:
        return
    plan = solve(problem, stop=lambda: True)
    assert check_plan(problem, plan) == ()
    lost = sum(lost_stalls(problem, shut) for shut in closed_slots(problem, plan).values())
    assert lost == plan.stages[1].value
