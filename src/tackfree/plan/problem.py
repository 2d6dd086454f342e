"""Building blocks of a planning problem, and what can be wrong with one.

Nothing here reads a time zone: the caller hands in ``utc_of``, which turns a local
date and time into Unix seconds, so daylight-saving days need no case of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date, time, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tackfree.errors import Fault, InputError
from tackfree.plan.rule_faults import rule_faults
from tackfree.plan.types import Crew, Lag, Problem, Shift, ShiftSpan, Task

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


class PlanInputError(InputError):
    """A piece of a planning problem that cannot be right."""


def shift_spans(
    shifts: Sequence[Shift],
    holidays: Iterable[date],
    *,
    first_day: date,
    days: int,
    slot0_utc_s: int,
    slot_s: int,
    utc_of: Callable[[date, time], int],
) -> tuple[ShiftSpan, ...]:
    """Every shift of a stretch of days, on the slot grid.

    A start inside a slot is rounded up to the next slot and an end down to the
    last, so work never begins early or runs late. A shift that ends at or before
    the hour it begins ends on the next day. A holiday drops the shifts that begin
    on it. Spans before slot 0 are cut there.

    Parameters
    ----------
    first_day, days
        Local dates covered; a night shift of the last day may end a day later.
    slot0_utc_s, slot_s
        The grid: Unix time of slot 0 [s] and slot length [s].
    utc_of
        Local date and time to Unix seconds in the job's zone.

    Returns
    -------
    tuple of ShiftSpan, by begin

    Source
    ------
    Rounding: practice of the house (start-not-before up, finish-by down).
    """
    closed = frozenset(holidays)
    spans = []
    for day in (first_day + timedelta(days=n) for n in range(days)):
        if day in closed:
            continue
        for shift in shifts:
            if day.weekday() not in shift.weekdays:
                continue
            last = day if shift.ends > shift.begins else day + timedelta(days=1)
            begin = -((slot0_utc_s - utc_of(day, shift.begins)) // slot_s)
            end = (utc_of(last, shift.ends) - slot0_utc_s) // slot_s
            begin = max(begin, 0)
            if end > begin:
                spans.append(
                    ShiftSpan(
                        shift_id=shift.id, on=day, begin=begin, end=end, overtime=shift.overtime
                    )
                )
    return tuple(sorted(spans, key=lambda s: (s.begin, s.end, s.shift_id)))


def starts_of_clear_runs(clear: ArrayLike, duration: int) -> BoolArray:
    """Starts whose whole placement lies on clear slots.

    ``clear[k]`` says whether work may stand in slot k; the answer's element k
    says whether slots k … k+duration-1 are all clear. Same length as ``clear``.

    Examples
    --------
    >>> starts_of_clear_runs([True, True, False, True], 2).tolist()
    [True, False, False, False]
    """
    if duration < 1:
        raise PlanInputError(f"duration is {duration} slots; it must be at least 1.")
    mask = np.asarray(clear, dtype=bool)
    total = np.concatenate(([0], np.cumsum(mask)))
    out = np.zeros(len(mask), dtype=bool)
    n = len(mask) - duration + 1
    if n > 0:
        out[:n] = total[duration : duration + n] - total[:n] == duration
    return out


def shift_starts(spans: Iterable[ShiftSpan], duration: int, slots: int) -> BoolArray:
    """Starts at which a task of ``duration`` slots lies inside one shift."""
    out = np.zeros(slots, dtype=bool)
    for span in spans:
        out[span.begin : max(span.begin, min(span.end, slots) - duration + 1)] = True
    return out


def allowed_starts(
    ok: ArrayLike, duration: int, spans: Iterable[ShiftSpan]
) -> tuple[tuple[int, int], ...]:
    """Intervals of starts that are allowed by ``ok`` and lie inside one shift.

    Parameters
    ----------
    ok : array of bool
        Element k: may a placement of this duration begin at slot k? Its length
        is the number of slots.
    duration : int
        [slots], at least 1

    Returns
    -------
    tuple of (first, last), both inclusive, ascending

    Examples
    --------
    >>> span = ShiftSpan(shift_id="DAY", on=date(2027, 4, 19), begin=1, end=5)
    >>> allowed_starts([True] * 8, 2, [span])
    ((1, 3),)
    """
    mask = np.asarray(ok, dtype=bool)
    return intervals(mask & shift_starts(spans, duration, len(mask)))


def intervals(mask: BoolArray) -> tuple[tuple[int, int], ...]:
    """Runs of True as inclusive intervals."""
    edge = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return tuple((int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True))


def require_nondecreasing(table: ArrayLike, *, where: str) -> None:
    """Refuse a lookup that falls as time goes on.

    Longer waiting never makes a coat ready earlier; a table that says so would
    make the planner's shortest-chain reasoning wrong. -1 (not known within the
    horizon) may stand only at the end.

    Raises
    ------
    PlanInputError
        Naming ``where`` and the first place that falls.
    """
    values = np.asarray(table, dtype=np.int64)
    known = np.where(values < 0, np.iinfo(np.int64).max, values)
    falls = np.flatnonzero(np.diff(known) < 0)
    if falls.size:
        k = int(falls[0]) + 1
        raise PlanInputError(
            f"the table falls from {values[k - 1]} to {values[k]} at slot {k}; a later end "
            "may never allow an earlier start.",
            where=where,
            do="Check the product sheet's times and the weather they were worked out on.",
        )


def able_crews(problem: Problem, task: Task) -> tuple[Crew, ...]:
    """Crews that have the skill a task asks for."""
    return tuple(c for c in problem.crews if task.skill in c.skills)


def check_problem(problem: Problem) -> tuple[Fault, ...]:
    """Everything that makes a problem unplannable before any search, all at once."""
    out: list[Fault] = []
    known = {t.id: t for t in problem.tasks}
    if len(known) < len(problem.tasks):
        out.append(
            Fault(
                where="plan",
                what="Two tasks share one id.",
                do="Give each section and step one task.",
            )
        )
    out.extend(_skill_faults(problem))
    for task in problem.tasks:
        out.extend(_task_faults(problem, task))
    for lag in problem.lags:
        out.extend(_lag_faults(lag, known))
    out.extend(_cycle_faults(problem, known))
    for closure in problem.closures:
        for name in (closure.first, closure.last, *(n for n, _ in closure.also)):
            if name not in known:
                out.append(
                    Fault(
                        where=closure.section_id,
                        what=f"The closure names the task {name}, which the plan lacks.",
                        do="Name the section's first and last task.",
                    )
                )
        for name, table in ((closure.last, closure.open_at), *closure.also):
            if name in known:
                out.extend(_table_faults(table, known[name], "cars after"))
        if problem.access is None and closure.stalls > problem.stalls_closed_max:
            out.append(
                Fault(
                    where=closure.section_id,
                    what=f"Closing it takes {closure.stalls} stalls; the contract lets "
                    f"{problem.stalls_closed_max} be closed at once.",
                    do="Cut the section smaller or agree on fewer open stalls.",
                )
            )
    out.extend(rule_faults(problem))
    return tuple(out)


def _skill_faults(problem: Problem) -> list[Fault]:
    """Skills that no crew has, each once."""
    lacking: dict[str, list[str]] = {}
    for task in problem.tasks:
        if not able_crews(problem, task):
            lacking.setdefault(task.skill, []).append(task.step_id)
    return [
        Fault(
            where="crews",
            what=f"No crew has the skill {skill}, which {len(steps)} steps need "
            f"({', '.join(dict.fromkeys(steps))}).",
            do=f'Add "{skill}" to the skills of a crew.',
        )
        for skill, steps in lacking.items()
    ]


def problem_of(problem: Problem, sections: Collection[str]) -> Problem:
    """The problem of some of the sections alone. What it cannot do, the whole cannot."""
    tasks = tuple(t for t in problem.tasks if t.section_id in sections)
    ids = {t.id for t in tasks}
    return replace(
        problem,
        tasks=tasks,
        lags=tuple(x for x in problem.lags if x.before in ids),
        closures=tuple(c for c in problem.closures if c.section_id in sections),
        holds=tuple(h for h in problem.holds if h.section_id in sections),
    )


def _task_faults(problem: Problem, task: Task) -> list[Fault]:
    where = f"{task.section_id} {task.step_id}"
    crews = able_crews(problem, task)
    if not crews:
        return []
    ids = {s for c in crews for s in c.shift_ids}
    spans = [s for s in problem.shifts if s.shift_id in ids]
    longest = max((s.end - s.begin for s in spans), default=0)
    hours = problem.slot_s / 3600
    if task.duration > longest:
        parts = -(-task.duration // longest) if longest else 0
        return [
            Fault(
                where=where,
                what=f"It takes {task.duration * hours:g} h; the longest shift is "
                f"{longest * hours:g} h.",
                do=f"Cut the section into {parts} parts at a joint or stop line, or add people."
                if parts
                else "Give the crew a shift.",
            )
        ]
    if task.starts:
        return []
    what = "No start is left."
    if task.removed:
        total = sum(n for _, n in task.removed)
        worst, n = max(task.removed, key=lambda r: r[1])
        what += f" Of {total} starts inside shifts, {n} were lost to {worst}"
        rest = [f"{m} to {r}" for r, m in task.removed if r != worst]
        what += (", " + ", ".join(rest) if rest else "") + "."
    else:
        what += f" No shift within the horizon holds its {task.duration * hours:g} h."
    return [
        Fault(
            where=where,
            what=what,
            do="Lengthen the horizon, add a shift at another hour, or choose a product "
            "with wider limits.",
        )
    ]


def _lag_faults(lag: Lag, known: dict[str, Task]) -> list[Fault]:
    where = f"{lag.before} to {lag.after}"
    missing = [n for n in (lag.before, lag.after) if n not in known]
    if missing:
        return [
            Fault(
                where=where,
                what=f"The wait names the task {missing[0]}, which the plan lacks.",
                do="Add the task or drop the wait.",
            )
        ]
    if known[lag.before].section_id != known[lag.after].section_id:
        return [
            Fault(
                where=where,
                what="The wait joins tasks of two sections.",
                do="Waits hold inside one section; leave the rest to crews and closures.",
            )
        ]
    tables = [lag.earliest, lag.latest] if lag.latest else [lag.earliest]
    return [
        fault
        for table in tables
        for fault in _table_faults(table, known[lag.before], f"wait before {lag.after}")
    ]


def _table_faults(table: tuple[int, ...], task: Task, name: str) -> list[Fault]:
    where = f"{task.section_id} {task.step_id}"
    if task.starts and len(table) <= task.starts[-1][1] + task.duration:
        return [
            Fault(
                where=where,
                what=f"The table {name} holds {len(table)} slots; the last start ends at slot "
                f"{task.starts[-1][1] + task.duration}.",
                do="Work the table out over the whole horizon.",
            )
        ]
    try:
        require_nondecreasing(table, where=f"{where}, {name}")
    except PlanInputError as error:
        return list(error.faults)
    return []


def _cycle_faults(problem: Problem, known: dict[str, Task]) -> list[Fault]:
    waits = {t: set[str]() for t in known}
    for lag in problem.lags:
        if lag.before in known and lag.after in known:
            waits[lag.after].add(lag.before)
    while True:
        free = [t for t, before in waits.items() if not before & waits.keys()]
        if not free:
            break
        for name in free:
            del waits[name]
    if not waits:
        return []
    return [
        Fault(
            where=known[min(waits)].section_id,
            what=f"Steps wait for each other in a circle: {', '.join(sorted(waits))}.",
            do="Order the steps of the section.",
        )
    ]
