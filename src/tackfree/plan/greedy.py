"""A first plan by chain insertion: one section after another, each as early as it fits.

Inside a section the earliest chain is a fixpoint: starts move forward until every
wait holds, and where a recoat-before or next-shift limit would be missed the earlier
step moves later instead. That is exact for one section with the others fixed. What
greed cannot do is slow one section down to help another; the solver does.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from tackfree.plan.domains import NEVER, Arrays, BoolArray, IntArray, LagArrays, next_member

FIRST_ORDERS = 4


@dataclass(kw_only=True)
class Draft:
    """Starts and crews by task index, and how good they are (finish, stall-slots)."""

    start: list[int]
    crew: list[int]
    finish: int
    stall_slots: int

    @property
    def score(self) -> tuple[int, int]:
        return (self.finish, self.stall_slots)


@dataclass(kw_only=True)
class _State:
    arrays: Arrays
    nexts: list[dict[int, IntArray]]  # task -> crew -> next allowed start
    lags: dict[str, list[LagArrays]]
    busy: list[list[tuple[int, int]]] = field(default_factory=list)  # per crew, sorted
    closed: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


def draft_plan(
    arrays: Arrays,
    ok: list[BoolArray],
    *,
    seed: int = 0,
    tries: int = 24,
    stop: Callable[[], bool] | None = None,
) -> Draft | None:
    """The best of ``tries`` insertion orders; None where no order fits.

    Starts with sections by least slack and by most stalls, then swaps and moves
    sections of the best order so far, chosen by a generator seeded with ``seed``.
    Same inputs, same draft, unless ``stop`` says to end early.

    Parameters
    ----------
    ok : list of bool arrays
        Allowed starts by task, as :func:`domains.tighten` left them.
    """
    state = _State(
        arrays=arrays,
        nexts=[
            {c: next_member(ok[k] & m) for c, m in arrays.by_crew[k].items()}
            for k in range(len(ok))
        ],
        lags={},
    )
    sections: dict[str, list[int]] = {}
    for k in arrays.order:
        sections.setdefault(arrays.tasks[k].section_id, []).append(k)
    for lag in arrays.lags:
        state.lags.setdefault(arrays.tasks[lag.i].section_id, []).append(lag)
    rng = np.random.default_rng(seed)
    best: Draft | None = None
    best_order: list[str] = []
    order: list[str] = []
    openings = _opening_orders(arrays, ok, sections)
    for n in range(tries):
        if best is not None and stop is not None and stop():
            break
        if n < len(openings):
            order = openings[n]
        elif best is not None:
            order = _neighbour(best_order, rng)
        draft = _insert_all(state, sections, order)
        if isinstance(draft, str):
            # The section that found no room goes first in the next try.
            openings.insert(n + 1, [draft, *(s for s in order if s != draft)])
        elif best is None or draft.score <= best.score:
            best, best_order = draft, order
            del openings[max(n + 1, FIRST_ORDERS) :]
    return best


def _opening_orders(
    arrays: Arrays, ok: list[BoolArray], sections: dict[str, list[int]]
) -> list[list[str]]:
    room = {s: min(int(ok[k].sum()) for k in ks) for s, ks in sections.items()}
    work = {s: sum(arrays.duration[k] for k in ks) for s, ks in sections.items()}
    stalls = {c.section_id: c.stalls for c in arrays.closures}
    return [
        sorted(sections, key=lambda s: (room[s], s)),
        sorted(sections, key=lambda s: (-work[s], s)),
        sorted(sections, key=lambda s: (-stalls.get(s, 0), s)),
        list(sections),
    ]


def _neighbour(order: Sequence[str], rng: np.random.Generator) -> list[str]:
    out = list(order)
    if len(out) < 2:
        return out
    a, b = (int(x) for x in rng.integers(0, len(out), 2))
    if rng.integers(0, 2):
        out[a], out[b] = out[b], out[a]
    else:
        out.insert(b, out.pop(a))
    return out


def _insert_all(state: _State, sections: dict[str, list[int]], order: Sequence[str]) -> Draft | str:
    """A draft, or the section that found no room."""
    arrays = state.arrays
    state.busy = [[] for _ in arrays.problem.crews]
    reach = [
        int(opens[opens < NEVER].max(initial=0)) for c in arrays.closures for _, opens in c.gates
    ]
    state.closed = np.zeros(max([arrays.problem.slots, *reach]) + 1, dtype=np.int64)
    start = [0] * len(arrays.tasks)
    crew = [0] * len(arrays.tasks)
    closures = {c.section_id: c for c in arrays.closures}
    finish = stall_slots = 0
    for section in order:
        tasks = sections[section]
        closure = closures.get(section)
        floor = 0
        while True:
            found = _earliest_chain(state, tasks, state.lags.get(section, []), floor)
            if found is None:
                return section
            if closure is None:
                break
            held = {k for k, _ in closure.gates}
            found = _shorten(state, tasks, state.lags.get(section, []), found, held)
            a = found[closure.first][0]
            b = max(int(opens[found[k][0]]) for k, opens in closure.gates)
            span = state.closed[a:b] + closure.stalls
            over = np.flatnonzero(span > arrays.problem.stalls_closed_max)
            if not over.size or not closure.stalls:
                state.closed[a:b] += closure.stalls
                stall_slots += closure.stalls * (b - a)
                finish = max(finish, b)
                break
            floor = a + int(over[-1]) + 1
        for k, (s, c) in found.items():
            start[k], crew[k] = s, c
            insort(state.busy[c], (s, s + arrays.duration[k]))
            finish = max(finish, s + arrays.duration[k])
    return Draft(start=start, crew=crew, finish=finish, stall_slots=stall_slots)


def _earliest_chain(
    state: _State,
    tasks: list[int],
    lags: list[LagArrays],
    floor: int,
) -> dict[int, tuple[int, int]] | None:
    """Least starts of one section's tasks from ``floor`` on, with everything else fixed."""
    n = state.arrays.problem.slots
    into: dict[int, list[LagArrays]] = {}
    for lag in lags:
        into.setdefault(lag.j, []).append(lag)
    at = dict.fromkeys(tasks, floor)
    found: dict[int, tuple[int, int]] = {}
    settled = False
    while not settled:
        settled = True
        for k in tasks:
            low = max([at[k], *(int(x.low[found[x.i][0]]) for x in into.get(k, []))])
            got = _place(state, k, low)
            if got is None:
                return None
            found[k] = got
            at[k] = got[0]
        for lag in reversed(lags):
            s_i, s_j = found[lag.i][0], found[lag.j][0]
            if s_j > lag.high[s_i]:
                # The later step cannot come sooner, so the earlier one moves later.
                need = int(np.searchsorted(lag.high, s_j, side="left"))
                if need >= n:
                    return None
                at[lag.i] = max(at[lag.i], need)
                settled = False
    return found


def _place(state: _State, k: int, low: int) -> tuple[int, int] | None:
    """First start at or after ``low`` with an able crew free, and that crew."""
    best: tuple[int, int] | None = None
    for crew in state.nexts[k]:
        s = _next_free(state, k, crew, low)
        if s is not None and (best is None or s < best[0]):
            best = (s, crew)
    return best


def _shorten(
    state: _State,
    tasks: list[int],
    lags: list[LagArrays],
    found: dict[int, tuple[int, int]],
    held: set[int],
) -> dict[int, tuple[int, int]]:
    """Move steps as late as they go, those that hold cars back aside: a shorter closure."""
    out = dict(found)
    moved = True
    while moved:
        moved = False
        for k in reversed(tasks):
            if k in held:
                continue
            s, crew = out[k]
            late = s
            after = [x for x in lags if x.i == k]
            before = [x for x in lags if x.j == k]
            if not after:
                continue
            t = _next_free(state, k, crew, s + 1)
            while t is not None and all(x.low[t] <= out[x.j][0] <= x.high[t] for x in after):
                if all(t <= x.high[out[x.i][0]] for x in before):
                    late = t
                t = _next_free(state, k, crew, t + 1)
            if late > s:
                out[k] = (late, crew)
                moved = True
    return out


def _next_free(state: _State, k: int, crew: int, low: int) -> int | None:
    n = state.arrays.problem.slots
    d = state.arrays.duration[k]
    nexts, busy = state.nexts[k][crew], state.busy[crew]
    s = int(nexts[min(low, n)])
    while s < n:
        at = bisect_right(busy, (s, NEVER))
        if at and busy[at - 1][1] > s:
            s = int(nexts[min(busy[at - 1][1], n)])
        elif at < len(busy) and busy[at][0] < s + d:
            s = int(nexts[min(busy[at][1], n)])
        else:
            return s
    return None
