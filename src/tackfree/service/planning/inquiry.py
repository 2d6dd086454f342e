"""Long questions about the plan, asked from a page: one at a time, each answer kept."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock, Thread
from typing import Any, Literal

from tackfree.errors import Fault, InputError, ToolError
from tackfree.plan.check import check_plan
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan_board.sheet import built_sheet
from tackfree.service.planning.stress import stress_job
from tackfree.service.planning.why import trade, why_not_by

log = logging.getLogger("tackfree.plan")

Kind = Literal["not", "weather", "stalls"]
KINDS: tuple[Kind, ...] = ("not", "weather", "stalls")
YEARS = (5, 10, 20)  # weather years to choose from


@dataclass(frozen=True, kw_only=True)
class Inquiry:
    """A question, who asked, and its answer once it is there. ``made`` is the job it is of."""

    kind: Kind
    asked: Mapping[str, str]
    person: str
    seconds: float = 0.0
    made: Pipeline | None = None
    answer: Any = None
    faults: tuple[Fault, ...] = ()

    @property
    def open(self) -> bool:
        return self.answer is None and not self.faults


@dataclass(kw_only=True)
class Inquiries:
    """The last answer of each kind, and at most one question at work."""

    out: Path
    clock: Callable[[], float] = time.monotonic
    _last: dict[Kind, Inquiry] = field(default_factory=dict)
    _begun: float = 0.0
    _lock: Lock = field(default_factory=Lock)
    _thread: Thread | None = None

    def last(self) -> tuple[Inquiry, ...]:
        """Each kind's last question."""
        now = self.clock() - self._begun
        return tuple(
            replace(q, seconds=now) if q.open else q for k in KINDS if (q := self._last.get(k))
        )

    def ask(self, bundle: Path, kind: Kind, asked: Mapping[str, str], *, person: str) -> bool:
        """Begin to answer; False where another question is at work.

        Raises
        ------
        InputError
            If what is asked cannot be read.
        """
        work = _work(kind, asked)
        with self._lock:
            if any(q.open for q in self._last.values()):
                return False
            question = Inquiry(kind=kind, asked=asked, person=person)
            self._last[kind] = question
            self._begun = self.clock()
            self._thread = Thread(target=lambda: self._answer(bundle, question, work), daemon=True)
            self._thread.start()
        return True

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until nothing is at work."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _answer(self, bundle: Path, q: Inquiry, work: Callable[[Pipeline], Any]) -> None:
        try:
            made = Pipeline.of(bundle)
            _with_built(made, self.out)
            done = replace(q, made=made, answer=work(made))
        except ToolError as fault:
            done = replace(q, faults=fault.faults)
        except Exception as fault:
            log.exception("fault while answering a question about the plan")
            said = str(fault) or type(fault).__name__
            done = replace(q, faults=(Fault(where="plan", what=said,
                                            do="See what the server printed."),))  # fmt: skip
        self._last[q.kind] = replace(done, seconds=self.clock() - self._begun)


def _work(kind: Kind, asked: Mapping[str, str]) -> Callable[[Pipeline], Any]:
    if kind == "stalls":
        return trade
    if kind == "weather":
        years = _number(asked, "years", 1, max(YEARS))
        return lambda made: stress_job(made, years=years)
    share = _number(asked, "open", 0, 100) / 100 if asked.get("open") else None
    by = asked.get("by") or None
    if by is None and share is None:
        raise InputError("neither a date nor a share of stalls is given.", where="by",
                         do="Give one of them, or both.")  # fmt: skip
    if by is not None:
        try:
            time.strptime(by, "%Y-%m-%d")
        except ValueError:
            raise InputError(f"{by[:20]!r} is no date.", where="by",
                             do="Write it as 2027-06-14.") from None  # fmt: skip
    return lambda made: why_not_by(made, by, share)


def _number(asked: Mapping[str, str], name: str, least: int, most: int) -> int:
    text = asked.get(name, "")
    if not text.isdecimal() or not least <= int(text) <= most:
        raise InputError(f"{text[:20]!r} is no number from {least} to {most}.", where=name,
                         do="Give it as a whole number.")  # fmt: skip
    return int(text)


def _with_built(made: Pipeline, out: Path) -> None:
    """Take the plan in force where it still holds, so that it is not made again."""
    try:
        built = built_sheet(out)
    except ToolError:
        return
    same = built.problem.slot0_utc_s == made.problem.slot0_utc_s
    if same and built.plan.placed and not check_plan(made.problem, built.plan):
        vars(made)["plan"] = built.plan
