"""Which stalls are closed on which day, and which reopen."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from tackfree.service.plan_board.moves import when
from tackfree.service.plan_board.sheet import Place, Sheet
from tackfree.words import say


@dataclass(frozen=True, kw_only=True)
class Shut:
    """Stalls of one section on one day."""

    place: Place
    closes: int  # slot
    opens: int  # slot, -1 not known
    closes_today: bool
    opens_today: bool


@dataclass(frozen=True, kw_only=True)
class StallDay:
    """One date: what is closed at its worst moment, and the sections it is closed in."""

    day: date
    closed: int
    most: int
    total: int
    accessible: int
    accessible_total: int
    shut: tuple[Shut, ...]


def stall_days(sheet: Sheet) -> tuple[StallDay, ...]:
    """Every date of the plan. ``closed`` is the most at one moment of the date."""
    return tuple(stall_day(sheet, d) for d in sheet.days)


def stall_day(sheet: Sheet, day: date) -> StallDay:
    """One date of the stall calendar."""
    begin, end = sheet.day_slots(day)
    shut = []
    for place in sheet.shut_on(day):
        closes, until = sheet.closed[place.id]
        opens = sheet.plan.opens.get(place.id, -1)
        shut.append(
            Shut(place=place, closes=closes, opens=opens, closes_today=begin <= closes < end,
                 opens_today=begin <= until < end and opens >= 0)
        )  # fmt: skip
    return StallDay(
        day=day,
        closed=_worst(sheet, begin, end, "stalls"),
        most=sheet.problem.stalls_closed_max,
        total=sheet.problem.stalls_total,
        accessible=_worst(sheet, begin, end, "accessible"),
        accessible_total=sum(p.accessible for p in sheet.places),
        shut=tuple(shut),
    )


def _worst(sheet: Sheet, begin: int, end: int, what: str) -> int:
    """The most closed at one moment between two slots."""
    spans = [
        (sheet.closed[p.id], int(getattr(p, what))) for p in sheet.places if p.id in sheet.closed
    ]
    moments = {begin, *(a for (a, _), _ in spans if begin < a < end)}
    return max(sum(n for (a, b), n in spans if a <= m < b) for m in moments)


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

    out = [tell("day", n=day.closed, total=day.total, open=day.total - day.closed, most=day.most)]
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

    numbers = numbers_said(shut.place.numbers)
    span = tell("closes", at=when(sheet, shut.closes, language))
    if shut.opens >= 0:
        span += ", " + tell("opens", at=when(sheet, shut.opens, language))
    return (
        tell("section", section=shut.place.id, n=shut.place.stalls),
        tell("numbers", numbers=numbers) if numbers else tell("no-numbers"),
        span,
    )


def document(sheet: Sheet, days: Sequence[StallDay]) -> dict[str, Any]:
    """Stalls by day for ``--json``."""
    return {
        "days": [
            {
                "day": d.day, "closed": d.closed, "closed_max": d.most, "total": d.total,
                "accessible_closed": d.accessible, "accessible_total": d.accessible_total,
                "sections": [_row(sheet, s) for s in d.shut],
            }
            for d in days
        ]
    }  # fmt: skip


def _row(sheet: Sheet, s: Shut) -> Mapping[str, Any]:
    return {
        "section_id": s.place.id,
        "stalls": s.place.stalls,
        "numbers": list(s.place.numbers),
        "accessible": s.place.accessible,
        "closes_utc_s": sheet.time_of(s.closes).timestamp(),
        "opens_utc_s": sheet.time_of(s.opens).timestamp() if s.opens >= 0 else None,
    }
