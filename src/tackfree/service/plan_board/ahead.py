"""Three weeks ahead on one page: crews, closed stalls and limits, day by day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from tackfree.service.plan_board.held import HeldVisit, held_visits
from tackfree.service.plan_board.page import step_name
from tackfree.service.plan_board.sheet import Sheet
from tackfree.service.plan_board.stalls import stall_day
from tackfree.sheets.ics import limits_of
from tackfree.words import say

WEEKS = 3
NEAR_H = 8.0  # a limit further behind the planned end is no worry three weeks ahead


@dataclass(frozen=True, kw_only=True)
class AheadDay:
    """One date: who does what, what must be down by when, stalls closed."""

    iso: str
    name: str
    crews: tuple[tuple[str, tuple[str, ...]], ...]
    limits: tuple[str, ...]
    stalls: str
    closed: int
    visits: tuple[str, ...] = ()  # hold points: who comes, and whom to tell


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """Three weeks from a Monday."""

    span: str
    weeks: tuple[tuple[AheadDay, ...], ...]
    empty: bool


def day_name(day: date, language: str) -> str:
    """A date as "Mon 19 Apr"."""
    weekday = say("page.weekdays", language).split()[day.weekday()]
    return f"{weekday} {day.day} {say('page.months', language).split()[day.month - 1]}"


def look_ahead(sheet: Sheet, day: date, language: str) -> Ahead:
    """The week of a date and the two after it."""
    monday = day - timedelta(days=day.weekday())
    limits = limits_of(sheet.problem, sheet.plan)
    ends = {(p.section_id, p.step_id): p.end for p in sheet.plan.placed}
    near = round(NEAR_H * 3600 / sheet.problem.slot_s)
    visits = held_visits(sheet)
    weeks = []
    for w in range(WEEKS):
        week = []
        for d in (monday + timedelta(days=7 * w + i) for i in range(7)):
            begin, end = sheet.day_slots(d)
            crews: dict[str, dict[str, list[str]]] = {}
            for p in sheet.on(d):
                steps = crews.setdefault(p.crew_id, {})
                steps.setdefault(step_name(p.step_id, language), []).append(p.section_id)
            stalls = stall_day(sheet, d)
            week.append(
                AheadDay(
                    iso=d.isoformat(),
                    name=day_name(d, language),
                    crews=tuple(
                        (c, tuple(f"{step}: {', '.join(at)}" for step, at in crews[c].items()))
                        for c in sorted(crews)
                    ),
                    limits=tuple(
                        f"{sheet.time_of(x.slot):%H:%M} {step_name(x.after, language)} "
                        f"{x.section_id}"
                        for x in limits
                        if begin <= x.slot < end and x.slot - ends[x.section_id, x.after] <= near
                    ),
                    visits=tuple(_visits(sheet, visits, begin, end, language)),
                    stalls=f"{stalls.gone} / {stalls.total}" if stalls.total else "",
                    closed=stalls.gone,
                )
            )
        weeks.append(tuple(week))
    span = say("planboard.ahead.from", language, begin=weeks[0][0].name, end=weeks[-1][-1].name)
    return Ahead(span=span, weeks=tuple(weeks), empty=not any(d.crews for w in weeks for d in w))


def _visits(
    sheet: Sheet, visits: Sequence[HeldVisit], begin: int, end: int, language: str
) -> Iterator[str]:
    """Hold points of one day: notices that fall due, then visits."""
    for name, at in (("tell-who", "notice_by"), ("come-who", "begin")):
        for v in visits:
            slot = getattr(v.first, at)
            if begin <= slot < end:
                said = f"{sheet.time_of(slot):%H:%M}"
                yield say(f"planboard.held.{name}", language, by=said, at=said,
                          who=v.first.hold.who, sections=", ".join(v.sections))  # fmt: skip


def document(view: Ahead) -> dict[str, Any]:
    """The three weeks for ``--json``."""
    return {
        "days": [
            {"day": d.iso, "crews": dict(d.crews), "down_by": list(d.limits),
             "stalls_closed": d.closed, "hold_points": list(d.visits)}
            for week in view.weeks
            for d in week
        ]
    }  # fmt: skip
