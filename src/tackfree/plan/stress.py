"""One plan under many kinds of weather: what the crews would do on each, and when it ends.

The policy is a foreman's: every crew keeps its order, nothing starts before its planned
hour, and a coat starts only where the next one still finds a slot inside its window.
Closures, dust and ways are not looked at; they would only make it later.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tackfree.plan.domains import NEVER, Arrays, arrays_of, next_member, sweep
from tackfree.plan.types import Plan, Problem

I32 = NDArray[np.int32]
Slots = NDArray[np.int16] | NDArray[np.int32]
U64 = NDArray[np.uint64]
BIG = 1 << 30
WORD = 64
# Place of the lowest set bit of a word, by the top six bits of its product with a
# de Bruijn sequence. Published: Leiserson, Prokop, Randall, Using de Bruijn Sequences
# to Index a 1 in a Computer Word, MIT 1998.
DE_BRUIJN = np.uint64(0x03F79D71B4CB0A89)
PLACE = np.zeros(WORD, np.int64)
PLACE[[((int(DE_BRUIJN) << n) & (1 << WORD) - 1) >> 58 for n in range(WORD)]] = range(WORD)


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


@dataclass(frozen=True, kw_only=True)
class Lived:
    """A plan lived through one weather. ``finish`` None: not done in the horizon;
    ``missed``: windows that closed before the next coat."""

    label: str
    finish: int | None
    missed: int
    stall_slots: int | None


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


def year_of(problem: Problem, label: str) -> Year:
    """The lookups of a problem that was made on one weather."""
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
    width = n + max(arrays.duration, default=0) + 1
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
    )  # fmt: skip


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
    for year in years:
        finish, missed = _live(
            order, planned, duration, crews, group, len(crew), arrays.problem.slots, year.gated,
            year.free, year.starts, ptr, flat, before, year.low, year.waits, year.within,
            year.stands, year.limits, gates, year.gate_row, start,
        )  # fmt: skip
        done = finish < BIG
        out.append(
            Lived(
                label=year.label,
                finish=int(finish) if done else None,
                missed=int(missed),
                stall_slots=_stall_slots(year, arrays, start) if done and stalls else None,
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
    low, waits, within, stands, limits, gates, gate_row, start,
):  # fmt: skip
    idle = np.zeros(crew_count, np.int32)
    never = np.iinfo(waits.dtype).max
    missed = 0
    finish = 0
    for k in order:
        s = max(planned[k], idle[crews[k]])
        for x in range(ptr[k], ptr[k + 1]):
            lag = flat[x]
            i = before[lag]
            s = max(s, waits[start[i] + duration[i], low[lag]])
        if s >= n:
            return BIG, missed
        t = _next(starts, gated[k, group[k]], s, n)
        if t >= n:
            t = _next(starts, free[k, group[k]], s, n)
        if t >= n:
            return BIG, missed
        for x in range(ptr[k], ptr[k + 1]):
            lag = flat[x]
            i = before[lag]
            late = t > start[i] + within[lag]
            if not late and stands[lag] >= 0:
                late = t > limits[stands[lag], start[i]]
            if late:
                missed += 1
        start[k] = t
        idle[crews[k]] = t + duration[k]
        finish = max(finish, t + duration[k])
    for x in range(len(gates)):
        k = gates[x]
        opens = waits[start[k] + duration[k], gate_row[x]]
        finish = BIG if opens == never else max(finish, opens)
    return finish, missed
