"""The plan, shift and start pages: what is done, closed and open on one day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from tackfree import words
from tackfree.errors import NotFound
from tackfree.service.pages.calendar import Calendar, Done, calendar_of
from tackfree.service.pages.frame import (
    about,
    chosen_day,
    chosen_deck,
    mark_states,
    page,
    sections_of,
)
from tackfree.service.pages.read import Built, has_file, shift_files
from tackfree.service.pages.said import Reader, Value, day_span
from tackfree.service.pages.types import Asked, Entry, Group, Line, Link, Page

Json = Mapping[str, Any]
STATES = ("working", "closed", "open", "waiting")


def job_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """The start page: the drawing on the day, the strip, and the next shifts."""
    deck_id = chosen_deck(built, asked)
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today)
    away = _away(built, deck_id)
    coming = [s for s in _worked(plan) if day is None or s[1] >= day][:3]
    groups = [
        Group(
            title=reader.say("next-shifts"),
            entries=tuple(_shift_entry(reader, plan, s, away) for s in coming if plan),
        ),
        _rest(built, reader, plan, day, deck_id, set()),
        _status(reader, plan, built),
        Group(title=reader.say("files"), links=_files(built, reader)),
    ]
    return page(
        built, reader, "job", deck_id=deck_id, plan=plan, day=day, states=STATES,
        marks=mark_states(reader, built, plan, day), groups=tuple(groups),
        lead=_day_lead(reader, plan, day), bundle=bundle,
    )  # fmt: skip


def plan_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """Sections in the order they are begun, with their dates."""
    deck_id = chosen_deck(built, asked)
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today)
    groups = []
    away = _away(built, deck_id)
    if plan and day:
        groups.append(
            Group(
                title=reader.say("on-day", day=reader.day(day)),
                note="" if plan.on(day) else reader.say("nothing-on-day"),
                lines=tuple(_task_line(reader, d, away=away) for d in plan.on(day)),
            )
        )
    groups.append(_status(reader, plan, built))
    here = {s["id"]: s for s in sections_of(built, deck_id)}
    marks = mark_states(reader, built, plan, day)
    if plan:
        begun = enumerate(dict.fromkeys(d.section_id for d in plan.done), start=1)
        for k, name in begun:
            if name in marks:
                marks[name] = replace(marks[name], word=f"{k}: {marks[name].word}")
        order = list(dict.fromkeys(d.section_id for d in plan.done if d.section_id in here))
        order += [s for s in here if s not in order]
        groups.append(
            Group(
                title=reader.say("sections-in-order"),
                entries=tuple(_section_plan(reader, plan, here[s]) for s in order),
            )
        )
    return page(
        built, reader, "plan", deck_id=deck_id, plan=plan, day=day, states=STATES,
        marks=marks, groups=tuple(groups),
        lead=_day_lead(reader, plan, day), bundle=bundle,
    )  # fmt: skip


def shift_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """The shifts of one day: times, sections, kits, and by when each coat must be down.

    Raises
    ------
    NotFound
        If the day has no shift of the name asked for.
    """
    deck_id = chosen_deck(built, asked)
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today)
    worked = [s for s in _worked(plan) if s[1] == day]
    if asked.shift is not None:
        worked = [s for s in worked if s[0] == asked.shift]
        if not worked:
            raise NotFound(
                f"nothing is planned for shift {asked.shift!r} on {day}.",
                where="shift",
                do="Choose a shift of the day strip.",
            )
    groups: list[Group] = []
    for s in worked:
        assert plan is not None
        name, on, begin, end = s
        done = _in_shift(plan, s)
        shown = {e.name for g in groups for e in g.entries}
        groups.append(
            Group(
                title=f"{name} · {reader.day(on)}, {reader.clock(begin)}–{reader.clock(end)}",
                note=reader.say("shift-note"),
                links=tuple(
                    Link(text=f"{reader.say('shift-file')} {more}".strip(), href=f"/files/{pdf}")
                    for pdf, more in shift_files(built.out, on, name)
                ),
                entries=tuple(
                    Entry(
                        id=f"s-{section}" if section not in shown else f"s-{section}-{name}",
                        name=section,
                        sub=about(
                            reader, next((x for x in sections_of(built) if x["id"] == section), {})
                        ),
                        lines=tuple(
                            _sheet_line(built, reader, plan, d)
                            for d in done
                            if d.section_id == section
                        ),
                    )
                    for section in dict.fromkeys(d.section_id for d in done)
                ),
            )
        )
    if plan and day and not groups:
        groups.append(
            Group(
                title=reader.say("on-day", day=reader.day(day)), note=reader.say("nothing-on-day")
            )
        )
    everything = {e.name for g in groups for e in g.entries}
    groups.append(_rest(built, reader, plan, day, deck_id, everything))
    return page(
        built, reader, "shift", deck_id=deck_id, plan=plan, day=day, states=STATES,
        marks=mark_states(reader, built, plan, day), groups=tuple(groups),
        lead=_day_lead(reader, plan, day), bundle=bundle,
    )  # fmt: skip


def _rest(
    built: Built,
    reader: Reader,
    plan: Calendar | None,
    day: date | None,
    deck_id: str,
    shown: set[str],
) -> Group:
    """The deck's sections that are not shown yet: their state, next step and opening."""
    entries = []
    for s in sections_of(built, deck_id):
        if s["id"] in shown:
            continue
        lines: list[Line] = []
        if plan and day:
            begin, _ = day_span(day, reader.zone)
            following = [d for d in plan.of(s["id"]) if d.end_s > begin][:1]
            lines = [_dated_line(reader, d) for d in following] + _opening(reader, plan, s["id"])
        entries.append(
            Entry(
                id=f"s-{s['id']}",
                name=s["id"],
                sub=about(reader, s),
                note=reader.say(f"state.{plan.state(s['id'], day)}") if plan and day else "",
                lines=tuple(lines),
            )
        )
    return Group(title=reader.say("sections"), entries=tuple(entries))


def _worked(plan: Calendar | None) -> list[tuple[str, date, float, float]]:
    """Shifts in which something is placed, in order of time."""
    shifts = sorted(plan.shifts, key=lambda s: (s[2], s[0])) if plan else []
    return [s for s in shifts if plan and _in_shift(plan, s)]


def _in_shift(plan: Calendar, shift: tuple[str, date, float, float]) -> tuple[Done, ...]:
    _, _, begin, end = shift
    return tuple(d for d in plan.done if begin <= d.begin_s < end)


def _shift_entry(
    reader: Reader, plan: Calendar, shift: tuple[str, date, float, float], away: Mapping[str, str]
) -> Entry:
    name, on, begin, end = shift
    return Entry(
        id=f"shift-{on}-{name}",
        name=f"{reader.day(on)} · {name}",
        sub=f"{reader.clock(begin)}–{reader.clock(end)}",
        lines=tuple(_task_line(reader, d, away=away) for d in _in_shift(plan, shift)),
    )


def _task_line(reader: Reader, done: Done, *, away: Mapping[str, str]) -> Line:
    """One step of a day; ``away`` names the deck of sections on other decks."""
    return Line(
        label=f"{done.section_id} · {reader.step(done.step_id)}",
        sub=done.crew_id,
        values=(_hours(reader, done),),
        section=done.section_id,
        deck=away.get(done.section_id, ""),
    )


def _hours(reader: Reader, done: Done) -> Value:
    span = f"{reader.clock(done.begin_s)}–{reader.clock(done.end_s)}"
    return Value(label="", text=span, strong=True)


def _away(built: Built, deck_id: str) -> dict[str, str]:
    return {s["id"]: s["deck_id"] for s in sections_of(built) if s["deck_id"] != deck_id}


def _sheet_line(built: Built, reader: Reader, plan: Calendar, done: Done) -> Line:
    """One step of the shift: time, kits, film, and the clocks on either side of it."""
    values = [_hours(reader, done)]
    coats = (built.stage("materials") or {}).get("coats", ())
    sub = done.crew_id
    for c in coats:
        if c["section_id"] == done.section_id and c["coat_id"] == done.step_id:
            why = c.get("figures") or {}
            sub = f"{c['product_id']} · {done.crew_id}"
            values += [
                reader.value(reader.say("figure.kits"), c["kits"], "", figure=why.get("kits")),
                reader.value(reader.say("figure.reach_m2"), c.get("reach_m2"), "m2",
                             figure=why.get("reach_m2")),
                reader.value(reader.say("figure.wft_um"), c.get("wft_um"), "um",
                             figure=why.get("wft_um")),
            ]  # fmt: skip
    before, limit = _limit(built, plan, done)
    if limit is not None:
        values.append(
            Value(
                label=reader.say("down-by", coat=reader.step(before)),
                text=reader.moment(limit, toward="down"),
                strong=True,
            )
        )
    return Line(label=reader.step(done.step_id), sub=sub, values=tuple(values))


def _limit(built: Built, plan: Calendar, done: Done) -> tuple[str, float | None]:
    """The last coat under this step whose recoat before is still to be met."""
    clocks = {
        (c["section_id"], c["coat_id"]): c for c in (built.stage("clocks") or {}).get("clocks", ())
    }
    if (done.section_id, done.step_id) not in clocks:
        return "", None
    earlier = [
        d
        for d in plan.of(done.section_id)
        if d.begin_s < done.begin_s and (d.section_id, d.step_id) in clocks
    ]
    if not earlier:
        return "", None
    last = earlier[-1].step_id
    return last, clocks[done.section_id, last].get("recoat_before_utc_s")


def _section_plan(reader: Reader, plan: Calendar, section: Json) -> Entry:
    mine = plan.of(section["id"])
    lines = [_dated_line(reader, d) for d in mine] + _opening(reader, plan, section["id"])
    stalls = int(section.get("stalls", 0))
    return Entry(
        id=f"s-{section['id']}",
        name=section["id"],
        sub=" · ".join(
            t
            for t in (about(reader, section), reader.say("stalls-n", n=stalls) if stalls else "")
            if t
        ),
        note="" if mine else reader.say("not-planned"),
        lines=tuple(lines),
    )


def _dated_line(reader: Reader, done: Done) -> Line:
    span = f"{reader.moment(done.begin_s)}–{reader.clock(done.end_s)}"
    return Line(
        label=reader.step(done.step_id),
        sub=done.crew_id,
        values=(Value(label="", text=span, strong=True),),
    )


def _opening(reader: Reader, plan: Calendar, section_id: str) -> list[Line]:
    """When cars may come, where the plan says it."""
    opens = plan.opens.get(section_id)
    if opens is None:
        return []
    said = Value(label="", text=reader.moment(opens), strong=True)
    return [Line(label=reader.say("cars-may-come"), values=(said,))]


def _day_lead(reader: Reader, plan: Calendar | None, day: date | None) -> tuple[Value, ...]:
    if plan is None or day is None or not plan.done:
        return ()
    gone = plan.gone(day)
    of = {"n": gone.total, "most": plan.stalls_closed_max}
    values = [
        Value(label=reader.say("steps-today"), text=str(len(plan.on(day))), strong=True),
    ]
    if plan.stalls_total:
        values += [
            Value(
                label=reader.say("stalls-open"),
                text=str(plan.stalls_total - gone.total),
                strong=True,
            ),
            Value(label=reader.say("stalls-closed"), text=reader.say("of-at-most", **of))
            if not gone.cut
            else Value(
                label=reader.say("stalls-gone"),
                text=reader.say("of-at-most-cut", closed=gone.closed_n, cut=gone.cut_n, **of),
            ),
        ]
    return tuple(values)


def _status(reader: Reader, plan: Calendar | None, built: Built) -> Group:
    """How good the plan is, with its bound, or why there is none."""
    if plan is None:
        return Group(title=reader.say("plan-status"), note=reader.say("no-plan"))
    stage = (built.stage("plan") or {}).get("plan") or {}
    lines = [_objective(built, reader, s) for s in stage.get("stages", ())]
    reasons = " ".join(reader.message(r) for r in stage.get("reasons", ()))
    note = reader.word("status", plan.status)
    return Group(
        title=reader.say("plan-status"), note=f"{note} {reasons}".strip(), lines=tuple(lines)
    )


def _objective(built: Built, reader: Reader, found: Json) -> Line:
    """One objective: the finish as a day, as it is counted; the rest in days, shifts or hours."""
    stage = built.stage("plan") or {}
    slot_s, name, source = stage["slot_s"], str(found["name"]), str(found["bound_source"])
    per = {"stall-slots": slot_s / 86400, "slack": slot_s / 3600}.get(name, 1)

    def value(said: str, slots: float) -> Value:
        if name == "finish":
            at = datetime.fromtimestamp(stage["slot0_utc_s"] + slots * slot_s, reader.zone)
            text = reader.day(at.date())
        else:
            text = f"{slots * per:,.0f}"
        return Value(label=reader.say(said), text=text, strong=said == "found")

    unproven = source == "none"
    values = [value("found", found["value"])] + [value("bound", found["bound"])] * (not unproven)
    return Line(
        label=reader.word("objective", name),
        sub=""
        if unproven
        else words.say(f"planning.source.{source.lower().replace(' ', '-')}", reader.language),
        values=tuple(values),
    )


def _files(built: Built, reader: Reader) -> tuple[Link, ...]:
    names = {"order.xlsx": reader.say("order-file"), "plan.ics": reader.say("calendar-file")}
    for deck in built.decks:
        names[f"drawings/{deck.id}-plan.svg"] = reader.say("plan-drawing", deck=deck.id)
    return tuple(
        Link(text=text, href=f"/files/{name}")
        for name, text in names.items()
        if has_file(built.out, name)
    )
