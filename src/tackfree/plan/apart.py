"""Closures that can never stand side by side, and what follows from that.

Two sections closed at once may take more stalls than the contract lets be closed: their
own, those behind a lane, and all that only the two ways together still served. Such
closures follow one another, each as its own weather lets it.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from tackfree.plan.domains import NEVER, Arrays, BoolArray, IntArray, next_member

MOST = 8  # closures in one row: every order of them is looked at


def apart(arrays: Arrays) -> dict[int, set[int]]:
    """By section, those that must not be closed while it is."""
    reach, most = arrays.reach, arrays.problem.stalls_closed_max
    at = {s: z for z, s in enumerate(arrays.sections)}
    have = sorted({c.section for c in arrays.closures})
    out: dict[int, set[int]] = {z: set() for z in have}
    pairs = [
        pair
        for keep in arrays.problem.keeps
        if len(keep.sections) - keep.open_min == 1
        for pair in combinations([at[s] for s in keep.sections if at.get(s) in out], 2)
    ]
    alone = {z: reach.counted(1 << z) for z in have}
    for x, y in combinations(have, 2):
        # Where one of them blocks no way, the two take no more than each alone.
        easy = not (reach.blocks[x] and reach.blocks[y]) and not reach.accessible_open_min
        if easy and alone[x] + alone[y] <= most:
            continue
        both = 1 << x | 1 << y
        if reach.counted(both) > most or reach.short(both):
            pairs.append((x, y))
    for x, y in pairs:
        out[x].add(y)
        out[y].add(x)
    return out


def rows(arrays: Arrays) -> list[list[int]]:
    """Sets of sections of which never two are closed at once; each pair is in one of them."""
    others = apart(arrays)
    out: list[list[int]] = []
    told: set[tuple[int, int]] = set()
    for x in sorted(others, key=lambda z: (-len(others[z]), z)):
        for y in sorted(others[x]):
            if (x, y) in told:
                continue
            row = [x, y]
            for z in sorted(others[x] & others[y], key=lambda z: (-len(others[z]), z)):
                if all(z in others[w] for w in row):
                    row.append(z)
            told |= {(a, b) for a in row for b in row}
            out.append(row)
    return out


def row_bound(arrays: Arrays, ok: list[BoolArray], opens: list[IntArray]) -> int:
    """A slot before which the last closure of some row cannot end.

    The least over every order, where each closure begins when the one before has ended
    and lasts as short as its own steps, waits and weather let it from there on. Exact for
    the row alone, by dynamic programming over its subsets: a later beginning never ends
    earlier. ``opens``: by task, when its section opens at the earliest.

    Source
    ------
    Published: Held and Karp, J. SIAM 10 (1962) 196-210, for the recursion over subsets.
    """
    n = arrays.problem.slots
    ends: dict[int, list[int]] = {}
    for c in arrays.closures:
        if c.since is None:
            later = np.append(opens[c.first], NEVER)[np.minimum(next_member(ok[c.first]), n)]
            ends[c.section] = later.tolist()
    best = 0
    for row in rows(arrays):
        mine = sorted((z for z in row if z in ends), key=lambda z: (-ends[z][0], z))[:MOST]
        done = [0] * (1 << len(mine))
        for have in range(1, len(done)):
            done[have] = min(
                NEVER if (at := done[have & ~(1 << i)]) > n else ends[z][at]
                for i, z in enumerate(mine)
                if have >> i & 1
            )
        best = max(best, done[-1])
    return best


def least_lost(others: dict[int, set[int]], lengths: dict[int, int], taken_by: list[int]) -> int:
    """Slots that stalls are lost at least: the longest of the shortest closures that take
    them, or the sum of several of them that follow one another."""
    taking = sorted((z for z in taken_by if z in lengths), key=lambda z: (-lengths[z], z))
    best = 0
    for n, z in enumerate(taking):
        row = [z]
        for w in taking[n + 1 :]:
            if all(w in others.get(x, ()) for x in row):
                row.append(w)
        best = max(best, sum(lengths[x] for x in row))
    return best
