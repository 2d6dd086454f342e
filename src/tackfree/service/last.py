"""``weather last``: until when kits of one coat may go down on a day, how far, and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tackfree.buildup.types import BuildUp, Coat
from tackfree.climate.window_types import StartStates, State
from tackfree.climate.windows import intervals, reason
from tackfree.deck.types import Section
from tackfree.errors import InputError, NotFound
from tackfree.service import climate as climates
from tackfree.service import curing
from tackfree.service.pages import Reader
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import clock_entries, placed_lines
from tackfree.service.shift import step_word
from tackfree.service.windows import age_message
from tackfree.units import System, show
from tackfree.words import Message, say

STEP_S = 300  # a stop is rounded down to 5 min
LOOK_AHEAD_H = 72.0  # for the next coat, where the sheet gives no recoat before


@dataclass(frozen=True, kw_only=True)
class NextCoat:
    """The first time the coat after this one can be wholly down. Moments in Unix seconds.

    It may begin from ``after_utc_s`` (careful; None: not reached within the weather) and
    must be down by ``before_utc_s`` (None: no limit). ``from_utc_s`` to ``down_utc_s`` is
    the first span the weather leaves long enough; None where there is none.
    """

    coat_id: str
    after_utc_s: float | None
    before_utc_s: float | None
    from_utc_s: float | None
    down_utc_s: float | None


@dataclass(frozen=True, kw_only=True)
class LastPlacing:
    """One coat of one section on one day. Moments in Unix seconds, None where there is none.

    Kits may go down from ``from_utc_s`` to ``stop_utc_s``; after that ``why`` stands
    against them. ``latest_start_utc_s`` is when the whole section has to be begun,
    ``reaches_m2`` what the crew places until the stop. ``down_by_utc_s`` is recoat
    before of the coat below, where the record holds it.
    """

    section_id: str
    coat_id: str
    area_m2: float
    rate_m2_h: float | None
    asked_utc_s: float
    state: State
    wait: Message | None
    from_utc_s: float | None
    stop_utc_s: float | None
    why: Message | None
    measure: Message | None
    needs_h: float | None
    latest_start_utc_s: float | None
    reaches_m2: float | None
    down_by_utc_s: float | None
    follows: NextCoat | None = None

    @property
    def whole(self) -> bool:
        """Whether the section is down by the stop, begun when it was asked for."""
        return self.reaches_m2 is not None and self.reaches_m2 >= self.area_m2 - 1e-6


def last_placing(
    made: Pipeline, bundle: Path, section_id: str, coat_id: str, at: datetime
) -> LastPlacing:
    """Until when the kits of a coat may go down, if work begins at a moment.

    Each kit is judged by itself, through to its own tack-free: by light, rain, dew,
    slab and air as the windows judge them. Where no kit may go down at the moment,
    the next moment of the same day from which one may is taken.

    Raises
    ------
    NotFound
        If the section or its coat is not there.
    InputError
        If the moment lies outside the weather.
    """
    section, build_up, coat = _find(made, section_id, coat_id)
    job, stage = made.job, made.climate
    there = climates.where_of(job, section)
    states = climates.allowed_starts(stage, job, there, build_up, coat, 1)
    first = (at.timestamp() - stage.slot0_utc_s) / stage.slot_s
    if not 0 <= first < stage.slots:
        raise InputError(
            f"{at:%Y-%m-%d %H:%M} is outside the job's weather.", where="--from",
            do=f"The job starts on {job.starts_on}; choose a moment from then on.",
        )  # fmt: skip
    asked = int(first)
    zone = ZoneInfo(job.place.time_zone)
    night = datetime.combine(at.astimezone(zone).date() + timedelta(days=1), time(6), zone)
    end = min(stage.slots, int((night.timestamp() - stage.slot0_utc_s) // stage.slot_s))
    ok = states.state <= State.MEASURE
    begins = next((k for k in range(asked, end) if ok[k]), None)
    rate = _rate(made, coat)
    needs = None if rate is None else section.developed_m2 / rate
    found: dict[str, Any] = {
        "section_id": section.id, "coat_id": coat.id, "area_m2": section.developed_m2,
        "rate_m2_h": rate, "asked_utc_s": at.timestamp(), "state": State(int(states.state[asked])),
        "wait": None if ok[asked] else reason(states, asked), "needs_h": needs,
        "down_by_utc_s": _down_by(made, bundle, section, build_up, coat),
    }  # fmt: skip
    if begins is None:
        return LastPlacing(
            **found, from_utc_s=None, stop_utc_s=None, why=None, measure=None,
            latest_start_utc_s=None, reaches_m2=0.0,
        )  # fmt: skip
    start = max(at.timestamp(), float(stage.slot0_utc_s + begins * stage.slot_s))
    stop, why = _stop(states, begins)
    if found["down_by_utc_s"] is not None and found["down_by_utc_s"] < stop:
        stop, why = found["down_by_utc_s"], Message(id="climate.last.recoat")
    stop = stop // STEP_S * STEP_S
    span_h = max(0.0, stop - start) / 3600
    ends = stop if needs is None else min(stop, start + 3600 * needs)
    return LastPlacing(
        **found,
        follows=_follows(made, section, build_up, coat, start, ends),
        from_utc_s=start,
        stop_utc_s=stop,
        why=why,
        measure=_measure(states, begins, stop),
        latest_start_utc_s=None if needs is None else (stop - 3600 * needs) // STEP_S * STEP_S,
        reaches_m2=None if rate is None else min(section.developed_m2, rate * span_h),
    )


def _rate(made: Pipeline, coat: Coat) -> float | None:
    """What the slowest crew that has a rate for this coat places. [m²/h]"""
    rates = [r for c in made.job.crews if (r := c.rates.get(coat.role.value)) is not None]
    return min(rates, default=None)


def _follows(
    made: Pipeline, section: Section, build_up: BuildUp, coat: Coat, begun: float, ended: float
) -> NextCoat | None:
    """When the coat after this one can be down, if this one is placed between two moments."""
    at = [c.id for c in build_up.coats].index(coat.id) + 1
    if at == len(build_up.coats):
        return None
    coming, job, stage = build_up.coats[at], made.job, made.climate
    there = climates.where_of(job, section)
    clock = curing.clocks_at(stage, job, there, coat, ((begun, ended),))[0]
    after, before = clock.recoat_after.careful_utc_s, clock.recoat_before_utc_s
    found: dict[str, Any] = {
        "coat_id": coming.id, "after_utc_s": after, "before_utc_s": before,
        "from_utc_s": None, "down_utc_s": None,
    }  # fmt: skip
    if after is None:
        return NextCoat(**found)
    rate = _rate(made, coming)
    takes = stage.slot_s if rate is None else 3600 * section.developed_m2 / rate
    states = climates.allowed_starts(stage, job, there, build_up, coming, 1)
    until = after + 3600 * LOOK_AHEAD_H if before is None else before
    for first, last in intervals(states.state <= State.MEASURE):
        opens = -(-max(after, stage.slot0_utc_s + first * stage.slot_s) // STEP_S) * STEP_S
        shuts = min(until, stage.slot0_utc_s + (last + 1) * stage.slot_s)
        if opens + takes <= shuts:
            found |= {"from_utc_s": opens, "down_utc_s": opens + takes}
            break
    return NextCoat(**found)


def _find(made: Pipeline, section_id: str, coat_id: str) -> tuple[Section, BuildUp, Coat]:
    sections = {s.id: s for s in made.sections.sections}
    if section_id not in sections:
        raise NotFound(
            f"there is no section {section_id}.", where="--section",
            do=f"Name one of {', '.join(sections)}.",
        )  # fmt: skip
    build_up = made.job.build_ups[sections[section_id].build_up_id]
    coats = {c.id: c for c in build_up.coats}
    if coat_id not in coats:
        raise NotFound(
            f"{section_id} has no coat {coat_id}.", where="--coat",
            do=f"Its coats are {', '.join(coats)}.",
        )  # fmt: skip
    return sections[section_id], build_up, coats[coat_id]


def _stop(states: StartStates, begins: int) -> tuple[float, Message | None]:
    """The end of the run of allowed kits, and what stands against the next one."""
    bad = np.flatnonzero(states.state[begins:] > State.MEASURE)
    last = len(states.state) if not bad.size else begins + int(bad[0])
    why = None if not bad.size else reason(states, last)
    return float(states.slot0_utc_s + last * states.slot_s), why


def _measure(states: StartStates, begins: int, stop: float) -> Message | None:
    """The first reason to measure on the way; None where all of it is GO."""
    last = int((stop - states.slot0_utc_s) // states.slot_s)
    hit = np.flatnonzero(states.state[begins:last] == State.MEASURE)
    return reason(states, begins + int(hit[0])) if hit.size else None


def _down_by(
    made: Pipeline, bundle: Path, section: Section, build_up: BuildUp, coat: Coat
) -> float | None:
    """Recoat before of the coat below, by the record; None where it holds none."""
    ids = [c.id for c in build_up.coats]
    at = ids.index(coat.id)
    if at == 0:
        return None
    below = (section.id, ids[at - 1])
    for one in placed_lines(made, clock_entries(bundle)):
        if (one.line.section_id, one.line.coat_id) == below:
            return one.line.clock.recoat_before_utc_s
    return None


def text(made: Pipeline, found: LastPlacing, system: System, language: str = "en") -> str:
    """The answer first, then why."""
    zone = ZoneInfo(made.job.place.time_zone)
    reader = Reader(language=language, units=system, zone=zone)
    same = datetime.fromtimestamp(found.asked_utc_s, zone).date()

    def clock(utc_s: float, up: bool = False) -> str:
        whole = -(-utc_s // STEP_S) * STEP_S if up else utc_s // STEP_S * STEP_S
        at = datetime.fromtimestamp(whole, zone)
        return f"{at:%H:%M}" if at.date() == same else f"{reader.weekday(at.date())} {at:%H:%M}"

    def area(m2: float) -> str:
        return show(m2, "area", system, language=language)

    def word(name: str, **values: str) -> str:
        return say(f"climate.last.{name}", language, **values)

    asked, coat = clock(found.asked_utc_s), step_word(found.coat_id, language)
    lines = [word("head", section=found.section_id, coat=coat, day=reader.day(same), at=asked)]
    foot = [say(age_message(made), language), say("climate.not_a_verdict", language)]
    if found.wait is not None:
        state = say(f"state.{found.state.name.lower()}", language)
        lines.append(word("at", at=asked, state=state, reason=say(found.wait, language)))
    if found.from_utc_s is None or found.stop_utc_s is None:
        return "\n".join([*lines, word("none"), *foot])
    if found.wait is not None:
        lines.append(word("wait_until", at=clock(found.from_utc_s, up=True)))
    lines.append(word("stop", at=clock(found.stop_utc_s)))
    if found.why is not None:
        lines.append(word("why", reason=say(found.why, language)))
    if found.measure is not None:
        lines.append(word("measure", reason=say(found.measure, language)))
    if found.needs_h is not None and found.reaches_m2 is not None:
        assert found.latest_start_utc_s is not None
        assert found.rate_m2_h is not None
        values = {
            "area": area(found.area_m2), "hours": f"{found.needs_h:.1f}",
            "rate": show(found.rate_m2_h, "area_rate", system, language=language),
            "latest": clock(found.latest_start_utc_s), "reaches": area(found.reaches_m2),
        }  # fmt: skip
        lines.append(word("whole" if found.whole else "part", **values))
    if found.down_by_utc_s is not None:
        lines.append(word("down_by", at=clock(found.down_by_utc_s)))
    if found.follows is not None:
        lines.append(_said_of(found.follows, clock, language))
    return "\n".join([*lines, *foot])


def _said_of(coming: NextCoat, clock: Callable[..., str], language: str) -> str:
    """One line on the next coat."""

    def word(name: str) -> str:
        said = say(f"climate.last.{name}", language, **values)
        return said[:1].upper() + said[1:]

    values: dict[str, str] = {"coat": step_word(coming.coat_id, language)}
    if coming.after_utc_s is None:
        return word("next_unknown")
    values["after"] = clock(coming.after_utc_s, up=True)
    limited = coming.before_utc_s is not None
    if coming.before_utc_s is not None:
        values["before"] = clock(coming.before_utc_s)
    if coming.from_utc_s is None or coming.down_utc_s is None:
        return word("next_none" if limited else "next_late")
    values |= {"at": clock(coming.from_utc_s), "down": clock(coming.down_utc_s, up=True)}
    return word("next" if limited else "next_free")
