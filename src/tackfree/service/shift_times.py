"""When a placement of the plan may start, by when it must be down, and why.

Slots come from the plan; where a recoat clock is at hand its own moment is used,
which is finer than a slot. Starts round up and ends round down to 5 min.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from tackfree.climate.window_types import StartStates, State
from tackfree.cure.types import Clock
from tackfree.plan.types import Lag, Placed, Plan, Problem, ShiftSpan, Task
from tackfree.words import Message

FIVE_MIN_S = 300
StatesOf = Callable[[str, str], StartStates | None]
Clocks = Mapping[tuple[str, str], Clock]

# A word in a rule's id, and the short reason a foreman reads.
_SHORT = (
    ("unknown", "data"),
    ("stale", "stale"),
    ("outgassing", "outgassing"),
    ("dew", "dew"),
    ("spread", "dew"),
    ("rain", "rain"),
    ("dark", "dark"),
    ("wind", "wind"),
    ("rh", "humid"),
    ("low", "cold"),
    ("high", "hot"),
)


@dataclass(frozen=True, kw_only=True)
class Bound:
    """A moment and the reason it binds."""

    utc_s: float
    why: Message


def up_5(utc_s: float) -> float:
    return math.ceil(utc_s / FIVE_MIN_S - 1e-9) * FIVE_MIN_S


def down_5(utc_s: float) -> float:
    return math.floor(utc_s / FIVE_MIN_S + 1e-9) * FIVE_MIN_S


def wall(utc_s: float, zone: ZoneInfo) -> str:
    """Wall time of the job, 24 h."""
    return datetime.fromtimestamp(utc_s, zone).strftime("%H:%M")


def short_reason(rule_id: str) -> Message:
    """A rule's id as two or three words; "weather" where it is not known here."""
    parts = re.split(r"[._-]", rule_id)
    for part, reason in _SHORT:
        if part in parts:
            return Message(id=f"sheet.because.{reason}")
    return Message(id="sheet.because.window")


@dataclass(frozen=True, kw_only=True)
class Times:
    """Reads one plan; all answers are moments with reasons."""

    plan: Plan
    problem: Problem
    clocks: Clocks
    states: StatesOf
    zone: ZoneInfo

    def utc(self, slot: float) -> float:
        return self.problem.slot0_utc_s + slot * self.problem.slot_s

    def placed(self, task_id: str) -> Placed | None:
        return next((p for p in self.plan.placed if p.task_id == task_id), None)

    def task(self, task_id: str) -> Task | None:
        return next((t for t in self.problem.tasks if t.id == task_id), None)

    def start(self, placed: Placed, span: ShiftSpan) -> Bound:
        """The latest of shift, weather window and the clock of the step before."""
        found = [Bound(utc_s=self.utc(span.begin), why=Message(id="sheet.because.shift-begins"))]
        interval = self._interval(placed)
        if interval is not None and interval[0] > span.begin:
            found.append(
                Bound(
                    utc_s=self.utc(interval[0]),
                    why=self._state_reason(placed, interval[0] - 1),
                )
            )
        for lag in self._lags(after=placed.task_id):
            before = self.placed(lag.before)
            if before is not None:
                found += self._ready(lag, before)
        latest = max(found, key=lambda b: b.utc_s)
        return Bound(utc_s=up_5(latest.utc_s), why=latest.why)

    def finish(self, placed: Placed, span: ShiftSpan) -> Bound:
        """The earliest of shift, weather window and the latest time of the step before."""
        found = [Bound(utc_s=self.utc(span.end), why=Message(id="sheet.because.shift-ends"))]
        interval = self._interval(placed)
        if interval is not None:
            end = interval[1] + (placed.end - placed.start)
            if end < span.end:
                found.append(
                    Bound(utc_s=self.utc(end), why=self._state_reason(placed, interval[1] + 1))
                )
        for lag in self._lags(after=placed.task_id):
            before = self.placed(lag.before)
            if before is None:
                continue
            limit = self._down_by(lag, before)
            if limit is not None:
                why = Message(id="sheet.because.before-step", values={"step": before.step_id})
                found.append(Bound(utc_s=limit, why=why))
        first = min(found, key=lambda b: b.utc_s)
        return Bound(utc_s=down_5(first.utc_s), why=first.why)

    def next_coat(self, placed: Placed) -> tuple[float | None, float | None] | None:
        """From when the following step may start and by when it must be down.

        None where nothing follows; a None inside where that end is not known.
        """
        lag = next(iter(self._lags(before=placed.task_id)), None)
        if lag is None:
            return None
        clock = self.clocks.get((placed.section_id, placed.step_id))
        if clock is not None:
            after = clock.recoat_after.careful_utc_s
            before = self._down_by(lag, placed)
            return (
                None if after is None else up_5(after),
                None if before is None else down_5(before),
            )
        slot = lag.earliest[placed.end] if placed.end < len(lag.earliest) else -1
        within = None if lag.down_within is None else self.utc(placed.start + lag.down_within)
        return (None if slot < 0 else self.utc(slot), within)

    def _down_by(self, lag: Lag, before: Placed) -> float | None:
        """By when the step after must be down: the clock's moment, finer than the plan's slots.

        Where the plan counts with a shorter maximum than the clock, such as the sheet's
        hot-weather one, its moment holds: board, calendar and sheet say the same.
        """
        clock = self.clocks.get((before.section_id, before.step_id))
        fine = None if clock is None else clock.recoat_before_utc_s
        if lag.down_within is None:
            return fine
        planned = self.utc(before.start + lag.down_within)
        return planned if fine is None or fine - planned >= self.problem.slot_s else fine

    def _interval(self, placed: Placed) -> tuple[int, int] | None:
        task = self.task(placed.task_id)
        if task is None:
            return None
        return next((i for i in task.starts if i[0] <= placed.start <= i[1]), None)

    def _lags(self, *, before: str = "", after: str = "") -> list[Lag]:
        return [
            lag
            for lag in self.problem.lags
            if (before and lag.before == before) or (after and lag.after == after)
        ]

    def _ready(self, lag: Lag, before: Placed) -> list[Bound]:
        clock = self.clocks.get((before.section_id, before.step_id))
        if clock is not None and clock.recoat_after.careful_utc_s is not None:
            at = clock.recoat_after.careful_utc_s
        elif before.end < len(lag.earliest) and lag.earliest[before.end] >= 0:
            at = self.utc(lag.earliest[before.end])
        else:
            return []
        why = Message(
            id="sheet.because.after-step",
            values={"step": before.step_id, "time": wall(up_5(at), self.zone)},
        )
        return [Bound(utc_s=at, why=why)]

    def _state_reason(self, placed: Placed, slot: int) -> Message:
        """Why a start slot just outside the window is not GO."""
        found = self.states(placed.section_id, placed.step_id)
        if found is None:
            return Message(id="sheet.because.window")
        k = round((self.utc(slot) - found.slot0_utc_s) / found.slot_s)
        if not 0 <= k < len(found.state) or found.state[k] == State.GO or found.rule[k] < 0:
            return Message(id="sheet.because.window")
        return short_reason(found.rules[int(found.rule[k])])
