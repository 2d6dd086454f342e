"""Bounds that need no search: crew hours with the cure tail, closures that exclude each
other, and stall hours with the stalls that are only cut off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tackfree.plan.apart import apart, least_lost, row_bound
from tackfree.plan.domains import NEVER, Arrays, BoolArray, IntArray, next_member


@dataclass(frozen=True, kw_only=True)
class Bound:
    """No plan finishes before ``slot``; ``source`` says what limits it."""

    slot: int
    source: str


def earliest_finish(arrays: Arrays, ok: list[BoolArray], *, cars: bool = False) -> list[IntArray]:
    """Finish of a task's section, by the task's start, with crews and stalls free.

    Follows lags and the cars table forward and leaves upper lags out, so it never
    overstates. NEVER where no chain fits. Nondecreasing in the start. ``cars``: the
    slot at which cars may come, work that goes on after it left out.
    """
    n = arrays.problem.slots
    closing: dict[int, IntArray] = {k: opens for c in arrays.closures for k, opens in c.gates}
    after: dict[int, list[tuple[int, IntArray]]] = {}
    for lag in arrays.lags:
        after.setdefault(lag.i, []).append((lag.j, lag.low))
    out: list[IntArray] = [np.zeros(n, dtype=np.int64)] * len(arrays.tasks)
    for k in reversed(arrays.order):
        finish = np.zeros(n, np.int64) if cars else np.arange(n) + arrays.duration[k]
        if k in closing:
            finish = np.maximum(finish, closing[k])
        for j, low in after.get(k, []):
            start = next_member(ok[j])[np.minimum(low, n)]
            reach = np.append(out[j], NEVER)[np.minimum(start, n)]
            finish = np.maximum(finish, reach)
        out[k] = finish
    return out


def finish_bound(arrays: Arrays, ok: list[BoolArray]) -> Bound:
    """The largest of four bounds on the finish.

    *longest section*: the slowest section alone. *crew hours*: for each crew and each
    set of its tasks that cannot start before r and have at least a given tail, the
    slot at which its shifts have offered their work; one of them ends there or
    later, and its section's chain still follows. *closures apart*: sections of which
    never two may be closed at once, one after another in the best order. *stall hours*:
    stalls times the shortest closure that takes them, over those that may be closed.
    """
    finish = earliest_finish(arrays, ok)
    first = [int(np.argmax(m)) for m in ok]
    best = Bound(
        slot=max((int(finish[k][first[k]]) for k in range(len(ok))), default=0),
        source="longest section",
    )
    for able in sorted(set(arrays.able)):
        mine = [k for k in range(len(ok)) if set(arrays.able[k]) <= set(able)]
        slot = _crew_hours(arrays, ok, finish, first, able, mine)
        if slot > best.slot:
            best = Bound(slot=slot, source="crew hours")
    opens = earliest_finish(arrays, ok, cars=True)
    slot = row_bound(arrays, ok, opens)
    if slot > best.slot:
        best = Bound(slot=slot, source="closures apart")
    slot = _stall_hours(arrays, ok, opens, first)
    if slot > best.slot:
        best = Bound(slot=slot, source="stall hours")
    return best


def _crew_hours(
    arrays: Arrays,
    ok: list[BoolArray],
    finish: list[IntArray],
    first: list[int],
    able: tuple[int, ...],
    mine: list[int],
) -> int:
    if not mine:
        return 0
    n = arrays.problem.slots
    works = np.zeros(n, dtype=np.int64)
    for crew in (c for g in able for c in arrays.classes[g]):
        on_duty = np.zeros(n, dtype=bool)
        for span in arrays.problem.shifts:
            if span.shift_id in arrays.problem.crews[crew].shift_ids:
                on_duty[span.begin : span.end] = True
        works += on_duty
    offered = np.concatenate(([0], np.cumsum(works)))
    tail = {}
    for k in mine:
        at = np.flatnonzero(ok[k])
        tail[k] = int(np.min(finish[k][at] - at - arrays.duration[k])) if at.size else NEVER
    nexts = {k: next_member(ok[k]) for k in mine}
    best = 0
    for r in sorted({first[k] for k in mine}):
        released = sorted((k for k in mine if first[k] >= r), key=lambda k: (-tail[k], k))
        work = 0
        for m, k in enumerate(released):
            work += arrays.duration[k]
            if m + 1 < len(released) and tail[released[m + 1]] == tail[k]:
                continue
            done = int(np.searchsorted(offered, offered[r] + work, side="left"))
            if done > n:
                return NEVER
            ends = []
            for i in released[: m + 1]:
                s = int(nexts[i][max(0, done - arrays.duration[i])])
                ends.append(NEVER if s >= n else int(finish[i][s]))
            best = max(best, min(ends))
    return best


def shortest_closures(arrays: Arrays, ok: list[BoolArray], opens: list[IntArray]) -> list[int]:
    """Fewest slots each closure can last, crews free. One per closure."""
    out = []
    for c in arrays.closures:
        if c.since is not None:
            left = min(int(t[ok[k]].min()) if ok[k].any() else NEVER for k, t in c.gates)
            out.append(max(0, left - c.since))
            continue
        at = np.flatnonzero(ok[c.first])
        out.append(int(np.min(opens[c.first][at] - at)) if at.size else NEVER)
    return out


def _stall_hours(
    arrays: Arrays, ok: list[BoolArray], opens: list[IntArray], first: list[int]
) -> int:
    """Stalls times the longest shortest closure that takes them, over those that may be
    closed at once; what the owner agreed to see cut off does not count."""
    cap, reach = arrays.problem.stalls_closed_max, arrays.reach
    begins = {c.section: first[c.first] if c.since is None else c.since for c in arrays.closures}
    least = _least_by_group(arrays, ok, opens, counted=True)
    area = sum(count * slots for (_, _, count, _), slots in zip(reach.groups, least, strict=True))
    if not area or cap <= 0:
        return 0
    return min(begins.values()) + -(-area // cap)


def stall_slots_bound(arrays: Arrays, ok: list[BoolArray]) -> int:
    """For each group of stalls the longest of the shortest closures that take it, its own
    and those that cut it off; several where they must follow one another; summed.

    [stall-slots]
    """
    least = _least_by_group(arrays, ok, earliest_finish(arrays, ok, cars=True))
    groups = zip(arrays.reach.groups, least, strict=True)
    return sum(count * slots for (_, _, count, _), slots in groups)


def _least_by_group(
    arrays: Arrays, ok: list[BoolArray], opens: list[IntArray], *, counted: bool = False
) -> list[int]:
    """Slots for which each group of stalls is lost at least."""
    lengths = {
        c.section: n
        for c, n in zip(arrays.closures, shortest_closures(arrays, ok, opens), strict=True)
    }
    several = any(len(cut) > 1 for cut in arrays.cutters)
    others = apart(arrays) if several else {}
    agreed = arrays.reach.agreed if counted else 0
    return [
        least_lost(others, lengths, [section, *(z for z in cut if not agreed >> z & 1)])
        for (section, _, _, _), cut in zip(arrays.reach.groups, arrays.cutters, strict=True)
    ]
