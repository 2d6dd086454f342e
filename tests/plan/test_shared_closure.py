"""A lane and the bays behind it under one closure: the optimum waits, greed does not."""

from __future__ import annotations

from datetime import date

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


def _lane_and_bay() -> Problem:
    """A bay of six stalls behind a lane. Both may be done side by side by two crews; the
    bay alone could begin at once, the lane only from slot 3 on."""
    tasks, lags, closures = [], [], []
    for sid, first, skill in (("BAY", 0, "x"), ("LANE", 3, "y")):
        for step in "PQ":
            tasks.append(
                Task(id=f"{sid}/{step}", section_id=sid, step_id=step, skill=skill, duration=1,
                     starts=((first, 8),))
            )  # fmt: skip
        lags.append(Lag(before=f"{sid}/P", after=f"{sid}/Q", earliest=READY))
        closures.append(
            Closure(section_id=sid, stalls=6 if sid == "BAY" else 0, first=f"{sid}/P",
                    last=f"{sid}/Q", open_at=tuple(e + 1 for e in READY))
        )  # fmt: skip
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=SLOTS,
        shifts=(ShiftSpan(shift_id="A", on=date(2027, 4, 19), begin=0, end=SLOTS),),
        crews=(Crew(id="C1", people=3, skills=("x",), shift_ids=("A",)),
               Crew(id="C2", people=3, skills=("y",), shift_ids=("A",))),
        tasks=tuple(tasks), lags=tuple(lags), closures=tuple(closures),
        stalls_total=6, stalls_closed_max=6,
        access=Access(
            nodes=("L",), edges=(("street", "L", False),), blocks=(("LANE", ("L",)),),
            groups=(StallGroup(section_id="BAY", node="L", count=6),),
        ),
    )  # fmt: skip


def test_the_lane_and_the_bay_behind_it_share_one_closure():
    problem = _lane_and_bay()
    arrays = arrays_of(problem)
    greedy = draft_plan(arrays, tighten(arrays))
    plan = solve(problem, deterministic_limit=2)
    finish, stalls = (s.value for s in plan.stages[:2])
    # practice: counted by hand: two steps and one slot of cure, from slot 3 on
    assert finish == 6
    # practice: by hand: six stalls for three slots, closed once for both
    assert stalls == 18
    assert (finish, stalls) == best_of(problem)
    assert plan.stages[1].bound == stalls
    assert check_plan(problem, plan) == ()
    # Greed begins the bay at once and so takes the stalls twice.
    assert greedy.finish == finish
    assert greedy.stall_slots == 36
