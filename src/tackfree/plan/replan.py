"""The plan from now on: what is done stands, the next days stay, the rest is planned anew.

What happened is taken as it happened, whether or not it kept the rules; only what
follows from it binds: waits, windows, wet film and closed sections.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tackfree.plan.again import Way
from tackfree.plan.domains import BoolArray, IntArray, arrays_of
from tackfree.plan.drafts import FINISH, MOVED, SHIFTS, STALLS
from tackfree.plan.holds import rest_of_holds
from tackfree.plan.problem import intervals
from tackfree.plan.solve import solve
from tackfree.plan.types import Closure, Lag, Plan, Problem, Span, Task

ORDER = (MOVED, FINISH, STALLS, SHIFTS)


@dataclass(frozen=True, kw_only=True)
class Lost:
    """A window that closed before the next step, and the work added to make up for it."""

    before: str
    after: str
    added: tuple[Task, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Change:
    """A task that stands elsewhere than in the old plan; ``was`` None: it is new."""

    task_id: str
    was: int | None
    now: int


@dataclass(frozen=True, kw_only=True)
class Replanned:
    """The rest of the job, with what differs from the plan before it."""

    problem: Problem
    plan: Plan
    changes: tuple[Change, ...]
    lost: tuple[Lost, ...]
    unfrozen: tuple[str, ...]  # to stay, but the weather no longer lets them


def rest_of(
    problem: Problem,
    was: Plan,
    done: Mapping[str, tuple[int, int]],
    *,
    now: int,
    frozen_until: int,
    steady_until: int,
    ways: Mapping[tuple[str, str], Way] | None = None,
) -> tuple[Problem, tuple[Lost, ...], tuple[str, ...]]:
    """The problem of what is left to do at slot ``now``.

    Parameters
    ----------
    problem
        On today's weather.
    was
        The plan in force.
    done
        Start and end of each task that is done or under way, by task id.
    frozen_until, steady_until
        Tasks planned before the first keep their start; those before the second count
        as moved when they do not.
    ways
        Work that makes up for a lost window, by the two tasks it lies between.
    """
    tables = {t.id: t for t in problem.tasks}
    before = {p.task_id: p.start for p in was.placed}
    masks = {}
    arrays = arrays_of(problem)
    for task, mask in zip(problem.tasks, arrays.ok, strict=True):
        if task.id not in done:
            mask = mask.copy()
            mask[:now] = False
            masks[task.id] = mask
    slots = np.arange(problem.slots)
    lags: list[Lag] = []
    lost: list[Lost] = []
    added: list[Task] = []
    for lag in problem.lags:
        if lag.after in done:
            continue
        if lag.before not in done:
            lags.append(lag)
            continue
        a, b = done[lag.before]
        mask = masks[lag.after]
        ready = lag.earliest[b] if b < len(lag.earliest) else -1
        mask &= (slots >= ready) if ready >= 0 else False
        kept = mask & (slots <= _last(problem, lag, a, b, tables[lag.after].duration))
        if kept.any() or not mask.any():
            masks[lag.after] = kept
            continue
        way = (ways or {}).get((lag.before, lag.after), Way(tasks=(), lags=()))
        for task in way.tasks:
            free = np.zeros(problem.slots, dtype=bool)
            for x, y in task.starts:
                free[x : y + 1] = True
            free[: max(now, ready)] = False
            masks[task.id] = free
        added += way.tasks
        lags += _left(way.lags, done, masks, slots)
        lost.append(Lost(before=lag.before, after=lag.after, added=way.tasks))
    unfrozen = []
    for name, mask in masks.items():
        start = before.get(name)
        if start is None or not now <= start < frozen_until:
            continue
        if mask[start]:
            mask[:] = False
            mask[start] = True
        else:
            unfrozen.append(name)
    tasks = tuple(
        replace(t, starts=intervals(masks[t.id])) for t in (*problem.tasks, *added) if t.id in masks
    )
    closures, shut = _closed(problem, done, {t.id for t in tasks})
    film = tuple(
        Span(section_id=t.section_id, begin=max(0, done[t.id][0]), end=t.wet[done[t.id][1]])
        for t in problem.tasks
        if t.id in done and t.wet and done[t.id][1] < len(t.wet) and t.wet[done[t.id][1]] > now
    )
    steady = tuple(
        (t.id, before[t.id]) for t in tasks if t.id in before and now <= before[t.id] < steady_until
    )
    left = replace(
        problem,
        tasks=tasks,
        lags=tuple(lags),
        closures=closures,
        shut=(*problem.shut, *shut),
        wet_now=(*problem.wet_now, *film),
        was=steady,
        holds=rest_of_holds(problem.holds, done, now=now),
        stocks=tuple(
            replace(s, on_hand=s.on_hand - _taken(problem, done, s.id)) for s in problem.stocks
        ),
    )
    return left, tuple(lost), tuple(unfrozen)


def replan(
    problem: Problem,
    was: Plan,
    done: Mapping[str, tuple[int, int]],
    *,
    now: int,
    frozen_until: int,
    steady_until: int,
    ways: Mapping[tuple[str, str], Way] | None = None,
    seed: int = 0,
    deterministic_limit: float = 0.3,
) -> Replanned:
    """The best plan of what is left that moves few of the next days' tasks.

    See :func:`rest_of` for the parameters. Where the frozen tasks leave no plan they
    are let go, and named among ``unfrozen``.
    """
    until = frozen_until
    while True:
        left, lost, unfrozen = rest_of(
            problem, was, done, now=now, frozen_until=until, steady_until=steady_until,
            ways=ways,
        )  # fmt: skip
        plan = solve(left, seed=seed, order=ORDER, deterministic_limit=deterministic_limit)
        if plan.placed or not left.tasks or until <= now:
            break
        until = now
    before = {p.task_id: p.start for p in was.placed}
    if until < frozen_until:
        unfrozen = tuple(t.id for t in left.tasks if now <= before.get(t.id, -1) < frozen_until)
    changes = tuple(
        Change(task_id=p.task_id, was=before.get(p.task_id), now=p.start)
        for p in plan.placed
        if before.get(p.task_id) != p.start
    )
    return Replanned(problem=left, plan=plan, changes=changes, lost=lost, unfrozen=unfrozen)


def _left(
    lags: Collection[Lag],
    done: Mapping[str, tuple[int, int]],
    masks: Mapping[str, BoolArray],
    slots: IntArray,
) -> Iterator[Lag]:
    """Waits of added work; one that begins at done work cuts starts instead."""
    for lag in lags:
        if lag.before not in done:
            yield lag
            continue
        end = done[lag.before][1]
        ready = lag.earliest[end] if end < len(lag.earliest) else -1
        masks[lag.after][:] &= (slots >= ready) if ready >= 0 else False


def _last(problem: Problem, lag: Lag, a: int, b: int, duration: int) -> int:
    """Last start that the limits of a wait leave after work from a to b."""
    out = problem.slots
    if lag.down_within is not None:
        out = min(out, a + lag.down_within - duration)
    if lag.latest and b < len(lag.latest) and lag.latest[b] >= 0:
        out = min(out, lag.latest[b])
    if lag.same_or_next_shift:
        here = [s for s in problem.shifts if s.begin <= a < s.end]
        edge = max((s.end for s in here), default=b)
        following = [s.begin for s in problem.shifts if s.begin >= edge]
        ends = [s.end for s in problem.shifts if following and s.begin == min(following)]
        out = min(out, max([edge, *ends]) - duration)
    return out


def _closed(
    problem: Problem, done: Mapping[str, tuple[int, int]], left: Collection[str]
) -> tuple[tuple[Closure, ...], tuple[Span, ...]]:
    """Closures that still depend on the plan, and those that are settled."""
    closures: list[Closure] = []
    shut: list[Span] = []
    of = {t.id: t.section_id for t in problem.tasks}
    for c in problem.closures:
        if c.first not in done:
            closures.append(c)
            continue
        since = max(0, min(done[k][0] for k in done if of.get(k) == c.section_id))
        gates = ((c.last, c.open_at), *c.also)
        open_gates = [(k, t) for k, t in gates if k in left]
        settled = [t[done[k][1]] for k, t in gates if k in done and done[k][1] < len(t)]
        if not open_gates:
            end = max([since, *settled])
            shut.append(Span(section_id=c.section_id, begin=since, end=end))
            continue
        floor = max([0, *settled])
        (last, table), *also = open_gates
        table = tuple(v if v < 0 else max(v, floor) for v in table)
        closures.append(
            replace(c, first=last, last=last, open_at=table, also=tuple(also), since=since)
        )
    return tuple(closures), tuple(shut)


def _taken(problem: Problem, done: Mapping[str, tuple[int, int]], stock: str) -> int:
    return sum(n for t in problem.tasks if t.id in done for name, n in t.needs if name == stock)
