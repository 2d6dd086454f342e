"""Read the whole record and hash it again: what is missing, altered or unprotected."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import Connection, Row, func, select, text

from tackfree.errors import Fault
from tackfree.record.canonical import seal_of, sha256
from tackfree.record.entries import hash_or_none, same_as_stored
from tackfree.record.photos import Photos
from tackfree.record.revisions import revisions
from tackfree.record.store import DamagedError, Record
from tackfree.record.tables import entry, held, job

DO = "Compare with the device and with the last backup."
GUARDED = ("migration", "job", "revision", "entry", "held")


def verify(record: Record, photos: Photos | None = None) -> tuple[Fault, ...]:
    """Changed entries, broken or gapped chains, lost positions, missing photos.

    Parameters
    ----------
    record : Record
    photos : Photos, optional
        Where the pictures lie that entries name.
    """
    with record.reading() as connection:
        rows = connection.execute(select(entry).order_by(entry.c.device, entry.c.seq)).all()
        kept = connection.execute(select(held).order_by(held.c.pos)).all()
        jobs = connection.execute(select(job.c.id)).scalars().all()
        found = [
            *_chains(rows, kept),
            *_held(kept),
            *_positions(connection, record.on_postgresql),
            *_guards(connection, record.on_postgresql),
        ]
    for name in jobs:
        try:
            revisions(record, name)
        except DamagedError as error:
            found.append(Fault(where=f"job {name}", what=error.what, do=DO))
    if photos is not None:
        found += _pictures(rows, photos)
    return tuple(found)


def _chains(rows: Iterable[Row[Any]], kept: Iterable[Row[Any]]) -> Iterator[Fault]:
    """Every device's entries, each naming the hash of the one before."""
    held_shas: dict[tuple[str, int], set[str | None]] = {}
    for row in kept:
        held_shas.setdefault((row.device, row.seq), set()).add(hash_or_none(row.raw))
    last_seq: dict[str, int] = {}
    last_sha: dict[str, str] = {}
    for row in rows:
        where = f"device {row.device}, entry {row.seq}"
        if not same_as_stored(row):
            yield Fault(where=where, what="The entry is not what was stored.", do=DO)
        expected = last_seq.get(row.device, 0) + 1
        lost = [n for n in range(expected, row.seq) if (row.device, n) not in held_shas]
        for number in lost:
            yield Fault(where=where, what=f"Entry {number} before it is missing.", do=DO)
        if row.seq == expected:
            follows = row.previous == last_sha.get(row.device, "")
        else:
            follows = bool(lost) or row.previous in held_shas[(row.device, row.seq - 1)]
        if not follows:
            yield Fault(where=where, what="It does not follow the entry before it.", do=DO)
        last_seq[row.device], last_sha[row.device] = row.seq, row.sha


def _held(kept: Iterable[Row[Any]]) -> Iterator[Fault]:
    for row in kept:
        sealed = not row.seal or row.seal == seal_of(row.sha, row.reason, row.received)
        if sha256(row.raw) != row.sha or not sealed:
            yield Fault(
                where=f"held entry {row.pos}", what="The entry is not what was kept.", do=DO
            )


def _positions(connection: Connection, on_postgresql: bool) -> Iterator[Fault]:
    """Rows that were there once. PostgreSQL leaves gaps of its own, so only SQLite tells."""
    if on_postgresql:
        return
    given = connection.execute(text("SELECT name, seq FROM sqlite_sequence"))
    ever = {row.name: row.seq for row in given}
    for table in (entry, held):
        count = connection.execute(select(func.count()).select_from(table)).scalar() or 0
        lost = ever.get(table.name, 0) - count
        if lost:
            yield Fault(
                where=f"table {table.name}",
                what=f"{abs(lost)} of its positions hold no row.",
                do=DO,
            )


def _guards(connection: Connection, on_postgresql: bool) -> Iterator[Fault]:
    """The triggers that refuse change."""
    if on_postgresql:
        query = "SELECT tgname AS name FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'O'"
        wanted = {f"{t}_append_only" for t in GUARDED}
    else:
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        wanted = {f"{t}_no_{verb}" for t in GUARDED for verb in ("update", "delete", "replace")}
    have = set(connection.execute(text(query)).scalars())
    for name in sorted(wanted - have):
        yield Fault(
            where="database",
            what=f"The guard {name} is gone, so rows could be changed.",
            do="Restore the last backup into a new database.",
        )


def _pictures(rows: Iterable[Row[Any]], photos: Photos) -> Iterator[Fault]:
    for sha, who in sorted(named_photos(rows).items()):
        path = photos.path(sha)
        if path is None:
            what, do = "It is missing.", "Send it again from the phone, or take it from a backup."
        elif hashlib.sha256(path.read_bytes()).hexdigest() != sha:
            what, do = "Its bytes were altered.", "Take it from a backup."
        else:
            continue
        yield Fault(where=f"photo {sha[:12]} of {who}", what=what, do=do)


def named_photos(rows: Iterable[Row[Any]]) -> Mapping[str, str]:
    """Hashes of the pictures that entries name, each with one entry that names it."""
    found: dict[str, str] = {}
    for row in rows:
        if "photos" in row.body or "sha256" in row.body:
            for sha in photos_of(json.loads(row.body)):
                found[sha] = f"device {row.device}, entry {row.seq}"
    return found


def photos_of(body: Mapping[str, Any]) -> tuple[str, ...]:
    """Hashes of the pictures that one entry names."""
    alone = body.get("sha256")
    return (*body.get("photos", ()), *((alone,) if alone else ()))
