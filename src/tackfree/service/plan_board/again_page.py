"""A search for a better plan as a page: how far it is, and what it would change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tackfree.plan.types import Plan, Stage
from tackfree.service.plan_board.ahead import day_name
from tackfree.service.plan_board.moves import Judged, Move, when
from tackfree.service.plan_board.page import board_page
from tackfree.service.plan_board.sheet import Sheet
from tackfree.service.planning.searching import LIMITS_S, Standing
from tackfree.words import say

FINISH = "finish"


@dataclass(frozen=True, kw_only=True)
class GoalRow:
    """One objective: in force, found, and what no plan can beat."""

    name: str
    present: str
    found: str
    bound: str


@dataclass(frozen=True, kw_only=True)
class SectionChange:
    """A section whose closing or steps stand elsewhere."""

    id: str
    steps: str
    closes: tuple[str, str]  # in force, proposed
    opens: tuple[str, str]


@dataclass(frozen=True, kw_only=True)
class AgainPage:
    """All that the page shows of a search."""

    state: str
    at_work: bool
    lead: str
    spent: str
    broken: str
    rows: tuple[GoalRow, ...]
    changes: tuple[SectionChange, ...]
    same: int  # sections that stay as they are
    names: str  # the board of the proposal, what moved marked
    time: str
    faults: tuple[tuple[str, str], ...]
    limits: tuple[tuple[int, str], ...]


def again_page(now: Standing, language: str) -> AgainPage:
    """A search as it stands."""

    def tell(name: str, **values: object) -> str:
        return say(f"planboard.again.{name}", language, **values)

    proposed = now.sheet if now.state == "proposed" else None
    changes = _changes(now.present, proposed, language) if proposed and now.present else ()
    drawn = _board(now.present, proposed, language) if proposed else ("", "")
    shown = {"n": now.rounds + 1, "seconds": f"{now.seconds:,.0f}", "step": now.step[0],
             "of": now.step[1]}  # fmt: skip
    spent = ""
    if now.limit_s:
        spent = tell("spent", seconds=shown["seconds"], limit=tell(f"limit-{now.limit_s:.0f}"),
                     person=now.person)  # fmt: skip
    return AgainPage(
        state=now.state,
        at_work=now.at_work,
        lead=tell(f"state-{now.state}", **shown),
        spent=spent,
        broken=tell("broken", n=now.broken) if now.broken else "",
        rows=_rows(now, language),
        changes=changes,
        same=len(proposed.places) - len(changes) if proposed else 0,
        names=drawn[0],
        time=drawn[1],
        faults=tuple((f.what, f.do) for f in now.faults),
        limits=tuple((n, tell(f"limit-{n}")) for n in LIMITS_S),
    )


def _rows(now: Standing, language: str) -> tuple[GoalRow, ...]:
    """Every objective; while the first round goes on, the finish alone is known."""
    grid = now.sheet or now.present
    here = {s.name: s for s in now.present.plan.stages} if now.present and not now.broken else {}
    found = {s.name: s for s in now.stages}
    if not found and now.finish is not None:
        found = {FINISH: Stage(name=FINISH, value=now.finish, bound=now.bound or 0,
                               bound_source="CP-SAT")}  # fmt: skip
    if grid is None or now.state in ("building", "taken"):
        return ()
    out = []
    for name in dict.fromkeys([*found, *here]):
        a, b = here.get(name), found.get(name)
        known = b or a
        bound = ""
        if known is not None and known.bound_source != "none" and known.bound > 0:
            proven = known.bound >= known.value
            bound = say("planboard.again.proven", language) if proven else _value(
                grid, name, known.bound, language)  # fmt: skip
        out.append(
            GoalRow(name=say(f"page.objective.{name}", language), bound=bound,
                    present=_value(grid, name, a.value, language) if a else "",
                    found=_value(grid, name, b.value, language) if b else "")
        )  # fmt: skip
    return tuple(out)


def _value(grid: Sheet, name: str, value: float, language: str) -> str:
    if name == FINISH:
        return day_name(grid.time_of(value).date(), language)
    per = {"stall-slots": 86400, "slack": 3600}.get(name)
    return f"{value * grid.problem.slot_s / per:,.0f}" if per else f"{value:,.0f}"


def _changes(was: Sheet, now: Sheet, language: str) -> tuple[SectionChange, ...]:
    out = []
    before, after = was.at, now.at
    first_was, first_now = _first(was.plan), _first(now.plan)
    for place in now.places:
        mine = [p for p in now.plan.placed if p.section_id == place.id]
        moved = [
            p for p in mine
            if (old := before.get(p.task_id)) is None
            or (old.start, old.crew_id) != (after[p.task_id].start, p.crew_id)
        ]  # fmt: skip
        if not moved:
            continue

        def pair(sheets: tuple[int | None, int | None]) -> tuple[str, str]:
            a, b = (when(s, n, language) if n is not None and n >= 0 else "–"
                    for s, n in zip((was, now), sheets, strict=True))  # fmt: skip
            return a, b

        out.append(
            SectionChange(
                id=place.id,
                steps=say("planboard.again.moved", language, n=len(moved), of=len(mine)),
                closes=pair((first_was.get(place.id), first_now.get(place.id))),
                opens=pair((was.plan.opens.get(place.id), now.plan.opens.get(place.id))),
            )
        )
    return tuple(out)


def _first(plan: Plan) -> Mapping[str, int]:
    out: dict[str, int] = {}
    for p in plan.placed:
        out[p.section_id] = min(p.start, out.get(p.section_id, p.start))
    return out


def _board(was: Sheet | None, now: Sheet, language: str) -> tuple[str, str]:
    """The proposal as a board, with the bars that stand elsewhere marked."""
    old = was.at if was else {}
    moves = tuple(
        Move(task_id=p.task_id, start=p.start, crew_id=p.crew_id)
        for p in now.plan.placed
        if was is not None and (q := old.get(p.task_id)) != p and (q is None or q.start != p.start)
    )
    drawn = board_page(was or now, Judged(sheet=now, moves=moves, said=()), None, language)
    return drawn.names, drawn.time
