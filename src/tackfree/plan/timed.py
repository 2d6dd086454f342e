"""Starts, waits, crews, machines, kits and wet film of the exact model.

A wait is a staircase of the earlier start, cut into runs where its target stands still
(one clause on order literals) or moves along (one inequality), so no table runs over
all slots.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from ortools.sat.python import cp_model

from tackfree.plan.cuts import Cuts
from tackfree.plan.domains import Arrays, BoolArray, IntArray, LagArrays, next_member
from tackfree.plan.drafts import Draft
from tackfree.plan.problem import intervals

# ruff: noqa: B023  hints are worked out at once, in the pass of the loop they stand in


@dataclass(kw_only=True)
class Timed:
    """The model without closures and objectives."""

    arrays: Arrays
    ok: list[BoolArray]
    draft: Draft | None
    cuts: Cuts = field(default_factory=Cuts)
    free: Collection[int] | None = None
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    start: list[cp_model.IntVar] = field(default_factory=list)
    first: list[int] = field(default_factory=list)
    last: list[int] = field(default_factory=list)
    literals: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    nexts: dict[int, list[int]] = field(default_factory=dict)  # by task, as next_member
    chosen: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    spans: list[cp_model.IntervalVar] = field(default_factory=list)  # one per task
    wet: dict[int, cp_model.IntervalVar] = field(default_factory=dict)

    def _fixed(self, k: int) -> bool:
        return self.first[k] == self.last[k]

    def _masks(self) -> list[BoolArray]:
        if self.free is None or self.draft is None:
            return self.ok
        out = []
        for k, mask in enumerate(self.ok):
            if k not in self.free:
                fixed = np.zeros_like(mask)
                fixed[self.draft.start[k]] = True
                mask = fixed
            out.append(mask)
        return out

    def _hint(self, variable: cp_model.IntVar, value: Callable[[Draft], int | bool]) -> None:
        if self.draft is not None:
            self.model.add_hint(variable, value(self.draft))

    def at_least(self, k: int, slot: int) -> cp_model.IntVar | bool:
        """The literal "task k starts at ``slot`` or later", made once."""
        if slot <= self.first[k]:
            return True
        if slot > self.last[k]:
            return False
        # All slots in one gap of the domain mean the same literal.
        if k not in self.nexts:
            self.nexts[k] = next_member(self.ok[k]).tolist()
        slot = self.nexts[k][slot]
        key = (k, slot)
        if key not in self.literals:
            literal = self.model.new_bool_var(f"s{k}>={slot}")
            self.model.add(self.start[k] >= slot).only_enforce_if(literal)
            self.model.add(self.start[k] < slot).only_enforce_if(~literal)
            self._hint(literal, lambda d: d.start[k] >= slot)
            self.literals[key] = literal
        return self.literals[key]

    def _lag(self, lag: LagArrays) -> None:
        m, i, j = self.model, lag.i, lag.j
        if self._fixed(i) and self._fixed(j):
            return
        at = np.flatnonzero(self.ok[i])
        target = next_member(self.ok[j])[lag.low[at]]
        self._staircase(i, at, target, self.start[j], lambda v: self.at_least(j, v))
        if lag.within is not None:
            m.add(self.start[j] <= self.start[i] + lag.within)
        if lag.stands is not None:
            for a, b in _runs(lag.stands[at]):
                limit = int(lag.stands[at[a]])
                beyond = self.at_least(j, limit + 1)
                if beyond is False:
                    continue
                later = self.at_least(i, int(at[b]) + 1)
                m.add_bool_or([later, negated(beyond)])

    def _staircase(
        self,
        i: int,
        at: IntArray,
        target: IntArray,
        variable: cp_model.IntVar,
        reach: Callable[[int], cp_model.IntVar | bool] | None,
    ) -> None:
        """``variable`` at or above ``target`` of the start of i, exactly.

        Runs where the target stands still are one clause; runs where it moves with
        the start are one linear inequality under two order literals.
        """
        m = self.model
        offset = target - at
        least = int(offset.min())
        m.add(variable >= self.start[i] + least)
        still, steady = _run_lengths(target), _run_lengths(offset)
        k = 0
        while k < len(at):
            flat, slope = int(still[k]), int(steady[k])
            if flat >= slope:
                here = self.at_least(i, int(at[k]))
                value = int(target[k])
                if reach is not None:
                    there = reach(value)
                    if there is not True:
                        m.add_bool_or([negated(here), there])
                elif here is True:
                    m.add(variable >= value)
                else:
                    m.add(variable >= value).only_enforce_if(here)
                k += flat
                continue
            if int(offset[k]) > least:
                here = self.at_least(i, int(at[k]))
                after = self.at_least(i, int(at[k + slope - 1]) + 1)
                when = [x for x in (here, negated(after)) if x is not True]
                rule = m.add(variable >= self.start[i] + int(offset[k]))
                if when:
                    rule.only_enforce_if(*when)
            k += slope

    def _crews(self) -> None:
        m, arrays = self.model, self.arrays
        if arrays.relay:  # the start tells the crew: one row, and no choice to make
            m.add_no_overlap(self.spans)
            return
        rows: list[list[cp_model.IntervalVar]] = [[] for _ in arrays.classes]
        for k, able in enumerate(arrays.able):
            d = arrays.duration[k]
            if len(able) == 1:
                rows[able[0]].append(self.spans[k])
                continue
            for g in able:
                literal = m.new_bool_var(f"crew{k},{g}")
                self.chosen[k, g] = literal
                rows[g].append(
                    m.new_optional_fixed_size_interval_var(self.start[k], d, literal, f"i{k},{g}")
                )
                mine = self.ok[k] & arrays.by_class[k][g]
                domain = cp_model.Domain.from_intervals([list(x) for x in intervals(mine)])
                m.add_linear_expression_in_domain(self.start[k], domain).only_enforce_if(literal)
                self._hint(literal, lambda x: x.group[k] == g)
            m.add_exactly_one(self.chosen[k, g] for g in able)
        for row, crews in zip(rows, arrays.classes, strict=True):
            if len(crews) == 1:
                m.add_no_overlap(row)
            else:
                m.add_cumulative(row, [1] * len(row), len(crews))

    def _equipment(self) -> None:
        for machine in self.arrays.problem.equipment:
            takes = {
                k: t.equipment.count(machine.id)
                for k, t in enumerate(self.arrays.tasks)
                if machine.id in t.equipment
            }
            if sum(takes.values()) > machine.count:
                row = [self.spans[k] for k in takes]
                self.model.add_cumulative(row, list(takes.values()), machine.count)

    def _stocks(self) -> None:
        """A kit is out of stock from the start that takes it; one to come is out until then."""
        m, arrays = self.model, self.arrays
        end = arrays.problem.slots + 1
        for stock in arrays.problem.stocks:
            rows, takes = [], []
            for at, count in stock.arrivals:
                if at > 0:
                    rows.append(m.new_fixed_size_interval_var(0, min(at, end), "due"))
                    takes.append(count)
            for k, task in enumerate(arrays.tasks):
                for name, count in task.needs:
                    if name == stock.id:
                        size = m.new_int_var(0, end, f"out{k}")
                        rows.append(m.new_interval_var(self.start[k], size, end, f"o{k}"))
                        takes.append(count)
                        self._hint(size, lambda d: end - d.start[k])
            supply = stock.on_hand + sum(n for _, n in stock.arrivals)
            if rows:
                m.add_cumulative(rows, takes, supply)

    def _wet(self) -> None:
        m, arrays = self.model, self.arrays
        held = {w for _, w in (*arrays.dust, *arrays.passing)}
        held |= {w for _, wets in self.cuts.walls for w in wets if w >= 0}
        for k in sorted(held):
            at = np.flatnonzero(self.ok[k])
            ends = arrays.wet[k][at]
            dry = m.new_int_var(int(ends.min()), int(ends.max()), f"dry{k}")
            self._staircase(k, at, ends, dry, None)
            size = m.new_int_var(0, int((ends - at).max()), f"wet{k}")
            self.wet[k] = m.new_interval_var(self.start[k], size, dry, f"w{k}")
            self._hint(dry, lambda d: int(arrays.wet[k][d.start[k]]))
            self._hint(size, lambda d: int(arrays.wet[k][d.start[k]]) - d.start[k])
        for k, w in dict.fromkeys((*arrays.dust, *arrays.passing)):
            if self._fixed(k) and self._fixed(w):
                continue
            d = arrays.duration[k]
            longest = int((arrays.wet[w] - np.arange(len(arrays.wet[w])))[self.ok[w]].max())
            if self.last[k] + d > self.first[w] and self.last[w] + longest > self.first[k]:
                m.add_no_overlap([self.spans[k], self.wet[w]])


def negated(literal: cp_model.IntVar | bool) -> cp_model.IntVar | bool:
    return (not literal) if isinstance(literal, bool) else ~literal


def _run_lengths(values: IntArray) -> IntArray:
    """How many equal values follow from each place on, itself counted."""
    ends = np.append(np.flatnonzero(np.diff(values)) + 1, len(values))
    places = np.arange(len(values))
    return ends[np.searchsorted(ends, places, side="right")] - places


def _runs(values: IntArray) -> list[tuple[int, int]]:
    """First and last index of each run of equal values."""
    cut = np.flatnonzero(np.diff(values)) + 1
    edges = [0, *cut.tolist(), len(values)]
    return [(a, b - 1) for a, b in pairwise(edges)]
