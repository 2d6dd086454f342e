"""The clocks page: what is due next in every section, then every clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from tackfree import words
from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.clock_lines import clock_line, tell
from tackfree.service.pages.frame import (
    about,
    chosen_day,
    chosen_deck,
    mark_states,
    page,
    sections_of,
)
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import Reader
from tackfree.service.pages.types import Asked, Entry, Group, Page

Json = Mapping[str, Any]

MISSED = ("past", "no_moment")


@dataclass(frozen=True, kw_only=True)
class Due:
    """One section on the board: its last coat, what is due next and when.

    ``by_utc_s`` is None where nothing is due. ``needs`` are sentences of what a missed
    or impossible window takes, ``void`` why a named person has to look first.
    """

    section_id: str
    deck_id: str
    coat: str
    state: str  # a name of cure.board
    state_said: str
    due: str
    by_utc_s: float | None
    at_said: str
    left: str
    source: str
    needs: tuple[str, ...] = ()
    void: str = ""
    cells: tuple[tuple[str, str], ...] = ()  # kit mark, its next time
    area_m2: float = 0.0

    @property
    def missed(self) -> bool:
        return self.state == "past"


@dataclass(frozen=True, kw_only=True)
class Board:
    """Every section at one moment, the missed first, then the next deadline first."""

    at_utc_s: float
    at_said: str
    at_field: str  # as a form wants it
    live: bool
    stop_field: str
    rows: tuple[Due, ...]
    missed: str


def board_of(
    reader: Reader,
    clocks: Sequence[Json],
    sections: Sequence[Json],
    *,
    at_utc_s: float,
    live: bool,
    stop_utc_s: float | None = None,
) -> Board:
    """The board at a moment.

    Parameters
    ----------
    clocks : sequence
        Rows of the plan and of the record (``from`` tells); where the record holds a
        coat of a section, only its record counts as placed there.
    stop_utc_s : float, optional
        No coat begins after this: what if the rain or the truck stops the work.
    """
    until = at_utc_s if stop_utc_s is None else min(at_utc_s, stop_utc_s)
    rows = []
    for s in sections:
        mine = sorted(
            (c for c in clocks if c["section_id"] == s["id"]), key=lambda c: c["placed_from_utc_s"]
        )
        rows.append(_due(reader, s, mine, at_utc_s, until))
    order = sorted(
        rows,
        key=lambda r: (not r.missed, r.by_utc_s is None, r.by_utc_s or 0.0, r.section_id),
    )
    missed = [r for r in order if r.missed]
    area, unit = reader.amount(sum(r.area_m2 for r in missed), "m²")
    at = reader.moment(at_utc_s, toward="down")
    return Board(
        at_utc_s=at_utc_s,
        at_said=at,
        at_field=_field(reader, at_utc_s),
        live=live,
        stop_field="" if stop_utc_s is None else _field(reader, stop_utc_s),
        rows=tuple(order),
        missed=tell(reader, "missed-n", n=len(missed), of=len(order), area=f"{area} {unit}")
        if missed
        else tell(reader, "missed-none", at=at),
    )


def _field(reader: Reader, utc_s: float) -> str:
    return f"{datetime.fromtimestamp(utc_s, reader.zone):%Y-%m-%dT%H:%M}"


def _due(reader: Reader, section: Json, mine: list[Json], at: float, until: float) -> Due:
    """Where one section stands; ``mine`` are its clocks in the order of placing."""
    logged = [c for c in mine if c.get("from") == "record"]
    stands_on = logged or mine
    placed = [c for c in stands_on if c["placed_from_utc_s"] < until]
    coats = list(dict.fromkeys(c["coat_id"] for c in mine))
    base = {"section_id": section["id"], "deck_id": section["deck_id"]}
    base["area_m2"] = section["developed_m2"]
    source = tell(reader, "by.plan")
    if not placed:
        first = mine[0]["placed_from_utc_s"] if mine else None
        return _row(reader, base, "bare", "", "placed", first, at, source)
    last = placed[-1]
    if last.get("from") == "record":
        source = tell(reader, "by.kits", n=last.get("kits", 0))
    follows = coats[coats.index(last["coat_id"]) + 1 :]
    state, due, by = state_of(last, at, bool(follows))
    needs: tuple[str, ...] = ()
    if state in MISSED:
        found = last.get("if_missed" if state == "past" else "ways_out", ())
        needs = tuple(reader.message(m) for m in found)
    name = {"tack_free": "tack_free", "recoat_after": "recoat_after"}.get(due, "")
    cells = tuple(
        (c["cell"], reader.moment(_careful(c, name)))
        for c in last.get("cells", ())
        if name and _careful(c, name) is not None
    )
    row = _row(reader, base, state, reader.step(last["coat_id"]), due, by, at, source)
    void = reader.message(last["void"]) if last.get("void") else ""
    return Due(**{**row.__dict__, "needs": needs, "void": void, "cells": cells})


def _row(
    reader: Reader, base: Mapping[str, Any], state: str, coat: str, due: str,
    by: float | None, at: float, source: str,
) -> Due:  # fmt: skip
    toward = "down" if due in ("recoat_before", "missed") else "up"
    return Due(
        **base,
        coat=coat,
        state=state,
        state_said=words.say(f"cure.board.{state}", reader.language),
        due=tell(reader, f"due.{due}" if by is not None else "due.nothing"),
        by_utc_s=by,
        at_said="" if by is None else reader.moment(by, toward=toward),
        left="" if by is None else left(reader, by - at),
        source=source,
    )


def _careful(clock: Json, name: str) -> float | None:
    found = (clock.get(name) or {}).get("careful_utc_s")
    return None if found is None else float(found)


def state_of(clock: Json, at: float, follows: bool) -> tuple[str, str, float | None]:
    """State, what is due and when, of a section whose last coat has this clock."""
    tack, after = _careful(clock, "tack_free"), _careful(clock, "recoat_after")
    before = clock.get("recoat_before_utc_s")
    if not follows:
        cars = _careful(clock, "cars_after")
        return "done", "cars_after", cars if cars is not None and cars > at else None
    if before is not None and at >= before:
        return "past", "missed", float(before)
    if clock.get("no_legal_moment"):
        return "no_moment", "recoat_before", before
    if tack is not None and at < tack:
        return "wet_film", "tack_free", tack
    if after is None:
        return "unknown", "recoat_before", before
    if at < after:
        return "curing", "recoat_after", after
    return "open", "recoat_before", before


def left(reader: Reader, seconds: float) -> str:
    """ "in 3 h 20 min", or how long ago."""
    minutes = int(abs(seconds) // 60)
    days, hours, rest = minutes // 1440, minutes // 60, minutes % 60
    if days >= 2:
        time = tell(reader, "left.days", d=days, h=hours % 24)
    elif hours:
        time = tell(reader, "left.hours", h=hours, m=rest)
    else:
        time = tell(reader, "left.minutes", m=rest)
    return tell(reader, "left.in" if seconds >= 0 else "left.ago", time=time)


def zones_of(built: Built, deck_id: str) -> tuple[str, ...]:
    """Zones of a deck that have a section."""
    found = (z for s in sections_of(built, deck_id) for z in s.get("zone_ids", (s["id"],)))
    return tuple(dict.fromkeys(found))


def left_words(reader: Reader) -> dict[str, str]:
    """The forms that the page's own clock fills in."""
    return {
        "in": tell(reader, "left.in", time="{time}"),
        "ago": tell(reader, "left.ago", time="{time}"),
        "days": tell(reader, "left.days", d="{d}", h="{h}"),
        "hours": tell(reader, "left.hours", h="{h}", m="{m}"),
        "minutes": tell(reader, "left.minutes", m="{m}"),
    }


def clocks_page(
    built: Built,
    reader: Reader,
    asked: Asked,
    today: date,
    bundle: str,
    clocks: Sequence[Json] | None = None,
) -> Page:
    """Recoat after and before, feet and cars, per section and coat."""
    deck_id = chosen_deck(built, asked)
    plan = calendar_of(built)
    day = chosen_day(plan, asked, today)
    if clocks is None:
        clocks = (built.stage("clocks") or {}).get("clocks", ())
    entries = tuple(
        Entry(
            id=f"s-{s['id']}",
            name=s["id"],
            sub=about(reader, s),
            lines=tuple(clock_line(reader, c) for c in clocks if c["section_id"] == s["id"]),
        )
        for s in sections_of(built, deck_id)
    )
    return page(
        built, reader, "clocks", deck_id=deck_id, plan=plan, day=day,
        marks=mark_states(reader, built, plan, day),
        states=("working", "closed", "open", "waiting"),
        groups=(Group(title=reader.say("clocks-by-section"), note=reader.say("clock-note"),
                      entries=entries),),
        bundle=bundle,
    )  # fmt: skip
