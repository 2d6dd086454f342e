"""Papers and files of a plan: stall calendar, three weeks ahead, workbook, crew calendars."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import groupby
from pathlib import Path

from tackfree.errors import NotFound
from tackfree.service.pages.drawing import Mark, drawing
from tackfree.service.pages.read import Built, has_file
from tackfree.service.pages.said import Reader, Value
from tackfree.service.pages.types import Page
from tackfree.service.plan_board.ahead import day_name, look_ahead
from tackfree.service.plan_board.moves import when
from tackfree.service.plan_board.sheet import Sheet
from tackfree.service.plan_board.stalls import (
    StallDay,
    lines,
    numbers_said,
    section_said,
    stall_day,
    stall_days,
)
from tackfree.sheets.ics import plan_calendar
from tackfree.sheets.plan_book import BookHead, GridRow, PlanGrid, write_plan_book
from tackfree.sheets.stall_calendar import (
    PaperDay,
    PaperHead,
    PaperWeek,
    render_ahead_pdf,
    render_stalls_pdf,
    small_deck,
)
from tackfree.words import say

_CREW = re.compile(r"^crew-([A-Z0-9-]{1,80})\.ics$")


@dataclass(frozen=True, kw_only=True)
class StallDaySaid:
    """A day of the calendar in words."""

    lead: tuple[str, ...]
    rows: tuple[tuple[str, str, str, str], ...]  # section id, count, numbers, times


@dataclass(frozen=True, kw_only=True)
class WeekCell:
    """A day in the calendar's week."""

    iso: str
    name: str
    gone: int
    closed: int
    cut: int
    open: int
    over: bool
    changes: tuple[str, ...]


def stall_day_said(sheet: Sheet, day: date, language: str) -> StallDaySaid:
    """The count, then each section with numbers and times."""
    found = stall_day(sheet, day)
    return StallDaySaid(
        lead=tuple(lines(sheet, replace(found, shut=()), language)[: 2 if found.shut else 3]),
        rows=tuple((s.place.id, *section_said(sheet, s, language)) for s in found.shut),
    )


def stall_page(built: Built, sheet: Sheet, shown: Page, day: date | None, reader: Reader) -> Page:
    """The plan's page with its drawing, day strip and figures by stalls instead of steps."""

    def tell(name: str, **values: object) -> str:
        return say(f"planboard.stall.{name}", reader.language, **values)

    if day is None:
        return shown
    found = stall_day(sheet, day)
    gone = {d.day.isoformat(): d for d in stall_days(sheet)}
    name = f"drawings/{shown.deck_id}.svg"
    svg = shown.svg
    if has_file(built.out, name):
        svg = drawing(built.out / name, _stall_marks(sheet, found, tell), deck_id=shown.deck_id,
                      label=reader.say("drawing-of", deck=shown.deck_id, called=""))  # fmt: skip
    strip = tuple(
        replace(c, count=str(g.gone or ""), said=f"{day_name(g.day, reader.language)}: "
                + lines(sheet, replace(g, shut=()), reader.language)[0],
                state="closed" if g.gone else "open")
        if (g := gone.get(c.iso)) else c
        for c in shown.days
    )  # fmt: skip
    lead = [(tell("closed"), found.closed), (tell("cut"), found.cut),
            (tell("open-n"), found.total - found.gone), (tell("most-n"), found.most)]  # fmt: skip
    return replace(
        shown, svg=svg, days=strip,
        key=(("closed", tell("key-closed")), ("cut-off", tell("key-cut")),
             ("open", tell("key-open"))),
        lead=tuple(Value(label=a[:1].upper() + a[1:], text=str(n)) for a, n in lead),
    )  # fmt: skip


def _stall_marks(sheet: Sheet, day: StallDay, tell: Callable[..., str]) -> dict[str, Mark]:
    """Each section on a date: closed, cut off or open, with its number of stalls."""
    begin, end = sheet.day_slots(day.day)
    cut: dict[str, int] = {}
    for s in day.shut:
        if s.behind:
            cut[s.place.id] = cut.get(s.place.id, 0) + s.stalls
    marks = {}
    for place in sheet.places:
        shut = any(a < end and b > begin for a, b in sheet.gone.spans.get(place.id, ()))
        n, off = place.stalls if shut else 0, 0 if shut else cut.get(place.id, 0)
        state = "closed" if shut else "cut-off" if off else "open"
        word = tell("tag-closed", n=n) if n else tell("tag-cut", n=off) if off else ""
        said = word or tell(f"key-{state}")
        marks[place.id] = Mark(state=state, word=word, title=f"{place.id}: {said}")
    return marks


def stall_weeks(sheet: Sheet, language: str) -> tuple[tuple[str, tuple[WeekCell, ...]], ...]:
    """Every week of the plan with its days and what changes on each."""
    out = []
    for _, group in groupby(stall_days(sheet), key=lambda d: d.day.isocalendar()[:2]):
        days = list(group)
        name = say("planboard.stall.week", language, day=day_name(days[0].day, language))
        out.append((name, tuple(_cell(sheet, d, language) for d in days)))
    return tuple(out)


def _cell(sheet: Sheet, d: StallDay, language: str) -> WeekCell:
    changes = []
    for s in d.shut:
        if s.closes_today:
            at = f"{sheet.time_of(s.closes):%H:%M}"
            kind = "cut-closes" if s.behind else "closes"
            changes.append(f"{s.place.id} {say(f'planboard.stall.{kind}', language, at=at)}")
        if s.opens_today:
            at = f"{sheet.time_of(s.opens):%H:%M}"
            kind = "cut-opens" if s.behind else "opens"
            changes.append(f"{s.place.id} {say(f'planboard.stall.{kind}', language, at=at)}")
    return WeekCell(
        iso=d.day.isoformat(),
        name=day_name(d.day, language),
        gone=d.gone,
        closed=d.closed,
        cut=d.cut,
        open=d.total - d.gone,
        over=d.over,
        changes=tuple(changes),
    )


def paper(sheet: Sheet, name: str, *, day: date | None, language: str, letter: bool) -> bytes:
    """One file by its name: stalls.pdf, ahead.pdf, plan.xlsx, crew-ID.ics.

    Raises
    ------
    NotFound
        If no file has that name.
    """
    if name == "stalls.pdf":
        return stalls_pdf(sheet, language=language, letter=letter)
    if name == "ahead.pdf":
        return ahead_pdf(sheet, day, language=language, letter=letter)
    if name == "plan.xlsx":
        return workbook(sheet, language=language, letter=letter)
    crew = _CREW.match(name)
    if crew and crew[1] in {c.id for c in sheet.problem.crews}:
        return crew_calendar(sheet, crew[1], language=language)
    raise NotFound("there is no such file of the plan.", where=name,
                   do="Take stalls.pdf, ahead.pdf, plan.xlsx or crew-ID.ics.")  # fmt: skip


def _head(sheet: Sheet, title: str, language: str, letter: bool) -> PaperHead:
    return PaperHead(
        job=f"{sheet.job_id} {sheet.job_name}".strip(),
        title=say(title, language),
        language=language,
        paper="us-letter" if letter else "a4",
        made_utc_s=int(_as_of(sheet).timestamp()),
        note=say("planboard.stall.unlimited", language, as_of=sheet.as_of[:16].replace("T", " ")),
        invented=say("sheet.invented", language) if sheet.invented else "",
    )


def _as_of(sheet: Sheet) -> datetime:
    """The job's own moment; the plan's first slot where none is stated."""
    try:
        at = datetime.fromisoformat(sheet.as_of)
    except ValueError:
        return datetime.fromtimestamp(sheet.problem.slot0_utc_s, UTC)
    return at if at.tzinfo else at.replace(tzinfo=sheet.zone)


def stalls_pdf(sheet: Sheet, *, language: str, letter: bool) -> bytes:
    """The stall calendar, a page a week; closed sections hatched on every day's drawing."""

    def tell(name: str) -> str:
        return say(f"planboard.{name}", language)

    decks = [d for d in dict.fromkeys(p.deck_id for p in sheet.places)
             if any(p.stalls for p in sheet.places if p.deck_id == d)]  # fmt: skip
    floors = {
        d: {p.id: p.floor for p in sheet.places if p.deck_id == d and p.floor is not None}
        for d in decks
    }
    decks = [d for d in decks if floors[d]]
    weeks = []
    for _, group in groupby(stall_days(sheet), key=lambda d: d.day.isocalendar()[:2]):
        days = list(group)
        # A section without stalls of its own (a lane) is closed on the drawing too.
        pages = []
        for d in days:
            begin, end = sheet.day_slots(d.day)
            shut = {n for n, (a, b) in sheet.closed.items() if a < end and b > begin}
            cut = {s.place.id for s in d.shut if s.behind} - shut
            pages.append(
                PaperDay(
                    name=day_name(d.day, language),
                    count=str(d.gone) if d.total else "",
                    cap=_cap(d, language) if d.total else "",
                    pictures=tuple(small_deck(floors[k], shut, f"d{k}", cut=cut) for k in decks),
                )
            )
        rows = {(s.place.id, s.behind, s.closes): s for d in days for s in d.shut}
        weeks.append(
            PaperWeek(
                name=say("planboard.stall.week", language, day=day_name(days[0].day, language)),
                days=tuple(pages),
                decks=tuple(decks),
                rows=tuple(
                    (
                        s.place.id,
                        str(s.stalls) + (f" {tell('stall.cut')}" if s.behind else ""),
                        numbers_said(s.numbers) or tell("stall.no-numbers"),
                        when(sheet, s.closes, language),
                        when(sheet, s.opens, language) if s.opens >= 0 else "–",
                    )
                    for s in rows.values()
                ),
            )
        )  # fmt: skip
    columns = (tell("book.section"), tell("book.closed"), tell("stall.numbers-head"),
               tell("stall.from-head"), tell("stall.to-head"))  # fmt: skip
    return render_stalls_pdf(
        _head(sheet, "planboard.stall.title", language, letter), weeks, columns
    )


def _cap(d: StallDay, language: str) -> str:
    """What stands behind a day's count."""
    if not d.cut:
        return say("planboard.stall.of-most", language, most=d.most)
    return say("planboard.stall.of-most-cut", language, most=d.most, closed=d.closed, cut=d.cut)


def ahead_pdf(sheet: Sheet, day: date | None, *, language: str, letter: bool) -> bytes:
    """Three weeks from the week of a date (or of the plan's first day) on one page."""
    if day is None and not sheet.days:
        raise NotFound("there is no plan to look ahead in.", where="plan",
                       do="Build the job; the plan says why there is none.")  # fmt: skip
    view = look_ahead(sheet, day or sheet.days[0], language)
    stalls, down = say("planboard.ahead.stalls", language), say("planboard.ahead.down", language)
    weeks = [
        [[d.name, f"{stalls} {d.closed}" if d.closed else "", list(d.crews),
          [f"{down} {x}" for x in d.limits] + list(d.visits)] for d in week]
        for week in view.weeks
    ]  # fmt: skip
    return render_ahead_pdf(
        _head(sheet, "planboard.ahead.title", language, letter), view.span, weeks
    )


def workbook(sheet: Sheet, *, language: str, letter: bool) -> bytes:
    """Sections by day, crews by day, stalls by day; sums are live formulas."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.xlsx"
        head = BookHead(
            job_name=sheet.job_name or sheet.job_id,
            as_of=_as_of(sheet),
            language=language,
            letter=letter,
            invented=sheet.invented,
        )
        write_plan_book(head, _grid(sheet), path)
        return path.read_bytes()


def _grid(sheet: Sheet) -> PlanGrid:
    """What the workbook needs, by date."""
    hours = sheet.problem.slot_s / 3600
    days = sheet.days
    spans = [sheet.day_slots(d) for d in days]
    sections = []
    for place in sheet.places:
        cells = []
        for d in days:
            steps = [p.step_id for p in sheet.on(d) if p.section_id == place.id]
            cells.append(", ".join(dict.fromkeys(steps)))
        first, opens = sheet.closed.get(place.id, (0, 0))
        shut = [first < b and opens > a for a, b in spans]
        sections.append(
            GridRow(id=place.id, deck_id=place.deck_id, stalls=place.stalls, steps=tuple(cells),
                    closed=tuple(shut))
        )  # fmt: skip
    crews = []
    for crew in sheet.problem.crews:
        row = []
        for a, b in spans:
            mine = [p for p in sheet.plan.placed if p.crew_id == crew.id]
            row.append(sum(max(0, min(p.end, b) - max(p.start, a)) for p in mine) * hours)
        crews.append((crew.id, tuple(row)))
    cut = []
    for d in days:
        shut_ids = {p.id for p in sheet.shut_on(d)}  # these count as closed already
        gone = stall_day(sheet, d).shut
        cut.append(sum(s.stalls for s in gone if s.behind and s.place.id not in shut_ids))
    return PlanGrid(
        days=days,
        cut=tuple(cut),
        sections=tuple(sections),
        crews=tuple(crews),
        stalls_total=sheet.problem.stalls_total,
        stalls_closed_max=sheet.problem.stalls_closed_max,
    )


@dataclass(frozen=True, kw_only=True)
class _Place:
    time_zone: str


@dataclass(frozen=True, kw_only=True)
class _Job:
    id: str
    name: str
    place: _Place
    as_of: datetime


def crew_calendar(sheet: Sheet, crew_id: str, *, language: str) -> bytes:
    """One crew's shifts as iCalendar, with an alarm three hours before each recoat before."""
    job = _Job(id=sheet.job_id, name=f"{sheet.job_name} {crew_id}",
               place=_Place(time_zone=sheet.zone.key), as_of=_as_of(sheet))  # fmt: skip
    return plan_calendar(job, sheet.plan, sheet.problem, language=language, crew=crew_id)
