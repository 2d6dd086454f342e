"""The plan as an iCalendar file: one event per crew and shift, alarms before limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

import icalendar

from tackfree.plan.holds import Visit, visits_of
from tackfree.plan.types import Placed, Plan, Problem
from tackfree.words import say

ALARM_BEFORE = timedelta(hours=3)
PRODID = "-//Tackfree//plan//EN"


@dataclass(frozen=True, kw_only=True)
class Limit:
    """By when ``after`` must be down on ``section_id``, from the step before it."""

    section_id: str
    before: str
    after: str
    slot: int


def limits_of(problem: Problem, plan: Plan) -> tuple[Limit, ...]:
    """Every recoat-before limit of a plan, by the slot it falls on."""
    at = {p.task_id: p for p in plan.placed}
    found = [
        Limit(
            section_id=at[lag.after].section_id,
            before=at[lag.before].step_id,
            after=at[lag.after].step_id,
            slot=at[lag.before].start + lag.down_within,
        )
        for lag in problem.lags
        if lag.down_within is not None and lag.before in at and lag.after in at
    ]
    return tuple(sorted(found, key=lambda x: (x.slot, x.section_id, x.after)))


class PlaceLike(Protocol):
    @property
    def time_zone(self) -> str: ...


class JobLike(Protocol):
    """What a calendar takes from the job document."""

    @property
    def id(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def place(self) -> PlaceLike: ...
    @property
    def as_of(self) -> datetime: ...


def plan_calendar(
    job: JobLike, plan: Plan, problem: Problem, *, language: str = "en", crew: str | None = None
) -> bytes:
    """The calendar of a plan: the same plan gives the same bytes.

    One event for each crew and shift that has work, from its first start to its
    last end, with its sections and steps. Each step that a recoat-before limit
    binds has an alarm three hours before the limit, on the event that places it. Each
    visit of a hold point is an event, with an alarm three hours before notice is due.
    Times are UTC; the job's zone is described beside them. Stamps are ``as_of``,
    and an event keeps its UID as long as crew, date and shift stay.

    Parameters
    ----------
    job
        Its id goes into UIDs; ``as_of``, aware, becomes DTSTAMP.
    language
        Of summaries and descriptions.
    crew
        Only this crew's shifts, and visits to its work; None is every crew's.

    Source
    ------
    Published: RFC 5545 (VEVENT 3.6.1, VTIMEZONE 3.6.5, VALARM 3.6.6).
    """
    time_zone = job.place.time_zone
    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("name", job.name)
    calendar.add("x-wr-calname", job.name)
    calendar.add("x-wr-timezone", time_zone)
    if plan.placed:
        calendar.add_component(_zone(problem, plan, time_zone))
    limits = limits_of(problem, plan)
    for (who, key), placed in _by_crew_and_shift(problem, plan).items():
        if crew is not None and who != crew:
            continue
        event = icalendar.Event()
        event.add("uid", f"{job.id}-{who}-{key}@tackfree".lower())
        event.add("dtstamp", job.as_of.astimezone(UTC))
        event.add("dtstart", _moment(problem, min(p.start for p in placed)))
        event.add("dtend", _moment(problem, max(p.end for p in placed)))
        event.add("summary", _summary(who, placed, language))
        event.add("description", _description(problem, placed, time_zone, language))
        for limit in limits:
            if any((p.section_id, p.step_id) == (limit.section_id, limit.after) for p in placed):
                event.add_component(_alarm(problem, limit, time_zone, language))
        calendar.add_component(event)
    mine = {p.task_id for p in plan.placed if crew is None or p.crew_id == crew}
    for visit in visits_of(problem, plan):
        if visit.hold.after in mine:
            calendar.add_component(_visit(job, problem, visit, language))
    return bytes(calendar.to_ical())


def _visit(job: JobLike, problem: Problem, visit: Visit, language: str) -> icalendar.Event:
    """A hold point: its visit, with an alarm before they must be told and one before they come."""
    hold, time_zone = visit.hold, job.place.time_zone
    after = _step(hold.after.split("/", 1)[1], language)
    said = {
        "who": hold.who,
        "sees": hold.sees,
        "section": hold.section_id,
        "step": after,
        "by": _clock(problem, visit.notice_by, time_zone),
        "at": _clock(problem, visit.begin, time_zone),
    }
    event = icalendar.Event()
    event.add("uid", f"{job.id}-{hold.id}-{hold.section_id}@tackfree".lower())
    event.add("dtstamp", job.as_of.astimezone(UTC))
    event.add("dtstart", _moment(problem, visit.begin))
    event.add("dtend", _moment(problem, visit.end))
    event.add("summary", say("plan.hold-event", language, **said))
    event.add("description", say("plan.hold-about", language, **said))
    for name, slot in (("hold-tell", visit.notice_by), ("hold-come", visit.begin)):
        alarm = icalendar.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", _moment(problem, slot) - ALARM_BEFORE)
        alarm["trigger"].params["VALUE"] = "DATE-TIME"
        alarm.add("description", say(f"plan.{name}", language, **said))
        event.add_component(alarm)
    return event


def _moment(problem: Problem, slot: int) -> datetime:
    return datetime.fromtimestamp(problem.slot0_utc_s + slot * problem.slot_s, UTC)


def _by_crew_and_shift(problem: Problem, plan: Plan) -> Mapping[tuple[str, str], Sequence[Placed]]:
    shifts_of = {c.id: c.shift_ids for c in problem.crews}
    out: dict[tuple[str, str], list[Placed]] = {}
    for p in sorted(plan.placed, key=lambda p: (p.start, p.crew_id, p.task_id)):
        span = next(
            s
            for s in problem.shifts
            if s.begin <= p.start and p.end <= s.end and s.shift_id in shifts_of[p.crew_id]
        )
        out.setdefault((p.crew_id, f"{span.on.isoformat()}-{span.shift_id}"), []).append(p)
    return out


def _summary(crew: str, placed: Sequence[Placed], language: str) -> str:
    steps = list(dict.fromkeys(p.step_id for p in placed))
    names = ", ".join(_step(s, language) for s in steps)
    return say("plan.event", language, crew=crew, steps=names)


def _step(step_id: str, language: str) -> str:
    name = say(f"step.{step_id.split('-')[0]}", language)
    return step_id if name.startswith("step.") else name


def _clock(problem: Problem, slot: int, time_zone: str) -> str:
    return _moment(problem, slot).astimezone(ZoneInfo(time_zone)).strftime("%Y-%m-%d %H:%M")


def _description(problem: Problem, placed: Sequence[Placed], time_zone: str, language: str) -> str:
    lines = [
        say(
            "plan.event-line",
            language,
            begins=_clock(problem, p.start, time_zone)[11:],
            ends=_clock(problem, p.end, time_zone)[11:],
            section=p.section_id,
            step=_step(p.step_id, language),
        )
        for p in placed
    ]
    return "\n".join([*lines, say("plan.event-foot", language)])


def _alarm(problem: Problem, limit: Limit, time_zone: str, language: str) -> icalendar.Alarm:
    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", _moment(problem, limit.slot) - ALARM_BEFORE)
    alarm["trigger"].params["VALUE"] = "DATE-TIME"
    alarm.add(
        "description",
        say(
            "plan.recoat-alarm",
            language,
            section=limit.section_id,
            step=_step(limit.after, language),
            before=_step(limit.before, language),
            by=_clock(problem, limit.slot, time_zone),
        ),
    )
    return alarm


def _zone(problem: Problem, plan: Plan, time_zone: str) -> icalendar.Timezone:
    first = _moment(problem, min(p.start for p in plan.placed)).date()
    last = _moment(problem, max(p.end for p in plan.placed)).date()
    return icalendar.Timezone.from_tzid(
        time_zone,
        first_date=first.replace(month=1, day=1),
        last_date=last.replace(year=last.year + 1, month=1, day=1),
    )
