"""Which stalls a set of closed sections takes away, for the solver.

A stall is lost while its own section is closed, or while no car gets from the street
to it or back. The checker has its own code for the same rule.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from tackfree.plan.types import STREET, Problem


@dataclass(kw_only=True)
class Reach:
    """Stalls lost by section index; answers are kept by the set asked for.

    Without an access description every closure takes its own stalls and no others.
    """

    sections: tuple[str, ...]
    own: list[int]  # stalls on each section
    accessible: list[int]
    groups: list[tuple[int, int, int, int]]  # section (-1: none), node (-1), count, accessible
    blocks: list[int]  # section -> mask of nodes
    out: list[int]  # node -> mask of nodes, street is the last node
    back: list[int]
    agreed: int  # mask of sections
    accessible_open_min: int = 0
    accessible_total: int = 0
    known: dict[int, tuple[int, int, int]] = field(default_factory=dict)

    def lost(self, closed: int) -> int:
        """Stalls lost while the sections of a bit mask are closed."""
        return self._all(closed)[0]

    def counted(self, closed: int) -> int:
        """Stalls lost, those aside that only agreed closures cut off."""
        return self._all(closed)[1]

    def short(self, closed: int) -> bool:
        """Whether too few accessible stalls are left, agreed closures aside."""
        gone = self._all(closed)[2]
        return bool(gone) and self.accessible_total - gone < self.accessible_open_min

    def cutters(self) -> list[list[int]]:
        """For each group of stalls, the other sections that cut it off when closed alone,
        those that take fewest stalls first."""
        out = []
        reached = [self._reached(self.blocks[z]) for z in range(len(self.sections))]
        taken = [self.lost(1 << z) for z in range(len(self.sections))]
        for section, node, _, _ in self.groups:
            alone = [
                z
                for z in range(len(self.sections))
                if z != section and node >= 0 and not reached[z] >> node & 1
            ]
            out.append(sorted(alone, key=lambda z: (taken[z], z)))
        return out

    def _all(self, closed: int) -> tuple[int, int, int]:
        if closed not in self.known:
            self.known[closed] = self._look(closed)
        return self.known[closed]

    def _look(self, closed: int) -> tuple[int, int, int]:
        every = self._reached(self._blocked(closed))
        ours = closed & ~self.agreed
        strict = self._reached(self._blocked(ours)) if closed & self.agreed else every
        lost = counted = accessible = 0
        for section, node, count, marked in self.groups:
            shut = section >= 0 and closed >> section & 1
            if shut or (node >= 0 and not every >> node & 1):
                lost += count
            if shut or (node >= 0 and not strict >> node & 1):
                counted += count
                accessible += marked
        return lost, counted, accessible

    def _blocked(self, closed: int) -> int:
        mask, z = 0, 0
        while closed >> z:
            if closed >> z & 1:
                mask |= self.blocks[z]
            z += 1
        return mask

    def _reached(self, blocked: int) -> int:
        if not self.out:
            return -1
        return self._walk(self.out, blocked) & self._walk(self.back, blocked)

    def _walk(self, ways: list[int], blocked: int) -> int:
        street = len(ways) - 1
        seen = edge = 1 << street
        while edge:
            following = 0
            while edge:
                low = edge & -edge
                following |= ways[low.bit_length() - 1]
                edge ^= low
            edge = following & ~seen & ~blocked
            seen |= edge
        return seen


def mask_of(sections: Iterable[int]) -> int:
    """Section indices as a bit mask."""
    return sum(1 << z for z in set(sections))


def reach_of(problem: Problem, sections: tuple[str, ...]) -> Reach:
    """The lookup of a problem whose sections are in the given order."""
    at = {s: z for z, s in enumerate(sections)}
    access = problem.access
    if access is None:
        stalls = {c.section_id: c.stalls for c in problem.closures}
        groups = [(at[s], -1, n, 0) for s, n in stalls.items() if n]
        return Reach(
            sections=sections, own=[stalls.get(s, 0) for s in sections],
            accessible=[0] * len(sections), groups=groups, blocks=[0] * len(sections), out=[],
            back=[], agreed=0,
        )  # fmt: skip
    number = {n: k for k, n in enumerate((*access.nodes, STREET))}
    out, back = [0] * len(number), [0] * len(number)
    for a, b, one_way in access.edges:
        i, j = number[a], number[b]
        out[i] |= 1 << j
        back[j] |= 1 << i
        if not one_way:
            out[j] |= 1 << i
            back[i] |= 1 << j
    blocks = [0] * len(sections)
    for section, nodes in access.blocks:
        if section in at:
            blocks[at[section]] |= sum(1 << number[n] for n in set(nodes))
    groups = [
        (at.get(g.section_id, -1), number.get(g.node, -1), g.count, g.accessible)
        for g in access.groups
    ]
    found = Reach(
        sections=sections,
        own=[sum(g.count for g in access.groups if g.section_id == s) for s in sections],
        accessible=[sum(g.accessible for g in access.groups if g.section_id == s)
                    for s in sections],
        groups=groups, blocks=blocks, out=out, back=back,
        agreed=mask_of(at[s] for s in access.agreed if s in at),
        accessible_open_min=access.accessible_open_min,
        accessible_total=sum(g.accessible for g in access.groups),
    )  # fmt: skip
    # What no car reaches on an open deck is an island: only its own closure takes it.
    every = found._reached(0)
    found.groups = [(z, n if every >> max(n, 0) & 1 else -1, c, m) for z, n, c, m in groups]
    return found
