"""The calendar file, read back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest

from tackfree.plan.types import Crew, Lag, Placed, Plan, Problem, ShiftSpan, Task
from tackfree.sheets.ics import plan_calendar

ZONE = ZoneInfo("America/New_York")
MIDNIGHT = datetime.combine(date(2027, 4, 19), time(), ZONE)


@dataclass(frozen=True)
class Place:
    time_zone: str = "America/New_York"


@dataclass(frozen=True)
class Job:
    id: str = "ALDER-ROW"
    name: str = "Alder Row Garage and Flats"
    place: Place = Place()
    as_of: datetime = datetime(2027, 4, 12, 7, tzinfo=ZONE)


def task(step: str, duration: int) -> Task:
    return Task(
        id=f"S01/{step}", section_id="S01", step_id=step, skill="x", duration=duration,
        starts=((0, 90),),
    )  # fmt: skip


def placed(step: str, start: int, end: int) -> Placed:
    return Placed(
        task_id=f"S01/{step}", section_id="S01", step_id=step, crew_id="CREW-1", start=start,
        end=end,
    )  # fmt: skip


@pytest.fixture
def problem() -> Problem:
    day = [
        ShiftSpan(shift_id="DAY", on=date(2027, 4, 19 + n), begin=48 * n + 14, end=48 * n + 31)
        for n in range(2)
    ]
    return Problem(
        slot0_utc_s=int(MIDNIGHT.timestamp()),
        slot_s=1800,
        slots=96,
        shifts=tuple(day),
        crews=(Crew(id="CREW-1", people=7, skills=("x",), shift_ids=("DAY",)),),
        tasks=(task("PREP", 4), task("PRIMER", 3), task("BASE", 5)),
        lags=(
            Lag(before="S01/PREP", after="S01/PRIMER", earliest=tuple(range(97))),
            Lag(before="S01/PRIMER", after="S01/BASE", earliest=tuple(range(97)), down_within=48),
        ),
        closures=(),
        stalls_total=0,
        stalls_closed_max=0,
    )


@pytest.fixture
def plan() -> Plan:
    return Plan(
        status="feasible",
        placed=(placed("PREP", 14, 18), placed("PRIMER", 20, 23), placed("BASE", 62, 67)),
        opens={},
        stages=(),
        seed=0,
        method="first plan",
    )


def read(problem, plan, **options):
    return icalendar.Calendar.from_ical(plan_calendar(Job(), plan, problem, **options))


def test_one_event_for_each_crew_and_shift(problem, plan):
    one, two = read(problem, plan).walk("VEVENT")
    # practice: slots of half an hour from local midnight, 07:00 to 11:30
    assert one.decoded("dtstart") == (MIDNIGHT + timedelta(hours=7)).astimezone(UTC)
    assert one.decoded("dtend") == (MIDNIGHT + timedelta(hours=11, minutes=30)).astimezone(UTC)
    assert str(one["uid"]) == "alder-row-crew-1-2027-04-19-day@tackfree"
    assert one.decoded("dtstamp") == datetime(2027, 4, 12, 11, tzinfo=UTC)
    assert "07:00" in str(one["description"])
    assert "S01" in str(two["description"])


def test_an_alarm_three_hours_before_the_recoat_limit(problem, plan):
    one, two = read(problem, plan).walk("VEVENT")
    assert not one.walk("VALARM")
    (alarm,) = two.walk("VALARM")
    # primer starts at 10:00 and its 24 h end at 10:00 the next day; 3 h before is 07:00
    assert alarm.decoded("trigger") == (MIDNIGHT + timedelta(days=1, hours=7)).astimezone(UTC)


def test_the_zone_is_described(problem, plan):
    (zone,) = read(problem, plan).walk("VTIMEZONE")
    assert str(zone["tzid"]) == "America/New_York"


def test_the_same_plan_gives_the_same_bytes_and_uids_stay(problem, plan):
    once = plan_calendar(Job(), plan, problem)
    assert once == plan_calendar(Job(), plan, problem)
    moved = replace(plan, placed=(*plan.placed[:2], placed("BASE", 64, 69)))
    uids = [[str(e["uid"]) for e in read(problem, p).walk("VEVENT")] for p in (plan, moved)]
    assert uids[0] == uids[1]


def test_spanish_and_empty_plans(problem, plan):
    assert read(problem, plan, language="es") != read(problem, plan)
    assert not read(problem, replace(plan, placed=())).walk("VEVENT")
