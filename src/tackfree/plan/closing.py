"""Closures of the exact model: stalls kept open, exits, events.

Stalls behind a lane are lost while their own section or the lane is closed, in one hull
or apart; what lies behind more than one section is left to cuts.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from ortools.sat.python import cp_model

from tackfree.plan.apart import rows as rows_apart
from tackfree.plan.drafts import Draft
from tackfree.plan.timed import Timed

# ruff: noqa: B023  hints are worked out at once, in the pass of the loop they stand in


@dataclass(frozen=True, kw_only=True)
class Closed:
    """One closure of a section, in the model; ``closure`` -1 for one that is past."""

    begin: cp_model.LinearExprT
    end: cp_model.LinearExprT
    size: cp_model.LinearExprT
    span: cp_model.IntervalVar
    closure: int
    past: tuple[int, int] = (0, 0)


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Lengths that sum to how long stalls are lost, and what counts toward the cap."""

    sizes: list[cp_model.LinearExprT]
    counted: list[cp_model.IntervalVar]


@dataclass(kw_only=True)
class Closing(Timed):
    """The timed model with its closures."""

    closed: dict[int, list[Closed]] = field(default_factory=dict)  # by section
    _parts: list[tuple[int, Parts]] | None = None

    def _closures(self) -> list[cp_model.IntVar]:
        m, arrays = self.model, self.arrays
        problem = arrays.problem
        at = {s: z for z, s in enumerate(arrays.sections)}
        opens = []
        for n, c in enumerate(arrays.closures):
            tables = [(k, np.flatnonzero(self.ok[k]), t) for k, t in c.gates]
            least = max(int(t[x].min()) for _, x, t in tables)
            most = max(int(t[x].max()) for _, x, t in tables)
            opened = m.new_int_var(least, most, f"open{n}")
            for k, x, t in tables:
                self._staircase(k, x, t[x], opened, None)
            begin = self.start[c.first] if c.since is None else c.since
            earliest = self.first[c.first] if c.since is None else c.since
            size = m.new_int_var(0, most - earliest, f"closed{n}")
            span = m.new_interval_var(begin, size, opened, f"c{n}")
            self.closed.setdefault(c.section, []).append(
                Closed(begin=begin, end=opened, size=size, span=span, closure=n)
            )
            opens.append(opened)
            self._hint(opened, lambda d: c.opens(d.start))
            self._hint(size, lambda d: c.opens(d.start) - c.begins(d.start))
        for past in problem.shut:
            length = past.end - past.begin
            span = m.new_fixed_size_interval_var(past.begin, length, "shut")
            self.closed.setdefault(at[past.section_id], []).append(
                Closed(
                    begin=past.begin,
                    end=past.end,
                    size=length,
                    span=span,
                    closure=-1,
                    past=(past.begin, past.end),
                )
            )
        parts = self._stall_parts()
        if parts:
            m.add_cumulative(
                [s for _, p in parts for s in p.counted],
                [n for n, p in parts for _ in p.counted],
                problem.stalls_closed_max,
            )
        for row in rows_apart(arrays):
            spans = [x.span for z in row for x in self.closed.get(z, ()) if self._to_come(x)]
            if len(spans) > 1:
                m.add_no_overlap(spans)
        for keep in problem.keeps:
            rows = [x.span for s in keep.sections for x in self.closed.get(at.get(s, -1), ())]
            most = max(0, len(keep.sections) - keep.open_min)
            if len(rows) > most:
                m.add_cumulative(rows, [1] * len(rows), most)
        for black in problem.blackouts:
            fixed = m.new_fixed_size_interval_var(black.begin, black.end - black.begin, "black")
            for s in black.sections:
                for shut in self.closed.get(at.get(s, -1), ()):
                    m.add_no_overlap([shut.span, fixed])
        return opens

    def _to_come(self, c: Closed) -> bool:
        """Whether a closure has not begun; what is closed already may break a rule."""
        return c.closure >= 0 and self.arrays.closures[c.closure].since is None

    def _stall_parts(self) -> list[tuple[int, Parts]]:
        """How long each group of stalls is lost: its section's closure together with that
        of the nearest section that cuts it off, as one hull or apart."""
        if self._parts is not None:
            return self._parts
        arrays = self.arrays
        out: dict[tuple[int, int], int] = {}
        hulls: dict[tuple[int, int], Parts] = {}
        for (section, _, count, _), cut in zip(arrays.reach.groups, arrays.cutters, strict=True):
            near = next((z for z in cut if z in self.closed), -1)
            if section not in self.closed and near < 0:
                continue
            key = (section if section in self.closed else -1, near)
            if key not in hulls:
                hulls[key] = self._parts_of(*key)
            out[key] = out.get(key, 0) + count
        self._parts = [(n, hulls[key]) for key, n in out.items() if n]
        return self._parts

    def _parts_of(self, own: int, near: int) -> Parts:
        mine, other = self.closed.get(own, []), self.closed.get(near, [])
        strict = near >= 0 and not self.arrays.reach.agreed >> near & 1
        if not mine or not other:
            counted = [c.span for c in (mine or (other if strict else []))]
            return Parts(sizes=[c.size for c in mine or other], counted=counted)
        if len(mine) > 1 or len(other) > 1:
            return Parts(sizes=[c.size for c in mine], counted=[c.span for c in mine])
        m, a, b = self.model, mine[0], other[0]
        name = f"{own},{near}"
        joined = m.new_bool_var(f"joined{name}")
        top = int(max(self._latest(a), self._latest(b)))
        low = m.new_int_var(0, top, f"low{name}")
        high = m.new_int_var(0, top, f"high{name}")
        hull = m.new_int_var(0, top, f"hull{name}")
        for c in (a, b):
            m.add(low <= c.begin).only_enforce_if(joined)
            m.add(high >= c.end).only_enforce_if(joined)
        whole = m.new_optional_interval_var(low, hull, high, joined, f"h{name}")
        # The part of each that counts where they stay apart: its own length, or nothing.
        sizes: list[cp_model.LinearExprT] = []
        spans = []
        for c in (a, b):
            apart = m.new_int_var(0, top, f"apart{name}")
            m.add(apart >= c.size).only_enforce_if(~joined)
            sizes.append(apart)
            spans.append(m.new_optional_interval_var(c.begin, c.size, c.end, ~joined, f"a{name}"))
            self._hint(apart, lambda d: 0 if self._meet(d, a, b) else self._span(d, c)[1]
                       - self._span(d, c)[0])  # fmt: skip
        length = m.new_int_var(0, top, f"length{name}")
        m.add(length >= hull).only_enforce_if(joined)
        self._hint(joined, lambda d: self._meet(d, a, b))
        self._hint(low, lambda d: min(self._span(d, a)[0], self._span(d, b)[0])
                   if self._meet(d, a, b) else 0)  # fmt: skip
        self._hint(high, lambda d: max(self._span(d, a)[1], self._span(d, b)[1])
                   if self._meet(d, a, b) else 0)  # fmt: skip
        for size in (hull, length):
            self._hint(size, lambda d: max(self._span(d, a)[1], self._span(d, b)[1])
                       - min(self._span(d, a)[0], self._span(d, b)[0])
                       if self._meet(d, a, b) else 0)  # fmt: skip
        return Parts(
            sizes=[length, *sizes],
            counted=[whole, *spans] if strict else [a.span],
        )

    def _span(self, draft: Draft, c: Closed) -> tuple[int, int]:
        if c.closure < 0:
            return c.past
        closure = self.arrays.closures[c.closure]
        return closure.begins(draft.start), closure.opens(draft.start)

    def _meet(self, draft: Draft, a: Closed, b: Closed) -> bool:
        (a0, a1), (b0, b1) = self._span(draft, a), self._span(draft, b)
        return a0 <= b1 and b0 <= a1

    def _latest(self, c: Closed) -> int:
        if c.closure < 0:
            return c.past[1]
        gates = self.arrays.closures[c.closure].gates
        return max(int(t[self.ok[k]].max()) for k, t in gates)

    def _found_cuts(self) -> None:
        """Sets of closures, and ways walled by wet film, that must not be all at once."""
        m, arrays = self.model, self.arrays
        for sections in self.cuts.closures:
            rows = [c.span for z in sections for c in self.closed.get(z, ())]
            if len(rows) == len(sections):
                m.add_cumulative(rows, [1] * len(rows), len(rows) - 1)
        fixed = [
            m.new_fixed_size_interval_var(x.begin, x.end - x.begin, "film")
            for x in arrays.problem.wet_now
        ]
        for k, wets in self.cuts.walls:
            rows = [self.spans[k], *(self.wet[w] if w >= 0 else fixed[-1 - w] for w in wets)]
            m.add_cumulative(rows, [1] * len(rows), len(rows) - 1)
