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

from tackfree.plan.domains import NEVER, Arrays, arrays_of, next_member
from tackfree.plan.types import Plan, Problem

I32 = NDArray[np.int32]
BIG = 1 << 30


@dataclass(frozen=True, kw_only=True)
class Year:
    """Starts and waits of a problem under one weather, as lookups by slot."""

    label: str
    arrays: Arrays
    nexts: I32  # rows: next allowed start at or after a slot
    gated: I32  # task × class -> row, starts after which the next coat finds its window
    free: I32  # task × class -> row, every allowed start
    table: I32  # rows by start slot
    low: I32  # lag -> row
    high: I32
    gate_row: I32


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
    def __init__(self) -> None:
        self.rows: list[Any] = []
        self.known: dict[bytes, int] = {}

    def add(self, values: Any) -> int:
        row = np.minimum(values, BIG).astype(np.int32)
        key = row.tobytes()
        if key not in self.known:
            self.known[key] = len(self.rows)
            self.rows.append(row)
        return self.known[key]

    def array(self, width: int) -> I32:
        return np.vstack(self.rows) if self.rows else np.zeros((1, width), np.int32)


def year_of(problem: Problem, label: str) -> Year:
    """The lookups of a problem that was made on one weather."""
    arrays = arrays_of(problem)
    n = problem.slots
    gate = [m.copy() for m in arrays.ok]
    place = {k: p for p, k in enumerate(arrays.order)}
    for lag in sorted(arrays.lags, key=lambda x: -place[x.i]):
        first = next_member(gate[lag.j])[np.minimum(lag.low, n)]
        gate[lag.i] &= (first < NEVER) & (first <= lag.high)
    nexts, table = _Rows(), _Rows()
    shape = (len(arrays.tasks), len(arrays.classes))
    gated, free = np.full(shape, -1, np.int32), np.full(shape, -1, np.int32)
    for k, rows in enumerate(arrays.by_class):
        for g, mask in rows.items():
            free[k, g] = nexts.add(next_member(arrays.ok[k] & mask))
            gated[k, g] = nexts.add(next_member(gate[k] & mask))
    return Year(
        label=label,
        arrays=arrays,
        gated=gated,
        free=free,
        low=np.array([table.add(x.low) for x in arrays.lags], np.int32),
        high=np.array([table.add(x.high) for x in arrays.lags], np.int32),
        gate_row=np.array([table.add(t) for c in arrays.closures for _, t in c.gates], np.int32),
        nexts=nexts.array(n + 1),
        table=table.array(n),
    )


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
            order, planned, duration, crews, group, len(crew), year.gated, year.free,
            year.nexts, ptr, flat, before, year.low, year.high, year.table, gates,
            year.gate_row, start,
        )  # fmt: skip
        done = finish < BIG
        out.append(
            Lived(
                label=year.label,
                finish=int(finish) if done else None,
                missed=int(missed),
                stall_slots=year.arrays.stall_slots(start.tolist()) if done and stalls else None,
            )
        )
    return tuple(out)


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
def _live(  # type: ignore[no-untyped-def]
    order, planned, duration, crews, group, crew_count, gated, free, nexts, ptr, flat, before,
    low, high, table, gates, gate_row, start,
):  # fmt: skip
    n = table.shape[1]
    idle = np.zeros(crew_count, np.int32)
    missed = 0
    finish = 0
    for k in order:
        s = max(planned[k], idle[crews[k]])
        for x in range(ptr[k], ptr[k + 1]):
            lag = flat[x]
            s = max(s, table[low[lag], start[before[lag]]])
        if s >= n:
            return BIG, missed
        t = nexts[gated[k, group[k]], s]
        if t >= n:
            t = nexts[free[k, group[k]], s]
        if t >= n:
            return BIG, missed
        for x in range(ptr[k], ptr[k + 1]):
            lag = flat[x]
            if t > table[high[lag], start[before[lag]]]:
                missed += 1
        start[k] = t
        idle[crews[k]] = t + duration[k]
        finish = max(finish, t + duration[k])
    for x in range(len(gates)):
        finish = max(finish, table[gate_row[x], start[gates[x]]])
    return finish, missed
