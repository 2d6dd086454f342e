"""The finish: halving between bound and plan, then gains near the plan."""

from __future__ import annotations

from bisect import bisect_right

from tackfree.plan.bound import Bound
from tackfree.plan.domains import Arrays, tighten
from tackfree.plan.drafts import Draft
from tackfree.plan.greedy import draft_plan
from tackfree.plan.model import Run, search

HALF_TRIES = 40
HALF_LIMIT = 0.06  # deterministic effort to settle whether half the span is enough
GAIN_LIMIT = 0.15  # deterministic effort for aims a little before the finish
GAIN_PART = 16  # of the unsettled span: how much earlier the first aim is
HARDER = 2.0  # times the effort in the next round, where there is plenty left
PLENTY = 4.0  # times the effort of a round


def halved(arrays: Arrays, draft: Draft, run: Run, bound: Bound) -> tuple[Draft, Bound]:
    """Halve the span between bound and finish as long as each half is settled quickly.

    A finish held early cuts most starts away, so that the model settles it, and mostly
    refutes it, far sooner than it moves its own bound. Where a half is not settled the
    gains near the finish are looked for, and with plenty of effort left all of it again,
    harder.
    """
    hard = 1.0
    while True:
        draft, bound, settled = _round(arrays, draft, run, bound, hard)
        hard *= HARDER
        run.unsettled = not settled
        if settled or run.stop() or run.left < PLENTY * hard * (HALF_LIMIT + GAIN_LIMIT):
            return draft, bound


def _round(
    arrays: Arrays, draft: Draft, run: Run, bound: Bound, hard: float
) -> tuple[Draft, Bound, bool]:
    """One round of halving and gains; whether bound and finish have met."""
    while bound.slot < _sooner(arrays, draft) and not run.stop():
        run.told(draft.finish, bound.slot)
        middle = arrays.last_of_day((bound.slot + _sooner(arrays, draft) - 1) // 2)
        early, refuted = _by(arrays, run, middle, HALF_LIMIT * hard)
        if early is not None:
            draft = early
        elif refuted:
            bound = Bound(slot=middle + 1, source="CP-SAT")
        else:
            return _gained(arrays, draft, run, middle, GAIN_LIMIT * hard), bound, False
    return draft, bound, bound.slot >= _sooner(arrays, draft)


def _sooner(arrays: Arrays, draft: Draft) -> int:
    """A bound at or past this slot leaves no earlier day (or slot) to finish on."""
    days = arrays.problem.days
    n = bisect_right(days, draft.finish)
    return days[n - 1] if 0 < n < len(days) else draft.finish


def _gained(arrays: Arrays, draft: Draft, run: Run, floor: int, effort: float) -> Draft:
    """A draft that ends a little earlier, again and again while that is found quickly."""
    step = (draft.finish - floor) // GAIN_PART
    end = max(0.0, run.left - effort)
    while step > 0 and draft.finish - step > floor and run.left > end and not run.stop():
        run.told(draft.finish, 0)
        nearest = _sooner(arrays, draft) - 1  # aims within the same day gain nothing
        aim = min(arrays.last_of_day(draft.finish - step), nearest)
        early, _ = _by(arrays, run, aim, run.left - end)
        if early is not None:
            draft, floor = early, max(floor, early.finish - step - 1)
        elif aim == nearest:
            break
        else:
            step //= 4
    return draft


def _by(arrays: Arrays, run: Run, latest: int, effort: float) -> tuple[Draft | None, bool]:
    """A draft that ends by a slot, or whether none can."""
    ok = tighten(arrays, latest)
    if not all(m.any() for m in ok):
        return None, True
    early = draft_plan(arrays, ok, seed=run.seed, tries=HALF_TRIES, stop=run.stop)
    if early is not None:
        return early, False
    share = min(1.0, effort / max(run.left, 1e-9))
    got = search(arrays, ok, None, run, None, share, quick=True)
    return (got.draft and _closed_up(arrays, got.draft, run)), got.infeasible


def _closed_up(arrays: Arrays, draft: Draft, run: Run) -> Draft:
    """The draft, or a better one that takes its sections in the same order."""
    ok = tighten(arrays, draft.finish)
    begins: dict[int, int] = {}
    for z, start in zip(arrays.section, draft.start, strict=True):
        begins[z] = min(begins.get(z, start), start)
    order = sorted(begins, key=lambda z: (begins[z], z))
    again = draft_plan(arrays, ok, seed=run.seed, tries=HALF_TRIES, stop=run.stop, order=order)
    return again if again is not None and again.score < draft.score else draft
