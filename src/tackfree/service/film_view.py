"""Film evidence as a foreman reads it: the contract's rule, then how sure, then what to do.

One view is made of each study; the command line, the page and the figure of the closeout
all say the same sentences of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from tackfree.errors import NotFound
from tackfree.evidence.verdict import State, Verdict
from tackfree.record.entries import Entry
from tackfree.service import film_suspects
from tackfree.service.evidence import Study, at_moment, study
from tackfree.service.evidence_words import (
    begun,
    next_messages,
    patch_name,
    percent,
    picture_of,
    source_line,
    spoken,
    where,
)
from tackfree.service.film_basis import basis_of
from tackfree.service.film_entries import Read, film_record, places, taken
from tackfree.service.film_ground import WHOLE, is_primer
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import logged
from tackfree.sheets.evidence_map import FilmMap
from tackfree.units import System, show
from tackfree.words import say

CLOCK = ("evidence.recoat_open", "evidence.recoat_unknown")  # said here with the hours left


@dataclass(frozen=True, kw_only=True)
class PatchLine:
    """One patch: its word, what is said of it, and its band on a line of 1000."""

    id: str
    name: str
    state: State
    word: str
    sure: str
    rule: str  # the contract's, of this patch alone
    holds: bool | None
    said: str
    why: tuple[str, ...]
    average: str
    asked: str
    low: int
    middle: int
    high: int
    wanted: int
    bar_said: str


@dataclass(frozen=True, kw_only=True)
class FilmView:
    """What is said of one section and coat, in one language and unit system."""

    section: str
    deck: str
    zones: tuple[str, ...]
    coat: str
    state: State | None  # None: nothing to judge
    word: str
    asked: str
    rule_holds: bool
    rule: str
    rules: tuple[str, ...]
    patches: tuple[PatchLine, ...]
    until: str
    beside: tuple[str, ...]  # rules told next to the chance; they do not decide
    numbers: tuple[str, ...]
    clash: tuple[str, ...]
    suspects: tuple[str, ...]  # likeliest cause first, where something does not fit
    inspector: tuple[str, ...]
    helps: tuple[str, ...]
    spots: tuple[str, ...]
    dry: str  # said where nothing can be read any more
    notes: tuple[str, ...]
    basis: tuple[str, ...]  # on what each rule stands
    study: Study
    apart: tuple[Read, ...]  # the inspector's readings
    picture: FilmMap | None


def pairs_of(
    made: Pipeline, record: Sequence[Entry], section: str | None = None, coat: str | None = None
) -> list[tuple[str, str]]:
    """Sections and coats to judge: those the record speaks of; primers only when asked for.

    Raises
    ------
    NotFound
        If nothing is logged there.
    """
    found = [p for p in places(record) if section in (None, p[0]) and coat in (None, p[1])]
    if section is not None and coat is not None and not found:
        found = [(section, coat)]
    if coat is None:
        found = [p for p in found if not is_primer(made, *p)] or found
    if not found:
        raise NotFound(
            "the record holds no kit and no film reading there.",
            where="film",
            do="Add them: tackfree record add B BODY --kind film-reading",
        )
    return found


def moment_of(record: Sequence[Entry], zone: ZoneInfo, now: datetime) -> tuple[datetime, bool]:
    """The moment a record is looked at: now, or its last entry where that is later."""
    last = max((datetime.fromisoformat(e.wall) for e in record), default=now)
    return (now.astimezone(zone), True) if now >= last else (last.astimezone(zone), False)


def views(
    made: Pipeline,
    bundle: Path,
    system: System,
    language: str = "en",
    *,
    section: str | None = None,
    coat: str | None = None,
    least_um: float | None = None,
    at: datetime,
) -> tuple[FilmView, ...]:
    """The views asked for: one, or every section and coat the record speaks of."""
    record = film_record(bundle)
    pairs = pairs_of(made, record, section, coat)
    return tuple(
        view_of(made, record, study(made, record, *p, least_um=least_um), system, language, at)
        for p in pairs
    )


def view_of(
    made: Pipeline,
    record: Sequence[Entry],
    s: Study,
    system: System,
    language: str,
    at: datetime,
) -> FilmView:
    """All that is said of one study.

    Parameters
    ----------
    record : sequence of Entry
        As :func:`tackfree.service.film_entries.film_record` reads it.
    at : datetime
        The moment the recoat clock is read at (aware), and what is wet is asked about.
    """
    s = at_moment(made, record, s, at)
    crew, theirs = _apart(made, record, s)
    broken = any(r.holds is False for r in s.rules) or s.rules[0].holds is None
    by_id = {r.message.id: r.message for r in s.rules}
    numbers = [spoken(s.balance.message, system, language)] if s.balance else []
    clash: list[str] = []
    if s.clash is not None:
        clash = [spoken(m, system, language) for m in (s.clash.message, *s.clash.causes)]
    if s.judged is not None:
        numbers.append(source_line(s, system, language))
    nexts = next_messages(s, system, language)
    spots = [m for m in nexts if m.id == "evidence.next_spot"]
    state = state_of(s)
    held = "low" if broken else "ok"
    verdicts = s.judged.verdicts if s.judged else ()
    return FilmView(
        section=s.section.id,
        deck=s.section.deck_id,
        zones=s.section.zone_ids,
        coat=s.coat.id,
        state=state,
        word=word_of(state, language),
        asked=_asked(s, system, language),
        rule_holds=not broken,
        rule=say("film.rule_first", language, word=say(f"film.{held}", language)),
        rules=tuple(spoken(m, system, language) for m in by_id.values()),
        patches=tuple(_patch(s, v, system, language) for v in verdicts),
        until=_bring_up(made, record, s, state, at, system, language),
        beside=tuple(spoken(r.message, system, language) for r in s.beside),
        numbers=tuple(numbers),
        clash=tuple(clash),
        suspects=film_suspects.told(s, system, language),
        inspector=_beside(s, crew, theirs, system, language),
        helps=tuple(spoken(m, system, language) for m in nexts if m not in (s.dry, *spots)),
        spots=tuple(spoken(m, system, language) for m in spots),
        dry=spoken(s.dry, system, language) if s.dry and s.helps else "",
        notes=tuple(spoken(m, system, language) for m in s.messages if m.id not in CLOCK),
        basis=basis_of(
            made.job.spec.film, specified_um=s.coat.wft_um, system=system, language=language
        ),
        study=s,
        apart=theirs,
        picture=picture_of(s, system, language, theirs) if s.judged else None,
    )  # fmt: skip


def state_of(s: Study) -> State | None:
    """The word of a whole section: SHORT where a patch is, SHOWN only where all are."""
    if s.judged is None:
        return None
    found = {v.state for v in s.judged.verdicts}
    if State.SHORT in found:
        return State.SHORT
    return State.SHOWN if found == {State.SHOWN} else State.NOT_SHOWN


def word_of(state: State | None, language: str) -> str:
    """A state as its word."""
    return say(f"film.word_{state.value if state else 'nothing'}", language)


def _asked(s: Study, system: System, language: str) -> str:
    values = {
        "least": show(s.claim.least_um, "film", system, language=language),
        "share_pct": round(100 * s.claim.share),
    }
    if s.claim.average_um is None:
        return say("film.asked_least", language, **values)
    average = show(s.claim.average_um, "film", system, language=language)
    return say("film.asked", language, average=average, **values)


def _patch(s: Study, v: Verdict, system: System, language: str) -> PatchLine:
    def film(um: float) -> str:
        return show(um, "film", system, language=language)

    name, word = begun(patch_name(v.patch_id, language)), word_of(v.state, language)
    sure = percent(v.p, v.draws, language)
    kind = {State.SHOWN: "sure", State.SHORT: "short", State.NOT_SHOWN: "thin"}[v.state]
    said = say(
        f"film.patch_{'clash' if s.clash else kind}",
        language,
        patch=name,
        word=word,
        sure=begun(sure) if language == "en" else sure,
        where=where(s, *v.thinnest, system, language),
        thinnest=film(v.thinnest_um),
        top_up=show(v.top_up_l * (1 + s.loss), "volume", system, language=language),
    )
    wide = 1.645 * v.mean_sd_um
    target = s.claim.average_um or s.claim.least_um
    low, high = v.mean_um - wide, v.mean_um + wide
    return PatchLine(
        id=v.patch_id,
        name=name,
        state=v.state,
        word=word,
        sure=sure if s.clash is None else "",
        rule=_rule_line(name, v, system, language),
        holds=_rule_holds(v),
        said=said,
        why=() if s.clash else tuple(spoken(m, system, language) for m in v.messages),
        average=f"{film(low).rsplit(chr(0xA0), 1)[0]}–{film(high)}",
        asked=say("film.asked_at", language, film=film(target)),
        low=_along(low, target),
        middle=_along(v.mean_um, target),
        high=max(_along(high, target), _along(low, target) + 4),
        wanted=_along(target, target),
        bar_said=say("film.bar_said", language, patch=name, low=film(low), high=film(high),
                     middle=film(v.mean_um), wanted=film(target)),
    )  # fmt: skip


def _rule_holds(v: Verdict) -> bool | None:
    """The contract's rule on one patch; None where nothing was read there."""
    if any(r.holds is None for r in v.rules):
        return None
    return all(r.holds for r in v.rules)


def _rule_line(name: str, v: Verdict, system: System, language: str) -> str:
    """The contract's rule on one patch alone, part by part."""
    found = {r.message.id: spoken(r.message, system, language) for r in v.rules}
    said = " ".join(found.values())
    return say("film.patch_rule", language, patch=name, said=said)


def _along(value: float, target: float) -> int:
    """A film on a line of 1000 that runs from half to one and a half of what is asked for."""
    return round(1000 * min(max(value / target - 0.5, 0.0), 1.0))


def _apart(
    made: Pipeline, record: Sequence[Entry], s: Study
) -> tuple[tuple[Read, ...], tuple[Read, ...]]:
    """The crew's and the inspector's readings that were used, apart."""
    used = set(s.reads)
    line = next(
        c for c in made.materials.coats if (c.section_id, c.coat_id) == (s.section.id, s.coat.id)
    )

    def of(entries: Iterable[Entry]) -> tuple[Read, ...]:
        # kits are of no matter here
        some = [e for e in entries if e.kind in ("film-reading", "correction")]
        found = taken(some, s.section.id, s.coat.id, kit_l={}, fill_um=line.fill_um)
        return tuple(r for r in found.readings if r in used)

    theirs = of(e for e in record if e.body.get("reader") == "inspector" or e.kind == "correction")
    crew = of(e for e in record if e.body.get("reader") != "inspector")
    return crew, theirs


def _beside(
    s: Study, crew: Sequence[Read], theirs: Sequence[Read], system: System, language: str
) -> tuple[str, ...]:
    """The inspector's readings beside the crew's, where there are any."""
    if not theirs:
        return ()
    out = []
    for name, reads in (("inspector", theirs), ("crew", crew)):
        values = [r.middle_um for r in reads]
        if not values:
            continue
        mean = math.fsum(values) / len(values)
        word = say(f"film.{'ok' if mean >= s.coat.wft_um else 'low'}", language)
        kind = "one" if len(values) == 1 else "count"
        count = say(f"evidence.reading_{kind}", language, count=len(values))
        out.append(say(f"film.{name}", language, count=count, word=word,
                       mean=show(mean, "film", system, language=language),
                       lowest=show(min(values), "film", system, language=language)))  # fmt: skip
    return tuple(out)


def _bring_up(
    made: Pipeline,
    record: Sequence[Entry],
    s: Study,
    state: State | None,
    at: datetime,
    system: System,
    language: str,
) -> str:
    """How much more a thin section takes, and whether its clock still allows it."""

    def litres(volume_l: float) -> str:
        return show(volume_l * (1 + s.loss), "volume", system, language=language)

    if s.judged is not None and state is State.SHORT:
        more = say("film.top_up", language, top_up=litres(s.judged.verdicts[-1].top_up_l))
    elif s.clash is not None and any(m.id == "evidence.both_under" for m in s.clash.causes):
        lacks = {
            name: litres(s.section.developed_m2 * (s.coat.wft_um - um) / 1000)
            for name, um in (("gauge", s.clash.gauge_um), ("kits", s.clash.kits_um))
        }
        more = say("film.top_up_clash", language, **lacks)
    else:
        return ""
    return f"{more} {_until(made, record, s, at, language)}"


def _until(made: Pipeline, record: Sequence[Entry], s: Study, at: datetime, language: str) -> str:
    """Whether the recoat clock still lets a thin place be brought up, and for how long."""
    before_h = made.job.products[s.coat.product_id].recoat_before_h
    here = [
        one for one in logged(record) if (one.section_id, one.coat_id) == (s.section.id, s.coat.id)
    ]
    if not here or before_h is None:
        return say("film.until_unknown", language)
    until = datetime.fromtimestamp(here[0].first_utc_s, at.tzinfo) + timedelta(hours=before_h)
    told = moment_said(until, language)
    left = (until - at).total_seconds()
    if left <= 0:
        return say("film.until_over", language, until=told)
    minutes = int(left // 60)
    return say(
        "film.until_open", language, until=told, now=moment_said(at, language),
        left=say("film.left_h", language, h=minutes // 60, m=minutes % 60),
    )  # fmt: skip


def moment_said(at: datetime, language: str) -> str:
    """A moment as people say it."""
    day = say("page.weekdays", language).split()[at.weekday()]
    month = say("page.months", language).split()[at.month - 1]
    return f"{day} {at.day} {month}, {at:%H:%M}"


def zone_lines(
    made: Pipeline, found: Sequence[FilmView], language: str
) -> tuple[tuple[str, State | None], ...]:
    """Zone by zone and coat: SHORT where a section is, SHOWN where all are logged and shown."""
    out: list[tuple[str, State | None]] = []
    keys = dict.fromkeys((z, v.coat) for v in found for z in v.zones)
    for zone, coat in sorted(keys):
        mine = [v for v in found if zone in v.zones and v.coat == coat]
        every = sum(zone in s.zone_ids for s in made.sections.sections)
        states = {v.state for v in mine}
        state = State.NOT_SHOWN
        if State.SHORT in states:
            state = State.SHORT
        elif states == {State.SHOWN} and len(mine) == every:
            state = State.SHOWN
        form = "zone" if len(mine) == every else "zone_part"
        said = say(f"film.{form}", language, zone=zone, coat=coat, word=word_of(state, language),
                   done=len(mine), sections=every)  # fmt: skip
        out.append((said, state))
    return tuple(out)


def head_of(states: Iterable[State | None], language: str) -> str:
    """How many areas are shown, short, not shown."""
    every = list(states)
    return say(
        "film.head", language, count=len(every), shown=every.count(State.SHOWN),
        short=every.count(State.SHORT),
        not_shown=len(every) - every.count(State.SHOWN) - every.count(State.SHORT),
    )  # fmt: skip


def text(v: FilmView, language: str = "en") -> str:
    """One view as plain text: the word, the rule, how sure, what to do, what it stands on."""
    out = [f"{v.section} {v.coat}: {v.word}", f"  {v.asked}", "", f"  {v.rule}"]
    out += [f"    {r}" for r in v.rules]
    out += [f"  {line}" for line in v.inspector]
    if v.clash:
        out += ["", f"  {v.clash[0]}", *(f"    {c}" for c in v.clash[1:])]
    if v.suspects:
        out += ["", f"  {say('film.suspects', language)}", *(f"    {x}" for x in v.suspects)]
    if v.patches:
        out += ["", f"  {say('film.chance_second', language)}"]
        order = sorted(v.patches, key=lambda p: (p.id != WHOLE, len(p.id), p.id))
        for p in order:
            if p.id != WHOLE:
                out.append(f"    {p.rule}")
            out += [f"    {p.said}", *(f"      {w}" for w in p.why)]
    if v.beside:
        out += ["", f"  {say('film.beside', language)}", *(f"    {b}" for b in v.beside)]
    if v.until:
        out += ["", f"  {v.until}"]
    if v.helps or v.spots:
        out += ["", f"  {say('film.next_what', language)}", *(f"    {v.dry}" for _ in v.dry[:1])]
        out += [f"    {h}" for h in v.helps]
    if v.spots:
        out += [f"  {say('film.next', language)}", *(f"    {x}" for x in v.spots)]
    if v.numbers:
        out += ["", f"  {say('film.numbers', language)}", *(f"    {n}" for n in v.numbers)]
    out += [f"  {say('film.left_out', language)}", *(f"    {n}" for n in (*v.notes, *v.basis))]
    return "\n".join(out)
