"""A section by its record: clocks, kits against area, gauge against kits, every entry."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shapely.geometry import shape

from tackfree.errors import NotFound
from tackfree.evidence.balance import Clash, Gauged, Poured, find_clash, mass_balance
from tackfree.record.entries import Entry
from tackfree.service.evidence_words import spoken
from tackfree.service.pages import Built, Reader
from tackfree.service.pages.clock_lines import clock_line
from tackfree.service.pages.clocks import Due, board_of
from tackfree.service.pages.frame import about, sections_of
from tackfree.service.pages.said import Value
from tackfree.service.pages.types import Line
from tackfree.service.recording.day import Voice
from tackfree.service.recording.inspector import said_of
from tackfree.service.recording.live import Live, check_of
from tackfree.service.recording.notices import notices_of
from tackfree.units.constants import UM_PER_MIL
from tackfree.words import say

Json = Mapping[str, Any]
PAGE = 100  # entries shown at once
ENOUGH = 3  # readings that are set against the kits
SOON_S = 2 * 3600.0  # a window that shuts within two hours is said


@dataclass(frozen=True, kw_only=True)
class Told:
    """One entry as a line of the page."""

    time: str
    day: str
    kind: str
    coat: str
    said: str
    check: str  # the instrument, and what is known of its check
    person: str
    photos: tuple[str, ...]
    withdrawn: bool


@dataclass(frozen=True, kw_only=True)
class SectionRecord:
    """The page of one section, everything said. ``alarm`` is a window about to shut."""

    section: str
    about: str
    deck: str
    due: Due | None
    alarm: str
    holds: tuple[str, ...]
    notices: tuple[str, ...]
    unclocked: str  # why kits that went in have no clock
    clocks: tuple[Line, ...]
    coats: tuple[Line, ...]
    told: tuple[Told, ...]
    total: int
    older: int | None  # where the page before begins


def section_record(
    built: Built, reader: Reader, voice: Voice, now: Live, section_id: str,
    clocks: Sequence[Json], *, at_utc_s: float, before: int | None = None,
) -> SectionRecord:  # fmt: skip
    """A section as the record has it.

    Parameters
    ----------
    clocks : sequence
        Rows of the plan and of the record.
    at_utc_s : float
        Now.
    before : int, optional
        Show entries that came before this position.

    Raises
    ------
    NotFound
        If the job has no such section.
    """
    found = next((s for s in sections_of(built) if s["id"] == section_id), None)
    if found is None:
        raise NotFound(f"the job has no section {section_id[:40]!r}.", where="section",
                       do="Choose one of the daily page.")  # fmt: skip
    mine = [e for e in now.every if speaks_of(e, section_id)]
    counted = [e for e in now.counted if speaks_of(e, section_id)]
    rows = [c for c in clocks if c["section_id"] == section_id]
    logged = {c["coat_id"] for c in rows if c.get("from") == "record"}
    shown = [c for c in rows if c.get("from") == "record" or c["coat_id"] not in logged]
    order = list(dict.fromkeys(c["coat_id"] for c in rows))
    shown.sort(key=lambda c: order.index(c["coat_id"]))
    placed = any(e.kind in ("batch", "placement") for e in counted)
    due = None
    if rows and bool(logged) == placed:  # a plan says nothing of kits that went in
        due = board_of(reader, rows, [found], at_utc_s=at_utc_s, live=True).rows[0]
    coats = [c for c in (built.stage("materials") or {}).get("coats", ())
             if c["section_id"] == section_id]  # fmt: skip
    steep = steepness(found)
    checks = now.of("instrument-check")
    part = [e for e in mine if before is None or e.pos < before]
    page = part[-PAGE:]
    return SectionRecord(
        section=section_id,
        about=about(reader, found),
        deck=found["deck_id"],
        due=due,
        alarm=alarm_of(voice, due, at_utc_s) if logged else "",
        holds=tuple(said for _, said in holds_of(counted, voice)),
        notices=tuple(
            n.said for n in notices_of(counted, voice, at_utc_s=at_utc_s, section=section_id)
        ),
        unclocked=voice.word("section.no-clock") if placed and not logged else "",
        clocks=tuple(clock_line(reader, c) for c in shown),
        coats=tuple(_coat(c, counted, steep, reader, voice) for c in coats),
        told=tuple(_told(e, now, checks, voice) for e in reversed(page)),
        total=len(mine),
        older=page[0].pos if len(part) > len(page) else None,
    )


def speaks_of(e: Entry, section_id: str) -> bool:
    """Whether an entry is about a section."""
    return e.body.get("section") == section_id or section_id in (e.body.get("sections") or ())


def steepness(section: Json) -> float:
    """True area of a section over that of its plan."""
    floor = shape(section["floor"]).area if section.get("floor") else 0.0
    return float(section["developed_m2"]) / floor if floor else 1.0


def alarm_of(voice: Voice, due: Due | None, at_utc_s: float) -> str:
    """What is said of a window that is missed or about to shut; "" for any other."""
    if due is None or due.by_utc_s is None:
        return ""
    if due.missed:
        return voice.word("section.missed", left=due.left)
    if due.state == "open" and 0 <= due.by_utc_s - at_utc_s <= SOON_S:
        return voice.word("section.shuts", what=due.due, left=due.left)
    return ""


def holds_of(counted: Sequence[Entry], voice: Voice) -> tuple[tuple[Entry, str], ...]:
    """Holds that nothing has ended."""
    ended = {e.body.get("ends_hold") for e in counted if e.kind == "release"}
    return tuple(
        (e, voice.word("section.hold", reason=e.body["reason"], person=e.person))
        for e in counted
        if e.kind == "hold" and e.id not in ended
    )


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """One coat of a section by its entries: kits, ground covered, volume and gauge."""

    used: int
    covered_m2: float
    poured: Poured | None
    gauged: Gauged | None
    clash: Clash | None  # None where they agree, or cannot be set against each other


def weigh(row: Json, here: Sequence[Entry], steep: float) -> Weighed:
    """Kits against area, and gauge against kits, of the entries of one coat."""
    kits = {e.body["kit"]: e for e in here if e.kind == "batch"}
    spread = [e for e in here if e.kind == "placement"]
    covered = min(steep * sum(e.body.get("area_m2") or 0.0 for e in spread), float(row["area_m2"]))
    used = len(kits.keys() | {e.body["kit"] for e in spread})
    poured, gauged = _poured(row, kits, spread, covered, used), _gauged(here)
    clash = find_clash(gauged, poured) if gauged and poured else None
    return Weighed(used=used, covered_m2=covered, poured=poured, gauged=gauged, clash=clash)


def _coat(row: Json, counted: Sequence[Entry], steep: float, reader: Reader, voice: Voice) -> Line:
    """Kits and film of one coat; what cannot be right is a warning, nothing is passed."""
    here = [e for e in counted if e.body.get("coat") == row["coat_id"]]
    weighed = weigh(row, here, steep)
    used, covered, gauged = weighed.used, weighed.covered_m2, weighed.gauged
    values = [_count(voice, "kits", voice.word("section.of", n=used, of=row["kits"]), True)]
    warnings: list[str] = []
    notes: list[str] = []
    if covered:
        left = max(0.0, float(row["area_m2"]) - covered)
        values += [_count(voice, "covered", voice.value(covered, "area")),
                   _count(voice, "left", voice.value(left, "area"))]  # fmt: skip
        needed = left / row["reach_m2"] if row.get("reach_m2") else 0.0
        have = max(0, row["kits"] - used)
        some = left > 0.005 * row["area_m2"]
        if some:
            values.append(_count(voice, "kits-for-it", f"{needed:.1f}"))
        if some and needed > have + 0.05:
            warnings.append(voice.word("section.kits-short", needed=f"{needed:.1f}", have=have))
    if weighed.poured is not None:
        balance = mass_balance(weighed.poured, float(row["wft_um"]))
        said = spoken(balance.message, voice.system, voice.language)
        (notes if balance.holds else warnings).append(said)
        if weighed.clash is not None:
            warnings.append(spoken(weighed.clash.message, voice.system, voice.language))
            notes += [spoken(m, voice.system, voice.language) for m in weighed.clash.causes]
    elif used:
        notes.append(voice.word("section.no-area"))
    if gauged:
        values.append(_count(voice, "gauge", voice.value(gauged.mean_um, "film")))
    if not used and not gauged:
        notes.append(voice.word("section.not-begun"))
    return Line(label=reader.step(row["coat_id"]), sub=row["product_id"], values=tuple(values),
                warning=" ".join(warnings), note=" ".join(notes))  # fmt: skip


def _count(voice: Voice, name: str, text: str, strong: bool = False) -> Value:
    return Value(label=voice.word(f"section.{name}"), text=text, strong=strong)


def _poured(
    row: Json, kits: Mapping[str, Entry], spread: Sequence[Entry], covered: float, used: int
) -> Poured | None:
    """Volume and the ground it went on; None where nothing tells that ground.

    Kits whose ground is logged are set against it; kits without any ground stand
    against the whole section, once as many went in as were ordered for it.
    """
    if not used:
        return None
    if covered:
        names = {e.body["kit"] for e in spread if e.body.get("area_m2")}
        area = covered
    elif used >= row["kits"]:
        names, area = set(kits), float(row["area_m2"])
    else:
        return None
    each = float(row["kit_l"])
    volume = sum(float(kits[n].body.get("volume_l") or each) if n in kits else each for n in names)
    volume -= sum(e.body.get("leftover_l") or 0.0 for e in spread if e.body["kit"] in names)
    if volume <= 0:
        return None
    return Poured(volume_l=volume, kit_l=each, area_m2=area, fill_um=float(row["fill_um"]),
                  loss=float(row["loss"]))  # fmt: skip


def _gauged(here: Sequence[Entry]) -> Gauged | None:
    looks = []
    for e in here:
        low, high = e.body.get("wet_tooth"), e.body.get("dry_tooth")
        if e.kind == "film-reading" and not e.body.get("after_sand"):
            ends = [v for v in (low or 0.0, high) if v is not None]
            scale = UM_PER_MIL if e.body["unit"] == "mil" else 1.0
            looks.append(scale * sum(ends) / len(ends))
    if len(looks) < ENOUGH:
        return None
    return Gauged(mean_um=statistics.fmean(looks), sd_um=statistics.stdev(looks), count=len(looks))


def _told(e: Entry, now: Live, checks: Sequence[Entry], voice: Voice) -> Told:
    at = now.moment(e).astimezone(voice.zone)
    photos = (*e.body.get("photos", ()), *((e.body["sha256"],) if e.kind == "photo" else ()))
    return Told(
        time=f"{at:%H:%M}", day=f"{at:%Y-%m-%d}", kind=say(f"record.kind.{e.kind}", voice.language),
        coat=voice.coat(str(e.body.get("coat") or "")), said=said_of(e, voice),
        check=_check(e, now, checks, voice), person=e.person,
        photos=photos, withdrawn=e.id in now.gone,
    )  # fmt: skip


def _check(e: Entry, now: Live, checks: Sequence[Entry], voice: Voice) -> str:
    name = e.body.get("gauge") or e.body.get("instrument")
    if not name or e.kind == "instrument-check":
        return ""
    check = check_of(checks, name, now.moment(e), now)
    return f"{name} ({voice.word(f'check.{check.state}', on=check.on, due=check.due)})"
