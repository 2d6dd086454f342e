"""Which stalls are closed or cut off on which day, and which reopen."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from tackfree.service.plan_board.gone import Gone
from tackfree.service.plan_board.moves import when
from tackfree.service.plan_board.sheet import Place, Sheet
from tackfree.words import say


@dataclass(frozen=True, kw_only=True)
class Shut:
    """Stalls of one section on one day: closed with it, or cut off behind other sections."""

    place: Place
    stalls: int
    numbers: tuple[str, ...]
    closes: int  # slot
    opens: int  # slot, -1 not known
    closes_today: bool
    opens_today: bool
    behind: tuple[str, ...] = ()  # closed sections in the way; empty: closed itself


@dataclass(frozen=True, kw_only=True)
class StallDay:
    """One date at its worst moment, and the sections whose stalls are gone at some time of it.

    ``closed`` lie on closed sections, ``cut`` are cut off from the street behind them; the
    sum is what the planner counts. ``counted`` is what it holds against ``most``.
    """

    day: date
    closed: int
    cut: int
    counted: int
    most: int
    total: int
    accessible: int
    accessible_total: int
    shut: tuple[Shut, ...]

    @property
    def gone(self) -> int:
        return self.closed + self.cut

    @property
    def over(self) -> bool:
        return self.counted > self.most


def stall_days(sheet: Sheet) -> tuple[StallDay, ...]:
    """Every date of the plan. Counts are the most at one moment of the date."""
    return tuple(stall_day(sheet, d) for d in sheet.days)


def stall_day(sheet: Sheet, day: date) -> StallDay:
    """One date of the stall calendar."""
    begin, end = sheet.day_slots(day)
    shut = []
    for place in sheet.shut_on(day):
        closes, until = sheet.closed[place.id]
        opens = sheet.plan.opens.get(place.id, -1)
        shut.append(
            Shut(place=place, stalls=place.stalls, numbers=place.numbers, closes=closes,
                 opens=opens, closes_today=begin <= closes < end,
                 opens_today=begin <= until < end and opens >= 0)
        )  # fmt: skip
    for c in sheet.gone.cuts:
        if c.begin >= end or c.end <= begin:
            continue
        home = sheet.place.get(c.section_id) or Place(id=c.node, deck_id="")
        numbers = home.by_node.get(c.node, ((), 0))[0]
        known = c.end < sheet.problem.slots
        shut.append(
            Shut(place=home, stalls=c.stalls, numbers=numbers, closes=c.begin,
                 opens=c.end if known else -1, closes_today=begin <= c.begin < end,
                 opens_today=known and begin <= c.end < end, behind=c.behind)
        )  # fmt: skip
    during, worst = sheet.gone.during(begin, end), sheet.gone.worst(begin, end)
    return StallDay(
        day=day,
        closed=worst.closed_n,
        cut=worst.cut_n,
        counted=max(g.counted for g in during),
        most=sheet.problem.stalls_closed_max,
        total=sheet.problem.stalls_total,
        accessible=max(_accessible(sheet, g) for g in during),
        accessible_total=sum(p.accessible for p in sheet.places),
        shut=tuple(shut),
    )


def worst_deck(sheet: Sheet, day: date) -> str | None:
    """The deck with most stalls gone on a date; None where none are."""
    gone: dict[str, int] = {}
    for s in stall_day(sheet, day).shut:
        gone[s.place.deck_id] = gone.get(s.place.deck_id, 0) + s.stalls
    return max(gone, key=lambda d: gone[d]) or None if gone else None


def busiest_deck(sheet: Sheet, day: date) -> str | None:
    """The deck with most work on a date; None where there is none."""
    begin, end = sheet.day_slots(day)
    work: dict[str, int] = {}
    for p in sheet.on(day):
        deck = sheet.place[p.section_id].deck_id if p.section_id in sheet.place else ""
        work[deck] = work.get(deck, 0) + min(p.end, end) - max(p.start, begin)
    return max(work, key=lambda d: work[d]) or None if work else None


def _accessible(sheet: Sheet, gone: Gone) -> int:
    """Stalls drawn as accessible that are closed or cut off."""
    cut = (sheet.place[s].by_node.get(node, ((), 0))[1] for s, node in gone.cut if s in sheet.place)
    return sum(sheet.place[s].accessible for s in gone.closed if s in sheet.place) + sum(cut)


def numbers_said(numbers: Sequence[str]) -> str:
    """Painted numbers with runs drawn together: "101–118, 120".

    Examples
    --------
    >>> numbers_said(["3", "1", "2", "7", "A9", "A10"])
    '1–3, 7, A9–A10'
    """
    split = [re.match(r"^(\D*)(\d+)$", n) for n in numbers]
    plain = sorted(n for n, m in zip(numbers, split, strict=True) if m is None)
    counted = sorted({(m[1], len(m[2]) if m[2][0] == "0" else 0, int(m[2])) for m in split if m})
    out = []
    for _, run in groupby(enumerate(counted), key=lambda x: (x[1][0], x[1][1], x[1][2] - x[0])):
        names = [f"{head}{value:0{wide}d}" for _, (head, wide, value) in run]
        out.append(names[0] if len(names) == 1 else f"{names[0]}–{names[-1]}")
    return ", ".join([*out, *plain])


def lines(sheet: Sheet, day: StallDay, language: str) -> list[str]:
    """A day in sentences: the count first, then each section with its numbers."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.stall.{name}", language, **values)

    open_n = day.total - day.gone
    if day.cut:
        out = [tell("day-cut", n=day.gone, closed=day.closed, cut=day.cut, total=day.total,
                    open=open_n, most=day.most)]  # fmt: skip
    else:
        out = [tell("day", n=day.closed, total=day.total, open=open_n, most=day.most)]
    if day.accessible_total:
        out.append(tell("accessible", n=day.accessible, total=day.accessible_total))
    else:
        out.append(tell("accessible-none"))
    if not day.shut:
        out.append(tell("open"))
    for s in day.shut:
        out.append("; ".join(section_said(sheet, s, language)))
    return out


def section_said(sheet: Sheet, shut: Shut, language: str) -> tuple[str, str, str]:
    """A section on a day: its count, its numbers, and from when to when it is closed."""

    def tell(name: str, **values: Any) -> str:
        return say(f"planboard.stall.{name}", language, **values)

    numbers = numbers_said(shut.numbers)
    kind = "cut-" if shut.behind else ""
    span = tell(f"{kind}closes", at=when(sheet, shut.closes, language))
    if shut.opens >= 0:
        span += ", " + tell(f"{kind}opens", at=when(sheet, shut.opens, language))
    if shut.behind:
        span += ", " + tell("behind", names=", ".join(shut.behind))
    return (
        tell(f"{kind}section", section=shut.place.id, n=shut.stalls),
        tell("numbers", numbers=numbers) if numbers else tell("no-numbers"),
        span,
    )


def document(sheet: Sheet, days: Sequence[StallDay]) -> dict[str, Any]:
    """Stalls by day for ``--json``."""
    return {
        "days": [
            {
                "day": d.day, "closed": d.closed, "cut_off": d.cut, "gone": d.gone,
                "closed_max": d.most, "total": d.total,
                "accessible_closed": d.accessible, "accessible_total": d.accessible_total,
                "sections": [_row(sheet, s) for s in d.shut],
            }
            for d in days
        ]
    }  # fmt: skip


def _row(sheet: Sheet, s: Shut) -> Mapping[str, Any]:
    return {
        "section_id": s.place.id,
        "stalls": s.stalls,
        "numbers": list(s.numbers),
        "cut_off_by": list(s.behind),
        "accessible": s.place.accessible,
        "closes_utc_s": sheet.time_of(s.closes).timestamp(),
        "opens_utc_s": sheet.time_of(s.opens).timestamp() if s.opens >= 0 else None,
    }
