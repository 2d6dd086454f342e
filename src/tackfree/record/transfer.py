"""The record as plain files: JSON lines that any program can read, and taken in again."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from tackfree.errors import InputError
from tackfree.record.canonical import canonical
from tackfree.record.checking import FIELDS
from tackfree.record.entries import BATCH_MAX, Entry, Status, entries, held_entries, take
from tackfree.record.photos import Photos
from tackfree.record.store import Record
from tackfree.record.verify import photos_of

COLUMNS = ("pos", "id", "device", "seq", "person", "wall", "zone", "received")
FORMULA = "=+-@\t\r"  # a spreadsheet would work out a text that begins so


def sent_of(e: Entry) -> dict[str, Any]:
    """An entry as its device sent it."""
    values = {name: getattr(e, name) for name in FIELDS if name not in {"job", "body"}}
    return {**values, "job": e.job_id, "body": dict(e.body)}


def all_entries(record: Record, job_id: str | None = None) -> Iterator[Entry]:
    """Every entry in the order of arrival, a page at a time."""
    after = 0
    while page := entries(record, after=after, job_id=job_id):
        after = page[-1].pos
        yield from page


def files_of(record: Record, photos: Photos, job_id: str) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of every file of an export; ``manifest.json`` with hashes comes last.

    ``record.jsonl`` holds the entries as sent, one a line, with their hash and when they
    came; ``held.jsonl`` what was refused; ``csv/<kind>.csv`` the same entries as tables
    for people; ``photos/`` the pictures as they came.
    """
    hashes: dict[str, str] = {}

    def file(name: str, data: bytes) -> tuple[str, bytes]:
        hashes[name] = hashlib.sha256(data).hexdigest()
        return name, data

    every = list(all_entries(record, job_id))
    lines = [canonical({**sent_of(e), "sha": e.sha, "received": e.received}) for e in every]
    yield file("record.jsonl", _lines(lines))
    kept = [
        canonical({"raw": h.raw, "reason": h.reason, "received": h.received})
        for h in held_entries(record)
    ]
    yield file("held.jsonl", _lines(kept))
    for kind in sorted({e.kind for e in every}):
        yield file(f"csv/{kind}.csv", table([e for e in every if e.kind == kind]))
    for sha in sorted({s for e in every for s in photos_of(e.body)}):
        path = photos.path(sha)
        if path is not None:
            yield file(f"photos/{path.name}", path.read_bytes())
    manifest = {"schema": "tackfree.record-export/1", "job": job_id, "entries": len(every),
                "files": hashes}  # fmt: skip
    yield "manifest.json", (json.dumps(manifest, indent=1, ensure_ascii=False) + "\n").encode()


def table(rows: Sequence[Entry]) -> bytes:
    """Entries of one kind as CSV: their envelope, then a column for each field."""
    names = sorted({name for e in rows for name in e.body})
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*COLUMNS, *names])
    for e in rows:
        envelope = [getattr(e, name) for name in COLUMNS]
        writer.writerow([_cell(v) for v in (*envelope, *(e.body.get(n) for n in names))])
    return ("\ufeff" + out.getvalue()).encode("utf-8")


def _cell(value: Any) -> Any:
    if isinstance(value, list | dict):
        value = canonical(value)
    if isinstance(value, str) and value[:1] and value[0] in FORMULA:
        return "'" + value
    return "" if value is None else value


def _lines(texts: Iterable[str]) -> bytes:
    return "".join(f"{t}\n" for t in texts).encode("utf-8")


def take_in(
    record: Record, photos: Photos, lines: Iterable[str], pictures: Mapping[str, Path]
) -> dict[Status, int]:
    """Take entries and pictures of an export, or of a phone's file; again changes nothing.

    Parameters
    ----------
    lines : iterable of str
        JSON lines: entries as sent; further keys (hash, when it came) are left out.
    pictures : mapping of SHA-256 to file

    Returns
    -------
    dict of status to count

    Raises
    ------
    InputError
        If a line is no JSON. Nothing of the file is taken then.
    """
    sent = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            found = json.loads(line)
        except ValueError as error:
            raise InputError(
                f"line {number} is no JSON.", where="record.jsonl", do="Export it again."
            ) from error
        if isinstance(found, dict):
            found = {k: v for k, v in found.items() if k not in {"sha", "received", "pos"}}
        sent.append(found)
    for sha, path in sorted(pictures.items()):
        photos.keep(sha, path.read_bytes())
    counts: dict[Status, int] = {"stored": 0, "duplicate": 0, "conflict": 0, "held": 0}
    for begin in range(0, len(sent), BATCH_MAX):
        for result in take(record, sent[begin : begin + BATCH_MAX]).results:
            counts[result.status] += 1
    return counts
