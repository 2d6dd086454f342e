"""Planning a job again beside the pages: one search at a time, watched, stopped, taken or left."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Literal

from tackfree.errors import Fault, InputError, NotFound, ToolError
from tackfree.plan.check import check_plan
from tackfree.plan.types import Plan, Problem, Stage
from tackfree.service.build import build
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import clock_entries, logged
from tackfree.service.plan_board import keep
from tackfree.service.plan_board.sheet import Sheet, built_sheet, made_sheet
from tackfree.service.planning.measured import measured
from tackfree.service.planning.seek import Best, is_better, seek
from tackfree.words import say

log = logging.getLogger("tackfree.plan")

State = Literal[
    "none", "reading", "searching", "stopping", "proposed", "same", "building", "taken", "failed"
]
AT_WORK: tuple[State, ...] = ("reading", "searching", "stopping", "building")
LIMITS_S = (30, 120, 600, 3600)  # how long a search may go on


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where a search stands; slots are of ``sheet``'s grid, which holds the best plan.

    ``present``: the plan in force, on the same grid where it holds on the bundle as it is
    now. ``broken``: how many rules it breaks there.
    """

    state: State = "none"
    person: str = ""
    seconds: float = 0.0
    limit_s: float = 0.0
    rounds: int = 0
    finish: int | None = None
    bound: int | None = None
    stages: tuple[Stage, ...] = ()
    sheet: Sheet | None = None
    present: Sheet | None = None
    broken: int = 0
    step: tuple[int, int] = (0, 0)  # of a build
    faults: tuple[Fault, ...] = ()

    @property
    def at_work(self) -> bool:
        return self.state in AT_WORK


@dataclass(kw_only=True)
class Again:
    """The search of one job; it goes on whether or not anybody looks."""

    out: Path
    clock: Callable[[], float] = time.monotonic
    effort: float | None = None  # of the first round; a build's where not given
    _now: Standing = field(default_factory=Standing)
    _begun: float = 0.0
    _stop: Event = field(default_factory=Event)
    _lock: Lock = field(default_factory=Lock)
    _thread: Thread | None = None

    def standing(self) -> Standing:
        """Where it stands now."""
        now = self._now
        if now.at_work:
            return replace(now, seconds=self.clock() - self._begun)
        return now

    def start(self, bundle: Path, *, limit_s: float, person: str, language: str) -> bool:
        """Begin a search; False where one is at work already."""
        with self._lock:
            if self._now.at_work:
                return False
            self._stop.clear()
            self._begin(Standing(state="reading", person=person, limit_s=limit_s),
                        lambda: self._search(bundle, limit_s, language))  # fmt: skip
        return True

    def stop(self) -> None:
        """End the search with the best plan so far."""
        with self._lock:
            if self._now.state in ("reading", "searching"):
                self._set(state="stopping")
            self._stop.set()

    def leave(self) -> None:
        """Put the proposal away: the plan in force stays."""
        with self._lock:
            if not self._now.at_work:
                self._now = Standing()

    def take(self, bundle: Path, *, person: str, language: str) -> None:
        """Keep the proposal in the bundle and build every sheet from it.

        Raises
        ------
        NotFound
            If there is no proposal.
        Refused
            If the bundle was changed so that the plan no longer holds: search again.
        """
        with self._lock:
            sheet = self._now.sheet
            if self._now.state != "proposed" or sheet is None:
                raise NotFound(say("planboard.again.gone", language), where="plan",
                               do=say("planboard.again.gone-do", language))  # fmt: skip
            keep.take_plan(bundle, sheet, person=person, language=language)
            self._begin(Standing(state="building", person=person),
                        lambda: self._build(bundle))  # fmt: skip

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until nothing is at work."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _begin(self, standing: Standing, work: Callable[[], None]) -> None:
        self._now, self._begun = standing, self.clock()

        def whole() -> None:
            try:
                work()
            except ToolError as fault:
                self._set(state="failed", faults=fault.faults, seconds=self.clock() - self._begun)
            except Exception as fault:
                log.exception("fault while planning again")
                said = Fault(where="plan", what=str(fault) or type(fault).__name__,
                             do="See what the server printed.")  # fmt: skip
                self._set(state="failed", faults=(said,))

        self._thread = Thread(target=whole, name="plan-again", daemon=True)
        self._thread.start()

    def _set(self, **changes: object) -> None:
        self._now = replace(self._now, **changes)  # type: ignore[arg-type]

    def _search(self, bundle: Path, limit_s: float, language: str) -> None:
        sheet, order = _posed(bundle, language)
        problem = sheet.problem
        present, broken = _present(self.out, problem)
        if not self._stop.is_set():
            self._set(state="searching")
        self._set(present=present, broken=broken)

        def told(finish: int, bound: int) -> None:
            now = self._now
            self._set(finish=finish if now.finish is None else min(finish, now.finish),
                      bound=max(bound, now.bound or 0))  # fmt: skip

        def better(best: Best) -> None:
            self._set(rounds=best.rounds, stages=best.plan.stages,
                      sheet=replace(sheet, plan=best.plan))  # fmt: skip

        def stop() -> bool:
            return self._stop.is_set() or self.clock() - self._begun > limit_s

        was = present.plan if present is not None else None
        more = {} if self.effort is None else {"effort": self.effort}
        best = seek(problem, was, order=order, stop=stop, told=told,
                    better=better, **more)  # fmt: skip
        if not best.placed:
            raise InputError(
                say("planboard.again.none", language), where="plan",
                do=" ".join(say(r, language) for r in best.reasons)
                or say("planboard.again.none-do", language),
            )  # fmt: skip
        worth = was is None or broken or is_better(problem, best, was)
        self._set(state="proposed" if worth else "same", seconds=self.clock() - self._begun,
                  stages=best.stages, sheet=replace(sheet, plan=best))  # fmt: skip

    def _build(self, bundle: Path) -> None:
        build(bundle, self.out, progress=lambda stage, n, of: self._set(step=(n, of)))
        self._set(state="taken")


def _posed(bundle: Path, language: str) -> tuple[Sheet, Sequence[str]]:
    """A job without its plan, steps placed by hand fixed, and its objectives in order."""
    made = Pipeline.of(bundle)
    if coats := len(logged(clock_entries(bundle))):
        raise InputError(
            say("planboard.again.begun", language, n=coats), where="record",
            do=say("planboard.again.begun-do", language),
        )  # fmt: skip
    problem = keep.held_by_hand(made.job.root, made.problem)
    none = Plan(status="not-found", placed=(), opens={}, stages=(), seed=0, method="none")
    vars(made).update(problem=problem, plan=none)
    return made_sheet(made), made.job.plan.order


def _present(out: Path, problem: Problem) -> tuple[Sheet | None, int]:
    """The plan in force on a problem's grid, and how many rules it breaks there."""
    try:
        built = built_sheet(out)
    except ToolError:
        return None, 0
    if not built.plan.placed:
        return None, 0
    by, odd = divmod(built.problem.slot0_utc_s - problem.slot0_utc_s, problem.slot_s)
    if odd or built.problem.slot_s != problem.slot_s:
        return built, 1
    plan = replace(
        built.plan,
        placed=tuple(replace(p, start=p.start + by, end=p.end + by) for p in built.plan.placed),
        opens={k: v + by for k, v in built.plan.opens.items()},
    )
    here = replace(built, problem=problem, plan=plan)
    broken = len(check_plan(problem, plan))
    return here if broken else replace(here, plan=measured(problem, plan)), broken
