"""Daily questions: a short crew, where to stop, and whether the pace meets the date."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from tackfree.errors import InputError
from tackfree.plan.types import Placed
from tackfree.service.plan_board.ahead import day_name
from tackfree.service.plan_board.moves import when
from tackfree.service.plan_board.page import step_name
from tackfree.service.plan_board.sheet import Sheet
from tackfree.sheets.ics import limits_of
from tackfree.units import System, show
from tackfree.words import say

NOT_COATS = ("PREP", "DETAILS", "SWEEP", "STRIPE")


@dataclass(frozen=True, kw_only=True)
class ShortStep:
    """One step of a short crew: what part of it is done by when, and what stops it."""

    section_id: str
    step_id: str
    begin: float  # slot
    end: float  # slot: all of it, or where it stops
    share: float  # 0–1
    area_m2: float
    stopped_by: str  # "", shift, limit


def short_crew(sheet: Sheet, day: date, crew_id: str, short: int) -> tuple[ShortStep, ...]:
    """What a crew that lacks people still gets done of its day, in the plan's order.

    Rates go with people; a step begins when planned or when the one before it is done,
    and ends with the shift or at the limit by which it must be down.

    Raises
    ------
    InputError
        If there is no such crew, or it would have nobody left.
    """
    crew = next((c for c in sheet.problem.crews if c.id == crew_id), None)
    if crew is None:
        names = ", ".join(c.id for c in sheet.problem.crews)
        raise InputError(
            f"there is no crew {crew_id!r}.", where="--crew", do=f"Take one of {names}."
        )
    if not 0 <= short < crew.people:
        raise InputError(
            f"{short} of {crew.people} people cannot be missing.",
            where="--short",
            do=f"Give 0 to {crew.people - 1}.",
        )
    slower = crew.people / (crew.people - short)
    limits = _limits(sheet)
    out, free = [], 0.0
    for p in sheet.on(day):
        if p.crew_id != crew_id:
            continue
        begin = max(float(p.start), free)
        inside = (s for s in sheet.problem.shifts if s.begin <= p.start and p.end <= s.end)
        shift = next(s.end for s in inside if s.shift_id in crew.shift_ids)
        limit = limits.get(p.task_id)
        last = float(shift if limit is None else min(shift, limit))
        end = begin + (p.end - p.start) * slower
        whole = end <= last + 1e-9
        share = 1.0 if whole else max(0.0, (last - begin) / (end - begin))
        cause = "" if whole else "limit" if limit is not None and limit < shift else "shift"
        out.append(
            ShortStep(section_id=p.section_id, step_id=p.step_id, begin=begin,
                      end=min(end, last), share=share, stopped_by=cause,
                      area_m2=sheet.place[p.section_id].area_m2)
        )  # fmt: skip
        free = min(end, last)
    return tuple(out)


def _limits(sheet: Sheet) -> Mapping[str, int]:
    """The first limit of each task, by its id."""
    found: dict[str, int] = {}
    for x in limits_of(sheet.problem, sheet.plan):
        found.setdefault(f"{x.section_id}/{x.after}", x.slot)
    return found


def short_text(
    sheet: Sheet, day: date, crew_id: str, short: int, *, language: str = "en", units: System = "us"
) -> str:
    """The short crew's day in sentences."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.ask.{name}", language, **values)

    rows = short_crew(sheet, day, crew_id, short)
    people = next(c.people for c in sheet.problem.crews if c.id == crew_id)
    out = [tell("short-title", crew=crew_id, short=short, people=people,
                day=day_name(day, language))]  # fmt: skip
    for r in rows:
        about = {
            "section": r.section_id, "step": step_name(r.step_id, language),
            "begin": f"{_clock(sheet, r.begin)}", "end": f"{_clock(sheet, r.end)}",
        }  # fmt: skip
        if not r.stopped_by:
            out.append(tell("short-full", **about))
            continue
        done, left = (
            f"{part:.0%}" if r.step_id == "DETAILS" else show(part * r.area_m2, "area", units)
            for part in (r.share, 1 - r.share)
        )
        why = tell(f"short-why-{r.stopped_by}")
        out.append(tell("short-cut", **about, area=done, left=left, why=why))
    out.append(tell("short-note") if rows else tell("short-none"))
    return "\n".join(out)


def _clock(sheet: Sheet, slot: float) -> str:
    """A time of day, to the 5 minutes before."""
    at = sheet.time_of(slot)
    return f"{at.replace(minute=at.minute // 5 * 5):%H:%M}"


@dataclass(frozen=True, kw_only=True)
class Stop:
    """Where one coat ends if work stops at a moment: marks down, and the last one."""

    section_id: str
    coat_id: str
    kits: int
    done: int
    cell: int | None  # the last mark that is down; None: none, or no marks


def stops(
    sheet: Sheet, layouts: Sequence[Mapping[str, Any]], day: date, by: time
) -> tuple[Stop, ...]:
    """Every coat of a day and the kit mark to end on, when work stops at a time.

    Kits go in at an even pace over the planned time; a kit begun but not down by the
    time does not count.
    """
    cut = sheet.slot_of(datetime.combine(day, by)) + _part(sheet, day, by)
    marks = {(x["section_id"], x["coat_id"]): x["cells"] for x in layouts}
    out = []
    for p in sheet.on(day):
        if p.step_id in NOT_COATS:
            continue
        cells = sorted(c["number"] for c in marks.get((p.section_id, p.step_id), ()))
        done = _down(p, len(cells), cut)
        out.append(
            Stop(section_id=p.section_id, coat_id=p.step_id, kits=len(cells), done=done,
                 cell=cells[done - 1] if done else None)
        )  # fmt: skip
    return tuple(out)


def _part(sheet: Sheet, day: date, by: time) -> float:
    """The part of its slot that a time has used up."""
    at = datetime.combine(day, by).replace(tzinfo=sheet.zone).timestamp()
    return (at - sheet.problem.slot0_utc_s) % sheet.problem.slot_s / sheet.problem.slot_s


def _down(p: Placed, kits: int, cut: float) -> int:
    share = (cut - p.start) / (p.end - p.start)
    return int(max(0.0, min(1.0, share)) * kits + 1e-9)


def stop_text(
    sheet: Sheet, found: Sequence[Stop], day: date, by: time, language: str = "en"
) -> str:
    """The stop lines of a day in sentences."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.ask.{name}", language, **values)

    out = [tell("stop-title", day=f"{day_name(day, language)} {by:%H:%M}")]
    if not found:
        return "\n".join([*out, tell("stop-none")])
    for s in found:
        if not s.kits:
            out.append(f"{s.section_id} {s.coat_id}: {tell('stop-unmarked')}")
            continue
        line = tell("stop-kits", section=s.section_id, coat=s.coat_id, done=s.done, kits=s.kits,
                    by=f"{by:%H:%M}")  # fmt: skip
        if s.done == s.kits:
            line += " " + tell("stop-whole")
        elif s.cell is None:
            line += " " + tell("stop-before")
        else:
            line += " " + tell("stop-at", cell=s.cell)
        out.append(line)
    return "\n".join([*out, tell("stop-note")])


def layouts_of(out: Path) -> tuple[Mapping[str, Any], ...]:
    """Kit marks that a build wrote; none where it wrote none."""
    path = out / "stages/marks.json"
    if not path.is_file():
        return ()
    found: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return tuple(found.get("layouts", ()))


@dataclass(frozen=True, kw_only=True)
class Pace:
    """Crew-hours of coats: planned and done by now, left, and the finish at the pace so far.

    ``at_pace`` and its ends are slots; None where the record holds nothing yet.
    """

    planned_h: float
    done_h: float
    left_h: float
    finish: int
    at_pace: float | None = None
    low: float | None = None
    high: float | None = None


def pace(
    sheet: Sheet,
    logged: Mapping[tuple[str, str], Sequence[float]],
    kits: Mapping[tuple[str, str], int],
    now: datetime,
) -> Pace:
    """Earned crew-hours against the plan's.

    Parameters
    ----------
    sheet : Sheet
    logged : mapping
        Moments at which kits went in, by section and coat. [Unix s]
    kits : mapping
        Whole kits that each section and coat takes.
    now : datetime
        Aware.

    Notes
    -----
    A coat has earned its planned hours in the share of its kits that are in. The finish
    is what is left over the hours earned a day since the first kit, then the plan's own
    time from its last coat to its finish. The ends take the best and the worst worked day.
    """
    hour = sheet.problem.slot_s / 3600
    slot = sheet.slot_of(now)
    coats = [p for p in sheet.plan.placed if p.step_id not in NOT_COATS]
    total = sum(p.end - p.start for p in coats) * hour
    planned = sum(max(0, min(p.end, slot) - p.start) for p in coats) * hour
    by_day: dict[date, float] = {}
    for p in coats:
        key = (p.section_id, p.step_id)
        moments = [t for t in logged.get(key, ()) if t <= now.timestamp()]
        each = (p.end - p.start) * hour / max(kits.get(key, 0), len(moments), 1)
        for t in moments:
            on = datetime.fromtimestamp(t, sheet.zone).date()
            by_day[on] = by_day.get(on, 0.0) + each
    done = sum(by_day.values())
    finish = max([*(p.end for p in sheet.plan.placed), *sheet.plan.opens.values()], default=0)
    left = max(0.0, total - done)
    if not done:
        return Pace(planned_h=planned, done_h=0.0, left_h=left, finish=finish)
    tail = finish - max(p.end for p in coats)
    days = max(1, (now.astimezone(sheet.zone).date() - min(by_day)).days + 1)
    share = len(by_day) / days  # days on which anything went in
    a_day = 86400 / sheet.problem.slot_s

    def end(per_day: float) -> float:
        return slot + left / per_day * a_day + tail

    return Pace(
        planned_h=planned, done_h=done, left_h=left, finish=finish, at_pace=end(done / days),
        low=end(max(by_day.values()) * share), high=end(min(by_day.values()) * share),
    )  # fmt: skip


def pace_text(sheet: Sheet, found: Pace, now: datetime, language: str = "en") -> str:
    """The pace in sentences."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.ask.{name}", language, **values)

    finish = when(sheet, found.finish, language)
    if found.at_pace is None or found.low is None or found.high is None:
        return tell("pace-nothing", finish=finish)
    share = round(100 * found.done_h / found.planned_h) if found.planned_h else "–"
    ends = (day_name(sheet.time_of(s).date(), language)
            for s in (found.at_pace, found.low, found.high))  # fmt: skip
    at, low, high = ends
    return "\n".join(
        [
            tell("pace-done", now=when(sheet, sheet.slot_of(now), language),
                 done=f"{found.done_h:.1f}", planned=f"{found.planned_h:.1f}", share=share),
            tell("pace-ends", left=f"{found.left_h:.1f}", finish=finish, pace=at,
                 low=low, high=high),
            tell("pace-note"),
        ]
    )  # fmt: skip
