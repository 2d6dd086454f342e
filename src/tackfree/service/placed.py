"""Clocks of what was really placed: first and last kit out of the record, cell by cell."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from tackfree.climate.air import dew_point_c
from tackfree.climate.slab import BARE_ABSORPTANCE
from tackfree.climate.stage import Where
from tackfree.cure.types import Clock
from tackfree.errors import InputError
from tackfree.record.bodies.days import ConditionsV1, WeatherEventV1
from tackfree.record.entries import Entry, entries
from tackfree.record.kinds import read_body
from tackfree.record.store import open_record
from tackfree.service import climate as climates
from tackfree.service import curing
from tackfree.service.clocks import ClockLine
from tackfree.service.documents import clock_row
from tackfree.service.pipeline import Pipeline
from tackfree.service.record import where_of
from tackfree.service.save import to_json
from tackfree.words import Message

KINDS = ("batch", "placement", "conditions", "weather-event", "release", "correction")
WETS = ("rain", "dew", "fog", "frost", "snow", "hail")
PAGE = 1000


@dataclass(frozen=True, kw_only=True)
class Read:
    """Conditions read on the deck: when, where ("" for the whole deck), slab and dew point."""

    utc_s: float
    section_id: str
    slab_c: float
    dew_c: float


@dataclass(frozen=True, kw_only=True)
class Logged:
    """What the record holds of one section and coat. Moments in Unix seconds.

    ``cells`` are kit marks with the moment their kit was spread.
    """

    section_id: str
    coat_id: str
    first_utc_s: float
    last_utc_s: float
    kits: int
    cells: tuple[tuple[str, float], ...]


@dataclass(frozen=True, kw_only=True)
class PlacedLine:
    """The clock of a coat that was placed, and of each of its cells.

    ``void`` says why the coat waits for a named person: dew read, or rain measured,
    on the wet film. A forecast's or a typical year's rain voids nothing.
    """

    logged: Logged
    line: ClockLine
    cells: tuple[tuple[str, Clock], ...]
    void: Message | None


def clock_entries(bundle: Path) -> tuple[Entry, ...]:
    """Entries that clocks stand on, in the order of arrival; none where there is no record."""
    try:
        where = where_of(bundle)
    except InputError:  # a zip without a database keeps no record
        return ()
    if isinstance(where, Path) and not where.exists():
        return ()
    out: list[Entry] = []
    with open_record(where) as record:
        after = 0
        while page := entries(record, after=after, limit=PAGE):
            after = page[-1].pos
            out += [e for e in page if e.kind in KINDS]
    return tuple(out)


def logged(record: Iterable[Entry]) -> tuple[Logged, ...]:
    """First and last kit of each section and coat, corrected entries left out.

    A kit counts from its placement where that was logged, else from its mixing; the
    moment that the entry states wins over the moment it was written.
    """
    every = list(record)
    gone = {e.body["corrects"] for e in every if e.body.get("corrects")}
    moments: dict[tuple[str, str], dict[str, tuple[float, str]]] = defaultdict(dict)
    for e in sorted(every, key=lambda e: e.kind != "batch"):  # placements overwrite batches
        if e.kind not in ("batch", "placement") or e.id in gone:
            continue
        body = e.body
        cell = str(body.get("cell") or "")
        stated = body.get("stopped") or body.get("started") or body.get("mixed_to")
        at = datetime.fromisoformat(stated or e.wall).timestamp()
        moments[body["section"], body["coat"]][body["kit"]] = (at, cell)
    return tuple(
        Logged(
            section_id=section,
            coat_id=coat,
            first_utc_s=min(at for at, _ in kits.values()),
            last_utc_s=max(at for at, _ in kits.values()),
            kits=len(kits),
            cells=tuple(sorted((cell, at) for at, cell in kits.values() if cell)),
        )
        for (section, coat), kits in sorted(moments.items())
    )


def conditions(record: Iterable[Entry]) -> tuple[Read, ...]:
    """Readings of slab and air on the deck."""
    found = []
    for e in record:
        if e.kind != "conditions":
            continue
        body = read_body(e.kind, e.v, e.body)
        assert isinstance(body, ConditionsV1)
        if body.rh > 0:
            found.append(
                Read(
                    utc_s=datetime.fromisoformat(e.wall).timestamp(),
                    section_id=body.section or "",
                    slab_c=body.slab_c,
                    dew_c=float(dew_point_c(body.air_c, body.rh)),
                )
            )
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class Wetting:
    """Rain, dew or the like that was logged: its span, and the sections it touched."""

    what: str  # rain or dew
    from_utc_s: float
    to_utc_s: float
    sections: tuple[str, ...]  # empty: all that lie open

    def touches(self, section_id: str) -> bool:
        return not self.sections or section_id in self.sections


def wettings(record: Iterable[Entry]) -> tuple[Wetting, ...]:
    """Weather that came, as somebody on the deck logged it."""
    every = list(record)
    gone = {e.body["corrects"] for e in every if e.body.get("corrects")}
    found = []
    for e in every:
        if e.kind != "weather-event" or e.id in gone:
            continue
        body = read_body(e.kind, e.v, e.body)
        assert isinstance(body, WeatherEventV1)
        if body.what not in WETS or body.on_wet_film is False:
            continue
        begins = datetime.fromisoformat(body.began).timestamp()
        ends = begins if body.ended is None else datetime.fromisoformat(body.ended).timestamp()
        sections = tuple(body.sections) or ((body.section,) if body.section else ())
        kind = "dew" if body.what in ("dew", "fog", "frost") else "rain"
        found.append(Wetting(what=kind, from_utc_s=begins, to_utc_s=ends, sections=sections))
    return tuple(found)


def released(record: Iterable[Entry], section_id: str, after_utc_s: float) -> bool:
    """Whether a named person has let the section go on after a moment."""
    every = list(record)
    gone = {e.body["corrects"] for e in every if e.body.get("corrects")}
    return any(
        e.kind == "release"
        and e.id not in gone
        and e.body["section"] == section_id
        and e.body["of"] in ("recoat", "hold")
        and datetime.fromisoformat(e.body.get("at") or e.wall).timestamp() >= after_utc_s
        for e in every
    )


def placed_lines(made: Pipeline, record: tuple[Entry, ...]) -> tuple[PlacedLine, ...]:
    """The clock of every coat the record holds, under the job's weather.

    Sections or coats that the job no longer has are left out: their entries stay in
    the record. Moments outside the weather have no clock, and none is made up.
    """
    sections = {s.id: s for s in made.sections.sections}
    reads = conditions(record)
    found = []
    for one in logged(record):
        section = sections.get(one.section_id)
        if section is None:
            continue
        coats = {c.id: c for c in made.job.build_ups[section.build_up_id].coats}
        coat = coats.get(one.coat_id)
        if coat is None:
            continue
        there = climates.where_of(made.job, section)
        spans = [(one.first_utc_s, one.last_utc_s), *((at, at) for _, at in one.cells)]
        clock, *each = curing.clocks_at(made.climate, made.job, there, coat, spans)
        found.append(
            PlacedLine(
                logged=one,
                line=ClockLine(
                    section_id=section.id, coat_id=coat.id, product_id=coat.product_id, clock=clock
                ),
                cells=tuple((cell, c) for (cell, _), c in zip(one.cells, each, strict=True)),
                void=_void(made, section.id, there, clock, reads, record),
            )
        )
    return tuple(found)


def _void(
    made: Pipeline,
    section_id: str,
    there: Where,
    clock: Clock,
    reads: tuple[Read, ...],
    record: tuple[Entry, ...],
) -> Message | None:
    """Dew or rain, read, logged or measured between the first kit and tack-free.

    It stands until a named person has released the section afterwards.
    """
    found = _wetted(made, section_id, there, clock, reads, record)
    if found is None or released(record, section_id, float(found.values["at_utc_s"])):
        return None
    return found


def _wetted(
    made: Pipeline,
    section_id: str,
    there: Where,
    clock: Clock,
    reads: tuple[Read, ...],
    record: tuple[Entry, ...],
) -> Message | None:
    first = clock.placed_from_utc_s
    dry = clock.tack_free.careful_utc_s
    until = clock.placed_to_utc_s if dry is None else dry
    for r in sorted(reads, key=lambda r: r.utc_s):
        if r.section_id in ("", section_id) and first <= r.utc_s < until and r.slab_c <= r.dew_c:
            return Message(id="cure.void.dew", values={"at_utc_s": r.utc_s})
    for w in sorted(wettings(record), key=lambda w: w.from_utc_s):
        if w.touches(section_id) and w.from_utc_s < until and w.to_utc_s >= first:
            at = max(w.from_utc_s, first)
            return Message(id=f"cure.void.{w.what}", values={"at_utc_s": at})
    if made.job.weather.kind != "measured":
        return None
    stage = made.climate
    begins = stage.slot0_utc_s + stage.slot_s * np.arange(stage.slots)
    wet = stage.on_slots[there, BARE_ABSORPTANCE].rain > 0
    hit = np.flatnonzero(wet & (begins + stage.slot_s > first) & (begins < until))
    if not hit.size:
        return None
    return Message(id="cure.void.rain", values={"at_utc_s": float(max(begins[hit[0]], first))})


def place_row(made: Pipeline, one: PlacedLine) -> dict[str, Any]:
    """A placed coat as the row that pages and ``--json`` show."""
    return {
        **clock_row(made, one.line),
        "from": "record",
        "kits": one.logged.kits,
        "void": to_json(one.void),
        "cells": [{"cell": cell, **to_json(clock)} for cell, clock in one.cells],
    }
