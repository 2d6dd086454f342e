"""A garage of five levels kept open: 923 stalls, at most 276 closed, in 25 sections."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest

from tackfree.plan.solve import solve
from tackfree.plan.types import Closure, Crew, Problem, ShiftSpan, Task
from tackfree.service.plan_board.faces import stall_weeks
from tackfree.service.plan_board.sheet import Place, Sheet
from tackfree.service.plan_board.stalls import stall_days

SLOTS = 48 * 60
START = 1807488000  # 2027-04-12, UTC
# 25 bays of 36 or 37 stalls; 923 in all, and 30 % of them is 276
STALLS = [37] * 23 + [36] * 2


def test_the_cap_of_276_is_kept_every_day_of_the_calendar(request: pytest.FixtureRequest) -> None:
    if not request.config.getoption("--trials"):
        return
    spans = tuple(
        ShiftSpan(shift_id="DAY", on=date(2027, 4, 12) + timedelta(days=d), begin=48 * d + 14,
                  end=48 * d + 30)
        for d in range(60)
        if d % 7 < 5
    )  # fmt: skip
    names = [f"L{1 + k // 5}-B{1 + k % 5}" for k in range(25)]
    tasks = [
        Task(id=f"{n}/BASE", section_id=n, step_id="BASE", skill="coating", duration=8,
             starts=tuple((s.begin, s.end - 8) for s in spans))
        for n in names
    ]  # fmt: skip
    cars = tuple(min(e + 48 * 9, SLOTS) for e in range(SLOTS + 1))  # nine days to cars
    problem = Problem(
        slot0_utc_s=START, slot_s=1800, slots=SLOTS, shifts=spans,
        crews=(Crew(id="CREW", people=7, skills=("coating",), shift_ids=("DAY",)),),
        tasks=tuple(tasks), lags=(),
        closures=tuple(
            Closure(section_id=n, stalls=k, first=f"{n}/BASE", last=f"{n}/BASE", open_at=cars)
            for n, k in zip(names, STALLS, strict=True)
        ),
        stalls_total=923, stalls_closed_max=276,
    )  # fmt: skip
    plan = solve(problem, deterministic_limit=0.01, tries=1)
    places = tuple(Place(id=n, deck_id=n[:2], stalls=k) for n, k in zip(names, STALLS, strict=True))
    sheet = Sheet("S5", "", True, "", ZoneInfo("UTC"), problem, plan, places)
    assert sum(STALLS) == 923
    closed = [d.closed for d in stall_days(sheet)]
    # practice: 7 bays of 37 are 259 and an eighth would be 295 or 296: over the cap
    assert 250 < max(closed) <= 276
    assert not any(c.over for _, week in stall_weeks(sheet, "en") for c in week)
