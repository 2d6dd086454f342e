"""Whether a crew gets to its section without walking through wet film, for the solver."""

from __future__ import annotations

from dataclasses import dataclass, field

from tackfree.plan.types import Problem


@dataclass(kw_only=True)
class Ways:
    """Walking from section to section. ``into`` is a mask of those entered from outside;
    0 where no rule on ways holds."""

    into: int
    beside: list[int]  # section -> mask of sections
    known: dict[int, int] = field(default_factory=dict)

    def reached(self, wet: int) -> int:
        """Sections that a crew gets to while others are wet, as a mask."""
        if not self.into:
            return -1
        if wet not in self.known:
            seen = edge = self.into & ~wet
            while edge:
                low = edge & -edge
                edge ^= low
                fresh = self.beside[low.bit_length() - 1] & ~seen & ~wet
                seen |= fresh
                edge |= fresh
            self.known[wet] = seen
        return self.known[wet]

    def walls(self) -> list[set[int]]:
        """For each section the others whose wet film alone keeps its crew out."""
        n = len(self.beside)
        free = self.reached(0)
        out: list[set[int]] = [set() for _ in range(n)]
        for z in range(n):
            left = self.reached(1 << z)
            for w in range(n):
                if w != z and free >> w & 1 and not left >> w & 1:
                    out[w].add(z)
        return out


def ways_of(problem: Problem, sections: tuple[str, ...]) -> Ways:
    """The ways of a problem whose sections are in the given order."""
    at = {s: z for z, s in enumerate(sections)}
    beside = [0] * len(sections)
    for a, b in problem.neighbours:
        if a in at and b in at:
            beside[at[a]] |= 1 << at[b]
            beside[at[b]] |= 1 << at[a]
    into = sum(1 << at[s] for s in set(problem.ways_in) if s in at)
    if into:  # what no crew could ever get to is no rule on ways
        free = Ways(into=into, beside=beside).reached(0)
        into |= sum(1 << z for z in range(len(sections)) if not free >> z & 1)
    return Ways(into=into, beside=beside)
