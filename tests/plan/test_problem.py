"""Shifts on the grid, allowed starts, and what makes a problem unplannable."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.plan.made import garage

from tackfree.plan.problem import (
    PlanInputError,
    allowed_starts,
    check_problem,
    require_nondecreasing,
    shift_spans,
    starts_of_clear_runs,
)
from tackfree.plan.types import Crew, Lag, Shift, ShiftSpan

ZONE = ZoneInfo("America/New_York")
NIGHT = Shift(id="NIGHT", weekdays=(5,), begins=time(22), ends=time(6))


def utc_of(day: date, clock: time) -> int:
    return int(datetime.combine(day, clock, ZONE).timestamp())


def spans(shifts, first_day, days=1, holidays=(), slot_s=1800):
    return shift_spans(
        shifts,
        holidays,
        first_day=first_day,
        days=days,
        slot0_utc_s=utc_of(first_day, time()),
        slot_s=slot_s,
        utc_of=utc_of,
    )


@pytest.mark.parametrize(
    ("day", "half_hours"),
    [
        (date(2027, 3, 6), 16),  # practice: 22:00 to 06:00 is 8 h by the clock
        (date(2027, 3, 13), 14),  # published: US clocks go forward 14 March 2027, 15 USC 260a
        (date(2027, 11, 6), 18),  # published: and back on 7 November 2027
    ],
)
def test_a_night_shift_is_as_long_as_the_night(day, half_hours):
    (span,) = spans([NIGHT], day)
    assert (span.begin, span.on) == (44, day)
    assert span.end - span.begin == half_hours


def test_begins_round_up_and_ends_round_down():
    odd = Shift(id="ODD", weekdays=(0,), begins=time(7, 10), ends=time(15, 50))
    (span,) = spans([odd], date(2027, 4, 19))
    assert (span.begin, span.end) == (15, 31)  # practice: 07:30 to 15:30 in half hours


def test_holidays_and_other_weekdays_have_no_shift():
    day = Shift(id="DAY", weekdays=(0, 1, 2, 3, 4), begins=time(7), ends=time(15, 30))
    got = spans([day], date(2027, 5, 29), days=5, holidays=[date(2027, 5, 31)])
    assert [s.on for s in got] == [date(2027, 6, 1), date(2027, 6, 2)]  # memory: 29 May is Saturday


@given(st.lists(st.booleans(), max_size=30), st.integers(1, 6))
def test_clear_runs_are_runs_of_clear_slots(clear, duration):
    got = starts_of_clear_runs(clear, duration)
    want = [k + duration <= len(clear) and all(clear[k : k + duration]) for k in range(len(clear))]
    assert got.tolist() == want


@given(st.lists(st.booleans(), min_size=1, max_size=40), st.integers(1, 5), st.data())
def test_allowed_starts_are_the_ones_inside_one_shift(ok, duration, data):
    n = len(ok)
    cut = sorted(data.draw(st.lists(st.integers(0, n), min_size=4, max_size=4)))
    shifts = [
        ShiftSpan(shift_id="A", on=date(2027, 4, 19), begin=a, end=b)
        for a, b in ((cut[0], cut[1]), (cut[2], cut[3]))
    ]
    got = allowed_starts(ok, duration, shifts)
    want = {s for x in shifts for s in range(x.begin, x.end) if s + duration <= x.end and ok[s]}
    assert {s for a, b in got for s in range(a, b + 1)} == want


@pytest.mark.parametrize("table", [[], [3], [1, 1, 2, -1, -1], [0, 5, 5]])
def test_tables_that_rise_pass(table):
    require_nondecreasing(table, where="S01 BASE")


@pytest.mark.parametrize("table", [[2, 1], [1, -1, 2]])
def test_a_table_that_falls_is_refused_by_name(table):
    with pytest.raises(PlanInputError, match="S01 BASE"):
        require_nondecreasing(table, where="S01 BASE")


def faults(problem):
    return [str(f) for f in check_problem(problem)]


def test_a_sound_problem_has_no_fault():
    assert faults(garage(2, 20)) == []


def test_every_fault_is_named():
    p = garage(2, 20)
    long = replace(p.tasks[0], duration=40)
    assert "Cut the section into 3 parts" in faults(replace(p, tasks=(long, *p.tasks[1:])))[0]
    nobody = (Crew(id="CREW-1", people=7, skills=("prep",), shift_ids=("DAY",)),)
    said = faults(replace(p, crews=nobody))
    # five steps of two sections each; PREP has its crew
    assert "crews: No crew has the skill coating, which 10 steps need (DETAILS, PRIMER" in said[0]
    assert not [f for f in said if "skill prep" in f]
    empty = replace(p.tasks[3], starts=(), removed=(("rain", 3), ("dew", 40)))
    said = faults(replace(p, tasks=(*p.tasks[:3], empty, *p.tasks[4:])))[0]
    assert said.startswith("S01 BASE: No start is left. Of 43 starts inside shifts, 40 were lost")
    stray = Lag(before="S01/BASE", after="S09/TOP", earliest=())
    assert "S09/TOP, which the plan lacks" in faults(replace(p, lags=(stray,)))[0]
    short = replace(p.lags[0], earliest=p.lags[0].earliest[:50])
    assert "holds 50 slots" in faults(replace(p, lags=(short,)))[0]
    table = tuple(range(p.slots + 1))
    circle = [
        Lag(before=a, after=b, earliest=table)
        for a, b in (("S01/BASE", "S01/TOP"), ("S01/TOP", "S01/BASE"))
    ]
    assert "in a circle: S01/BASE, S01/TOP" in faults(replace(p, lags=tuple(circle)))[0]
    assert "may be" not in " ".join(faults(p))
    assert "stalls; the contract lets 0" in " ".join(faults(replace(p, stalls_closed_max=0)))
    falling = replace(p.lags[0], earliest=tuple(np.arange(p.slots + 1)[::-1].tolist()))
    assert "the table falls" in faults(replace(p, lags=(falling,)))[0]
