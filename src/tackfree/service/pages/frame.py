"""What every page shares: the drawing, the day strip, cautions, age, what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from tackfree import words
from tackfree.errors import Fault, NotFound, Refused
from tackfree.service.pages.calendar import Calendar
from tackfree.service.pages.drawing import Mark, drawing
from tackfree.service.pages.read import Built, has_file
from tackfree.service.pages.said import Reader, Value
from tackfree.service.pages.types import (
    Asked,
    Chart,
    DayCell,
    Group,
    Link,
    Page,
)

Json = Mapping[str, Any]

# Which stages each page cannot do without.
WANTS = {
    "job": ("sections", "plan"),
    "deck": ("takeoff", "sections"),
    "materials": ("materials", "sections"),
    "weather": ("climate", "plan", "sections"),
    "clocks": ("clocks", "sections"),
    "plan": ("plan", "sections"),
    "shift": ("plan", "sections", "materials", "clocks"),
}
# Cautions of the work that a page leads to; ids of caution.toml.
CAUTIONS = {
    "job": ("sheet-first", "edges", "traffic"),
    "deck": ("sheet-first", "edges", "silica", "grinding"),
    "materials": ("sheet-first", "isocyanate", "solvent", "skin", "lifting"),
    "weather": ("sheet-first", "isocyanate", "solvent", "slip", "heat"),
    "clocks": ("sheet-first", "isocyanate", "slip", "heaters"),
    "plan": ("sheet-first", "traffic", "edges", "night"),
    "shift": ("sheet-first", "isocyanate", "solvent", "silica", "edges", "traffic", "slip"),
}


def sections_of(built: Built, deck_id: str | None = None) -> tuple[Json, ...]:
    """Sections of one deck, or of all."""
    found = (built.stage("sections") or {}).get("sections", ())
    return tuple(s for s in found if deck_id is None or s["deck_id"] == deck_id)


def about(reader: Reader, section: Json) -> str:
    """ "stalls · light · covered" of a section."""
    terms = [section.get("build_up_id", "")]
    terms += [reader.word("duty", section["duty"])] if section.get("duty") else []
    terms += [reader.word("exposure", section["exposure"])] if section.get("exposure") else []
    return " · ".join(t for t in terms if t)


def chosen_deck(built: Built, asked: Asked) -> str:
    """The deck asked for, or the first.

    Raises
    ------
    NotFound
        If the job has no deck of that id.
    """
    ids = [d.id for d in built.decks]
    if asked.deck is not None and asked.deck not in ids:
        raise NotFound(
            f"the job has no deck {asked.deck!r}.",
            where="deck",
            do=f"Choose one of {', '.join(ids) or 'none: build the job first'}.",
        )
    return asked.deck or (ids[0] if ids else "")


def chosen_day(plan: Calendar | None, asked: Asked, today: date) -> date | None:
    """The day asked for; else today where the plan holds it, else the plan's first day.

    Raises
    ------
    Refused
        If the day asked for lies outside the plan.
    """
    days = plan.days() if plan else ()
    if asked.day is not None and asked.day not in days:
        span = f"{days[0]} to {days[-1]}" if days else "no day: there is no plan yet"
        raise Refused(
            [
                Fault(
                    where="day",
                    what=f"{asked.day} is outside the plan.",
                    do=f"Choose a day of the plan: {span}.",
                )
            ]
        )
    if asked.day is not None:
        return asked.day
    if not days:
        return None
    return today if today in days else days[0]


def mark_states(
    reader: Reader, built: Built, plan: Calendar | None, day: date | None
) -> dict[str, Mark]:
    """Each section's state on one day, with the steps done then."""
    marks: dict[str, Mark] = {}
    for s in sections_of(built):
        if plan is None or day is None or not plan.done:
            marks[s["id"]] = Mark(state="waiting", word="", title=s["id"])
            continue
        state = plan.state(s["id"], day)
        steps = [reader.step(d.step_id) for d in plan.on(day) if d.section_id == s["id"]]
        word = ", ".join(dict.fromkeys(steps)) or reader.say(f"tag.{state}")
        title = f"{s['id']}: {reader.say(f'state.{state}')}"
        marks[s["id"]] = Mark(
            state=state, word=word, title=f"{title} · {', '.join(steps)}" if steps else title
        )
    return marks


def day_strip(reader: Reader, plan: Calendar | None, current: date | None) -> tuple[DayCell, ...]:
    """Every day of the plan with the number of steps and stalls closed."""
    cells: list[DayCell] = []
    for on in plan.days() if plan else ():
        assert plan is not None
        steps, gone = len(plan.on(on)), plan.gone(on)
        said = {"steps": steps, "stalls": gone.total, "closed": gone.closed_n, "cut": gone.cut_n}
        cells.append(
            DayCell(
                iso=on.isoformat(),
                weekday=reader.weekday(on),
                day=str(on.day),
                said=f"{reader.day(on)}: "
                + reader.say("strip-cut" if gone.cut else "strip", **said),
                count=str(steps) if steps else "",
                state="working" if steps else "closed" if gone.total else "open",
                current=on == current,
                month=reader.say("months").split()[on.month - 1]
                if not cells or on.day == 1
                else "",
            )
        )
    return tuple(cells)


def page(
    built: Built,
    reader: Reader,
    stage: str,
    *,
    deck_id: str,
    marks: Mapping[str, Mark],
    groups: tuple[Group, ...],
    lead: tuple[Value, ...] = (),
    plan: Calendar | None = None,
    day: date | None = None,
    states: tuple[str, ...] = (),
    chart: Chart | None = None,
    strip: bool = True,
    notes: tuple[str, ...] = (),
    bundle: str = "BUNDLE",
) -> Page:
    """Put a page together."""
    head = next((d for d in built.decks if d.id == deck_id), None)
    cautions = [words.say(f"caution.{c}", reader.language) for c in CAUTIONS[stage]]
    if head and head.post_tensioned in ("yes", "unknown"):
        cautions.insert(0, words.say("caution.tendons", reader.language))
    svg = ""
    missing = [
        reader.say(f"missing.{m.why}", file=m.file) for m in built.lack(*WANTS[stage], "summary")
    ]
    name = f"drawings/{deck_id}.svg"
    if has_file(built.out, name):
        label = reader.say("drawing-of", deck=deck_id, called=head.name if head else "")
        svg = drawing(built.out / name, marks, deck_id=deck_id, label=label)
    elif deck_id:
        missing.append(reader.say("missing.absent", file=name))
    days = day_strip(reader, plan, day) if strip else ()
    known = {d.iso for d in days}
    hatched = stage == "weather" or (plan is not None and bool(plan.done))
    before = (day - timedelta(days=1)).isoformat() if day else ""
    after = (day + timedelta(days=1)).isoformat() if day else ""
    return Page(
        stage=stage,
        title=reader.say(f"stage.{stage}"),
        job_id=built.job_id,
        job_name=built.job_name,
        invented=built.invented,
        lead=lead,
        decks=tuple(
            Link(text=d.id, sub=d.name, href=f"?deck={d.id}", current=d.id == deck_id)
            for d in built.decks
        ),
        deck_id=deck_id,
        svg=svg,
        key=tuple((s, reader.say(f"state.{s}")) for s in states if hatched),
        days=days,
        before=before if before in known else "",
        after=after if after in known else "",
        day_said=reader.day(day) if day else "",
        chart=chart,
        groups=groups,
        missing=tuple(missing),
        remedy=reader.say("missing.do", command=f"tackfree job build {bundle}"),
        cautions=tuple(cautions),
        age=_age(built, reader),
        notes=notes,
    )


def _age(built: Built, reader: Reader) -> tuple[str, ...]:
    """How old the figures are, and what kind of weather they stand on."""
    said = []
    if built.as_of or built.built_at:
        as_of = (built.as_of or built.built_at)[:16].replace("T", " ")
        said.append(reader.say("age.as-of", as_of=as_of))
    else:
        said.append(reader.say("age.unknown"))
    climate = built.stage("climate")
    if climate is not None:
        kind = str(climate.get("weather_kind", ""))
        known = kind in ("typical-year", "forecast", "measured")
        said.append(reader.say(f"age.{kind}" if known else "age.weather-unknown"))
    if not built.zone_stated:
        said.append(reader.say("age.no-zone"))
    return tuple(said)
