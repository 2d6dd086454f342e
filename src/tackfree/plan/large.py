"""Large jobs: the exact model over a few sections at a time, all else standing still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tackfree.plan.domains import Arrays, tighten
from tackfree.plan.drafts import FINISH, STALLS, Draft, measure
from tackfree.plan.model import Goal, Run, search

SECTIONS = 14  # first size of a neighbourhood
FEWEST, MOST = 6, 26
EFFORT = 1.2  # deterministic, for one neighbourhood
BUILDING = 0.01  # the same, for making its model


def improve(
    arrays: Arrays,
    draft: Draft,
    run: Run,
    goal: Goal,
    *,
    share: float,
    size: int = SECTIONS,
    effort: float = EFFORT,
    quick: bool = False,
) -> Draft:
    """The best draft that neighbourhoods find before the share of the effort is used up.

    A neighbourhood frees some sections, late ones with those busy at the same time,
    those around one section, or any; it grows when solved to proof and shrinks when
    not. ``size``: its first number of sections; ``effort``: at most, for one;
    ``quick``: straight into the search, as pays where few sections are free.
    Objectives in ``goal.caps`` never get worse.
    """
    rng = np.random.default_rng(run.seed)
    reserve = run.left * (1 - share)
    best = draft
    ok = tighten(arrays, dict(goal.caps).get(FINISH, best.day))
    names = [goal.name]
    if goal.name == FINISH:
        names.append(STALLS)
        goal = replace(goal, weight=max(1, sum(arrays.reach.own)))
    goal = replace(goal, lower=0)
    kind = 0
    while run.left > reserve + BUILDING and not run.stop():
        sections = _neighbourhood(arrays, best, rng, kind, size)
        kind += 1
        free = {k for k, z in enumerate(arrays.section) if z in sections}
        left = run.left
        got = search(arrays, ok, best, run, goal, min(1.0, effort / run.left), free,
                     quick=quick)  # fmt: skip
        spent = left - run.left
        # One look can overrun what it was given; it is charged for no more than that.
        run.left = max(run.left, left - effort) - BUILDING
        size = min(MOST, size + 1) if spent < effort / 4 else max(FEWEST, size - 1)
        if got.draft is None:
            continue
        found = got.draft
        held = all(measure(arrays, found, n) <= most for n, most in goal.caps)
        new, old = ([measure(arrays, d, n) for n in names] for d in (found, best))
        if held and new <= old:
            if goal.name == FINISH and found.day < best.day:
                ok = tighten(arrays, found.day)
            best = found
    return best


def _neighbourhood(
    arrays: Arrays, draft: Draft, rng: np.random.Generator, kind: int, size: int
) -> set[int]:
    have = sorted(set(arrays.section))
    if len(have) <= size:
        return set(have)
    begins = dict.fromkeys(have, arrays.problem.slots)
    ends = dict.fromkeys(have, 0)
    for k, z in enumerate(arrays.section):
        begins[z] = min(begins[z], draft.start[k])
        ends[z] = max(ends[z], draft.start[k] + arrays.duration[k])
    for c in arrays.closures:
        ends[c.section] = max(ends[c.section], c.opens(draft.start))
    if kind % 4 == 0:  # the latest, and those busy beside them
        late = sorted(have, key=lambda z: -ends[z])[: max(2, size // 3)]
        at = begins[late[int(rng.integers(0, len(late)))]]
        rest = sorted((z for z in have if z not in late), key=lambda z: abs(begins[z] - at))
        return {*late, *rest[: size - len(late)]}
    if kind % 4 == 1:  # a stretch of time
        at = begins[have[int(rng.integers(0, len(have)))]]
        return set(sorted(have, key=lambda z: (abs(begins[z] - at), z))[:size])
    if kind % 4 == 2:  # around one section: those that share stalls or an edge with it
        centre = have[int(rng.integers(0, len(have)))]
        return set(_around(arrays, centre, have, rng)[:size])
    return {int(z) for z in rng.choice(have, size, replace=False)}


def _around(
    arrays: Arrays, centre: int, have: Sequence[int], rng: np.random.Generator
) -> list[int]:
    kin: dict[int, set[int]] = {z: set() for z in have}
    for (section, _, _, _), cut in zip(arrays.reach.groups, arrays.cutters, strict=True):
        for z in cut[:1]:
            if section in kin and z in kin:
                kin[section].add(z)
                kin[z].add(section)
    for z in have:
        kin[z] |= {w for w in have if arrays.ways.beside[z] >> w & 1}
    out, edge = [centre], [centre]
    while edge and len(out) < len(have):
        edge = sorted({w for z in edge for w in kin[z]} - set(out))
        rng.shuffle(edge)
        out += edge
    rest = [z for z in have if z not in set(out)]
    rng.shuffle(rest)
    return out + rest
