"""The daily report and the delay letter, out of the record and nothing else."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.bundle.types import Job
from tackfree.climate.air import dew_point_c
from tackfree.errors import InputError
from tackfree.record.entries import Entry, held_entries
from tackfree.record.store import open_record
from tackfree.record.transfer import all_entries
from tackfree.service.evidence_words import spoken
from tackfree.service.job import open_job
from tackfree.service.record import where_of
from tackfree.service.recording.doubts import doubts
from tackfree.service.recording.live import Live, check_of, live
from tackfree.sheets.daily import PaperTable, RecordPaper
from tackfree.units import Kind, System, show
from tackfree.words import catalogue, say

TESTS = ("pull-off", "moisture", "flood", "slip", "hardness", "cure-seen")


@dataclass(frozen=True, kw_only=True)
class Voice:
    """How a paper speaks: language, units, and the clock of the job."""

    language: str
    system: System
    zone: ZoneInfo

    def word(self, name: str, **values: Any) -> str:
        return say(f"daily.{name}", self.language, **values)

    def value(self, value: float | None, kind: Kind, digits: int | None = None) -> str:
        if value is None:
            return "—"
        return show(value, kind, self.system, digits, self.language)

    def coat(self, coat_id: str) -> str:
        """A coat or step in the reader's words; one that has none stays as it is."""
        key = f"step.{coat_id}"
        return say(key, self.language) if key in catalogue("en") else coat_id

    def time(self, moment: datetime) -> str:
        return f"{moment.astimezone(self.zone):%H:%M}"


def voice_of(job: Job, language: str | None = None, system: System | None = None) -> Voice:
    """The voice of a job's own papers."""
    return Voice(
        language=language or job.languages[0],
        system=system or ("si" if job.units == "si" else "us"),
        zone=ZoneInfo(job.place.time_zone),
    )


def read(bundle: Path) -> tuple[Job, Live, int]:
    """The job, its entries as they count now, and how many are held."""
    job = open_job(bundle)
    where = where_of(bundle)
    if isinstance(where, Path) and not where.exists():
        return job, live(()), 0
    with open_record(where) as record:
        return job, live(all_entries(record, job.id)), len(held_entries(record))


def on_day(now: Live, on: date, zone: ZoneInfo) -> tuple[Entry, ...]:
    """Entries that count and were written on a day of the job's clock."""
    return tuple(e for e in now.counted if now.moment(e).astimezone(zone).date() == on)


def day_paper(
    job: Job, now: Live, on: date, voice: Voice, held: int = 0, clashes: Sequence[str] = ()
) -> RecordPaper:
    """The daily report: hours, areas, kits, conditions, delays, tests, and what is in doubt.

    ``clashes`` are readings that the gallons poured do not allow, already said.
    """
    entries = on_day(now, on, voice.zone)
    word = voice.word
    people = {e.person for e in entries}
    lead = [word("lead", count=len(entries), people=len(people))]
    told = [*clashes, *(spoken(m, voice.system, voice.language) for m in doubts(now, entries))]
    if held:
        told.append(word("held", count=held))
    lines = (
        _hours, _areas, _coats, _batches, _sand, _details, _conditions, _film, _tests, _events,
        _deliveries, _points, _defects, _delays, _words,
    )  # fmt: skip
    tables = [t for line in lines if (t := line(entries, now, voice)) is not None]
    if not entries:
        lead = [word("nothing")]
    return RecordPaper(
        title=word("title"),
        job=f"{job.id} · {job.name}",
        date=_date(on, voice),
        lead=tuple(lead),
        tables=tuple(tables),
        made_utc_s=int(datetime(on.year, on.month, on.day, tzinfo=voice.zone).timestamp()),
        language=voice.language,
        doubts_title=word("doubts"),
        doubts=tuple(told),
        signs=(word("sign.foreman"), word("sign.office")) if entries else (),
        foot=word("foot"),
        invented=say("sheet.invented", voice.language) if job.invented else "",
        letter=voice.system == "us",
    )


def _date(on: date, voice: Voice) -> str:
    weekday = say("page.weekdays", voice.language).split()[on.weekday()]
    return f"{weekday} {on.isoformat()}"


Entries = Sequence[Entry]


def _pick(entries: Iterable[Entry], *kinds: str) -> list[Entry]:
    return [e for e in entries if e.kind in kinds]


def _table(
    voice: Voice, name: str, columns: str, rows: Sequence[Sequence[str]], right: str = "",
    note: str = "",
) -> PaperTable | None:  # fmt: skip
    """A table whose title and heads are sentences of ``daily``; None for no rows."""
    if not rows:
        return None
    names = columns.split()
    return PaperTable(
        title=voice.word(f"table.{name}"),
        head=tuple(voice.word(f"head.{n}") for n in names),
        rows=tuple(tuple(r) for r in rows),
        right=tuple(k for k, n in enumerate(names) if n in right.split()),
        note=note,
    )


def _hours(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows, total = [], 0.0
    for e in _pick(entries, "crew-hours"):
        b = e.body
        worked = b["people"] * b["hours"]
        total += worked
        where = " ".join(filter(None, (b.get("doing"), b.get("section"))))
        rows.append((b["crew"], str(b["people"]), f"{b['hours']:g}", f"{worked:g}", where or "—"))
    note = voice.word("hours-total", hours=f"{total:g}")
    return _table(voice, "hours", "crew people hours person-hours doing", rows,
                  "people hours person-hours", note)  # fmt: skip


def _areas(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = [
        (_where(e, voice), voice.word(f"method.{e.body['method']}"),
         voice.value(e.body["area_m2"], "area"), voice.value(e.body.get("edges_m"), "length"))
        for e in _pick(entries, "area-prepared")
    ]  # fmt: skip
    return _table(voice, "areas", "section method area edges", rows, "area edges")


def _coats(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    """Kits and area by section and coat, from first kit to last."""
    found: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for e in _pick(entries, "batch", "placement"):
        found[e.body["section"], e.body["coat"]].append(e)
    rows = []
    for (section, coat), group in sorted(found.items()):
        kits = {e.body["kit"] for e in group if e.kind == "batch"}
        areas = [e.body["area_m2"] for e in group if e.body.get("area_m2")]
        moments = [now.moment(e) for e in group]
        span = f"{voice.time(min(moments))}–{voice.time(max(moments))}"
        area = voice.value(sum(areas), "area") if areas else "—"
        rows.append((section, voice.coat(coat), str(len(kits)), area, span))
    return _table(voice, "coats", "section coat kits area from-to", rows, "kits area")


def _batches(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = []
    for e in _pick(entries, "batch"):
        b = e.body
        lots = " ".join(f"{p['name']}:{p['lot']}" for p in b.get("parts", ()))
        ticked = {True: "yes", False: "no", None: "not-said"}[b.get("b_in")]
        rows.append((
            voice.time(now.moment(e)), b["kit"], b["product"], _where(e, voice),
            voice.value(b.get("temperature_c"), "temperature"), voice.word(ticked), lots or "—",
        ))  # fmt: skip
    return _table(voice, "batches", "time kit product place temperature b-in lots", rows,
                  "temperature")  # fmt: skip


def _sand(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = [
        (_where(e, voice), e.body["product"], f"{e.body['bags']:g}",
         voice.value(e.body.get("swept_back_kg"), "mass"), str(e.body.get("lot") or "—"))
        for e in _pick(entries, "aggregate")
    ]  # fmt: skip
    return _table(voice, "sand", "place product bags swept lots", rows, "bags swept")


def _details(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = [
        (_where(e, voice), voice.word(f"detail.{e.body['detail']}"),
         voice.value(e.body["length_m"], "length"), str(e.body.get("product") or "—"),
         str(e.body.get("lot") or "—"))
        for e in _pick(entries, "detail-length")
    ]  # fmt: skip
    return _table(voice, "details", "section detail length product lots", rows, "length")


def _conditions(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    checks = now.of("instrument-check")
    rows = []
    for e in _pick(entries, "conditions"):
        b, at = e.body, now.moment(e)
        spread = "—"
        if b["rh"] > 0:
            dew = float(dew_point_c(b["air_c"], b["rh"]))
            spread = voice.value(b["slab_c"] - dew, "temperature_step")
        rows.append((
            voice.time(at), str(b.get("place") or b.get("section") or "—"),
            voice.value(b["slab_c"], "temperature"), voice.value(b["air_c"], "temperature"),
            f"{100 * b['rh']:.0f} %", spread, voice.value(b.get("wind_m_s"), "speed"),
            voice.word(f"called.{b['called']}") if b.get("called") else "—",
            _instrument(b.get("instrument"), checks, at, now, voice),
        ))  # fmt: skip
    return _table(voice, "conditions", "time place slab air rh spread wind call instrument", rows,
                  "slab air rh spread wind")  # fmt: skip


def _instrument(name: str | None, checks: Entries, at: datetime, now: Live, voice: Voice) -> str:
    """An instrument with what is known of its check."""
    if not name:
        return "—"
    check = check_of(checks, name, at, now)
    return f"{name} ({voice.word(f'check.{check.state}', on=check.on, due=check.due)})"


def _film(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    """Readings by section, coat, gauge and reader: the inspector's stand apart."""
    found: dict[tuple[str, str, str, str, str], list[Entry]] = defaultdict(list)
    for e in _pick(entries, "film-reading"):
        b = e.body
        reader = b.get("reader", "crew")
        found[b["section"], b["coat"], reader, b["gauge"], b["unit"]].append(e)
    checks = now.of("instrument-check")
    rows = []
    for (section, coat, reader, gauge, unit), group in sorted(found.items()):
        lows = [e.body["wet_tooth"] for e in group if e.body.get("wet_tooth") is not None]
        highs = [e.body["dry_tooth"] for e in group if e.body.get("dry_tooth") is not None]
        low = f"{min(lows):g}" if lows else "0"
        span = f"{low}–{max(highs):g} {unit}" if highs else f"{low}+ {unit}"
        last = now.moment(group[-1])
        rows.append((
            f"{section} {voice.coat(coat)}", voice.word(f"reader.{reader}"), str(len(group)), span,
            _instrument(gauge, checks, last, now, voice),
        ))  # fmt: skip
    return _table(voice, "film", "place reader count teeth instrument", rows, "count",
                  voice.word("film-note"))  # fmt: skip


def _tests(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    checks = now.of("instrument-check")
    rows = []
    for e in _pick(entries, *TESTS):
        rows.append((
            voice.time(now.moment(e)), say(f"record.kind.{e.kind}", voice.language),
            _where(e, voice), voice.word(f"reader.{e.body.get('reader', 'crew')}"),
            result_of(e, voice),
            _instrument(e.body.get("instrument"), checks, now.moment(e), now, voice),
        ))  # fmt: skip
    return _table(voice, "tests", "time test section reader result instrument", rows)


def result_of(e: Entry, voice: Voice) -> str:
    """What a test said, in words and the reader's units."""
    b = e.body
    if e.kind == "pull-off":
        return voice.word(
            "result.pull-off", set=b["set"], fixture=b["fixture"],
            stress=voice.value(b["stress_pa"], "pressure"),
            concrete=f"{100 * b['in_concrete']:.0f} %", glue=f"{100 * b.get('glue', 0):.0f} %",
        )  # fmt: skip
    if e.kind == "flood":
        state = {True: "leaked", False: "tight", None: "running"}[b.get("leaked")]
        return voice.word(f"result.{state}")
    if e.kind == "moisture":
        unit = "g/m²·d" if b["method"] == "chloride" else "%"
        value = b["value"] if b["method"] == "chloride" else 100 * b["value"]
        return f"{voice.word('moisture.' + b['method'])} {value:g} {unit}"
    if e.kind == "slip":
        return f"{voice.word('slip.' + b['method'])} {b['value']:g}"
    if e.kind == "hardness":
        return f"Shore A {b['shore_a']:g}"
    return voice.word("result.tack-free" if b["tack_free"] else "result.not-tack-free")


def _events(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = [
        (voice.time(datetime.fromisoformat(e.body["began"])),
         voice.time(datetime.fromisoformat(e.body["ended"])) if e.body.get("ended") else "—",
         voice.word(f"weather.{e.body['what']}"),
         voice.word("wet-film") if e.body.get("on_wet_film") else "—",
         ", ".join(e.body.get("sections", ())) or _where(e, voice), str(e.body.get("note") or ""))
        for e in _pick(entries, "weather-event")
    ]  # fmt: skip
    return _table(voice, "events", "from to what on-film section note", rows)


def _deliveries(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = []
    for e in _pick(entries, "delivery"):
        parts = " ".join(f"{p['part']}:{p['lot']}×{p['count']}" for p in e.body.get("parts", ()))
        rows.append((voice.time(now.moment(e)), e.body["product"], str(e.body["kits"]),
                     str(e.body.get("slip") or "—"), parts or "—"))  # fmt: skip
    return _table(voice, "deliveries", "time product kits slip lots", rows, "kits")


def _points(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    """Hold points: notices, answers, holds, releases, visits."""
    rows = []
    for e in _pick(entries, "notice", "notice-answer", "hold", "release", "visit"):
        b = e.body
        if e.kind == "notice":
            ready = voice.time(datetime.fromisoformat(b["ready_at"]))
            said = voice.word("said.notice", point=b["point"], to=b["to"], ready=ready)
        elif e.kind == "notice-answer":
            said = voice.word(f"answer.{b['answer']}", who=str(b.get("who") or "—"))
        elif e.kind == "hold":
            said = b["reason"]
        elif e.kind == "release":
            said = voice.word(f"release.{b['of']}", by=b["by"])
        else:
            said = f"{b['who']}: {b['saw']}" + (f" ({voice.word('signed')})" if b["signed"] else "")
        rows.append((voice.time(now.moment(e)), say(f"record.kind.{e.kind}", voice.language),
                     _where(e, voice), e.person, said))  # fmt: skip
    return _table(voice, "points", "time what section person said", rows)


def _defects(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = []
    for e in _pick(entries, "defect", "repair"):
        b = e.body
        if e.kind == "defect":
            what = voice.word(f"defect.{b['what']}")
            said = " ".join(filter(None, (b.get("cause"), b.get("note"))))
        else:
            what = say("record.kind.repair", voice.language)
            said = b["action"]
        size = voice.value(b.get("area_m2"), "area")
        rows.append((voice.time(now.moment(e)), what, _where(e, voice), size, said or "—"))
    return _table(voice, "defects", "time what section area said", rows, "area")


def _delays(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows, lost = [], 0.0
    for e in _pick(entries, "delay"):
        b = e.body
        persons = b["hours"] * (b.get("people") or 0)
        lost += persons
        rows.append((voice.word(f"cause.{b['cause']}"), f"{b['hours']:g}",
                     f"{persons:g}" if persons else "—", ", ".join(b.get("sections", ())) or "—",
                     b["what"]))  # fmt: skip
    note = voice.word("lost-total", hours=f"{lost:g}") if lost else ""
    return _table(voice, "delays", "cause hours person-hours section said", rows,
                  "hours person-hours", note)  # fmt: skip


def _words(entries: Entries, now: Live, voice: Voice) -> PaperTable | None:
    rows = []
    for e in _pick(entries, "note", "photo", "readiness"):
        b = e.body
        if e.kind == "note":
            said = b["text"]
        elif e.kind == "photo":
            said = str(b.get("shows") or b["sha256"][:12])
        else:
            ready = voice.word("ready" if b["ready"] else "not-ready")
            said = " · ".join(filter(None, (voice.coat(b["step"]), ready, b.get("note"))))
        rows.append((voice.time(now.moment(e)), say(f"record.kind.{e.kind}", voice.language),
                     _where(e, voice), e.person, said))  # fmt: skip
    return _table(voice, "words", "time what section person said", rows)


def _where(e: Entry, voice: Voice) -> str:
    b = e.body
    coat = voice.coat(str(b.get("coat") or ""))
    return " ".join(filter(None, (b.get("section"), coat))) or str(b.get("deck") or "—")


def delay_letter(
    job: Job, now: Live, since: date, until: date, voice: Voice, to: str = ""
) -> RecordPaper:
    """A letter that lists the delays of some days with the readings that go with them.

    It states what was written down and when; what a contract makes of it, people say.

    Raises
    ------
    InputError
        If the days are the wrong way round or hold no delay.
    """
    if until < since:
        raise InputError("the last day is before the first.", where="--until", do="Turn them.")
    entries = [
        e for e in now.counted if since <= now.moment(e).astimezone(voice.zone).date() <= until
    ]
    lost = _pick(entries, "delay")
    if not lost:
        raise InputError(
            f"the record holds no delay from {since} to {until}.",
            where="record",
            do="Enter it: tackfree record add B BODY --kind delay",
        )
    rows = [tuple(r) for e in lost for r in _delay_rows(e, now, voice)]
    hours = sum(e.body["hours"] for e in lost)
    persons = sum(e.body["hours"] * (e.body.get("people") or 0) for e in lost)
    weather = [t for t in (_events(entries, now, voice), _conditions(entries, now, voice)) if t]
    by_weather = any(e.body["cause"] == "weather" for e in lost)
    delays = _table(voice, "delays", "day cause hours people section told said", rows,
                    "hours people")  # fmt: skip
    assert delays is not None
    return RecordPaper(
        title=voice.word("letter.title"),
        job=f"{job.id} · {job.name}",
        date=f"{since.isoformat()} – {until.isoformat()}",
        lead=(voice.word("letter.to", to=to),) if to else (),
        paragraphs=(
            voice.word("letter.body", count=len(lost), hours=f"{hours:g}", persons=f"{persons:g}"),
            voice.word("letter.record"),
        ),
        tables=(delays, *(weather if by_weather else ())),
        made_utc_s=int(datetime(until.year, until.month, until.day, tzinfo=UTC).timestamp()),
        language=voice.language,
        signs=(voice.word("sign.office"), voice.word("sign.received")),
        foot=voice.word("letter.foot"),
        invented=say("sheet.invented", voice.language) if job.invented else "",
        letter=voice.system == "us",
    )


def _delay_rows(e: Entry, now: Live, voice: Voice) -> Iterator[Sequence[str]]:
    b = e.body
    told = str(b.get("told") or "—")
    if b.get("told_at"):
        moment = datetime.fromisoformat(b["told_at"]).astimezone(voice.zone)
        told += f", {moment:%Y-%m-%d %H:%M}"
    yield (f"{now.moment(e).astimezone(voice.zone):%Y-%m-%d}", voice.word(f"cause.{b['cause']}"),
           f"{b['hours']:g}", str(b.get("people") or "—"), ", ".join(b.get("sections", ())) or "—",
           told, b["what"])  # fmt: skip


def day_of(bundle: Path, on: str) -> RecordPaper:
    """The daily report of a bundle for a date as typed.

    Raises
    ------
    InputError
        If it is no date.
    """
    job, now, held = read(bundle)
    return day_paper(job, now, _typed(on, "--date"), voice_of(job), held)


def letter_of(bundle: Path, since: str, until: str, to: str) -> RecordPaper:
    """The delay letter of a bundle for dates as typed."""
    job, now, _ = read(bundle)
    first, last = _typed(since, "--since"), _typed(until, "--until")
    return delay_letter(job, now, first, last, voice_of(job), to)


def _typed(text: str, where: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text[:40]!r} is not a date.", where=where, do="Write it as 2027-04-20."
        ) from None
