"""The plan by section and by day: what is done, what is closed, what may start."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter

from tackfree.plan.types import Access, Closure, Placed, Plan, Problem, Span
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import day_span, local_day
from tackfree.service.plan_board.gone import Counter, Gone

Json = Mapping[str, Any]
_ACCESS: TypeAdapter[Access | None] = TypeAdapter(Access | None)


@dataclass(frozen=True, kw_only=True)
class Done:
    """One planned step of one section, in Unix seconds."""

    section_id: str
    step_id: str
    crew_id: str
    begin_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """The plan in wall time. ``opens`` is when cars may come; a section without is never."""

    status: str
    done: tuple[Done, ...]
    opens: Mapping[str, float]
    counter: Counter
    stalls_total: int
    stalls_closed_max: int
    starts: Mapping[tuple[str, str], tuple[tuple[float, float], ...]]
    shifts: tuple[tuple[str, date, float, float], ...]  # id, date, begin, end
    zone: ZoneInfo

    def of(self, section_id: str) -> tuple[Done, ...]:
        return tuple(d for d in self.done if d.section_id == section_id)

    def on(self, day: date) -> tuple[Done, ...]:
        begin, end = day_span(day, self.zone)
        return tuple(d for d in self.done if d.begin_s < end and d.end_s > begin)

    def days(self) -> tuple[date, ...]:
        """Every date from the first step to the last opening; of the horizon without a plan."""
        if not self.done:
            return tuple(dict.fromkeys(on for _, on, _, _ in self.shifts))
        first = local_day(self.done[0].begin_s, self.zone)
        ends = [*self.opens.values(), *(d.end_s - 1 for d in self.done)]
        last = local_day(max(ends), self.zone)
        return tuple(first + timedelta(days=i) for i in range((last - first).days + 1))

    def state(self, section_id: str, day: date) -> str:
        """working, closed, open or waiting (not begun), over the whole of one date."""
        begin, end = day_span(day, self.zone)
        mine = self.of(section_id)
        if any(d.begin_s < end and d.end_s > begin for d in mine):
            return "working"
        if not mine or mine[0].begin_s >= end:
            return "waiting"
        opens = self.opens.get(section_id)
        return "open" if opens is not None and opens < end else "closed"

    def gone(self, day: date) -> Gone:
        """Stalls closed and cut off at the worst moment of one date."""
        begin, end = day_span(day, self.zone)
        problem = self.counter.problem
        return self.counter.worst(
            *(int((x - problem.slot0_utc_s) // problem.slot_s) for x in (begin, end))
        )

    def may_start(self, section_id: str, day: date) -> tuple[tuple[str, float, float], ...]:
        """Steps of a section that may start on a date, as (step, from, last start)."""
        begin, end = day_span(day, self.zone)
        return tuple(
            (step, max(a, begin), min(b, end))
            for (name, step), spans in self.starts.items()
            if name == section_id
            for a, b in spans
            if a < end and b >= begin
        )


def calendar_of(built: Built) -> Calendar | None:
    """The plan of a built job, or None where there is none to show."""
    stage = built.stage("plan")
    if stage is None:
        return None
    slot0, slot = float(stage["slot0_utc_s"]), float(stage["slot_s"])
    plan, problem = stage["plan"] or {}, stage["problem"] or {}

    def at(s: float) -> float:
        return slot0 + s * slot

    done = sorted(
        (
            Done(
                section_id=p["section_id"],
                step_id=p["step_id"],
                crew_id=p.get("crew_id", ""),
                begin_s=at(p["start"]),
                end_s=at(p["end"]),
            )
            for p in plan.get("placed", ())
        ),
        key=lambda d: (d.begin_s, d.section_id, d.end_s),
    )
    return Calendar(
        status=str(plan.get("status", "not-found")),
        done=tuple(done),
        opens={k: at(v) for k, v in plan.get("opens", {}).items() if v is not None and v >= 0},
        counter=_counter(stage, problem, plan),
        stalls_total=int(problem.get("stalls_total", 0)),
        stalls_closed_max=int(problem.get("stalls_closed_max", 0)),
        starts={
            (t["section_id"], t["step_id"]): tuple((at(a), at(b)) for a, b in t.get("starts", ()))
            for t in problem.get("tasks", ())
        },
        shifts=tuple(
            (s["shift_id"], date.fromisoformat(s["on"]), at(s["begin"]), at(s["end"]))
            for s in problem.get("shifts", ())
        ),
        zone=built.zone,
    )


def _counter(stage: Json, problem: Json, plan: Json) -> Counter:
    """What the count of stalls reads of a plan; its long tables stay unread."""
    closures = tuple(
        Closure(section_id=c["section_id"], stalls=int(c["stalls"]), first=c["first"],
                last=c["last"], open_at=(), since=c.get("since"))
        for c in problem.get("closures", ())
    )  # fmt: skip
    placed = tuple(
        Placed(task_id=p["task_id"], section_id=p["section_id"], step_id=p["step_id"],
               crew_id=p.get("crew_id", ""), start=p["start"], end=p["end"])
        for p in plan.get("placed", ())
    )  # fmt: skip
    return Counter(
        Problem(
            slot0_utc_s=int(stage["slot0_utc_s"]), slot_s=int(stage["slot_s"]),
            slots=int(problem.get("slots", 0)), shifts=(), crews=(), tasks=(), lags=(),
            closures=closures, stalls_total=int(problem.get("stalls_total", 0)),
            stalls_closed_max=int(problem.get("stalls_closed_max", 0)),
            access=_ACCESS.validate_python(problem.get("access")),
            shut=tuple(Span(**x) for x in problem.get("shut", ())),
        ),
        Plan(
            status=str(plan.get("status", "not-found")), placed=placed,
            opens={k: v for k, v in plan.get("opens", {}).items() if v is not None},
            stages=(), seed=0, method="",
        ),
    )  # fmt: skip
