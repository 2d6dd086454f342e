"""The inspector's own: spots drawn by lot with a printed seed, and a copy to take along."""

from __future__ import annotations

import hashlib
import io
import json
import random
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from shapely import Point, prepare
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from tackfree.bundle.types import Job
from tackfree.errors import InputError, NotFound
from tackfree.record.canonical import canonical
from tackfree.record.entries import Entry
from tackfree.record.transfer import sent_of, table
from tackfree.service.recording.day import TESTS, Voice, result_of
from tackfree.service.recording.live import Live, check_of
from tackfree.sheets.daily import PaperTable, RecordPaper, render_record_paper
from tackfree.words import say

MINE = ("inspector-spots", "visit", "instrument-check")
MOST = 200  # spots of one drawing
TIMES = 10_000  # tries for each spot; a floor fills more than that of its box


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Spots of one drawing, in the deck's frame [m], with the seed that draws them again."""

    section: str
    coat: str
    seed: int
    drawn_for: str
    person: str
    wall: str
    spots: tuple[tuple[float, float], ...]


def draw_spots(floor: BaseGeometry, *, seed: int, count: int) -> tuple[tuple[float, float], ...]:
    """Spots that each part of a floor has the same chance to hold, to the centimetre.

    Parameters
    ----------
    floor : Polygon or MultiPolygon
        In the deck's frame. [m]
    seed : int
        The same seed draws the same spots on the same floor.
    count : int

    Raises
    ------
    InputError
        If the floor is empty.

    Source
    ------
    Exact: a uniform draw in the box around the floor, kept where it lies on the floor.
    """
    rng = random.Random(seed)
    x0, y0, x1, y1 = floor.bounds if not floor.is_empty else (0.0, 0.0, 0.0, 0.0)
    prepare(floor)
    found: list[tuple[float, float]] = []
    for _ in range(TIMES * count):
        if len(found) == count:
            break
        spot = (round(rng.uniform(x0, x1), 2), round(rng.uniform(y0, y1), 2))
        if floor.contains(Point(spot)):
            found.append(spot)
    if len(found) < count:
        raise InputError("the section has no floor to draw on.", where="section",
                         do="Build the job again.")  # fmt: skip
    return tuple(found)


def floor_of(sections: Sequence[Mapping[str, Any]], section_id: str) -> BaseGeometry:
    """The floor of a section as built."""
    for one in sections:
        if one["id"] == section_id and one.get("floor"):
            return shape(one["floor"])
    raise NotFound(f"there is no floor of section {section_id[:40]!r}.", where="section",
                   do="Choose a section of the job.")  # fmt: skip


def spots_body(section: str, coat: str, seed: int, count: str, drawn_for: str) -> dict[str, Any]:
    """The body of the entry that keeps a drawing."""
    if not (count.isdigit() and 1 <= int(count[:6]) <= MOST):
        raise InputError(f"{count[:20]!r} spots cannot be drawn.", where="count",
                         do=f"Draw 1 to {MOST}.")  # fmt: skip
    return {"section": section, "coat": coat, "seed": seed, "count": int(count),
            "drawn_for": drawn_for}  # fmt: skip


def drawings(now: Live, floor: BaseGeometry, section: str) -> tuple[Drawn, ...]:
    """Every drawing of a section that counts, the newest first."""
    return tuple(
        Drawn(
            section=section, coat=e.body["coat"], seed=e.body["seed"],
            drawn_for=e.body["drawn_for"], person=e.person, wall=e.wall,
            spots=draw_spots(floor, seed=e.body["seed"], count=e.body["count"]),
        )
        for e in reversed(now.of("inspector-spots"))
        if e.body["section"] == section
    )  # fmt: skip


def his(now: Live) -> tuple[Entry, ...]:
    """Entries that are the inspector's: his readings and tests, visits, spots, checks."""
    return tuple(e for e in now.counted if e.kind in MINE or e.body.get("reader") == "inspector")


def copy_of(job: Job, now: Live, voice: Voice) -> bytes:
    """A zip of all that is the inspector's: entries as sent, tables, and a paper to read.

    The same record gives the same bytes. Hashes in it are those of the record, so that
    the copy shows later whether a line was changed.
    """
    mine = his(now)
    lines = [canonical({**sent_of(e), "sha": e.sha, "received": e.received}) for e in mine]
    files = {"entries.jsonl": "".join(f"{x}\n" for x in lines).encode()}
    for kind in sorted({e.kind for e in mine}):
        files[f"{kind}.csv"] = table([e for e in mine if e.kind == kind])
    files["readings.pdf"] = render_record_paper(paper_of(job, now, voice))
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())}
    manifest = {"schema": "tackfree.inspector-copy/1", "job": job.id, "entries": len(mine),
                "files": hashes}  # fmt: skip
    files["manifest.json"] = (json.dumps(manifest, indent=1) + "\n").encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, data in sorted(files.items()):
            zipped.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def paper_of(job: Job, now: Live, voice: Voice) -> RecordPaper:
    """Every reading of the inspector on paper, each with its instrument's check."""
    word, mine = voice.word, his(now)
    checks = now.of("instrument-check")
    rows = []
    for e in mine:
        b, at = e.body, now.moment(e)
        name = b.get("gauge") or b.get("instrument") or ""
        check = check_of(checks, name, at, now) if name else None
        rows.append((
            f"{at.astimezone(voice.zone):%Y-%m-%d %H:%M}",
            say(f"record.kind.{e.kind}", voice.language),
            " ".join(filter(None, (b.get("section"), voice.coat(b.get("coat") or "")))) or "—",
            said_of(e, voice),
            f"{name} ({word(f'check.{check.state}', on=check.on, due=check.due)})"
            if check and e.kind != "instrument-check" else name or "—",
            e.person,
        ))  # fmt: skip
    heads = ("time", "what", "place", "said", "instrument", "person")
    found = PaperTable(title=word("table.his"), head=tuple(word(f"head.{h}") for h in heads),
                       rows=tuple(rows))  # fmt: skip
    last = max((int(now.moment(e).timestamp()) for e in mine), default=0)
    return RecordPaper(
        title=word("his.title"), job=f"{job.id} · {job.name}", date="",
        lead=(word("his.lead", count=len(mine)),), tables=(found,) if rows else (),
        made_utc_s=last, language=voice.language, foot=word("his.foot"),
        signs=(word("sign.inspector"), word("sign.office")),
        invented=say("sheet.invented", voice.language) if job.invented else "",
        letter=voice.system == "us",
    )  # fmt: skip


def said_of(e: Entry, voice: Voice) -> str:
    """What an entry says, in one short line."""
    b, word = e.body, voice.word
    if e.kind == "film-reading":
        low, high = b.get("wet_tooth"), b.get("dry_tooth")
        teeth = f"{0 if low is None else low:g}–{'…' if high is None else format(high, 'g')}"
        at = f"x {voice.value(b['x_m'], 'length')}, y {voice.value(b['y_m'], 'length')}"
        return f"{teeth} {b['unit']}, {at}, {word('reader.' + b.get('reader', 'crew'))}"
    if e.kind == "conditions":
        slab, air = (voice.value(b[k], "temperature") for k in ("slab_c", "air_c"))
        return f"{word('head.slab')} {slab}, {word('head.air')} {air}, {100 * b['rh']:.0f} %"
    if e.kind == "inspector-spots":
        return word("his.spots", count=b["count"], seed=b["seed"], who=b["drawn_for"])
    if e.kind in ("batch", "placement"):
        cell = f", {word('cell', cell=b['cell'])}" if b.get("cell") else ""
        return f"{b['kit']}{cell}"
    if e.kind == "area-prepared":
        return f"{word('method.' + b['method'])}, {voice.value(b['area_m2'], 'area')}"
    if e.kind == "instrument-check":
        passed = word("his.passed" if b["passed"] else "his.failed")
        return ", ".join(filter(None, (b["against"], passed, str(b.get("due") or ""))))
    if e.kind in TESTS:
        return result_of(e, voice)
    told = _in_words(e, voice)
    if told:
        note = b.get("what") if e.kind == "delay" else b.get("note") or b.get("cause")
        return ", ".join(filter(None, (told, note)))
    names = ("text", "reason", "saw", "action", "shows", "note")  # fmt: skip
    return next((str(b[n]) for n in names if b.get(n) not in (None, "")), "—")


def _in_words(e: Entry, voice: Voice) -> str:
    """What an entry says by its choices, in the reader's words; "" for one of words alone."""
    b, word = e.body, voice.word
    match e.kind:
        case "notice":
            ready = datetime.fromisoformat(b["ready_at"]).astimezone(voice.zone)
            return word(
                "said.notice", point=b["point"], to=b["to"], ready=f"{ready:%Y-%m-%d %H:%M}"
            )
        case "notice-answer":
            return word(f"answer.{b['answer']}", who=str(b.get("who") or "—"))
        case "release":
            return word(f"release.{b['of']}", by=b["by"])
        case "defect":
            return word(f"defect.{b['what']}")
        case "weather-event":
            return word(f"weather.{b['what']}")
        case "delay":
            return f"{word('cause.' + b['cause'])} {b['hours']:g} h"
        case "detail-length":
            return f"{word('detail.' + b['detail'])} {voice.value(b['length_m'], 'length')}"
        case "aggregate":
            return f"{b['product']}, {word('head.bags').lower()} {b['bags']:g}"
        case "crew-hours":
            return f"{b['crew']} {b['people']} × {b['hours']:g} h"
        case "delivery":
            return f"{b['product']}, {word('head.kits').lower()} {b['kits']}"
        case "readiness":
            return f"{voice.coat(b['step'])}: {word('ready' if b['ready'] else 'not-ready')}"
        case _:
            return ""
