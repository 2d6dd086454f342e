"""Rules that are too many to write out: found where a solution breaks them.

A set of sections whose closing takes too many stalls, or too many accessible ones, is
made as small as it can be; no plan may then have all of them closed at once. Likewise
wet film on several sections that together keep a crew from where it works.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tackfree.plan.domains import Arrays, sweep
from tackfree.plan.drafts import Draft
from tackfree.plan.reach import mask_of


@dataclass(kw_only=True)
class Cuts:
    """Sets of sections not to be closed at once; tasks and the wet tasks (or -1 - index
    of film wet from before) that must not all be there at once."""

    closures: dict[frozenset[int], None] = field(default_factory=dict)
    walls: dict[tuple[int, frozenset[int]], None] = field(default_factory=dict)

    def add(self, other: Cuts) -> None:
        self.closures.update(other.closures)
        self.walls.update(other.walls)

    def __bool__(self) -> bool:
        return bool(self.closures or self.walls)


def broken(arrays: Arrays, draft: Draft, known: Cuts) -> Cuts:
    """What a draft breaks of the rules that no model holds from the start."""
    out = Cuts()
    most = arrays.problem.stalls_closed_max

    def bad(mask: int) -> bool:
        return arrays.reach.counted(mask) > most or arrays.reach.short(mask)

    for _, _, mask in sweep(arrays.closed_slots(draft.start)):
        if bad(mask):
            out.closures[_least(mask, bad)] = None
    if arrays.ways.into:
        out.walls.update(_walls(arrays, draft))
    for one in known.closures:
        out.closures.pop(one, None)
    for wall in known.walls:
        out.walls.pop(wall, None)
    return out


def _least(mask: int, bad: Callable[[int], bool]) -> frozenset[int]:
    """A smallest set: nothing can be left out of it."""
    members = [z for z in range(mask.bit_length()) if mask >> z & 1]
    for z in list(members):
        fewer = [x for x in members if x != z]
        if fewer and bad(mask_of(fewer)):
            members = fewer
    return frozenset(members)


def _walls(arrays: Arrays, draft: Draft) -> dict[tuple[int, frozenset[int]], None]:
    films = arrays.wet_slots(draft.start)
    now = -1
    named = []
    for a, b, z, k in films:
        if k < 0:
            named.append((a, b, z, now))
            now -= 1
        else:
            named.append((a, b, z, k))
    out: dict[tuple[int, frozenset[int]], None] = {}
    for k, (s, d) in enumerate(zip(draft.start, arrays.duration, strict=True)):
        here = [f for f in named if f[0] < s + d and f[1] > s and f[2] != arrays.section[k]]
        for at in sorted({s, *(f[0] for f in here if f[0] > s)}):
            wet = [f for f in here if f[0] <= at < f[1]]
            if _reached(arrays, k, wet):
                continue
            for f in list(wet):
                fewer = [x for x in wet if x is not f]
                if not _reached(arrays, k, fewer):
                    wet = fewer
            out[k, frozenset(f[3] for f in wet)] = None
            break
    return out


def _reached(arrays: Arrays, k: int, films: list[tuple[int, int, int, int]]) -> bool:
    return bool(arrays.ways.reached(mask_of(f[2] for f in films)) >> arrays.section[k] & 1)
