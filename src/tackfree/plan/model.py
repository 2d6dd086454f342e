"""The exact model for CP-SAT, and one search over it.

One integer start per task whose domain already holds shifts and weather. A wait is a
staircase of the earlier start, cut into runs where its target stands still (one
clause on order literals) or moves along (one inequality), so no table runs over all
slots.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from ortools.sat.python import cp_model

from tackfree.plan.domains import Arrays, BoolArray, IntArray, LagArrays, next_member
from tackfree.plan.greedy import Draft
from tackfree.plan.problem import intervals

FINISH, STALLS = "finish", "stall-slots"


@dataclass(kw_only=True)
class Run:
    """Search settings, and the effort that is left."""

    seed: int
    workers: int
    left: float
    stop: Callable[[], bool]


@dataclass(frozen=True, kw_only=True)
class Got:
    draft: Draft | None
    bound: int
    infeasible: bool = False


class _Watch(cp_model.CpSolverSolutionCallback):  # type: ignore[misc]
    def __init__(self, stop: Callable[[], bool]) -> None:
        super().__init__()
        self._stop = stop

    def on_solution_callback(self) -> None:
        if self._stop():
            self.stop_search()


def search(
    arrays: Arrays,
    ok: list[BoolArray],
    draft: Draft | None,
    run: Run,
    goal: str,
    lower: int,
    share: float,
) -> Got:
    """One objective over tightened starts, from a complete hint."""
    if run.left <= 0 or run.stop():
        return Got(draft=None, bound=0)
    model = Model(arrays=arrays, ok=ok, draft=draft)
    model.build(goal, lower)
    solver = cp_model.CpSolver()
    p = solver.parameters
    p.num_workers = run.workers
    p.random_seed = run.seed
    p.cp_model_probing_level = 0
    p.symmetry_level = 0
    p.max_deterministic_time = run.left * share
    watch = _Watch(run.stop)
    solver.best_bound_callback = lambda _: solver.stop_search() if run.stop() else None
    status = solver.solve(model.model, watch)
    run.left -= float(solver.response_proto.deterministic_time)
    if status == cp_model.INFEASIBLE:
        # With a first plan in hand its own finish is feasible, so this would be a bug.
        if draft is not None:
            raise AssertionError("the model refuses the first plan")
        return Got(draft=None, bound=0, infeasible=True)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Got(draft=None, bound=0)
    bound = int(np.ceil(solver.best_objective_bound - 1e-6))
    return Got(draft=model.read(solver), bound=bound)


@dataclass(kw_only=True)
class Model:
    arrays: Arrays
    ok: list[BoolArray]
    draft: Draft | None
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    start: list[cp_model.IntVar] = field(default_factory=list)
    first: list[int] = field(default_factory=list)
    last: list[int] = field(default_factory=list)
    literals: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    chosen: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)

    def build(self, goal: str, lower: int) -> None:
        m, arrays = self.model, self.arrays
        for k, mask in enumerate(self.ok):
            spans = [list(x) for x in intervals(mask)]
            self.start.append(
                m.new_int_var_from_domain(cp_model.Domain.from_intervals(spans), f"s{k}")
            )
            self.first.append(spans[0][0])
            self.last.append(spans[-1][1])
            if self.draft is not None:
                m.add_hint(self.start[k], self.draft.start[k])
        for lag in arrays.lags:
            self._lag(lag)
        self._crews()
        opens = self._closures()
        if goal == FINISH:
            top = max(
                [
                    *(a + d for a, d in zip(self.last, arrays.duration, strict=True)),
                    *(int(t[self.ok[k]].max()) for c in arrays.closures for k, t in c.gates),
                ]
            )
            finish = m.new_int_var(lower, top, "finish")
            for k, d in enumerate(arrays.duration):
                m.add(finish >= self.start[k] + d)
            for o in opens:
                m.add(finish >= o)
            if self.draft is not None:
                m.add_hint(finish, self.draft.finish)
            m.minimize(finish)
        else:
            lost = [
                (c.stalls * (o - self.start[c.first]))
                for c, o in zip(arrays.closures, opens, strict=True)
                if c.stalls
            ]
            m.add(sum(lost) >= lower)
            m.minimize(sum(lost))

    def at_least(self, k: int, slot: int) -> cp_model.IntVar | bool:
        """The literal "task k starts at ``slot`` or later", made once."""
        if slot <= self.first[k]:
            return True
        if slot > self.last[k]:
            return False
        # All slots in one gap of the domain mean the same literal.
        slot += int(np.argmax(self.ok[k][slot:]))
        key = (k, slot)
        if key not in self.literals:
            literal = self.model.new_bool_var(f"s{k}>={slot}")
            self.model.add(self.start[k] >= slot).only_enforce_if(literal)
            self.model.add(self.start[k] < slot).only_enforce_if(~literal)
            if self.draft is not None:
                self.model.add_hint(literal, self.draft.start[k] >= slot)
            self.literals[key] = literal
        return self.literals[key]

    def _lag(self, lag: LagArrays) -> None:
        m, i, j = self.model, lag.i, lag.j
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
                m.add_bool_or([later, _negated(beyond)])

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
                        m.add_bool_or([_negated(here), there])
                elif here is True:
                    m.add(variable >= value)
                else:
                    m.add(variable >= value).only_enforce_if(here)
                k += flat
                continue
            if int(offset[k]) > least:
                here = self.at_least(i, int(at[k]))
                after = self.at_least(i, int(at[k + slope - 1]) + 1)
                when = [x for x in (here, _negated(after)) if x is not True]
                rule = m.add(variable >= self.start[i] + int(offset[k]))
                if when:
                    rule.only_enforce_if(*when)
            k += slope

    def _crews(self) -> None:
        m, arrays = self.model, self.arrays
        rows: list[list[cp_model.IntervalVar]] = [[] for _ in arrays.problem.crews]
        for k, able in enumerate(arrays.crews):
            d = arrays.duration[k]
            if len(able) == 1:
                rows[able[0]].append(m.new_fixed_size_interval_var(self.start[k], d, f"i{k}"))
                continue
            for c in able:
                literal = m.new_bool_var(f"crew{k},{c}")
                self.chosen[k, c] = literal
                rows[c].append(
                    m.new_optional_fixed_size_interval_var(self.start[k], d, literal, f"i{k},{c}")
                )
                mine = self.ok[k] & arrays.by_crew[k][c]
                domain = cp_model.Domain.from_intervals([list(x) for x in intervals(mine)])
                m.add_linear_expression_in_domain(self.start[k], domain).only_enforce_if(literal)
                if self.draft is not None:
                    m.add_hint(literal, self.draft.crew[k] == c)
            m.add_exactly_one(self.chosen[k, c] for c in able)
        for row in rows:
            m.add_no_overlap(row)

    def _closures(self) -> list[cp_model.IntVar]:
        m, arrays = self.model, self.arrays
        opens, spans, stalls = [], [], []
        for n, c in enumerate(arrays.closures):
            tables = [(k, np.flatnonzero(self.ok[k]), t) for k, t in c.gates]
            least = max(int(t[at].min()) for _, at, t in tables)
            most = max(int(t[at].max()) for _, at, t in tables)
            opened = m.new_int_var(least, most, f"open{n}")
            for k, at, t in tables:
                self._staircase(k, at, t[at], opened, None)
            size = m.new_int_var(0, most - self.first[c.first], f"closed{n}")
            spans.append(m.new_interval_var(self.start[c.first], size, opened, f"c{n}"))
            stalls.append(c.stalls)
            opens.append(opened)
            if self.draft is not None:
                value = c.opens(self.draft.start)
                m.add_hint(opened, value)
                m.add_hint(size, value - self.draft.start[c.first])
        if any(stalls):
            m.add_cumulative(spans, stalls, arrays.problem.stalls_closed_max)
        return opens

    def read(self, solver: cp_model.CpSolver) -> Draft:
        arrays = self.arrays
        start = [int(solver.value(v)) for v in self.start]
        crew = [
            next((c for c in able if len(able) == 1 or solver.value(self.chosen[k, c])), able[0])
            for k, able in enumerate(arrays.crews)
        ]
        opens = [c.opens(start) for c in arrays.closures]
        ends = [s + d for s, d in zip(start, arrays.duration, strict=True)]
        return Draft(
            start=start,
            crew=crew,
            finish=max([*ends, *opens]),
            stall_slots=sum(
                c.stalls * (o - start[c.first]) for c, o in zip(arrays.closures, opens, strict=True)
            ),
        )


def _negated(literal: cp_model.IntVar | bool) -> cp_model.IntVar | bool:
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
