"""The exact model for CP-SAT, and one search over it.

One integer start per task whose domain already holds shifts and weather (see
:mod:`tackfree.plan.timed`). Sets of closures that take too many stalls, and wet film
that walls a crew in, are added when a solution shows them (:mod:`tackfree.plan.cuts`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field

import numpy as np
from ortools.sat.python import cp_model

from tackfree.plan.closing import Closing
from tackfree.plan.cuts import Cuts, broken
from tackfree.plan.domains import Arrays, BoolArray
from tackfree.plan.drafts import (
    FINISH,
    MOVED,
    OVERTIME_COUNTS,
    SHIFTS,
    SLACK,
    STALLS,
    Draft,
    counted_on,
    crew_shifts,
    draft_of,
    slack_wanted,
)
from tackfree.plan.problem import intervals
from tackfree.plan.timed import negated

# Given what ends a search at once, something that stands around it.
Beside = Callable[[Callable[[], None]], AbstractContextManager[None]]
ROUNDS = 60
LEAST = 1e-4  # deterministic effort that a model is made for

# ruff: noqa: B023  hints are worked out at once, in the pass of the loop they stand in


def _silent(finish: int, bound: int) -> None:
    """Nobody asked."""


def _unwatched(stop: Callable[[], None]) -> AbstractContextManager[None]:
    """A search that ends with its effort, or at a solution."""
    return nullcontext()


@dataclass(kw_only=True)
class Run:
    """Search settings, the effort that is left, and the cuts found so far."""

    seed: int
    workers: int
    left: float
    stop: Callable[[], bool]
    given: float = 0.0  # the effort there was at first
    unsettled: bool = False  # the whole was tried and bound and finish did not meet
    told: Callable[[int, int], None] = _silent  # best finish and proven bound, in slots
    beside: Beside = _unwatched  # stands around each search of the solver
    cuts: Cuts = field(default_factory=Cuts)
    probe_lp: bool = False  # job shops prove faster with it


@dataclass(frozen=True, kw_only=True)
class Got:
    draft: Draft | None
    bound: int
    infeasible: bool = False


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What to make small, and what must not get worse: (stage, at most)."""

    name: str
    caps: tuple[tuple[str, int], ...] = ()
    lower: int = 0
    weight: int = 0  # FINISH only: stall-slots as a tie-break, finish times weight first


def _stopper(solver: cp_model.CpSolver, stop: Callable[[], bool]) -> Callable[[float], None]:
    return lambda _: solver.stop_search() if stop() else None


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
    goal: Goal | None,
    share: float,
    free: Collection[int] | None = None,
    *,
    quick: bool = False,
) -> Got:
    """One objective over tightened starts, from a complete hint.

    ``goal`` None: any plan will do. ``free``: task indices that may move; the others
    stay where the draft has them. ``quick``: straight into the search, for questions
    that are settled soon or not at all. The answer keeps every rule: what a solution breaks
    among the rules left out is cut off and the search goes on.
    """
    budget = run.left * share
    bound = 0
    for _ in range(ROUNDS):
        if budget <= LEAST or run.stop():
            return Got(draft=None, bound=bound)
        model = Model(arrays=arrays, ok=ok, draft=draft, cuts=run.cuts, free=free)
        model.build(goal)
        solver = cp_model.CpSolver()
        p = solver.parameters
        p.num_workers = run.workers
        p.random_seed = run.seed
        p.cp_model_probing_level = 0
        p.symmetry_level = 0
        p.catch_sigint_signal = False  # who starts the search says what a stop does
        if quick:
            p.cp_model_presolve = False
            p.linearization_level = 0
        if run.probe_lp:
            p.subsolvers[:] = ["no_lp", "max_lp"]
        p.max_deterministic_time = budget
        watch = _Watch(run.stop)
        if run.workers > 1:
            solver.best_bound_callback = _stopper(solver, run.stop)
        with run.beside(solver.stop_search):
            status = solver.solve(model.model, watch)
        spent = float(solver.response_proto.deterministic_time)
        run.left -= spent
        budget -= max(spent, LEAST)
        if status == cp_model.INFEASIBLE:
            # With a first plan in hand its own finish is feasible, so this would be a bug.
            if draft is not None:
                raise AssertionError("the model refuses the first plan")
            return Got(draft=None, bound=0, infeasible=True)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Got(draft=None, bound=bound)
        if goal is not None:
            bound = max(bound, int(np.ceil(solver.best_objective_bound - 1e-6)))
        found = model.read(solver)
        fresh = broken(arrays, found, run.cuts)
        if not fresh:
            return Got(draft=found, bound=bound)
        run.cuts.add(fresh)
    return Got(draft=None, bound=bound)


@dataclass(kw_only=True)
class Model(Closing):
    """The whole model and its objectives."""

    def build(self, goal: Goal | None) -> None:
        m, arrays = self.model, self.arrays
        self.ok = self._masks()
        for k, mask in enumerate(self.ok):
            spans = [list(x) for x in intervals(mask)]
            self.start.append(
                m.new_int_var_from_domain(cp_model.Domain.from_intervals(spans), f"s{k}")
            )
            self.first.append(spans[0][0])
            self.last.append(spans[-1][1])
            self._hint(self.start[k], lambda d: d.start[k])
        for k, d in enumerate(arrays.duration):
            self.spans.append(m.new_fixed_size_interval_var(self.start[k], d, f"t{k}"))
        for lag in arrays.lags:
            self._lag(lag)
        self._crews()
        self._equipment()
        self._stocks()
        self._wet()
        opens = self._closures()
        self._found_cuts()
        if goal is None:
            return
        for name, most in goal.caps:
            capped = self._measure(name, opens)
            if not isinstance(capped, int):
                m.add(capped <= most)
        value = self._measure(goal.name, opens)
        if isinstance(value, int):
            return
        m.add(value >= goal.lower)
        if goal.weight:
            m.minimize(goal.weight * value + self._measure(STALLS, opens))
        else:
            m.minimize(value)

    def _measure(self, name: str, opens: list[cp_model.IntVar]) -> cp_model.LinearExprT:
        return {
            FINISH: self._finish,
            STALLS: self._lost,
            SHIFTS: self._shifts,
            SLACK: self._slack,
            MOVED: self._moved,
        }[name](opens)

    def _finish(self, opens: list[cp_model.IntVar]) -> cp_model.IntVar:
        m, arrays = self.model, self.arrays
        top = max(
            [
                *(a + d for a, d in zip(self.last, arrays.duration, strict=True)),
                *(int(t[self.ok[k]].max()) for c in arrays.closures for k, t in c.gates),
            ]
        )
        finish = m.new_int_var_from_domain(self._last_slots(top), "finish")
        for k, d in enumerate(arrays.duration):
            m.add(finish >= self.start[k] + d)
        for o in opens:
            m.add(finish >= o)
        self._hint(finish, lambda d: d.day)
        return finish

    def _last_slots(self, top: int) -> cp_model.Domain:
        """Slots that a finish is counted as: the last of each day, and all outside the days."""
        days = self.arrays.problem.days
        if len(days) < 2:
            return cp_model.Domain(0, top)
        before = [[0, days[0] - 1]] if days[0] > 0 else []
        after = [days[-1], max(top, days[-1])]
        return cp_model.Domain.from_intervals([*before, *([d - 1] * 2 for d in days[1:]), after])

    def _lost(self, opens: list[cp_model.IntVar]) -> cp_model.LinearExprT:
        """Stall-slots; for stalls behind several others only the nearest counts, so
        that the sum is never above the truth."""
        if not self.arrays.reach.groups:
            return 0
        return sum(
            (count * size for count, parts in self._stall_parts() for size in parts.sizes), 0
        )

    def _shifts(self, opens: list[cp_model.IntVar]) -> cp_model.LinearExprT:
        """Crew-shifts with work, overtime counted double."""
        m, arrays = self.model, self.arrays
        total: list[cp_model.LinearExprT] = []
        for n, (span, g) in enumerate(crew_shifts(arrays)):
            used = m.new_bool_var(f"used{n}")
            tasks = [k for k in range(len(self.start)) if self._may(k, g, span.begin, span.end)]
            if not tasks:
                continue
            for k in tasks:
                out = [
                    negated(self.at_least(k, span.begin)),
                    self.at_least(k, span.end),
                    used,
                ]
                if (k, g) in self.chosen:
                    out.append(~self.chosen[k, g])
                if not any(x is True for x in out):
                    m.add_bool_or([x for x in out if x is not False])
            a, b = span.begin, span.end
            self._hint(used, lambda d: any(d.group[k] == g and a <= d.start[k] < b for k in tasks))
            total.append((OVERTIME_COUNTS if span.overtime else 1) * used)
        return sum(total) if total else 0

    def _may(self, k: int, g: int, begin: int, end: int) -> bool:
        if g not in self.arrays.able[k]:
            return False
        return bool((self.ok[k] & self.arrays.by_class[k][g])[begin:end].any())

    def _slack(self, opens: list[cp_model.IntVar]) -> cp_model.LinearExprT:
        """Slots short of the slack wanted before windows close, summed."""
        m = self.model
        wanted = slack_wanted(self.arrays)
        total = []
        for n, lag in enumerate(self.arrays.lags):
            if lag.within is None:
                continue
            short = m.new_int_var(0, wanted, f"short{n}")
            m.add(short >= wanted - (self.start[lag.i] + lag.within - self.start[lag.j]))
            self._hint(short, lambda d: max(
                0, wanted - (d.start[lag.i] + (lag.within or 0) - d.start[lag.j])))  # fmt: skip
            total.append(short)
        return sum(total) if total else 0

    def _moved(self, opens: list[cp_model.IntVar]) -> cp_model.LinearExprT:
        """Tasks that do not start when people count on it."""
        total: list[cp_model.LinearExprT] = []
        for k, slot in counted_on(self.arrays):
            if slot >= len(self.ok[k]) or not self.ok[k][slot]:
                total.append(1)
                continue
            moved = self.model.new_bool_var(f"moved{k}")
            self._hint(moved, lambda d: d.start[k] != slot)
            for stays in (self.at_least(k, slot), negated(self.at_least(k, slot + 1))):
                if stays is False:
                    self.model.add(moved == 1)
                elif stays is not True:
                    self.model.add_bool_or([moved, stays])
            total.append(moved)
        return sum(total) if total else 0

    def read(self, solver: cp_model.CpSolver) -> Draft:
        start = [int(solver.value(v)) for v in self.start]
        group = [self._group_of(k, start[k], solver) for k in range(len(start))]
        return draft_of(self.arrays, start, group)

    def _group_of(self, k: int, start: int, solver: cp_model.CpSolver) -> int:
        able, arrays = self.arrays.able[k], self.arrays
        if arrays.relay:
            return next(g for g in able if arrays.by_class[k][g][start])
        return next((g for g in able if len(able) == 1 or solver.value(self.chosen[k, g])), able[0])
