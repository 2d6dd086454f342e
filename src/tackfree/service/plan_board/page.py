"""The plan board as a page: rows of sections, bars of steps, and each day as a list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from tackfree.plan.types import Placed
from tackfree.service.pages.read import Built
from tackfree.service.plan_board.held import held_visits, visit_said
from tackfree.service.plan_board.moves import Judged, Said, moves_text, spoken, when
from tackfree.service.plan_board.sheet import Sheet
from tackfree.service.save import to_json
from tackfree.sheets.ics import limits_of
from tackfree.sheets.plan_board_svg import Bar, Board, DayColumn, Row, board_svg
from tackfree.words import catalogue, say

LETTERS = {"PREP": "P", "DETAILS": "D", "SWEEP": "S", "STRIPE": "L"}


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of the chosen day, as a line with its form."""

    task_id: str
    section: str
    step: str
    crew: str
    span: str
    begins: str  # value of a datetime-local field
    down_by: str
    moved: bool
    faults: tuple[tuple[str, str], ...]  # rule, remedy


@dataclass(frozen=True, kw_only=True)
class BoardPage:
    """All that the page shows of the board."""

    names: str
    time: str
    moves: str
    undone: str  # the moves without the last one
    count: int
    holds: bool
    faults: tuple[tuple[str, str, str], ...]  # where, rule, remedy
    finish: str
    was: str
    steps: tuple[Step, ...]
    visits: tuple[tuple[str, str], ...]  # hold points of the day: the visit, the notice
    holds_any: bool
    crews: tuple[str, ...]
    least: str  # of the datetime-local fields
    most: str
    language: str

    def name_of(self, step_id: str) -> str:
        """A step's name, for the key."""
        return step_name(step_id, self.language)


def board_page(base: Sheet, judged: Judged, day: date | None, language: str) -> BoardPage:
    """The board after its moves, and the steps of one day.

    ``base`` is the plan before the moves.
    """
    sheet = judged.sheet
    limits: dict[str, int] = {}
    for x in limits_of(sheet.problem, sheet.plan):  # the first of several counts
        limits.setdefault(f"{x.section_id}/{x.after}", x.slot)
    board = _board(base, judged, limits, day, language)
    drawn = board_svg(board)
    told = [(s, spoken(sheet, s.rule, language), spoken(sheet, s.remedy, language))
            for s in judged.said]  # fmt: skip
    moves = judged.moves
    days = sheet.days
    visits = held_visits(sheet)
    begin, end = sheet.day_slots(day) if day else (0, 0)
    due = [v for v in visits if any(begin <= n < end for n in (v.first.begin, v.first.notice_by))]
    return BoardPage(
        names=drawn.names,
        time=drawn.time,
        moves=moves_text(moves),
        undone=moves_text(moves[:-1]),
        count=len(moves),
        holds=judged.holds,
        faults=tuple((s.where, a, b) for s, a, b in told),
        finish=when(sheet, _finish(sheet), language),
        was=when(base, _finish(base), language) if _finish(base) != _finish(sheet) else "",
        steps=tuple(
            _step(sheet, p, limits.get(p.task_id), judged, told, language)
            for p in (sheet.on(day) if day else ())
        ),
        visits=tuple(visit_said(sheet, v, language) for v in due),
        holds_any=bool(visits),
        crews=tuple(c.id for c in sheet.problem.crews),
        least=f"{days[0] - timedelta(days=14)}T00:00" if days else "",
        most=f"{days[-1] + timedelta(days=60)}T23:59" if days else "",
        language=language,
    )


def with_plan(built: Built, sheet: Sheet) -> Built:
    """The build as the pages read it, with another plan in it."""
    stage: dict[str, Any] = dict(built.stage("plan") or {})
    stage["plan"] = to_json(sheet.plan)
    stage["slot0_utc_s"] = sheet.problem.slot0_utc_s
    return replace(built, stages={**built.stages, "plan": stage})


def _finish(sheet: Sheet) -> int:
    return max([*(p.end for p in sheet.plan.placed), *sheet.plan.opens.values()], default=0)


def step_name(step_id: str, language: str) -> str:
    """A step in the words of the trade; an unknown one as it is called."""
    key = f"step.{step_id.split('-')[0]}"
    return say(key, language) if key in catalogue("en") else step_id


def _board(
    base: Sheet, judged: Judged, limits: Mapping[str, int], day: date | None, language: str
) -> Board:
    sheet = judged.sheet
    starts = {t.id: t.starts for t in sheet.problem.tasks}
    moved = {m.task_id for m in judged.moves}
    broken = {s.where for s in judged.said}
    worked = {sheet.time_of(s.begin).date() for s in sheet.problem.shifts}
    weekdays = say("page.weekdays", language).split()
    months = say("page.months", language).split()
    span = _span(base.days, sheet.days)
    columns = []
    for d in span:
        begin, end = sheet.day_slots(d)
        columns.append(
            DayColumn(begin=begin, end=end, weekday=weekdays[d.weekday()],
                      day=f"{d.day} {months[d.month - 1]}", worked=d in worked, current=d == day)
        )  # fmt: skip

    def bar(p: Placed) -> Bar:
        limit = limits.get(p.task_id)
        said = say("planboard.bar", language, section=p.section_id, crew=p.crew_id,
                   step=step_name(p.step_id, language), begin=when(sheet, p.start, language),
                   end=f"{sheet.time_of(p.end):%H:%M}")  # fmt: skip
        if limit is not None:
            said += "; " + say("planboard.bar-limit", language, limit=when(sheet, limit, language))
        return Bar(
            task_id=p.task_id, start=p.start, end=p.end, crew_id=p.crew_id,
            letters=LETTERS.get(p.step_id, p.step_id[:2].title()), said=said,
            kind=p.step_id.split("-")[0].lower(), limit=limit, starts=starts.get(p.task_id, ()),
            moved=p.task_id in moved, broken=p.task_id in broken,
        )  # fmt: skip

    visits: dict[str, list[tuple[int, str]]] = {}
    for v in held_visits(sheet):
        said = " ".join(visit_said(sheet, v, language))
        for section in v.sections:
            visits.setdefault(section, []).append((v.first.begin, said))
    rows: list[Row] = []
    decks = dict.fromkeys(p.deck_id for p in sheet.places)
    for deck in decks:
        rows.append(Row(name=deck, head=True))
        mine = [p for p in sheet.places if p.deck_id == deck]
        mine.sort(key=lambda p: (sheet.closed.get(p.id, (sheet.problem.slots, 0))[0], p.id))
        for place in mine:
            bars = [p for p in sheet.plan.placed if p.section_id == place.id]
            opens = sheet.plan.opens.get(place.id, -1)
            rows.append(
                Row(
                    name=place.id,
                    bars=tuple(map(bar, sorted(bars, key=lambda p: p.start))),
                    closed=sheet.closed.get(place.id) if opens >= 0 else None,
                    closed_said=say("planboard.cars", language, section=place.id,
                                    at=when(sheet, opens, language)) if opens >= 0 else "",
                    visits=tuple(visits.get(place.id, ())),
                )
            )  # fmt: skip
    return Board(
        title=say("planboard.board-label", language), rows=tuple(rows), days=tuple(columns)
    )


def _span(a: Sequence[date], b: Sequence[date]) -> tuple[date, ...]:
    every = [*a, *b]
    if not every:
        return ()
    first, last = min(every), max(every)
    return tuple(first + timedelta(days=i) for i in range((last - first).days + 1))


def _step(
    sheet: Sheet, p: Placed, limit: int | None, judged: Judged,
    told: Sequence[tuple[Said, str, str]], language: str,
) -> Step:  # fmt: skip
    return Step(
        task_id=p.task_id,
        section=p.section_id,
        step=step_name(p.step_id, language),
        crew=p.crew_id,
        span=f"{sheet.time_of(p.start):%H:%M}–{sheet.time_of(p.end):%H:%M}",
        begins=f"{sheet.time_of(p.start):%Y-%m-%dT%H:%M}",
        down_by=when(sheet, limit, language) if limit is not None else "",
        moved=any(m.task_id == p.task_id for m in judged.moves),
        faults=tuple((a, b) for s, a, b in told if s.where == p.task_id),
    )
