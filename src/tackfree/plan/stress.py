"""One plan under many kinds of weather: what the crews would do on each, and when it ends.

The policy is a foreman's: every crew keeps its order, nothing starts before its planned
hour, and a coat starts only where the next one still finds a slot inside its window.
Where a window closes all the same, the coat is abraded and primed or tied anew before the
next one, with the hours, the liquid and the cure that takes.
Closures, dust and ways are not looked at; they would only make it later.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tackfree.plan.again import Way
from tackfree.plan.domains import (
    NEVER,
    Arrays,
    BoolArray,
    arrays_of,
    crew_starts,
    next_member,
    start_mask,
    sweep,
)
from tackfree.plan.types import Lag, Plan, Problem

I32 = NDArray[np.int32]
Slots = NDArray[np.int16] | NDArray[np.int32]
U64 = NDArray[np.uint64]
BIG = 1 << 30
WORD = 64
TRIES = 3  # times that one coat is primed or tied anew before it goes on all the same
# Place of the lowest set bit of a word, by the top six bits of its product with a
# de Bruijn sequence. Published: Leiserson, Prokop, Randall, Using de Bruijn Sequences
# to Index a 1 in a Computer Word, MIT 1998.
DE_BRUIJN = np.uint64(0x03F79D71B4CB0A89)
PLACE = np.zeros(WORD, np.int64)
PLACE[[((int(DE_BRUIJN) << n) & (1 << WORD) - 1) >> 58 for n in range(WORD)]] = range(WORD)


@dataclass(frozen=True, kw_only=True)
class Again:
    """The way back from each lost window, as steps in a row; ``ptr``: lag -> steps."""

    ptr: I32
    duration: I32  # slots, of each step
    starts: I32  # step × class -> row of starts
    wait: I32  # step -> row of waits: when the step after it may start
    within: I32  # step -> slots from its start to that of the step after it, BIG for no limit
    volume_l: NDArray[np.float64]  # of each lag's way


@dataclass(frozen=True, kw_only=True)
class Year:
    """Starts and waits of a problem under one weather, as small lookups.

    A life looks once at thousands of places and each year is another memory, so starts
    are bits, and waits stand by the slot in which the earlier task ends: sections of
    all sizes share them.
    """

    label: str
    arrays: Arrays
    starts: U64  # word of slots × row: allowed starts
    gated: I32  # task × class -> row, starts after which the next coat finds its window
    free: I32  # task × class -> row, every allowed start
    waits: Slots  # end slot × row: a slot that must be waited for, the dtype's last for never
    low: I32  # lag -> row of waits
    gate_row: I32  # closure's gate -> row of waits
    within: I32  # lag -> slots from start to start, BIG for no limit
    limits: Slots  # row × start slot: last start that shifts and rain leave
    stands: I32  # lag -> row of limits, -1 for none
    again: Again


@dataclass(frozen=True, kw_only=True)
class Lived:
    """A plan lived through one weather. ``finish`` None: not done in the horizon;
    ``missed``: windows that closed before the next coat; ``redone``: of these, coats
    abraded and primed or tied anew, in ``redo_slots`` of a crew with ``redo_l`` of liquid.
    ``delay``: slots by which that puts the finish off; None where the horizon ends it."""

    label: str
    finish: int | None
    missed: int
    stall_slots: int | None
    redone: int = 0
    redo_slots: int = 0
    redo_l: float = 0.0
    delay: int | None = 0


@dataclass(frozen=True, kw_only=True)
class Stressed:
    """All years of one plan. Percentiles are slots, None past the horizon."""

    lived: tuple[Lived, ...]
    planned: int

    def finish(self, share: float) -> int | None:
        """The slot by which the job is done in this share of the years (nearest rank)."""
        ends = sorted(NEVER if x.finish is None else x.finish for x in self.lived)
        found = ends[max(0, math.ceil(share * len(ends) - 1e-9) - 1)]
        return None if found >= NEVER else found

    @property
    def missed(self) -> float:
        """Windows missed in a year, on average."""
        return sum(x.missed for x in self.lived) / len(self.lived)

    @property
    def redone(self) -> float:
        """Coats abraded and primed or tied anew in a year, on average."""
        return sum(x.redone for x in self.lived) / len(self.lived)

    @property
    def redo_slots(self) -> float:
        """Slots of crew work that takes in a year, on average."""
        return sum(x.redo_slots for x in self.lived) / len(self.lived)

    @property
    def redo_l(self) -> float:
        """Liquid that takes in a year, on average. [L]"""
        return sum(x.redo_l for x in self.lived) / len(self.lived)

    def delay(self, share: float) -> int | None:
        """Slots by which it puts the finish off at most in this share of the years."""
        known = sorted(NEVER if x.delay is None else x.delay for x in self.lived)
        found = known[max(0, math.ceil(share * len(known) - 1e-9) - 1)]
        return None if found >= NEVER else found

    def stall_slots(self, share: float) -> int | None:
        known = sorted(NEVER if x.stall_slots is None else x.stall_slots for x in self.lived)
        found = known[max(0, math.ceil(share * len(known) - 1e-9) - 1)]
        return None if found >= NEVER else found


class _Rows:
    """Equal rows stored once."""

    def __init__(self) -> None:
        self.rows: list[Any] = []
        self.known: dict[bytes, int] = {}
        self.same: dict[int, int] = {}  # by the array itself, which outlives this

    def add(self, values: Any) -> int:
        key = values.tobytes()
        if key not in self.known:
            self.known[key] = len(self.rows)
            self.rows.append(values)
        return self.known[key]

    def add_table(self, table: tuple[int, ...], width: int) -> int:
        """The row of a table by end slot: NEVER where not known."""
        if id(table) not in self.same:
            row = np.full(width, NEVER, np.int64)
            known = np.array(table[:width], np.int64)
            row[: len(known)] = np.where(known < 0, NEVER, known)
            self.same[id(table)] = self.add(row)
        return self.same[id(table)]

    def masks(self, width: int) -> Any:
        return np.vstack(self.rows) if self.rows else np.zeros((1, width), np.bool_)

    def slots(self, width: int) -> Any:
        """Tables in as few bytes as hold their slots, NEVER as the last number there is."""
        rows = np.vstack(self.rows) if self.rows else np.zeros((1, width), np.int64)
        known = rows[rows < NEVER - width]
        kind = np.int16 if known.max(initial=0) < np.iinfo(np.int16).max else np.int32
        return np.minimum(rows, np.iinfo(kind).max).astype(kind)


def year_of(
    problem: Problem, label: str, ways: Mapping[tuple[str, str], Way] | None = None
) -> Year:
    """The lookups of a problem that was made on one weather.

    ``ways``: what makes up for a lost window, by the two tasks it lies between; without
    one the next coat goes on as if it had not been lost.
    """
    arrays = arrays_of(problem)
    n = problem.slots
    gate = [m.copy() for m in arrays.ok]
    place = {k: p for p, k in enumerate(arrays.order)}
    for lag in sorted(arrays.lags, key=lambda x: -place[x.i]):
        first = next_member(gate[lag.j])[np.minimum(lag.low, n)]
        gate[lag.i] &= (first < NEVER) & (first <= lag.high)
    starts, waits, limits = _Rows(), _Rows(), _Rows()
    shape = (len(arrays.tasks), len(arrays.classes))
    gated, free = np.full(shape, -1, np.int32), np.full(shape, -1, np.int32)
    for k, rows in enumerate(arrays.by_class):
        for g, mask in rows.items():
            free[k, g] = starts.add(arrays.ok[k] & mask)
            gated[k, g] = starts.add(gate[k] & mask)
    ways = ways or {}
    longest = [t.duration for way in ways.values() for t in way.tasks]
    width = n + max([*arrays.duration, *longest], default=0) + 1
    again = _again(arrays, ways, starts, waits, width)
    return Year(
        label=label,
        arrays=arrays,
        starts=_words(starts.masks(n)),
        gated=gated,
        free=free,
        low=np.array([waits.add_table(x.earliest, width) for x in problem.lags], np.int32),
        gate_row=np.array(
            [waits.add_table(t, width) for c in problem.closures
             for t in (c.open_at, *(t for _, t in c.also))], np.int32),
        waits=np.ascontiguousarray(waits.slots(width).T),
        within=np.array([BIG if x.within is None else x.within for x in arrays.lags], np.int32),
        stands=np.array(
            [-1 if x.stands is None else limits.add(x.stands) for x in arrays.lags], np.int32),
        limits=limits.slots(n),
        again=again,
    )  # fmt: skip


def _again(
    arrays: Arrays, ways: Mapping[tuple[str, str], Way], starts: _Rows, waits: _Rows, width: int
) -> Again:
    """The ways as arrays. A crew that cannot do a step lends it to one that can."""
    problem = arrays.problem
    ptr, duration, rows, wait, within, volume = [0], [], [], [], [], []
    length = {t.id: t.duration for t in problem.tasks}
    for lag in problem.lags:
        way = ways.get((lag.before, lag.after)) if _has_limit(lag) else None
        after = {x.before: x for x in way.lags} if way else {}
        steps = []
        following: tuple[BoolArray, int] | None = None  # starts and slots of the step after
        for task in reversed(way.tasks if way else ()):
            free = start_mask(task, problem.slots)
            if following is not None:
                free &= _in_time(after[task.id], task.duration, *following)
            able = {
                g: free & crew_starts(problem, problem.crews[crews[0]], task.duration)
                for g, crews in enumerate(arrays.classes)
                if task.skill in problem.crews[crews[0]].skills
            }
            rest = np.logical_or.reduce(list(able.values())) if able else np.zeros_like(free)
            following = rest, task.duration
            steps.append((task, [able.get(g, rest) for g in range(len(arrays.classes))]))
        for task, masks in reversed(steps):
            wait_for = after[task.id]
            rows.append([starts.add(m) for m in masks])
            duration.append(task.duration)
            wait.append(waits.add_table(wait_for.earliest, width))
            most = wait_for.down_within
            within.append(BIG if most is None else most - length.get(wait_for.after, 0))
        ptr.append(len(duration))
        volume.append(way.volume_l if way else 0.0)
    return Again(
        ptr=np.array(ptr, np.int32),
        duration=np.array(duration, np.int32),
        starts=np.array(rows, np.int32).reshape(-1, len(arrays.classes)),
        wait=np.array(wait, np.int32),
        within=np.array(within, np.int32),
        volume_l=np.array(volume, np.float64),
    )


def _in_time(lag: Lag, duration: int, free: BoolArray, length: int) -> BoolArray:
    """Starts after which the next step still finds a start before it is too late."""
    n = len(free)
    starts = np.arange(n)
    ends = np.minimum(starts + duration, n)
    ready = np.array(lag.earliest)[ends]
    first = next_member(free)[np.where(ready < 0, n, np.minimum(ready, n))]
    last = np.full(n, NEVER) if lag.down_within is None else starts + lag.down_within - length
    if lag.latest:
        latest = np.array(lag.latest)[ends]
        last = np.where(latest < 0, last, np.minimum(last, latest))
    return np.asarray((first < NEVER) & (first <= last))


def _has_limit(lag: Lag) -> bool:
    return lag.down_within is not None or lag.same_or_next_shift or bool(lag.latest)


def _words(masks: Any) -> U64:
    """Rows of truth values as bits, lowest first; by word, then row: a life goes through
    time, and looks at many rows of one day."""
    rows, n = masks.shape
    padded = np.zeros((rows, -(-n // WORD) * WORD), np.bool_)
    padded[:, :n] = masks
    packed = np.packbits(padded, axis=1, bitorder="little").view("<u8")
    return np.ascontiguousarray(packed.T.astype(np.uint64))


def live(plan: Plan, years: Sequence[Year], *, stalls: bool = True) -> tuple[Lived, ...]:
    """The plan under each year. ``stalls`` False leaves the stall-slots out, for speed."""
    arrays = years[0].arrays
    at = {p.task_id: p for p in plan.placed}
    crew = {c.id: k for k, c in enumerate(arrays.problem.crews)}
    class_of = {k: g for g, members in enumerate(arrays.classes) for k in members}
    planned = np.array([at[t.id].start for t in arrays.tasks], np.int32)
    crews = np.array([crew[at[t.id].crew_id] for t in arrays.tasks], np.int32)
    group = np.array([class_of[c] for c in crews], np.int32)
    place = {k: p for p, k in enumerate(arrays.order)}
    order = np.array(sorted(range(len(planned)), key=lambda k: (planned[k], place[k])), np.int32)
    duration = np.array(arrays.duration, np.int32)
    into: list[list[int]] = [[] for _ in planned]
    for n, lag in enumerate(arrays.lags):
        into[lag.j].append(n)
    ptr = np.concatenate(([0], np.cumsum([len(x) for x in into]))).astype(np.int32)
    flat = np.array([n for row in into for n in row], np.int32)
    before = np.array([x.i for x in arrays.lags], np.int32)
    gates = np.array([k for c in arrays.closures for k, _ in c.gates], np.int32)
    out = []
    start = np.zeros(len(planned), np.int32)
    none = np.zeros(len(arrays.lags) + 1, np.int32)

    def through(year: Year, ptr_again: I32) -> tuple[int, int, int, int, float]:
        a = year.again
        found: tuple[int, int, int, int, float] = _live(
            order, planned, duration, crews, group, len(crew), arrays.problem.slots, year.gated,
            year.free, year.starts, ptr, flat, before, year.low, year.waits, year.within,
            year.stands, year.limits, gates, year.gate_row, ptr_again, a.duration, a.starts, a.wait,
            a.within, a.volume_l, start,
        )  # fmt: skip
        return found

    for year in years:
        kind = 0
        if year.again.duration.size:
            kind = through(year, none)[0]  # as if lost windows cost nothing
        finish, missed, redone, slots, litres = through(year, year.again.ptr)
        done = finish < BIG
        out.append(
            Lived(
                label=year.label,
                finish=int(finish) if done else None,
                missed=int(missed),
                stall_slots=_stall_slots(year, arrays, start) if done and stalls else None,
                redone=int(redone),
                redo_slots=int(slots),
                redo_l=float(litres),
                delay=0 if not redone else int(finish - kind) if done else None,
            )
        )
    return tuple(out)


def _stall_slots(year: Year, arrays: Arrays, start: I32) -> int:
    """Stalls lost in one life. Who gets where is one lookup for all years, and kept."""
    closed = sweep(year.arrays.closed_slots(start.tolist()))
    return sum((b - a) * arrays.reach.lost(mask) for a, b, mask in closed)


def stress(plan: Plan, years: Sequence[Year]) -> Stressed:
    """How a plan fares; its own finish comes with it and is never shown alone."""
    planned = max([*(p.end for p in plan.placed), *plan.opens.values()], default=0)
    return Stressed(lived=live(plan, years), planned=planned)


def choose(stressed: Sequence[Stressed], share: float = 0.8) -> int:
    """Which of several plans is done earliest in a share of the years."""

    def key(n: int) -> tuple[int, float, int]:
        finish = stressed[n].finish(share)
        return (NEVER if finish is None else finish, stressed[n].missed, n)

    return min(range(len(stressed)), key=key)


@njit(cache=True, nogil=True)
def _next(starts, row, s, n):  # type: ignore[no-untyped-def]
    """The first allowed start at or after slot s, n for none."""
    word = s // WORD
    left = starts[word, row] >> np.uint64(s % WORD)
    if left:
        return s + PLACE[((left & (~left + np.uint64(1))) * DE_BRUIJN) >> np.uint64(58)]
    for w in range(word + 1, starts.shape[0]):
        left = starts[w, row]
        if left:
            return w * WORD + PLACE[((left & (~left + np.uint64(1))) * DE_BRUIJN) >> np.uint64(58)]
    return n


@njit(cache=True, nogil=True)
def _live(  # type: ignore[no-untyped-def]
    order, planned, duration, crews, group, crew_count, n, gated, free, starts, ptr, flat, before,
    low, waits, within, stands, limits, gates, gate_row, again, again_duration, again_starts,
    again_wait, again_within, again_volume, start,
):  # fmt: skip
    idle = np.zeros(crew_count, np.int32)
    never = np.iinfo(waits.dtype).max
    missed, redone, redo_slots = 0, 0, 0
    redo_l = 0.0
    finish = 0
    for k in order:
        s = max(planned[k], idle[crews[k]])
        for x in range(ptr[k], ptr[k + 1]):
            lag = flat[x]
            i = before[lag]
            s = max(s, waits[start[i] + duration[i], low[lag]])
        if s >= n:
            return BIG, missed, redone, redo_slots, redo_l
        t = _next(starts, gated[k, group[k]], s, n)
        if t >= n:
            t = _next(starts, free[k, group[k]], s, n)
        if t >= n:
            return BIG, missed, redone, redo_slots, redo_l
        lost = -1
        for x in range(ptr[k], ptr[k + 1]):
            lag = flat[x]
            i = before[lag]
            late = t > start[i] + within[lag]
            if not late and stands[lag] >= 0:
                late = t > limits[stands[lag], start[i]]
            if late:
                missed += 1
                if again[lag] < again[lag + 1]:
                    lost = lag
        tries = 0
        while lost >= 0 and tries < TRIES:
            # The new coat has a window of its own, and can miss it too.
            tries += 1
            redone += 1
            redo_l += again_volume[lost]
            for m in range(again[lost], again[lost + 1]):
                u = _next(starts, again_starts[m, group[k]], s, n) if s < n else n
                if u >= n:
                    return BIG, missed, redone, redo_slots, redo_l
                redo_slots += again_duration[m]
                s = waits[u + again_duration[m], again_wait[m]]
            if s >= n:
                return BIG, missed, redone, redo_slots, redo_l
            t = _next(starts, gated[k, group[k]], s, n)
            if t >= n:
                t = _next(starts, free[k, group[k]], s, n)
            if t >= n:
                return BIG, missed, redone, redo_slots, redo_l
            if t <= u + again_within[again[lost + 1] - 1]:
                lost = -1
            else:
                missed += 1
                s = t
        start[k] = t
        idle[crews[k]] = t + duration[k]
        finish = max(finish, t + duration[k])
    for x in range(len(gates)):
        k = gates[x]
        opens = waits[start[k] + duration[k], gate_row[x]]
        finish = BIG if opens == never else max(finish, opens)
    return finish, missed, redone, redo_slots, redo_l
