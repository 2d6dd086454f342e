"""Crews that relieve each other: one is on duty at a time, and the hour tells which."""

from __future__ import annotations

from datetime import date

from tackfree.plan.check import check_plan
from tackfree.plan.solve import solve
from tackfree.plan.types import Crew, Problem, ShiftSpan, Task


def problem(*, overlap: int) -> Problem:
    """Six tasks of two slots in a day shift and an evening shift of six slots each."""
    spans = (
        ShiftSpan(shift_id="DAY", on=date(2027, 4, 19), begin=0, end=6 + overlap),
        ShiftSpan(shift_id="EVE", on=date(2027, 4, 19), begin=6, end=12),
    )
    crews = tuple(
        Crew(id=f"CREW-{s}", people=5, skills=("coating",), shift_ids=(s,)) for s in ("DAY", "EVE")
    )
    tasks = tuple(
        Task(id=f"S{k}/BASE", section_id=f"S{k}", step_id="BASE", skill="coating", duration=2,
             starts=((0, 10),))
        for k in range(6)
    )  # fmt: skip
    return Problem(
        slot0_utc_s=0, slot_s=1800, slots=12, shifts=spans, crews=crews, tasks=tasks, lags=(),
        closures=(), stalls_total=0, stalls_closed_max=0,
    )  # fmt: skip


def test_in_turn() -> None:
    made = problem(overlap=0)
    plan = solve(made)
    assert plan.status == "optimal"
    assert plan.stages[0].value == 12  # by hand: six tasks of two slots, one crew at a time
    assert check_plan(made, plan) == ()
    for p in plan.placed:
        assert p.crew_id == ("CREW-DAY" if p.end <= 6 else "CREW-EVE")


def test_side_by_side_for_an_hour() -> None:
    made = problem(overlap=2)
    plan = solve(made)
    # by hand: four by the day crew in eight slots, two by the other from slot 6 on
    assert plan.stages[0].value == 10
    assert check_plan(made, plan) == ()
