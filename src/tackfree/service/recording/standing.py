"""What stands now by the record: windows, holds, notices, and readings no gallons allow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from tackfree.service.evidence_words import spoken
from tackfree.service.pages import Built, Reader
from tackfree.service.pages.clocks import board_of
from tackfree.service.pages.frame import sections_of
from tackfree.service.recording.day import Voice, on_day
from tackfree.service.recording.live import Live
from tackfree.service.recording.notices import Stand, notices_of
from tackfree.service.recording.section import alarm_of, holds_of, steepness, weigh
from tackfree.service.shift import step_word
from tackfree.sheets.window_calendar import Window

Json = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Windows about to shut or missed, holds, and notices with what was answered."""

    windows: tuple[Stand, ...]
    holds: tuple[Stand, ...]
    notices: tuple[Stand, ...]


def standing(
    built: Built, reader: Reader, voice: Voice, now: Live, clocks: Sequence[Json], at_utc_s: float
) -> Standing:
    """What stands at a moment; ``clocks`` are rows of the plan and of the record."""
    sections = sections_of(built)
    logged = {c["section_id"] for c in clocks if c.get("from") == "record"}
    board = board_of(reader, clocks, sections, at_utc_s=at_utc_s, live=True)
    windows = [
        (r, voice.word("now.missed", left=r.left) if r.missed else alarm_of(voice, r, at_utc_s))
        for r in board.rows
        if r.section_id in logged
    ]
    return Standing(
        windows=tuple(
            Stand(section=r.section_id, said=f"{r.coat}: {said}") for r, said in windows if said
        ),
        holds=tuple(Stand(section=str(e.body.get("section") or ""), said=said)
                    for e, said in holds_of(now.counted, voice)),
        notices=notices_of(now.counted, voice, at_utc_s=at_utc_s),
    )  # fmt: skip


def contradictions(built: Built, voice: Voice, now: Live, on: date) -> tuple[str, ...]:
    """Readings of a day that the gallons poured do not allow, by section and coat."""
    touched = {
        (e.body["section"], e.body["coat"])
        for e in on_day(now, on, voice.zone)
        if e.kind in ("batch", "placement", "film-reading")
    }
    rows = {(c["section_id"], c["coat_id"]): c
            for c in (built.stage("materials") or {}).get("coats", ())}  # fmt: skip
    steep = {s["id"]: steepness(s) for s in sections_of(built)}
    told = []
    for section, coat in sorted(touched & rows.keys()):
        here = [e for e in now.counted
                if (e.body.get("section"), e.body.get("coat")) == (section, coat)]  # fmt: skip
        clash = weigh(rows[section, coat], here, steep.get(section, 1.0)).clash
        if clash is not None:
            said = spoken(clash.message, voice.system, voice.language)
            told.append(f"{section} {voice.coat(coat)}: {said}")
    return tuple(told)


def windows_of(built: Built, reader: Reader, clocks: Sequence[Json]) -> tuple[Window, ...]:
    """Windows of placed coats that no later coat has closed."""
    found = []
    for s in sections_of(built):
        mine = sorted((c for c in clocks if c["section_id"] == s["id"]),
                      key=lambda c: c["placed_from_utc_s"])  # fmt: skip
        logged = [c for c in mine if c.get("from") == "record"]
        order = list(dict.fromkeys(c["coat_id"] for c in mine))
        if not logged:
            continue
        last = max(logged, key=lambda c: order.index(c["coat_id"]))
        after = order[order.index(last["coat_id"]) + 1 :]
        if not after or last.get("recoat_before_utc_s") is None:
            continue
        found.append(Window(
            section_id=s["id"], coat_id=last["coat_id"],
            coat=step_word(last["coat_id"], reader.language),
            following=step_word(after[0], reader.language), placed_utc_s=last["placed_to_utc_s"],
            opens_utc_s=(last.get("recoat_after") or {}).get("careful_utc_s"),
            shuts_utc_s=last["recoat_before_utc_s"],
        ))  # fmt: skip
    return tuple(found)
