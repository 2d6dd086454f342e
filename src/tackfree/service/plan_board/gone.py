"""Stalls that no car can use at a moment: on closed sections, or cut off behind them.

Each stall is counted by the planner's own rule; what is added here is which stalls
they are and since when.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from tackfree.plan.check_rules import lost_stalls
from tackfree.plan.types import Plan, Problem, StallGroup


@dataclass(frozen=True, kw_only=True)
class Gone:
    """Stalls by section that are closed with it, and those cut off, by section and node."""

    closed: Mapping[str, int]
    cut: Mapping[tuple[str, str], int]
    counted: int  # against the cap: what only agreed closures cut off is left aside

    @property
    def closed_n(self) -> int:
        return sum(self.closed.values())

    @property
    def cut_n(self) -> int:
        return sum(self.cut.values())

    @property
    def total(self) -> int:
        return self.closed_n + self.cut_n


@dataclass(frozen=True, kw_only=True)
class CutSpan:
    """Stalls of a section that no car gets to in slots ``[begin, end)``, and what is closed
    in the way then."""

    section_id: str
    node: str
    stalls: int
    begin: int
    end: int
    behind: tuple[str, ...]


@dataclass(frozen=True)
class Counter:
    """Counts one plan's stalls; answers are kept by the set of closed sections."""

    problem: Problem
    plan: Plan

    @cached_property
    def spans(self) -> Mapping[str, tuple[tuple[int, int], ...]]:
        """Slots ``[begin, end)`` in which each section is closed to cars; end the horizon
        where it is not known when they may come back."""
        at = {p.task_id: p for p in self.plan.placed}
        out: dict[str, list[tuple[int, int]]] = {}
        for x in self.problem.shut:
            out.setdefault(x.section_id, []).append((x.begin, x.end))
        for c in self.problem.closures:
            if c.first not in at and c.since is None:
                continue
            begin = at[c.first].start if c.since is None else c.since
            opens = self.plan.opens.get(c.section_id, -1)
            out.setdefault(c.section_id, []).append(
                (begin, opens if opens >= 0 else self.problem.slots)
            )
        return {name: tuple(sorted(found)) for name, found in out.items()}

    @cached_property
    def _groups(self) -> tuple[StallGroup, ...]:
        if self.problem.access is not None:
            return self.problem.access.groups
        return tuple(
            StallGroup(section_id=c.section_id, node="", count=c.stalls)
            for c in self.problem.closures
        )

    @cached_property
    def _known(self) -> dict[frozenset[str], Gone]:
        return {}

    def shut_at(self, slot: int) -> frozenset[str]:
        """Sections that are closed at a slot."""
        return frozenset(
            name for name, spans in self.spans.items() if any(a <= slot < b for a, b in spans)
        )

    def at(self, slot: int) -> Gone:
        """What is gone at a slot."""
        return self.of(self.shut_at(slot))

    def of(self, shut: frozenset[str]) -> Gone:
        """What is gone while some sections are closed."""
        if shut not in self._known:
            self._known[shut] = self._count(shut)
        return self._known[shut]

    def _count(self, shut: frozenset[str]) -> Gone:
        closed: dict[str, int] = {}
        cut: dict[tuple[str, str], int] = {}
        for g in self._lost(shut):
            if g.section_id in shut:
                closed[g.section_id] = closed.get(g.section_id, 0) + g.count
            else:
                key = (g.section_id, g.node)
                cut[key] = cut.get(key, 0) + g.count
        agreed = set(self.problem.access.agreed if self.problem.access else ())
        mine = {(g.section_id, g.node) for g in self._lost(shut - agreed)} if agreed & shut else cut
        counted = sum(closed.values()) + sum(n for key, n in cut.items() if key in mine)
        return Gone(closed=closed, cut=cut, counted=counted)

    def _lost(self, shut: Iterable[str]) -> list[StallGroup]:
        access = self.problem.access
        if access is None:
            names = set(shut)
            return [g for g in self._groups if g.section_id in names and g.count]
        # The rule gives one sum. With 1, 2, 4, 8 ... stalls a group it tells the groups.
        told = tuple(replace(g, count=1 << k) for k, g in enumerate(self._groups))
        bits = lost_stalls(replace(self.problem, access=replace(access, groups=told)), shut)
        return [g for k, g in enumerate(self._groups) if bits >> k & 1 and g.count]

    @cached_property
    def moments(self) -> tuple[int, ...]:
        """Slots at which a section closes or opens."""
        return tuple(sorted({x for spans in self.spans.values() for span in spans for x in span}))

    @cached_property
    def cuts(self) -> tuple[CutSpan, ...]:
        """When which stalls are cut off, in order of time."""
        if self.problem.access is None:
            return ()
        open_now: dict[tuple[str, str], CutSpan] = {}
        out: list[CutSpan] = []
        for slot in self.moments:
            shut = self.shut_at(slot)
            gone = self.of(shut)
            for key in [k for k in open_now if k not in gone.cut]:
                out.append(replace(open_now.pop(key), end=slot))
            for key, n in gone.cut.items():
                behind = self._behind(shut, key)
                had = open_now.get(key)
                if had is None:
                    open_now[key] = CutSpan(section_id=key[0], node=key[1], stalls=n, begin=slot,
                                            end=self.problem.slots, behind=behind)  # fmt: skip
                else:
                    more = tuple(dict.fromkeys((*had.behind, *behind)))
                    open_now[key] = replace(had, behind=more)
        out += open_now.values()
        return tuple(sorted(out, key=lambda c: (c.begin, c.section_id, c.node)))

    def _behind(self, shut: frozenset[str], key: tuple[str, str]) -> tuple[str, ...]:
        """The closed sections of which any one open again would let cars through; where no
        one does, all that close a way."""
        one = tuple(s for s in sorted(shut) if key not in self.of(shut - {s}).cut)
        assert self.problem.access is not None
        ways = {s for s, _ in self.problem.access.blocks}
        return one or tuple(sorted(shut & ways))
