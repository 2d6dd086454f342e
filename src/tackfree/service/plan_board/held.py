"""Hold points of a plan in words: who comes when, and by when they must be told."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.plan.holds import Visit, visits_of
from tackfree.service.plan_board.moves import when
from tackfree.service.plan_board.sheet import Sheet
from tackfree.words import catalogue, say


@dataclass(frozen=True, kw_only=True)
class HeldVisit:
    """One visit to one or more sections at the same time, by the same notice."""

    visits: tuple[Visit, ...]

    @property
    def first(self) -> Visit:
        return self.visits[0]

    @property
    def sections(self) -> tuple[str, ...]:
        return tuple(v.hold.section_id for v in self.visits)


def held_visits(sheet: Sheet) -> tuple[HeldVisit, ...]:
    """Every visit of a plan, those of one hold point at one time together."""
    groups: dict[tuple[str, int, int], list[Visit]] = {}
    for v in visits_of(sheet.problem, sheet.plan):
        groups.setdefault((v.hold.id, v.begin, v.notice_by), []).append(v)
    every = [HeldVisit(visits=tuple(g)) for g in groups.values()]
    return tuple(sorted(every, key=lambda x: (x.first.begin, x.sections)))


def visit_said(sheet: Sheet, held: HeldVisit, language: str) -> tuple[str, str]:
    """The visit, then by when they must be told."""
    v = held.first
    step = v.hold.after.split("/", 1)[1]
    key = f"step.{step.split('-')[0]}"
    values = {
        "who": v.hold.who,
        "sees": v.hold.sees,
        "sections": ", ".join(held.sections),
        "step": say(key, language) if key in catalogue("en") else step,
        "at": f"{when(sheet, v.begin, language)}–{sheet.time_of(v.end):%H:%M}",
        "by": when(sheet, v.notice_by, language),
    }
    return (say("planboard.held.visit", language, **values),
            say("planboard.held.tell", language, **values))  # fmt: skip
