"""Move a step of the plan by hand, and say in words what the move breaks.

The verdict is the independent checker's. The words tell a person which rule, where,
and what would do; what they do not cover is given in the checker's own sentence.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from tackfree.errors import Fault, InputError
from tackfree.plan.check import check_plan
from tackfree.plan.types import Closure, Lag, Placed, Plan, Problem, Stage, Task
from tackfree.service.plan_board.sheet import Sheet
from tackfree.words import Message, say

MOST = 60  # moves on one board
_MOVE = re.compile(r"^([A-Z0-9-]{1,80})/([A-Z0-9-]{1,40})@(\d{1,7})@([A-Z0-9-]{1,80})$")
_SLOT = re.compile(r"\bslot (\d+)|\bfrom (\d+)(?=\.)|\bcome at (\d+)(?=\.)")


@dataclass(frozen=True, kw_only=True)
class Move:
    """A task at another start, by a crew."""

    task_id: str
    start: int
    crew_id: str
    searched: bool = False  # by a search whose plan a person took

    def text(self) -> str:
        return f"{self.task_id}@{self.start}@{self.crew_id}"


@dataclass(frozen=True, kw_only=True)
class Said:
    """One broken rule: at which task or place, what, and what to do."""

    where: str
    rule: Message
    remedy: Message


@dataclass(frozen=True, kw_only=True)
class Judged:
    """The plan with its moves, and everything it breaks; ``said`` empty: it holds."""

    sheet: Sheet
    moves: tuple[Move, ...]
    said: tuple[Said, ...]

    @property
    def holds(self) -> bool:
        return not self.said


def read_moves(text: str) -> tuple[Move, ...]:
    """Moves from an address: ``S01/BASE@412@CREW-DAY``, parted by ``~``.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    out: dict[str, Move] = {}
    for part in filter(None, text.split("~")):
        found = _MOVE.match(part)
        if found is None or len(out) >= MOST:
            raise InputError(
                f"{part[:60]!r} is no move of a step, or there are over {MOST}.",
                where="moves",
                do="Open the board again.",
            )
        task = f"{found[1]}/{found[2]}"
        out.pop(task, None)  # the last word on a task, at its place in time
        out[task] = Move(task_id=task, start=int(found[3]), crew_id=found[4])
    return tuple(out.values())


def moves_text(moves: Sequence[Move]) -> str:
    """Moves as an address carries them."""
    return "~".join(m.text() for m in moves)


def judge(sheet: Sheet, moves: Sequence[Move]) -> Judged:
    """The plan with moves, checked anew.

    Raises
    ------
    InputError
        If a move names a task, a crew or a time that the plan lacks.
    """
    for m in moves:
        if m.task_id not in sheet.at:
            raise InputError(f"the plan has no step {m.task_id}.", where="moves",
                             do="Open the board again.")  # fmt: skip
        if m.crew_id not in {c.id for c in sheet.problem.crews}:
            raise InputError(f"there is no crew {m.crew_id}.", where=m.task_id,
                             do="Choose a crew of the job.")  # fmt: skip
        if not 0 <= m.start < sheet.problem.slots:
            raise InputError("that time is outside the plan's horizon.", where=m.task_id,
                             do="Choose a time between its first and last day.")  # fmt: skip
    changed = replace(sheet, plan=moved(sheet.problem, sheet.plan, moves))
    faults = check_plan(changed.problem, changed.plan)
    return Judged(sheet=changed, moves=tuple(moves), said=_words(changed, faults))


def moved(problem: Problem, plan: Plan, moves: Sequence[Move]) -> Plan:
    """The plan with tasks placed elsewhere; openings and values follow, nothing is checked."""
    if not moves:
        return plan
    to = {m.task_id: m for m in moves}
    placed = tuple(
        replace(p, start=m.start, end=m.start + p.end - p.start, crew_id=m.crew_id)
        if (m := to.get(p.task_id))
        else p
        for p in plan.placed
    )
    at = {p.task_id: p for p in placed}
    opens = {**plan.opens, **{c.section_id: opening(c, at) for c in problem.closures}}
    return replace(
        plan,
        status="feasible",
        placed=placed,
        opens=opens,
        stages=_stages(problem, plan, placed, opens),
        method=f"{plan.method.removesuffix(', by hand')}, by hand",
    )


def opening(closure: Closure, at: Mapping[str, Placed]) -> int:
    """Slot at which cars may come back, -1 where it is not known."""
    found = []
    for name, table in ((closure.last, closure.open_at), *closure.also):
        end = at[name].end
        found.append(table[end] if 0 <= end < len(table) else -1)
    return -1 if min(found) < 0 else max(found)


def _stages(
    problem: Problem, old: Plan, placed: Sequence[Placed], opens: Mapping[str, int]
) -> tuple[Stage, ...]:
    """Finish and stall-slots of the moved plan, beside bounds that still hold."""
    finish = float(max([*(p.end for p in placed), *opens.values()], default=0))
    was = _stall_slots(problem, old.placed, old.opens)
    now = _stall_slots(problem, placed, opens)
    out = []
    for s in old.stages:
        if s.name == "finish" and s.bound <= finish:
            out.append(replace(s, value=finish))
        elif s.name == "stall-slots" and s.value == was and s.bound <= now:
            out.append(replace(s, value=now))
    return tuple(out)


def _stall_slots(problem: Problem, placed: Sequence[Placed], opens: Mapping[str, int]) -> float:
    at = {p.task_id: p for p in placed}
    spans = (c.stalls * (opens.get(c.section_id, 0) - at[c.first].start) for c in problem.closures)
    return float(sum(spans))


def _words(sheet: Sheet, faults: Sequence[Fault]) -> tuple[Said, ...]:
    """Every fault in words; each fault of the checker is told at least once."""
    if not faults:
        return ()
    said = list(_told(sheet))
    known = {s.where for s in said}
    rest = [
        Said(
            where=f.where,
            rule=Message(id="planboard.fault.checker", values={"what": _timed(sheet, f.what)}),
            remedy=Message(id="planboard.fault.checker-do"),
        )
        for f in faults
        if f.where not in known
    ]
    return tuple(said + rest)


def faults_of(judged: Judged, language: str = "en") -> tuple[Fault, ...]:
    """What is broken, as faults with times in words."""
    return tuple(
        Fault(
            where=s.where,
            what=spoken(judged.sheet, s.rule, language),
            do=spoken(judged.sheet, s.remedy, language),
        )
        for s in judged.said
    )


def when(sheet: Sheet, slot: int, language: str = "en") -> str:
    """A slot as "Mon 19 Apr 07:00" in a language."""
    at = sheet.time_of(slot)
    day = say("page.weekdays", language).split()[at.weekday()]
    month = say("page.months", language).split()[at.month - 1]
    return f"{day} {at.day} {month} {at:%H:%M}"


def _timed(sheet: Sheet, text: str) -> str:
    """The checker's sentence with slots as times."""

    def time(found: re.Match[str]) -> str:
        slot = int(next(g for g in found.groups() if g))
        head = found[0].split()[0]
        return when(sheet, slot) if head == "slot" else f"{head} {when(sheet, slot)}"

    return _SLOT.sub(time, text)


def _told(sheet: Sheet) -> Iterator[Said]:
    tasks = {t.id: t for t in sheet.problem.tasks}
    for p in sheet.plan.placed:
        yield from _place(sheet, p, tasks[p.task_id])
    for crew in sheet.problem.crews:
        mine = sorted((p for p in sheet.plan.placed if p.crew_id == crew.id), key=lambda p: p.start)
        for a, b in pairwise(mine):
            if b.start < a.end:
                yield _said(b.task_id, "crew", {"crew": crew.id, "other": a.task_id, "slot": a.end})
    for lag in sheet.problem.lags:
        yield from _wait(sheet, lag)
    yield from _stalls(sheet)


def _said(where: str, name: str, values: Mapping[str, object]) -> Said:
    """A rule and its remedy; values named slot… are spoken as times by :func:`spoken`."""
    return Said(
        where=where,
        rule=Message(id=f"planboard.fault.{name}", values=values),
        remedy=Message(id=f"planboard.fault.{name}-do", values=values),
    )


def spoken(sheet: Sheet, message: Message, language: str) -> str:
    """A sentence with its slots as times of the job."""
    values = {
        k: when(sheet, v, language) if k.startswith("slot") and isinstance(v, int) else v
        for k, v in message.values.items()
    }
    return say(message.id, language, **values)


def _place(sheet: Sheet, p: Placed, task: Task) -> Iterator[Said]:
    crew = next(c for c in sheet.problem.crews if c.id == p.crew_id)
    if task.skill not in crew.skills:
        yield _said(p.task_id, "skill", {"crew": crew.id, "skill": task.skill})
    inside = any(
        s.begin <= p.start and p.end <= s.end and s.shift_id in crew.shift_ids
        for s in sheet.problem.shifts
    )
    if not inside:
        yield _said(p.task_id, "shift", {"crew": crew.id, "slot": _next_shift(sheet, p)})
    elif not any(a <= p.start <= b for a, b in task.starts):
        later = [max(a, p.start) for a, b in task.starts if b >= p.start]
        name = "weather" if later else "weather-none"
        yield _said(p.task_id, name, {"slot": min(later)} if later else {})


def _next_shift(sheet: Sheet, p: Placed) -> int:
    """The next shift of the crew that is long enough; the same start where there is none."""
    crew = next(c for c in sheet.problem.crews if c.id == p.crew_id)
    long = p.end - p.start
    found = [
        s.begin
        for s in sheet.problem.shifts
        if s.shift_id in crew.shift_ids and s.begin >= p.start and s.end - s.begin >= long
    ]
    return min(found, default=p.start)


def _wait(sheet: Sheet, lag: Lag) -> Iterator[Said]:
    a, b = sheet.at[lag.before], sheet.at[lag.after]
    ready = lag.earliest[a.end] if 0 <= a.end < len(lag.earliest) else -1
    if ready < 0:
        yield _said(b.task_id, "unknown", {"before": a.task_id})
    elif b.start < ready and lag.hold:
        who = next(h.who for h in sheet.problem.holds if (h.id, h.after) == (lag.hold, a.task_id))
        yield _said(b.task_id, "hold", {"who": who, "before": a.task_id, "slot": ready})
    elif b.start < ready:
        yield _said(b.task_id, "early", {"before": a.task_id, "slot": ready})
    if lag.down_within is not None and b.end > a.start + lag.down_within:
        limit = a.start + lag.down_within
        latest = limit - (b.end - b.start)
        yield _said(b.task_id, "late", {"before": a.task_id, "slot": limit, "slot_start": latest})
    latest = lag.latest[a.end] if a.end < len(lag.latest) else -1
    if 0 <= latest < b.start:
        yield _said(b.task_id, "rain", {"before": a.task_id, "slot": latest})
    if lag.same_or_next_shift and not _same_or_next(sheet, a, b):
        yield _said(b.task_id, "next-shift", {"before": a.task_id})


def _same_or_next(sheet: Sheet, a: Placed, b: Placed) -> bool:
    spans = sheet.problem.shifts
    for here in (s for s in spans if s.begin <= a.start and a.end <= s.end):
        nexts = [s.begin for s in spans if s.begin >= here.end]
        for s in spans:
            allowed = s == here or (nexts and s.begin == min(nexts))
            if allowed and s.begin <= b.start and b.end <= s.end:
                return True
    return False


def _stalls(sheet: Sheet) -> Iterator[Said]:
    """The first moment at which more stalls are closed or cut off than may be."""
    for c in sheet.problem.closures:
        if sheet.plan.opens.get(c.section_id, -1) < 0:
            yield _said(c.section_id, "never-open", {})
    most = sheet.problem.stalls_closed_max
    for slot in sheet.gone.moments:
        gone = sheet.gone.at(slot)
        if gone.counted > most:
            values = {"n": gone.counted, "most": most, "slot": slot}
            if not gone.cut:
                yield _said("stalls", "stalls", values)
            else:
                more = {"closed": gone.closed_n, "cut": gone.counted - gone.closed_n}
                yield _said("stalls", "stalls-cut", values | more)
            return
