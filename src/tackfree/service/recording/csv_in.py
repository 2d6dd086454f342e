"""Gauge readings and logger data from spreadsheets, as entries; the same file again adds none."""

from __future__ import annotations

import csv
import hashlib
import io
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.bundle.clock import comes_twice, missing
from tackfree.bundle.load import documents
from tackfree.bundle.types import Job
from tackfree.errors import Fault, InputError, Refused
from tackfree.intake.weather.logger import Mapping as Columns
from tackfree.intake.weather.logger import readings
from tackfree.record.canonical import ulid
from tackfree.record.entries import BATCH_MAX, Status, sha_of, take
from tackfree.record.kinds import doubts_of
from tackfree.record.revisions import save_revision
from tackfree.record.store import open_record
from tackfree.service.job import open_job
from tackfree.service.record import where_of
from tackfree.units.constants import M_PER_FT

LARGEST = 20_000_000
SURFACE = {"surface_c": "slab_c", "air_c": "air_c", "rh": "rh", "wind_m_s": "wind_m_s"}
ROWS = 1440  # of one entry of a logger


def _number(text: str) -> float:
    return float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)


def _whole(text: str) -> float | int:
    value = _number(text)
    return int(value) if value.is_integer() else value


def _yes(text: str) -> bool:
    known = {"yes": True, "y": True, "true": True, "1": True, "sí": True, "si": True,
             "no": False, "n": False, "false": False, "0": False}  # fmt: skip
    return known[text.lower()]


# Heading of a readings file -> field of the entry, and how its text becomes a value.
HEADINGS: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "section": ("section", str),
    "coat": ("coat", str),
    "cell": ("cell", str),
    "x_m": ("x_m", _number),
    "y_m": ("y_m", _number),
    "x_ft": ("x_m", lambda t: _number(t) * M_PER_FT),
    "y_ft": ("y_m", lambda t: _number(t) * M_PER_FT),
    "unit": ("unit", str),
    "wet_tooth": ("wet_tooth", _whole),
    "dry_tooth": ("dry_tooth", _whole),
    "gauge": ("gauge", str),
    "gauge_checked": ("gauge_checked", _yes),
    "feet": ("feet", str),
    "after_sand": ("after_sand", _yes),
    "reader": ("reader", str),
}


def take_readings(bundle: Path, file: Path, *, person: str) -> dict[Status, int]:
    """Take a table of gauge readings: one row, one reading.

    Columns: ``time`` (the job's clock, or with an offset) and those of ``HEADINGS``;
    positions in the deck's frame in m or ft.

    Parameters
    ----------
    person : str
        Who read them, where the table has no column ``person``.

    Raises
    ------
    Refused
        With every fault of every row; nothing is taken then.
    """
    job = open_job(bundle)
    zone = ZoneInfo(job.place.time_zone)
    text = _text(file)
    rows = list(csv.DictReader(io.StringIO(text), dialect=_dialect(text)))
    faults: list[Fault] = []
    made: list[tuple[datetime, str, dict[str, Any]]] = []
    for number, row in enumerate(rows, 2):
        where = f"{file.name}, row {number}"
        body, wrong = _body(row)
        moment, late = _moment(row.get("time") or "", zone)
        wrong += [late] if late else []
        told = [d.said() for d in doubts_of("film-reading", 1, body)]
        wrong += [f"{f.where} {f.what}" for f in told]
        faults += [Fault(where=where, what=w, do="Correct the row.") for w in wrong]
        if moment is not None and not wrong:
            made.append((moment, (row.get("person") or "").strip() or person, body))
    if not rows:
        faults.append(
            Fault(where=file.name, what="there is no row.", do="Write a head and a row for each.")
        )
    if faults:
        raise Refused(faults)
    return _append(bundle, job, text, [(m, p, "film-reading", b) for m, p, b in made])


def take_logger(
    bundle: Path,
    file: Path,
    *,
    person: str,
    instrument: str,
    place: str | None = None,
    columns: Columns | None = None,
) -> dict[Status, int]:
    """Take a logger's file: one entry for each day, holding its samples.

    Raises
    ------
    InputError
        If no column is known, or the file is no table of times and values.
    """
    job = open_job(bundle)
    zone = ZoneInfo(job.place.time_zone)
    text = _text(file)
    samples, _, _ = readings(text, columns or Columns())
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
    made = []
    for at in days.values():
        for begin in range(0, len(at), ROWS):
            part = at[begin : begin + ROWS]
            first = int(samples.utc_s[part[0]])
            rows = [
                [int(samples.utc_s[k]) - first]
                + [_rounded(float(samples.columns[name][k])) for name in known]
                for k in part
            ]
            moment = datetime.fromtimestamp(first, zone)
            body: dict[str, Any] = {
                "instrument": instrument,
                "started": moment.isoformat(),
                "columns": [SURFACE[name] for name in known],
                "rows": rows,
                "file": file.name[:200],
            }
            if place:
                body["place"] = place
            made.append((moment, person, "logged", body))
    return _append(bundle, job, text, made)


def _rounded(value: float) -> float | None:
    return round(value, 4) if value == value else None


def _body(row: Mapping[str | None, Any]) -> tuple[dict[str, Any], list[str]]:
    body: dict[str, Any] = {}
    wrong = []
    for heading, cell in row.items():
        name = (heading or "").strip().lower()
        if heading is None:
            wrong.append("it has more cells than the head.")
        elif name in HEADINGS and cell and cell.strip():
            field, read = HEADINGS[name]
            try:
                body[field] = read(cell.strip())
            except (ValueError, KeyError):
                wrong.append(f"{name} cannot be read: {cell.strip()[:40]!r}.")
        elif name not in HEADINGS and name not in ("time", "person"):
            wrong.append(f"no field is called {heading!r}.")
    return body, wrong


def _moment(text: str, zone: ZoneInfo) -> tuple[datetime | None, str]:
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        return None, f"time is not a date and time: {text[:40]!r}."
    if found.tzinfo is not None:
        return found.astimezone(zone), ""
    if gone := missing(found, zone):
        return None, gone
    if comes_twice(found, zone):
        return None, f"{text.strip()} comes twice when the clocks are put back; add its offset."
    return found.replace(tzinfo=zone), ""


def _dialect(text: str) -> type[csv.Dialect]:
    class Found(csv.excel):
        delimiter = max(",;\t", key=text.split("\n", 1)[0].count)

    return Found


def _text(file: Path) -> str:
    if not file.is_file():
        raise InputError("there is no such file.", where=str(file), do="Check its name.")
    if file.stat().st_size > LARGEST:
        raise InputError("it has more than 20 MB.", where=file.name, do="Split it.")
    try:
        return file.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            "the file is no UTF-8 text.", where=file.name, do="Save it as CSV in UTF-8."
        ) from error


def _append(
    bundle: Path, job: Job, text: str, made: Iterable[tuple[datetime, str, str, dict[str, Any]]]
) -> dict[Status, int]:
    """Append rows as the entries of a device that is the file itself."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    zone = job.place.time_zone
    sent: list[dict[str, Any]] = []
    previous = ""
    for seq, (moment, person, kind, body) in enumerate(made, 1):
        token = hashlib.sha256(digest + seq.to_bytes(4, "big")).digest()
        one = {
            "id": ulid(
                time_ms=max(0, int(moment.astimezone(UTC).timestamp() * 1000)),
                randomness=token[:10],
            ),
            "job": job.id,
            "device": f"file-{digest.hex()[:16]}",
            "seq": seq,
            "person": person,
            "wall": moment.astimezone(ZoneInfo(zone)).isoformat(),
            "zone": zone,
            "kind": kind,
            "v": 1,
            "body": body,
            "previous": previous,
        }
        previous = sha_of(one)
        sent.append(one)
    counts: dict[Status, int] = {"stored": 0, "duplicate": 0, "conflict": 0, "held": 0}
    with open_record(where_of(bundle)) as record:
        save_revision(record, documents(job.root), job_id=job.id)
        for begin in range(0, len(sent), BATCH_MAX):
            for result in take(record, sent[begin : begin + BATCH_MAX]).results:
                counts[result.status] += 1
    return counts
