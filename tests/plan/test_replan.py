"""From now on: what is done stands, the next days stay, lost windows are tied again."""

from __future__ import annotations

from dataclasses import replace

from tests.plan.made import garage
from tests.plan.test_stress import _rained_off

from tackfree.plan.again import Way
from tackfree.plan.bound import stall_slots_bound
from tackfree.plan.check import check_plan
from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.drafts import MOVED, measure
from tackfree.plan.model import Goal, Run, search
from tackfree.plan.replan import replan
from tackfree.plan.solve import solve
from tackfree.plan.steady import moved_bound
from tackfree.plan.types import Lag, Task

PROBLEM = garage(4, 56)
WAS = solve(PROBLEM, deterministic_limit=0.05)


def _done(now):
    return {p.task_id: (p.start, p.end) for p in WAS.placed if p.start < now}


def _again(problem, now, done=None, days=2, **more):
    return replan(
        problem, WAS, _done(now) if done is None else done, now=now,
        frozen_until=now + 48 * days, steady_until=now + 240, deterministic_limit=0.05, **more,
    )  # fmt: skip


def test_with_nothing_new_the_next_days_stay_and_the_finish_is_no_later():
    now = WAS.placed[len(WAS.placed) // 2].start
    got = _again(PROBLEM, now)
    assert check_plan(got.problem, got.plan) == ()
    assert not [c for c in got.changes if c.was is not None and c.was < now + 240]
    finish = {s.name: s.value for s in got.plan.stages}["finish"]
    assert finish <= WAS.stages[0].value
    assert got.lost == ()
    assert got.unfrozen == ()


def test_nothing_starts_in_the_past_or_in_the_rain():
    now = WAS.placed[4].start
    got = _again(_rained_off(PROBLEM, now, now + 96), now)
    assert check_plan(got.problem, got.plan) == ()
    assert all(p.start >= now + 96 for p in got.plan.placed)
    assert set(got.unfrozen) == {p.task_id for p in WAS.placed if now <= p.start < now + 96}


def test_a_closure_under_way_counts_from_when_it_began():
    since = min(p.start for p in WAS.placed if p.section_id == "S03")
    mine = [p for p in WAS.placed if p.section_id == "S03"]
    got = _again(PROBLEM, mine[2].start)
    arrays = arrays_of(got.problem)
    assert since in {c.since for c in arrays.closures} - {None, 0}
    lost = {s.name: s.value for s in got.plan.stages}["stall-slots"]
    finish = {s.name: s.value for s in got.plan.stages}["finish"]
    assert 0 < stall_slots_bound(arrays, tighten(arrays, int(finish))) <= lost


def test_no_more_tasks_move_than_the_whole_model_proves_must():
    now = WAS.placed[10].start
    wet = _rained_off(PROBLEM, now + 48, now + 96)
    got = replan(wet, WAS, _done(now), now=now, frozen_until=now, steady_until=now + 240,
                 deterministic_limit=0.5)  # fmt: skip
    moved = got.plan.stages[0]
    arrays = arrays_of(got.problem)
    run = Run(seed=1, workers=1, left=5.0, stop=lambda: False)
    exact = search(arrays, tighten(arrays), None, run, Goal(name=MOVED), 1.0)
    # library: OR-Tools CP-SAT over all sections at once
    assert moved.value == moved.bound == exact.bound == measure(arrays, exact.draft, MOVED)
    assert 0 < moved.value < len(got.problem.was)
    beforehand = moved_bound(arrays, tighten(arrays))
    assert beforehand.slot <= moved.value


def test_a_lost_window_becomes_a_tie():
    base = next(p for p in WAS.placed if p.task_id == "S01/BASE")
    now = base.end
    done = {k: v for k, v in _done(now).items() if k != "S01/TOP"}
    rained = _rained_off(PROBLEM, now, base.start + 96)
    abrade, tie = (
        Task(id=f"S01/{step}", section_id="S01", step_id=step, skill=skill, duration=3,
             starts=((0, PROBLEM.slots - 3),))
        for step, skill in (("ABRADE", "prep"), ("TIE", "coating"))
    )  # fmt: skip
    ends = range(PROBLEM.slots + 1)
    cure = 9  # slots
    way = Way(
        tasks=(abrade, tie),
        lags=(
            Lag(before="S01/ABRADE", after="S01/TIE", earliest=tuple(ends)),
            Lag(before="S01/TIE", after="S01/TOP",
                earliest=tuple(e + cure if e + cure <= PROBLEM.slots else -1 for e in ends)),
        ),
    )  # fmt: skip
    got = _again(rained, now, done, ways={("S01/BASE", "S01/TOP"): way})
    assert [(x.before, x.after) for x in got.lost] == [("S01/BASE", "S01/TOP")]
    assert [t.id for t in got.lost[0].added] == ["S01/ABRADE", "S01/TIE"]
    assert check_plan(got.problem, got.plan) == ()
    at = {p.task_id: p for p in got.plan.placed}
    assert now <= at["S01/ABRADE"].start < at["S01/ABRADE"].end <= at["S01/TIE"].start
    assert at["S01/TIE"].end + cure <= at["S01/TOP"].start


def test_work_that_broke_a_rule_is_taken_as_it_happened():
    now = WAS.placed[6].start
    done = _done(now)
    name = next(k for k in done if k.endswith("/DETAILS"))
    done[name] = (done[name][0] - 40, done[name][1] - 40)  # at night, outside any shift
    got = _again(PROBLEM, now, done)
    assert check_plan(got.problem, got.plan) == ()
    assert replace(got.plan, placed=()).status in {"optimal", "feasible"}
