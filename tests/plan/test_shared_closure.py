"""A lane and the bays behind it under one closure: the optimum waits, greed does not."""

from __future__ import annotations

from datetime import date

import pytest
from tests.plan.brute import best_of

from tackfree.plan.check import check_plan
from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.greedy import draft_plan
from tackfree.plan.solve import solve
from tackfree.plan.types import (
    Access,
    Closure,
    Crew,
    Lag,
    Problem,
    ShiftSpan,
    StallGroup,
    Task,
)

SLOTS = 12
READY = tuple(range(SLOTS + 4))


def _lane_and_bays(stalls: dict[str, int]) -> Problem:
    """Bays behind a lane, a crew for each, so that all may be done side by side; a bay
    alone could begin at once, the lane only from slot 3 on."""
    tasks, lags, closures = [], [], []
    names = (*stalls, "LANE")
    early, late = ((0, 1), (3, 4)), ((3, 5),)
    for sid in names:
        for step in "PQ":
            tasks.append(
                Task(id=f"{sid}/{step}", section_id=sid, step_id=step, skill=sid, duration=1,
                     starts=late if sid == "LANE" else early)
            )  # fmt: skip
        lags.append(Lag(before=f"{sid}/P", after=f"{sid}/Q", earliest=READY))
        closures.append(
            Closure(section_id=sid, stalls=stalls.get(sid, 0), first=f"{sid}/P",
                    last=f"{sid}/Q", open_at=tuple(e + 1 for e in READY))
        )  # fmt: skip
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=SLOTS,
        shifts=(ShiftSpan(shift_id="A", on=date(2027, 4, 19), begin=0, end=SLOTS),),
        crews=tuple(Crew(id=f"C-{s}", people=3, skills=(s,), shift_ids=("A",)) for s in names),
        tasks=tuple(tasks), lags=tuple(lags), closures=tuple(closures),
        stalls_total=sum(stalls.values()), stalls_closed_max=sum(stalls.values()),
        access=Access(
            nodes=("L",), edges=(("street", "L", False),), blocks=(("LANE", ("L",)),),
            groups=tuple(StallGroup(section_id=s, node="L", count=n) for s, n in stalls.items()),
        ),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("stalls", "shared"),
    [
        # practice: by hand: two steps and one slot of cure from slot 3 on, closed once for all
        ({"BAY": 6}, 18),
        ({"BAY": 6, "BAY2": 4}, 30),
    ],
)
def test_the_lane_and_the_bays_behind_it_share_one_closure(stalls, shared):
    problem = _lane_and_bays(stalls)
    arrays = arrays_of(problem)
    greedy = draft_plan(arrays, tighten(arrays))
    plan = solve(problem, deterministic_limit=2)
    finish, lost = (s.value for s in plan.stages[:2])
    # practice: counted by hand: two steps and one slot of cure, from slot 3 on
    assert finish == 6
    assert lost == shared
    assert (finish, lost) == best_of(problem)
    assert plan.stages[1].bound == lost
    assert check_plan(problem, plan) == ()
    # Greed begins the bays at once and so takes their stalls twice.
    assert greedy.finish == finish
    assert greedy.stall_slots == 2 * shared
