"""Planning again: a first plan in which people's next days stay as they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

from tackfree.plan.domains import NEVER, Arrays, BoolArray, tighten
from tackfree.plan.drafts import MOVED, Draft, counted_on, measure
from tackfree.plan.greedy import draft_plan

STEADY_TRIES = 60  # insertion orders for each way of holding the next days


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
