"""Planning again: people's next days stay as they are, and what must move is proven."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

from tackfree.plan.bound import Bound
from tackfree.plan.domains import NEVER, Arrays, BoolArray, arrays_of, tighten
from tackfree.plan.drafts import MOVED, Draft, counted_on, draft_of, measure
from tackfree.plan.greedy import draft_plan
from tackfree.plan.model import Goal, Run, search
from tackfree.plan.problem import problem_of

STEADY_TRIES = 60  # insertion orders for each way of holding the next days
ALONE = "next days alone"


def steady(
    arrays: Arrays, ok: list[BoolArray], seed: int, stop: Callable[[], bool] | None
) -> Draft | None:
    """A draft in which people's next days stay as they are, or move later.

    All tasks that can are held on their start; sections that then find no room let go
    of their last held task, time after time. Drafts that move fewest are preferred.
    """
    counted = counted_on(arrays)
    held: dict[int, list[tuple[int, int]]] = {}
    near: dict[int, int] = {}
    for k, slot in sorted(counted, key=lambda x: x[1]):
        near.setdefault(arrays.section[k], slot)
        if ok[k][slot]:
            held.setdefault(arrays.section[k], []).append((k, slot))
    # Sections that weather leaves alone first: the others fit in between.
    kept = {z: len(row) for z, row in held.items()}
    due = Counter(arrays.section[k] for k, _ in counted)
    order = sorted(
        set(arrays.section), key=lambda z: (kept.get(z, 0) < due[z], near.get(z, NEVER), z)
    )
    end = max(slot for _, slot in counted) if counted else 0
    calm = set(arrays.section)  # nothing else of theirs starts in the next days
    named = {k for k, _ in counted}
    later = True  # what moves, moves later
    while True:
        masks = [m.copy() for m in ok]
        for k, slot in counted if later else ():
            masks[k][:slot] = False
        for k, z in enumerate(arrays.section):
            if z in calm and k not in named:
                masks[k][:end] = False
        for k, slot in (x for row in held.values() for x in row):
            masks[k][:slot] = masks[k][slot + 1 :] = False
        masks = tighten(replace(arrays, ok=tuple(masks)))
        stuck = {arrays.section[k] for k, m in enumerate(masks) if not m.any()}
        if not stuck:
            trouble: Counter[int] = Counter()
            draft = draft_plan(
                arrays, masks, seed=seed, tries=STEADY_TRIES, stop=stop, order=order,
                cost=lambda d: measure(arrays, d, MOVED), trouble=trouble,
            )  # fmt: skip
            if draft is not None:
                return draft
            stuck = set(trouble)
        if not held and not later:
            return None
        if stuck & calm:
            calm -= stuck
            continue
        later = bool(held)
        for z in stuck & set(held) or set(held):
            held[z].pop()
            if not held[z]:
                del held[z]


def moved_bound(arrays: Arrays, ok: list[BoolArray]) -> Bound:
    """How many of the next days' tasks waits and weather alone do not let stay."""
    gone = sum(not ok[k][slot] for k, slot in counted_on(arrays))
    return Bound(slot=gone, source="waits and weather")


def fewest_moved(arrays: Arrays, draft: Draft, run: Run, bound: Bound) -> tuple[Draft, Bound]:
    """Fewest tasks of the next days moved: those sections alone first, exactly.

    Alone they are a smaller problem with no rule that the whole lacks, so that its
    proof holds for the whole, and where the other sections find room around its answer
    that is proven too.
    """
    counted = {arrays.section[k] for k, _ in counted_on(arrays)}
    near = arrays_of(problem_of(arrays.problem, {arrays.sections[z] for z in counted}))
    at = {t.id: k for k, t in enumerate(arrays.tasks)}
    mine = [at[t.id] for t in near.tasks]
    hint = draft_of(near, [draft.start[k] for k in mine], [draft.group[k] for k in mine])
    goal = Goal(name=MOVED, lower=bound.slot)
    got = search(near, tighten(near), hint, run, goal, 1.0, quick=True)
    if got.bound > bound.slot:
        bound = Bound(slot=got.bound, source=ALONE)
    if got.draft is None or measure(near, got.draft, MOVED) >= measure(arrays, draft, MOVED):
        return draft, bound
    masks = [m.copy() for m in arrays.ok]
    for k, start in zip(mine, got.draft.start, strict=True):
        masks[k][:start] = masks[k][start + 1 :] = False
    masks = tighten(replace(arrays, ok=tuple(masks)))
    if not all(m.any() for m in masks):
        return draft, bound
    begins = {z: min(s for k, s in enumerate(draft.start) if arrays.section[k] == z)
              for z in set(arrays.section)}  # fmt: skip
    order = sorted(begins, key=lambda z: (z not in counted, begins[z], z))
    found = draft_plan(
        arrays, masks, seed=run.seed, tries=STEADY_TRIES, stop=run.stop, order=order,
        cost=lambda d: measure(arrays, d, MOVED),
    )  # fmt: skip
    if found is None or measure(arrays, found, MOVED) >= measure(arrays, draft, MOVED):
        return draft, bound
    return found, bound
