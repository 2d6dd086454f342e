"""Every section's clock on one board, and which windows are missed by an hour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tackfree.climate.slab import BARE_ABSORPTANCE
from tackfree.cure.remedy import Remedy
from tackfree.cure.types import Clock
from tackfree.deck.types import Section
from tackfree.service import climate as climates
from tackfree.service.clocks import ClockLine
from tackfree.service.pages import Reader
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import PlacedLine
from tackfree.service.remedies import ways_at
from tackfree.service.shift import step_word
from tackfree.service.windows import age_message, forecast_age_h
from tackfree.units import show
from tackfree.words import Message, say

OPEN_WINDOWS = ("past", "no_moment")


@dataclass(frozen=True, kw_only=True)
class BoardLine:
    """One section at one moment: its last coat, where its clock stands, what it needs.

    ``state`` is a name of ``cure.board``. ``wet`` tells that the weather has rain on
    it since its first kit; ``wet_before_tack_free`` that this voids the coat until a
    named person has inspected it.
    """

    section_id: str
    area_m2: float
    coat_id: str
    next_coat_id: str
    state: str
    line: ClockLine | None
    wet: bool = False
    wet_before_tack_free: bool = False
    source: str = "plan"  # or record
    kits: int = 0  # logged, where the record is the source
    void: Message | None = None
    cells: tuple[tuple[str, Clock], ...] = ()  # by kit mark
    remedies: tuple[Remedy, ...] = ()

    @property
    def past(self) -> bool:
        return self.state in OPEN_WINDOWS


def board(
    made: Pipeline,
    at: datetime,
    stop: datetime | None = None,
    logged: tuple[PlacedLine, ...] = (),
) -> tuple[BoardLine, ...]:
    """Every section at a moment.

    Parameters
    ----------
    made : Pipeline
        The job with its plan.
    at : datetime
        The moment to judge (aware).
    stop : datetime, optional
        No coat begins after this: what if the rain or the truck stops the work.
        Without it the plan goes on until ``at``.
    logged : tuple of PlacedLine
        What the record holds as placed: a section that has any stands on it, not on
        the plan.
    """
    until = (at if stop is None else min(at, stop)).timestamp()
    lines: dict[str, list[ClockLine]] = {}
    known = {one.line.section_id for one in logged}
    placed = {(o.line.section_id, o.line.coat_id): o for o in logged}
    planned = (c for c in made.clocks if c.section_id not in known)
    for clock in (*planned, *(o.line for o in logged)):
        if clock.clock.placed_from_utc_s < until:
            lines.setdefault(clock.section_id, []).append(clock)
    rows = (
        _line(made, s, lines.get(s.id, []), at.timestamp(), until) for s in made.sections.sections
    )
    return tuple(_from_record(r, placed.get((r.section_id, r.coat_id))) for r in rows)


def _from_record(row: BoardLine, one: PlacedLine | None) -> BoardLine:
    if one is None:
        return row
    return replace(
        row, source="record", kits=one.logged.kits, void=one.void, cells=one.cells,
        wet_before_tack_free=row.wet_before_tack_free and one.void is not None,
    )  # fmt: skip


def _line(
    made: Pipeline, section: Section, placed: list[ClockLine], at: float, until: float
) -> BoardLine:
    coats = made.job.build_ups[section.build_up_id].coats
    ids = [c.id for c in coats]
    if not placed:
        return BoardLine(
            section_id=section.id, area_m2=section.developed_m2, coat_id="", next_coat_id=ids[0],
            state="bare", line=None,
        )  # fmt: skip
    last = max(placed, key=lambda c: ids.index(c.coat_id))
    index = ids.index(last.coat_id)
    follows = ids[index + 1] if index + 1 < len(ids) else ""
    coat, c = coats[index], last.clock
    state = _state(last, at, bool(follows))
    wet, void = _rained(made, section, coat.product_id, c.placed_from_utc_s, at, last)
    remedies: tuple[Remedy, ...] = ()
    before = c.recoat_before_utc_s
    if state in OPEN_WINDOWS and before is not None:
        now = max(until, c.placed_from_utc_s) if state == "no_moment" else at
        remedies = ways_at(made, last, now, wet=wet)
    return BoardLine(
        section_id=section.id,
        area_m2=section.developed_m2,
        coat_id=last.coat_id,
        next_coat_id=follows,
        state=state,
        line=last,
        wet=wet,
        wet_before_tack_free=void,
        remedies=remedies,
    )


def _state(line: ClockLine, at: float, follows: bool) -> str:
    c = line.clock
    tack, after, before = (
        c.tack_free.careful_utc_s,
        c.recoat_after.careful_utc_s,
        c.recoat_before_utc_s,
    )
    if not follows:
        return "done"
    if before is not None and at >= before:
        return "past"
    if c.no_legal_moment:
        return "no_moment"
    if tack is not None and at < tack:
        return "wet_film"
    if after is None:
        return "unknown"
    return "curing" if at < after else "open"


def _rained(
    made: Pipeline, section: Section, product_id: str, since: float, at: float, line: ClockLine
) -> tuple[bool, bool]:
    stage = made.climate
    there = stage.on_slots[climates.where_of(made.job, section), BARE_ABSORPTANCE]
    begins = stage.slot0_utc_s + stage.slot_s * np.arange(stage.slots)
    falls = there.rain > 0
    since_first = falls & (begins + stage.slot_s > since) & (begins < at)
    tack = line.clock.tack_free.careful_utc_s
    early = since_first & (begins < (at if tack is None else tack))
    return bool(since_first.any()), bool(early.any())


def document(
    made: Pipeline,
    at: datetime,
    stop: datetime | None,
    logged: tuple[PlacedLine, ...] = (),
) -> dict[str, Any]:
    """The board as rows for ``--json``."""
    rows = board(made, at, stop, logged)
    return {
        "at": at,
        "stop": stop,
        "forecast_age_h": forecast_age_h(made),
        "lines": list(rows),
        "past": [r.section_id for r in rows if r.past],
        "past_m2": sum(r.area_m2 for r in rows if r.past),
    }


def text(
    made: Pipeline,
    at: datetime,
    stop: datetime | None,
    logged: tuple[PlacedLine, ...] = (),
    language: str = "en",
) -> str:
    """The board for people: the missed windows first, then every clock."""
    zone = ZoneInfo(made.job.place.time_zone)
    reader = Reader(language=language, units=made.job.units, zone=zone)
    rows = board(made, at, stop, logged)
    missed = [r for r in rows if r.past]

    def word(name: str, **values: Any) -> str:
        return say(f"cure.board.{name}", language, **values)

    def when(utc_s: float | None, toward: str = "down") -> str:
        return "-" if utc_s is None else reader.moment(utc_s, toward=toward)

    def coat(coat_id: str) -> str:
        return step_word(coat_id, language) if coat_id else "-"

    shown = when(at.timestamp())
    lines = [word("head", at=shown)]
    if stop is not None:
        lines.append(word("halt", at=when(stop.timestamp())))
    lines.append("")
    if missed:
        area = sum(r.area_m2 for r in missed)
        us, si = (show(area, "area", s, 0, language) for s in ("us", "si"))
        lines.append(word("past-n", n=len(missed), of=len(rows), us=us, si=si))
        for r in missed:
            assert r.line is not None
            before = word("before", at=when(r.line.clock.recoat_before_utc_s))
            why = "" if r.state == "past" else f"{word(r.state)}; "
            lines.append(f"  {r.section_id} {coat(r.coat_id)}: {why}{before}")
            if r.wet_before_tack_free:
                lines.append(f"    {say('cure.wet_voids', language)}")
            lines += [f"    {say(m.message, language)}" for m in r.remedies]
    else:
        lines.append(word("none_past", at=shown))
    for r in rows:
        if r.void is not None:
            lines.append(f"  {r.section_id} {coat(r.coat_id)}: {say(r.void, language)}")
    table = [[word(f"column.{c}") for c in ("section", "coat", "state", "after", "before", "by")]]
    for r in rows:
        clock = r.line.clock if r.line and r.next_coat_id else None
        by = word("by-kits", n=r.kits) if r.kits else word(f"by-{r.source}") if r.coat_id else ""
        table.append([
            r.section_id, coat(r.coat_id), word(r.state),
            when(clock.recoat_after.careful_utc_s, "up") if clock else "-",
            when(clock.recoat_before_utc_s) if clock else "-", by,
        ])  # fmt: skip
    wide = [max(len(row[k]) for row in table) + 2 for k in range(len(table[0]))]
    lines.append("")
    lines += ["".join(f"{c:{w}}" for c, w in zip(row, wide, strict=True)).rstrip()
              for row in table]  # fmt: skip
    return "\n".join([*lines, "", say(age_message(made), language),
                      say("sheet.planning-help", language)])  # fmt: skip
