"""A problem as arrays: starts each task may take, and lags as lookups by start.

Both bounds of a lag are nondecreasing in the start of the earlier task. So a chain
with everything else fixed has a least and a greatest solution, and arc consistency
needs only two lookups (see :func:`tighten`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.plan.problem import able_crews, shift_starts
from tackfree.plan.types import Crew, Problem, Task

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
NEVER = 1 << 40


@dataclass(frozen=True, kw_only=True)
class LagArrays:
    """Lag between tasks ``i`` and ``j`` (indices), by start slot of ``i``.

    ``low[s]`` earliest and ``high[s]`` latest start of ``j`` (NEVER: none, no limit).
    """

    i: int
    j: int
    low: IntArray
    high: IntArray
    stands: IntArray | None  # the part of ``high`` that stands still: shifts, rain
    within: int | None  # s_j <= s_i + within


@dataclass(frozen=True, kw_only=True)
class ClosureArrays:
    """A closure from ``first`` on; each gate is a task and, by its start, the slot
    before which it lets no cars in."""

    section_id: str
    stalls: int
    first: int
    gates: tuple[tuple[int, IntArray], ...]

    def opens(self, start: Sequence[int]) -> int:
        """When cars may come, by the starts of all tasks."""
        return max(int(table[start[k]]) for k, table in self.gates)


@dataclass(frozen=True, kw_only=True)
class Arrays:
    """The problem by index. ``order`` lists the tasks with befores first."""

    problem: Problem
    tasks: tuple[Task, ...]
    duration: tuple[int, ...]
    crews: tuple[tuple[int, ...], ...]  # able crews of each task
    by_crew: tuple[dict[int, BoolArray], ...]  # task -> crew -> starts in its shifts
    lags: tuple[LagArrays, ...]
    closures: tuple[ClosureArrays, ...]
    order: tuple[int, ...]
    ok: tuple[BoolArray, ...]


def arrays_of(problem: Problem) -> Arrays:
    """Lay a faultless problem out as arrays."""
    index = {t.id: k for k, t in enumerate(problem.tasks)}
    number = {c.id: k for k, c in enumerate(problem.crews)}
    crews = [tuple(number[c.id] for c in able_crews(problem, t)) for t in problem.tasks]
    by_crew = []
    ok = []
    for task, able in zip(problem.tasks, crews, strict=True):
        start = _mask(task, problem.slots)
        rows = {c: start & _crew_starts(problem, problem.crews[c], task.duration) for c in able}
        by_crew.append(rows)
        ok.append(np.logical_or.reduce(list(rows.values())))
    lags = []
    for lag in problem.lags:
        i, j = index[lag.before], index[lag.after]
        d_i, d_j = problem.tasks[i].duration, problem.tasks[j].duration
        low = _lookup(lag.earliest, d_i, problem.slots)
        high = np.full(problem.slots, NEVER, dtype=np.int64)
        within = None if lag.down_within is None else lag.down_within - d_j
        if within is not None:
            high = np.minimum(high, np.arange(problem.slots) + within)
        stands = None
        if lag.same_or_next_shift:
            stands = _next_shift(problem, ok[i], d_i) - d_j
        if lag.latest:
            latest = _lookup(lag.latest, d_i, problem.slots)
            stands = latest if stands is None else np.minimum(stands, latest)
        if stands is not None:
            stands = np.minimum.accumulate(stands[::-1])[::-1]
            high = np.minimum(high, stands)
        lags.append(LagArrays(i=i, j=j, low=low, high=high, stands=stands, within=within))
    closures = []
    for c in problem.closures:
        gates = []
        for name, table in ((c.last, c.open_at), *c.also):
            k = index[name]
            opens = _lookup(table, problem.tasks[k].duration, problem.slots)
            ok[k] = ok[k] & (opens < NEVER)
            gates.append((k, opens))
        closures.append(
            ClosureArrays(
                section_id=c.section_id,
                stalls=c.stalls,
                first=index[c.first],
                gates=tuple(gates),
            )
        )
    return Arrays(
        problem=problem,
        tasks=problem.tasks,
        duration=tuple(t.duration for t in problem.tasks),
        crews=tuple(crews),
        by_crew=tuple(by_crew),
        lags=tuple(lags),
        closures=tuple(closures),
        order=_order(len(problem.tasks), lags),
        ok=tuple(ok),
    )


def _mask(task: Task, slots: int) -> BoolArray:
    out = np.zeros(slots, dtype=bool)
    for a, b in task.starts:
        out[a : b + 1] = True
    return out


def _crew_starts(problem: Problem, crew: Crew, duration: int) -> BoolArray:
    spans = [s for s in problem.shifts if s.shift_id in crew.shift_ids]
    return shift_starts(spans, duration, problem.slots)


def _lookup(table: tuple[int, ...], duration: int, slots: int) -> IntArray:
    """A table by end slot as a table by start slot, -1 as NEVER."""
    values = np.full(slots + duration + 1, -1, dtype=np.int64)
    n = min(len(table), len(values))
    values[:n] = table[:n]
    values[values < 0] = NEVER
    return values[duration : duration + slots]


def _next_shift(problem: Problem, ok: BoolArray, duration: int) -> IntArray:
    """End of the shift after the one a task stands in, by its start slot."""
    out = np.full(problem.slots, -1, dtype=np.int64)
    spans = sorted(problem.shifts, key=lambda x: (x.begin, -x.end))
    for n, span in enumerate(spans):
        following = next((x for x in spans[n + 1 :] if x.begin >= span.end), span)
        fits = slice(span.begin, max(span.begin, span.end - duration + 1))
        out[fits] = np.maximum(out[fits], following.end)
    return np.where(ok & (out >= 0), out, NEVER)


def _order(n: int, lags: list[LagArrays]) -> tuple[int, ...]:
    waits = [{x.i for x in lags if x.j == k} for k in range(n)]
    out: list[int] = []
    done: set[int] = set()
    while len(out) < n:
        free = [k for k in range(n) if k not in done and waits[k] <= done]
        out.extend(free)
        done.update(free)
    return tuple(out)


def next_member(ok: BoolArray) -> IntArray:
    """First allowed slot at or after each slot (one longer than ``ok``)."""
    n = len(ok)
    at = np.where(ok, np.arange(n), NEVER)
    return np.concatenate((np.minimum.accumulate(at[::-1])[::-1], [NEVER]))


def tighten(arrays: Arrays, latest: int | None = None) -> list[BoolArray]:
    """Starts that keep a partner across every lag, by arc consistency.

    ``latest``: every task has ended and every section is open by that slot.
    An empty mask means that no plan exists.
    """
    ok = [m.copy() for m in arrays.ok]
    if latest is not None:
        for k, d in enumerate(arrays.duration):
            ok[k][max(0, latest - d + 1) :] = False
        for c in arrays.closures:
            for k, opens in c.gates:
                ok[k] &= opens <= latest
    changed = True
    while changed:
        before = [int(m.sum()) for m in ok]
        for lag in arrays.lags:
            _revise(ok, lag)
        changed = before != [int(m.sum()) for m in ok]
    return ok


def _revise(ok: list[BoolArray], lag: LagArrays) -> None:
    n = len(ok[lag.i])
    first = next_member(ok[lag.j])[np.minimum(lag.low, n)]
    ok[lag.i] &= (first < NEVER) & (first <= lag.high)
    total = np.concatenate(([0], np.cumsum(ok[lag.i])))
    slots = np.arange(n)
    lo = np.searchsorted(lag.high, slots, side="left")
    hi = np.searchsorted(lag.low, slots, side="right")
    ok[lag.j] &= (hi > lo) & (total[np.maximum(hi, lo)] > total[lo])
