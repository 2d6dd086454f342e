"""Several jobs side by side: the next deadlines, and a crew that is booked twice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations
from typing import Any

from tackfree.errors import InputError
from tackfree.service.plan_board.moves import when
from tackfree.service.plan_board.page import step_name
from tackfree.service.plan_board.sheet import Sheet
from tackfree.sheets.ics import limits_of
from tackfree.words import say

SHOWN = 12  # deadlines printed


@dataclass(frozen=True, kw_only=True)
class Deadline:
    """By when a step must be down, on one job."""

    job_id: str
    section_id: str
    step_id: str
    utc_s: float


@dataclass(frozen=True, kw_only=True)
class Twice:
    """A crew, or the last machine of a kind, at two jobs at once. Unix seconds."""

    crew_id: str  # or the machine's id
    kind: str  # crew, machine
    first: str  # "JOB SECTION/STEP"
    second: str
    begin_s: float
    end_s: float


def together(sheets: Sequence[Sheet]) -> tuple[Sheet, ...]:
    """Jobs to be looked at side by side.

    Raises
    ------
    InputError
        If a job is named twice.
    """
    for a, b in combinations(sheets, 2):
        if a.job_id == b.job_id:
            raise InputError(
                f"the job {a.job_id} is named twice.", where="DIR", do="Name each job once."
            )
    return tuple(sheets)


def deadlines(sheets: Sequence[Sheet], now: datetime) -> tuple[Deadline, ...]:
    """Limits from now on whose step is not yet done by the plan, the next one first."""
    out = []
    for sheet in sheets:
        slot = sheet.slot_of(now)
        ends = {p.task_id: p.end for p in sheet.plan.placed}
        seen = set()
        for x in limits_of(sheet.problem, sheet.plan):
            name = f"{x.section_id}/{x.after}"
            if x.slot < slot or ends[name] <= slot or name in seen:
                continue
            seen.add(name)
            at = sheet.problem.slot0_utc_s + x.slot * sheet.problem.slot_s
            out.append(
                Deadline(job_id=sheet.job_id, section_id=x.section_id, step_id=x.after, utc_s=at)
            )
    return tuple(sorted(out, key=lambda d: (d.utc_s, d.job_id, d.section_id, d.step_id)))


def booked_twice(sheets: Sequence[Sheet]) -> tuple[Twice, ...]:
    """Crews of the same id that two jobs want at once; the same id means the same people."""
    out = []
    for a, b in combinations(sheets, 2):
        for p, at_p in _spans(a):
            for q, at_q in _spans(b):
                begin, end = max(at_p[0], at_q[0]), min(at_p[1], at_q[1])
                if p.crew_id == q.crew_id and begin < end:
                    out.append(
                        Twice(kind="crew", crew_id=p.crew_id, first=f"{a.job_id} {p.task_id}",
                              second=f"{b.job_id} {q.task_id}", begin_s=begin, end_s=end)
                    )  # fmt: skip
    out += _machines(sheets)
    return tuple(sorted(out, key=lambda t: (t.begin_s, t.crew_id, t.first, t.second)))


def _machines(sheets: Sequence[Sheet]) -> list[Twice]:
    """Machines of the same id that jobs together need more of than the job with most has."""
    uses: dict[str, list[tuple[float, float, str, str]]] = {}
    count: dict[str, int] = {}
    for sheet in sheets:
        needs = {t.id: t.equipment for t in sheet.problem.tasks}
        for e in sheet.problem.equipment:
            count[e.id] = max(count.get(e.id, 0), e.count)
        for p, (begin, end) in _spans(sheet):
            for name in needs.get(p.task_id, ()):
                uses.setdefault(name, []).append((begin, end, sheet.job_id, p.task_id))
    out = []
    for name, spans in uses.items():
        for begin, end, job, task in spans:
            here = [s for s in spans if s[0] <= begin < s[1]]
            others = [s for s in here if s[2] != job]
            if others and len(here) > count.get(name, 1):
                other = min(others)
                out.append(
                    Twice(kind="machine", crew_id=name, first=f"{other[2]} {other[3]}",
                          second=f"{job} {task}", begin_s=begin, end_s=min(end, other[1]))
                )  # fmt: skip
    return list({(t.crew_id, frozenset((t.first, t.second))): t for t in out}.values())


def _spans(sheet: Sheet) -> list[tuple[Any, tuple[float, float]]]:
    zero, step = sheet.problem.slot0_utc_s, sheet.problem.slot_s
    return [(p, (zero + p.start * step, zero + p.end * step)) for p in sheet.plan.placed]


@dataclass(frozen=True, kw_only=True)
class Booking:
    """A double booking: as a sentence, and in parts."""

    said: str
    who: str
    span: str
    places: tuple[str, str]


@dataclass(frozen=True, kw_only=True)
class JobsPage:
    """Deadlines and double bookings in sentences, each in its job's own time."""

    jobs: tuple[tuple[str, str], ...]  # id, name
    deadlines: tuple[tuple[str, str, str], ...]  # when, job, what
    more: int  # deadlines after those shown
    twice: tuple[Booking, ...]
    more_twice: int


def jobs_page(sheets: Sequence[Sheet], now: datetime, language: str) -> JobsPage:
    """The next deadlines of every job, the first one first, and what is booked twice."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.jobs.{name}", language, **values)

    by_id = {s.job_id: s for s in sheets}
    found = deadlines(sheets, now)
    rows = []
    for d in found[:SHOWN]:
        sheet = by_id[d.job_id]
        at = when(sheet, _slot(sheet, d.utc_s), language)
        rows.append((at, d.job_id, f"{d.section_id} {step_name(d.step_id, language)}"))
    said = []
    twice = [t for t in booked_twice(sheets) if t.end_s > now.timestamp()]
    for t in twice[:SHOWN]:
        sheet = by_id[t.first.split()[0]]
        begin, end = (when(sheet, _slot(sheet, s), language) for s in (t.begin_s, t.end_s))
        said.append(
            Booking(
                said=tell(f"{t.kind}-twice", crew=t.crew_id, a=t.first, b=t.second,
                          begin=begin, end=end),
                who=t.crew_id,
                span=f"{begin}–{end.rsplit(' ', 1)[1]}",
                places=(t.first, t.second),
            )
        )  # fmt: skip
    return JobsPage(
        jobs=tuple((s.job_id, s.job_name) for s in sheets),
        deadlines=tuple(rows),
        more=max(0, len(found) - SHOWN),
        twice=tuple(said),
        more_twice=max(0, len(twice) - SHOWN),
    )


def text(sheets: Sequence[Sheet], now: datetime, language: str = "en") -> str:
    """Deadlines, then every double booking, in each job's own time."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.jobs.{name}", language, **values)

    page = jobs_page(sheets, now, language)
    rows = [tell("deadline", job=job, what=what, at=at) for at, job, what in page.deadlines]
    out = [tell("next"), *(f"  {x}" for x in rows or [tell("none")])]
    said = [b.said for b in page.twice]
    out += ["", tell("twice"), *(f"  {x}" for x in said or [tell("no-twice")])]
    if page.more_twice:
        out.append("  " + tell("more", n=page.more_twice))
    return "\n".join(out)


def _slot(sheet: Sheet, utc_s: float) -> int:
    return int((utc_s - sheet.problem.slot0_utc_s) // sheet.problem.slot_s)
