"""A problem as arrays: starts each task may take, and lags as lookups by start.

Both bounds of a lag are nondecreasing in the start of the earlier task. So a chain
with everything else fixed has a least and a greatest solution, and arc consistency
needs only two lookups (see :func:`tighten`).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tackfree.plan.problem import shift_starts
from tackfree.plan.reach import Reach, reach_of
from tackfree.plan.types import Closure, Crew, Lag, Problem, Task
from tackfree.plan.ways import Ways, ways_of

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
_Starts = tuple[dict[int, BoolArray], BoolArray]
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
    since: IntArray  # by start of ``j``: first start of ``i`` that it is not too late for
    until: IntArray  # and the first that it is too early for


@dataclass(frozen=True, kw_only=True)
class ClosureArrays:
    """A closure from ``first`` on, or from slot ``since`` where it is closed already;
    each gate is a task and, by its start, the slot before which it lets no cars in."""

    section: int
    section_id: str
    stalls: int
    first: int
    gates: tuple[tuple[int, IntArray], ...]
    since: int | None = None

    def opens(self, start: Sequence[int]) -> int:
        """When cars may come, by the starts of all tasks."""
        return max(int(table[start[k]]) for k, table in self.gates)

    def begins(self, start: Sequence[int]) -> int:
        return start[self.first] if self.since is None else self.since


@dataclass(frozen=True, kw_only=True)
class Arrays:
    """The problem by index. ``order`` lists the tasks with befores first.

    ``classes``: crews alike in skills and shifts, of which a task takes any one.
    ``wet``: tack-free slot by start, of tasks that leave wet film. ``dust``: pairs of
    a dusty task and a wet one beside it. ``passing``: pairs of a task and wet film of a
    section that its crew cannot get around.
    """

    problem: Problem
    tasks: tuple[Task, ...]
    duration: tuple[int, ...]
    sections: tuple[str, ...]
    section: tuple[int, ...]  # of each task
    classes: tuple[tuple[int, ...], ...]  # crew indices
    able: tuple[tuple[int, ...], ...]  # class indices of each task
    by_class: tuple[dict[int, BoolArray], ...]  # task -> class -> starts in its shifts
    lags: tuple[LagArrays, ...]
    closures: tuple[ClosureArrays, ...]
    order: tuple[int, ...]
    ok: tuple[BoolArray, ...]
    reach: Reach
    cutters: list[list[int]]  # for each group of stalls, nearest first
    wet: dict[int, IntArray]
    dust: tuple[tuple[int, int], ...]
    ways: Ways
    passing: tuple[tuple[int, int], ...]
    relay: bool = False  # no two crews are ever on duty together

    def closed_slots(self, start: Sequence[int]) -> list[tuple[int, int, int]]:
        """Every closure as (begin, end, section)."""
        at = {s: z for z, s in enumerate(self.sections)}
        out = [(x.begin, x.end, at[x.section_id]) for x in self.problem.shut]
        return out + [(c.begins(start), c.opens(start), c.section) for c in self.closures]

    def wet_slots(self, start: Sequence[int]) -> list[tuple[int, int, int, int]]:
        """Wet film as (begin, end, section, task); task -1 for what is wet already."""
        at = {s: z for z, s in enumerate(self.sections)}
        out = [(x.begin, x.end, at[x.section_id], -1) for x in self.problem.wet_now]
        return out + [
            (start[k], int(ends[start[k]]), self.section[k], k) for k, ends in self.wet.items()
        ]

    def finish(self, start: Sequence[int]) -> int:
        ends = (s + d for s, d in zip(start, self.duration, strict=True))
        return max([*ends, *(c.opens(start) for c in self.closures), 0])

    def last_of_day(self, slot: int) -> int:
        """Last slot of the day that a slot lies in: all finishes of one day are alike.

        The slot itself where the problem names no days, or from its last one on.
        """
        days = self.problem.days
        n = bisect_right(days, slot)
        return days[n] - 1 if 0 < n < len(days) else slot

    def stall_slots(self, start: Sequence[int]) -> int:
        """Stalls lost, summed over slots, each stall once."""
        return sum((b - a) * self.reach.lost(m) for a, b, m in sweep(self.closed_slots(start)))


def sweep(spans: Sequence[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Spans (begin, end, section) as (begin, end, mask of sections) without overlap."""
    events: dict[int, list[tuple[int, int]]] = {}
    for a, b, z in spans:
        if b > a:
            events.setdefault(a, []).append((z, 1))
            events.setdefault(b, []).append((z, -1))
    out, mask, last = [], 0, 0
    counts: dict[int, int] = {}
    for at in sorted(events):
        if mask:
            out.append((last, at, mask))
        for z, step in events[at]:
            counts[z] = counts.get(z, 0) + step
            mask = mask | 1 << z if counts[z] else mask & ~(1 << z)
        last = at
    return out


def arrays_of(problem: Problem) -> Arrays:
    """Lay a faultless problem out as arrays."""
    index = {t.id: k for k, t in enumerate(problem.tasks)}
    extra = [x.section_id for x in (*problem.shut, *problem.wet_now)]
    sections = tuple(dict.fromkeys([t.section_id for t in problem.tasks] + extra))
    at = {s: z for z, s in enumerate(sections)}
    classes = _classes(problem)
    able, by_class, ok = [], [], []
    tables = _Tables(slots=problem.slots)
    for task in problem.tasks:
        mine = tuple(
            g for g, crews in enumerate(classes) if task.skill in problem.crews[crews[0]].skills
        )
        rows, any_of = tables.starts_of(problem, classes, task, mine)
        able.append(mine)
        by_class.append(rows)
        ok.append(any_of)
    duration = tuple(t.duration for t in problem.tasks)
    lags = tuple(_lag_arrays(problem, lag, index, ok, tables) for lag in problem.lags)
    closures = tuple(_closure_arrays(problem, c, index, at, tables) for c in problem.closures)
    wet = {k: tables.by_start(t.wet, t.duration) for k, t in enumerate(problem.tasks) if t.wet}
    section = tuple(at[t.section_id] for t in problem.tasks)
    ok = [m.copy() for m in ok]  # equal tasks share one so far
    _restrict(problem, closures, section, at, duration, wet, ok)
    ways = ways_of(problem, sections)
    reach = reach_of(problem, sections)
    beside = {(at[a], at[b]) for a, b in problem.neighbours if a in at and b in at}
    beside |= {(b, a) for a, b in beside}
    near = _wet_of([{b for a, b in beside if a == z} for z in range(len(sections))], section, wet)
    walled = _wet_of(ways.walls(), section, wet)
    return Arrays(
        problem=problem,
        tasks=problem.tasks,
        duration=duration,
        sections=sections,
        section=section,
        classes=classes,
        able=tuple(able),
        by_class=tuple(by_class),
        lags=lags,
        closures=closures,
        order=_order(len(problem.tasks), list(lags)),
        ok=tuple(ok),
        reach=reach,
        cutters=reach.cutters(),
        wet=wet,
        dust=tuple(
            (k, w) for k, t in enumerate(problem.tasks) if t.dusty for w in near[section[k]]
        ),
        ways=ways,
        passing=tuple((k, w) for k, z in enumerate(section) for w in walled[z]),
        relay=_relay(problem),
    )


def _wet_of(
    others: Sequence[set[int]], section: Sequence[int], wet: Iterable[int]
) -> list[list[int]]:
    """By section, the tasks that leave wet film on its others."""
    return [[w for w in wet if section[w] in row] if row else [] for row in others]


def _classes(problem: Problem) -> tuple[tuple[int, ...], ...]:
    alike: dict[tuple[frozenset[str], frozenset[str]], list[int]] = {}
    for k, crew in enumerate(problem.crews):
        alike.setdefault((frozenset(crew.skills), frozenset(crew.shift_ids)), []).append(k)
    return tuple(map(tuple, alike.values()))


@dataclass(kw_only=True)
class _Tables:
    """Lookups by start slot, each worked out once: sections share most of them."""

    slots: int
    ends: dict[int, IntArray] = field(default_factory=dict)
    known: dict[tuple[int, int], IntArray] = field(default_factory=dict)
    sides: dict[tuple[int, str], IntArray] = field(default_factory=dict)
    kept: list[IntArray] = field(default_factory=list)  # so that no id comes twice
    withins: dict[int, IntArray] = field(default_factory=dict)
    shifts: dict[tuple[int, int], BoolArray] = field(default_factory=dict)
    starts: dict[tuple[int, int, tuple[int, ...]], _Starts] = field(default_factory=dict)
    following: dict[int, IntArray] = field(default_factory=dict)

    def starts_of(
        self,
        problem: Problem,
        classes: Sequence[tuple[int, ...]],
        task: Task,
        able: tuple[int, ...],
    ) -> _Starts:
        """Starts in the shifts of each class of crews, and in any of them."""
        key = (id(task.starts), task.duration, able)
        if key not in self.starts:
            start = start_mask(task, self.slots)
            rows = {}
            for g in able:
                if (g, task.duration) not in self.shifts:
                    crew = problem.crews[classes[g][0]]
                    self.shifts[g, task.duration] = crew_starts(problem, crew, task.duration)
                rows[g] = start & self.shifts[g, task.duration]
            self.starts[key] = (rows, np.logical_or.reduce(list(rows.values())))
        return self.starts[key]

    def next_shift(self, problem: Problem, duration: int) -> IntArray:
        if duration not in self.following:
            self.following[duration] = _next_shift(problem, duration)
        return self.following[duration]

    def by_start(self, table: tuple[int, ...], duration: int) -> IntArray:
        key = (id(table), duration)
        if key not in self.known:
            if id(table) not in self.ends:
                values = np.array(table, dtype=np.int64)
                self.ends[id(table)] = np.where(values < 0, NEVER, values)
            self.known[key] = _lookup(self.ends[id(table)], duration, self.slots)
        return self.known[key]

    def inverse(self, values: IntArray, side: Literal["left", "right"]) -> IntArray:
        key = (id(values), side)
        if key not in self.sides:
            self.kept.append(values)
            self.sides[key] = np.searchsorted(values, np.arange(self.slots), side=side)
        return self.sides[key]

    def within(self, slots: int | None) -> IntArray:
        key = NEVER if slots is None else slots
        if key not in self.withins:
            row = np.full(self.slots, NEVER, dtype=np.int64)
            self.withins[key] = row if slots is None else np.arange(self.slots) + slots
        return self.withins[key]


def _lag_arrays(
    problem: Problem, lag: Lag, index: dict[str, int], ok: list[BoolArray], tables: _Tables
) -> LagArrays:
    i, j = index[lag.before], index[lag.after]
    d_i, d_j = problem.tasks[i].duration, problem.tasks[j].duration
    low = tables.by_start(lag.earliest, d_i)
    within = None if lag.down_within is None else lag.down_within - d_j
    high = tables.within(within)
    stands = None
    if lag.same_or_next_shift:
        ends = tables.next_shift(problem, d_i)
        stands = np.where(ok[i] & (ends >= 0), ends, NEVER) - d_j
    if lag.latest:
        latest = tables.by_start(lag.latest, d_i)
        stands = latest if stands is None else np.minimum(stands, latest)
    if stands is not None:
        stands = np.minimum.accumulate(stands[::-1])[::-1]
        high = np.minimum(high, stands)
    return LagArrays(
        i=i, j=j, low=low, high=high, stands=stands, within=within,
        since=tables.inverse(high, "left"), until=tables.inverse(low, "right"),
    )  # fmt: skip


def _closure_arrays(
    problem: Problem, c: Closure, index: dict[str, int], at: dict[str, int], tables: _Tables
) -> ClosureArrays:
    gates = []
    for name, table in ((c.last, c.open_at), *c.also):
        k = index[name]
        gates.append((k, tables.by_start(table, problem.tasks[k].duration)))
    return ClosureArrays(
        section=at[c.section_id],
        section_id=c.section_id,
        stalls=c.stalls,
        first=index[c.first],
        gates=tuple(gates),
        since=c.since,
    )


def _restrict(
    problem: Problem,
    closures: Sequence[ClosureArrays],
    section: Sequence[int],
    at: dict[str, int],
    duration: Sequence[int],
    wet: dict[int, IntArray],
    ok: list[BoolArray],
) -> None:
    """Starts that promises, blackouts and what is already done leave, in place."""
    slots = np.arange(problem.slots)
    for c in closures:
        for k, opens in c.gates:
            ok[k] &= opens < NEVER
    for k, ends in wet.items():
        ok[k] &= ends < NEVER
    mine: dict[int, list[int]] = {}
    for k, z in enumerate(section):
        mine.setdefault(z, []).append(k)
    gates = {c.section: c.gates for c in closures}
    for promise in problem.promises:
        for name in promise.sections:
            z = at.get(name, -1)
            for k in mine.get(z, ()):
                ok[k] &= slots + duration[k] <= promise.by
            for k, opens in gates.get(z, ()):
                ok[k] &= opens <= promise.by
    for black in problem.blackouts:
        for name in black.sections:
            for k in mine.get(at.get(name, -1), ()):
                ok[k] &= (slots >= black.end) | (slots + duration[k] <= black.begin)
    beside: dict[str, set[str]] = {}
    for a, b in problem.neighbours:
        beside.setdefault(a, set()).add(b)
        beside.setdefault(b, set()).add(a)
    for film in problem.wet_now:
        for k, task in enumerate(problem.tasks):
            if task.dusty and task.section_id in beside.get(film.section_id, ()):
                ok[k] &= (slots >= film.end) | (slots + duration[k] <= film.begin)


def _relay(problem: Problem) -> bool:
    """True when no two crews are ever on duty in the same slot."""
    on_duty = np.zeros(problem.slots, dtype=np.int64)
    for crew in problem.crews:
        mine = np.zeros(problem.slots, dtype=bool)
        for span in problem.shifts:
            if span.shift_id in crew.shift_ids:
                mine[span.begin : span.end] = True
        on_duty += mine
    return bool((on_duty <= 1).all())


def start_mask(task: Task, slots: int) -> BoolArray:
    out = np.zeros(slots, dtype=bool)
    for a, b in task.starts:
        out[a : b + 1] = True
    return out


def crew_starts(problem: Problem, crew: Crew, duration: int) -> BoolArray:
    spans = [s for s in problem.shifts if s.shift_id in crew.shift_ids]
    return shift_starts(spans, duration, problem.slots)


def _lookup(ends: IntArray, duration: int, slots: int) -> IntArray:
    """A table by end slot as a table by start slot; NEVER past its end."""
    values = np.full(slots, NEVER, dtype=np.int64)
    known = ends[duration : duration + slots]
    values[: len(known)] = known
    return values


def _next_shift(problem: Problem, duration: int) -> IntArray:
    """End of the shift after the one a task stands in, by its start slot; -1 for none."""
    out = np.full(problem.slots, -1, dtype=np.int64)
    spans = sorted(problem.shifts, key=lambda x: (x.begin, -x.end))
    for n, span in enumerate(spans):
        following = next((x for x in spans[n + 1 :] if x.begin >= span.end), span)
        fits = slice(span.begin, max(span.begin, span.end - duration + 1))
        out[fits] = np.maximum(out[fits], following.end)
    return out


def _order(n: int, lags: list[LagArrays]) -> tuple[int, ...]:
    waits: list[set[int]] = [set() for _ in range(n)]
    for lag in lags:
        waits[lag.j].add(lag.i)
    out: list[int] = []
    done: set[int] = set()
    while len(out) < n:
        free = [k for k in range(n) if k not in done and waits[k] <= done]
        out.extend(free)
        done.update(free)
    return tuple(out)


def next_member(ok: BoolArray) -> IntArray:
    """First allowed slot at or after each slot (one longer than ``ok``)."""
    at = np.full(len(ok) + 1, NEVER, dtype=np.int64)
    members = np.flatnonzero(ok)
    at[members] = members
    return np.ascontiguousarray(np.minimum.accumulate(at[::-1])[::-1])


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
    place = {k: p for p, k in enumerate(arrays.order)}
    lags = sorted(arrays.lags, key=lambda x: place[x.i])
    size = [int(m.sum()) for m in ok]
    seen = [(-1, -1)] * len(lags)
    nexts, total = np.zeros((2, arrays.problem.slots + 1), np.int64)
    changed = True
    while changed:
        changed = False
        lags.reverse()
        seen.reverse()
        for n, lag in enumerate(lags):
            if seen[n] == (size[lag.i], size[lag.j]):
                continue
            seen[n] = _revise(
                ok[lag.i], ok[lag.j], lag.low, lag.high, lag.since, lag.until, nexts, total
            )
            changed |= seen[n] != (size[lag.i], size[lag.j])
            size[lag.i], size[lag.j] = seen[n]
    return ok


@njit(cache=True)
def _revise(at, after, low, high, since, until, nexts, total):  # type: ignore[no-untyped-def]
    """Drop starts without a partner across one wait, in place; how many are left on each
    side. ``nexts`` and ``total`` are room to work in, a slot longer than the masks."""
    n = len(at)
    nexts[n] = n
    for s in range(n - 1, -1, -1):
        nexts[s] = s if after[s] else nexts[s + 1]
    total[0] = 0
    for s in range(n):
        if at[s]:
            first = nexts[min(low[s], n)]
            at[s] = first < n and first <= high[s]
        total[s + 1] = total[s] + at[s]
    left = 0
    for s in range(n):
        if after[s]:
            after[s] = until[s] > since[s] and total[until[s]] > total[since[s]]
            left += after[s]
    return total[n], left
