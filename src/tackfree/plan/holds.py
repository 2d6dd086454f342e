"""Hold points: somebody who was told in time looks at a step before the next begins.

A hold point is a wait like any other: the next step begins, or cars come, when the
visit is over. So the solver needs nothing of its own for it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tackfree.plan.types import Closure, Hold, Lag, Plan, Problem

IntArray = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Visit:
    """When somebody looks in a plan, and by when they must have been told. Slots;
    ``notice_by`` is below 0 where that is before the grid begins."""

    hold: Hold
    begin: int
    end: int
    notice_by: int


def visit_table(
    ready: IntArray, comes: IntArray, *, first: int, agreed: int | None = None
) -> tuple[int, ...]:
    """Slot of the visit, by the slot at which the work ends.

    Parameters
    ----------
    ready
        Slot from which the work can be looked at, by its end; nondecreasing, -1 not known.
    comes
        Next slot at which they can come, by slot; -1 where none comes.
    first
        First slot that the notice still lets them come at.
    agreed
        A visit of which they were told already; it is kept where the work is ready for it
        and no sooner one can be had.
    """
    want = np.where(ready < 0, len(comes), np.maximum(ready, first))
    fresh = np.append(comes, -1)[np.minimum(want, len(comes))]
    if agreed is not None:
        keeps = (ready >= 0) & (ready <= agreed) & ((fresh < 0) | (fresh > agreed))
        fresh = np.where(keeps, agreed, fresh)
    return tuple(fresh.tolist())


def with_holds(problem: Problem, holds: Sequence[Hold]) -> Problem:
    """The problem with these hold points, and the waits they mean, in place of its own."""
    bare = without_holds(problem)
    lags = tuple(
        Lag(before=h.after, after=h.before, earliest=_over(h), hold=h.id) for h in holds if h.before
    )

    def waiting(c: Closure) -> Closure:
        mine = (h for h in holds if not h.before and h.section_id == c.section_id)
        return replace(c, also=(*c.also, *((h.after, _over(h)) for h in mine)))

    return replace(
        bare,
        lags=(*bare.lags, *lags),
        closures=tuple(map(waiting, bare.closures)),
        holds=tuple(holds),
    )


def without_holds(problem: Problem, names: Collection[str] | None = None) -> Problem:
    """The problem without hold points of these ids; None leaves out all of them."""
    gone = tuple(h for h in problem.holds if names is None or h.id in names)
    if not gone:
        return problem
    ids = {h.id for h in gone}
    gates = {(h.after, _over(h)) for h in gone if not h.before}
    return replace(
        problem,
        lags=tuple(x for x in problem.lags if x.hold not in ids),
        closures=tuple(
            replace(c, also=tuple(g for g in c.also if g not in gates)) for c in problem.closures
        ),
        holds=tuple(h for h in problem.holds if h.id not in ids),
    )


def rest_of_holds(
    holds: Sequence[Hold], done: Mapping[str, tuple[int, int]], *, now: int
) -> tuple[Hold, ...]:
    """Hold points that are not behind us at slot ``now``: their next step has not begun,
    and no visit to done work is over."""
    out = []
    for h in holds:
        if h.before in done:
            continue
        if h.after in done:
            h = replace(h, ended=done[h.after][1])
            begin = visit_of(h, h.ended)
            if begin >= 0 and begin + h.takes <= now:
                continue
        out.append(h)
    return tuple(out)


def visits_of(problem: Problem, plan: Plan) -> tuple[Visit, ...]:
    """Every visit of a plan, in the order in which people must be told."""
    ends = {p.task_id: p.end for p in plan.placed}
    out = []
    for h in problem.holds:
        begin = visit_of(h, ends.get(h.after) if h.ended is None else h.ended)
        if begin >= 0:
            out.append(Visit(hold=h, begin=begin, end=begin + h.takes,
                             notice_by=begin - h.notice))  # fmt: skip
    return tuple(sorted(out, key=lambda v: (v.notice_by, v.begin, v.hold.section_id, v.hold.id)))


def visit_of(hold: Hold, end: int | None) -> int:
    """Slot of the visit when the work ends at a slot; -1 where it is not known."""
    return -1 if end is None or not 0 <= end < len(hold.visits) else hold.visits[end]


def _over(hold: Hold) -> tuple[int, ...]:
    """Slot at which the visit is over, by the end of the work it looks at."""
    return tuple(-1 if v < 0 else v + hold.takes for v in hold.visits)
