"""Gauge readings and logger data from spreadsheets, as entries; what is there is not added again.

The same table a second time adds nothing, however it was saved: rows are known by what
they say. A longer table adds the rows that are new.
"""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.bundle.load import documents
from tackfree.bundle.types import Job
from tackfree.errors import Fault, InputError, Refused
from tackfree.intake.weather.logger import Mapping as Columns
from tackfree.intake.weather.logger import readings
from tackfree.record.canonical import canonical, ulid
from tackfree.record.entries import BATCH_MAX, Entry, Status, sha_of, take
from tackfree.record.kinds import doubts_of
from tackfree.record.revisions import save_revision
from tackfree.record.store import Record, open_record
from tackfree.record.transfer import all_entries
from tackfree.service.job import open_job
from tackfree.service.record import where_of
from tackfree.service.recording.csv_table import Upload, rows_of, text_of

SURFACE = {"surface_c": "slab_c", "air_c": "air_c", "rh": "rh", "wind_m_s": "wind_m_s"}
ROWS = 1440  # of one entry of a logger
FROM_FILE = "file-"  # begins the device of what came out of a table


@dataclass(frozen=True, kw_only=True)
class Brought:
    """What became of a table's entries, and the span of the job's clock they tell of.

    The span shows at a glance whether the table's clock was understood.
    """

    counts: dict[Status, int]
    first: datetime
    last: datetime


@dataclass(frozen=True, kw_only=True)
class _Made:
    moment: datetime
    person: str
    kind: str
    body: dict[str, Any]

    @property
    def key(self) -> str:
        """What makes two rows the same."""
        at = self.moment.astimezone(UTC).isoformat()
        return canonical({"at": at, "person": self.person, "kind": self.kind, "body": self.body})


def take_readings(
    bundle: Path, file: Path | Upload, *, person: str, day_first: bool | None = None
) -> Brought:
    """Take a table of gauge readings: one row, one reading.

    Parameters
    ----------
    person : str
        Who read them, where the table has no column ``person``.
    day_first : bool, optional
        Whether 03/04 is 3 April, where no date of the table tells.

    Raises
    ------
    Refused
        With every fault of every row; nothing is taken then.
    """
    job = open_job(bundle)
    zone = ZoneInfo(job.place.time_zone)
    rows = rows_of(text_of(file), file.name, zone, person=person, day_first=day_first)
    faults = [
        Fault(where=f"{file.name}, row {r.number}", what=f"{told.where} {told.what}",
              do="Correct the row.")
        for r in rows
        for told in (d.said() for d in doubts_of("film-reading", 1, r.body))
    ]  # fmt: skip
    if faults:
        raise Refused(faults)
    made = [_Made(moment=r.moment, person=r.person, kind="film-reading", body=r.body)
            for r in rows]  # fmt: skip
    with _opened(bundle, job) as record:
        known = Counter(
            _Made(moment=datetime.fromisoformat(e.wall), person=e.person, kind=e.kind,
                  body=dict(e.body)).key
            for e in _from_files(record, job, "film-reading")
        )  # fmt: skip
        fresh = []
        for one in made:
            if known[one.key] > 0:
                known[one.key] -= 1
            else:
                fresh.append(one)
        counts = _append(record, job, fresh)
    counts["duplicate"] += len(made) - len(fresh)
    moments = [m.moment for m in made]
    return Brought(counts=counts, first=min(moments), last=max(moments))


def take_logger(
    bundle: Path,
    file: Path | Upload,
    *,
    person: str,
    instrument: str,
    place: str | None = None,
    columns: Columns | None = None,
) -> Brought:
    """Take a logger's file: one entry for each day, holding its samples.

    Samples of this instrument that are in the record already are left out: a logger
    gives its whole memory each time it is read.

    Raises
    ------
    InputError
        If no column is known, or the file is no table of times and values.
    """
    job = open_job(bundle)
    zone = ZoneInfo(job.place.time_zone)
    samples, _, _ = readings(text_of(file), columns or Columns())
    known = [name for name in SURFACE if name in samples.columns]
    if not known:
        raise InputError(
            "no column is known as slab, air, humidity or wind.",
            where=file.name,
            do="Name it: --column surface_c=Deck",
        )
    days: dict[str, list[int]] = defaultdict(list)
    for k, utc_s in enumerate(samples.utc_s.tolist()):
        days[f"{datetime.fromtimestamp(utc_s, zone):%Y-%m-%d}"].append(k)
    if not days:
        raise InputError("there is no row.", where=file.name, do="Write a head and a row for each.")
    with _opened(bundle, job) as record:
        have = _sampled(_from_files(record, job, "logged"), instrument)
        made, duplicate = [], 0
        for at in days.values():
            left = [k for k in at if int(samples.utc_s[k]) not in have]
            duplicate += not left
            for begin in range(0, len(left), ROWS):
                part = left[begin : begin + ROWS]
                first = int(samples.utc_s[part[0]])
                moment = datetime.fromtimestamp(first, zone)
                body: dict[str, Any] = {
                    "instrument": instrument,
                    "started": moment.isoformat(),
                    "columns": [SURFACE[name] for name in known],
                    "rows": [
                        [int(samples.utc_s[k]) - first]
                        + [_rounded(float(samples.columns[name][k])) for name in known]
                        for k in part
                    ],
                    "file": file.name[:200],
                }
                if place:
                    body["place"] = place
                made.append(_Made(moment=moment, person=person, kind="logged", body=body))
        counts = _append(record, job, made)
    counts["duplicate"] += duplicate
    ends = (int(samples.utc_s.min()), int(samples.utc_s.max()))
    first_at, last_at = (datetime.fromtimestamp(s, zone) for s in ends)
    return Brought(counts=counts, first=first_at, last=last_at)


def _rounded(value: float) -> float | None:
    return round(value, 4) if value == value else None


def _opened(bundle: Path, job: Job) -> Record:
    record = open_record(where_of(bundle))
    try:
        save_revision(record, documents(job.root), job_id=job.id)
    except BaseException:
        record.close()
        raise
    return record


def _from_files(record: Record, job: Job, kind: str) -> Iterable[Entry]:
    """Entries of a kind that came out of tables; withdrawn ones too, so that none comes back."""
    for e in all_entries(record, job.id):
        if e.kind == kind and e.device.startswith(FROM_FILE):
            yield e


def _sampled(logged: Iterable[Entry], instrument: str) -> frozenset[int]:
    """Moments of an instrument's samples. [UTC s]"""
    found: set[int] = set()
    for e in logged:
        if e.body["instrument"] == instrument:
            begun = int(datetime.fromisoformat(e.body["started"]).timestamp())
            found.update(begun + int(row[0]) for row in e.body["rows"])
    return frozenset(found)


def _append(record: Record, job: Job, made: Sequence[_Made]) -> dict[Status, int]:
    """Append rows as the entries of a device that is their own text."""
    digest = hashlib.sha256("\n".join(m.key for m in made).encode("utf-8")).digest()
    zone = job.place.time_zone
    sent: list[dict[str, Any]] = []
    previous = ""
    for seq, one in enumerate(made, 1):
        token = hashlib.sha256(digest + seq.to_bytes(4, "big")).digest()
        entry = {
            "id": ulid(
                time_ms=max(0, int(one.moment.astimezone(UTC).timestamp() * 1000)),
                randomness=token[:10],
            ),
            "job": job.id,
            "device": f"{FROM_FILE}{digest.hex()[:16]}",
            "seq": seq,
            "person": one.person,
            "wall": one.moment.astimezone(ZoneInfo(zone)).isoformat(),
            "zone": zone,
            "kind": one.kind,
            "v": 1,
            "body": one.body,
            "previous": previous,
        }
        previous = sha_of(entry)
        sent.append(entry)
    counts: dict[Status, int] = {"stored": 0, "duplicate": 0, "conflict": 0, "held": 0}
    for begin in range(0, len(sent), BATCH_MAX):
        for result in take(record, sent[begin : begin + BATCH_MAX]).results:
            counts[result.status] += 1
    return counts
