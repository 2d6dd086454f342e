"""Append entries: each arrives once, in the chain of its device, and stays as it is."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, Row, select

from tackfree.errors import Fault, InputError
from tackfree.record.canonical import canonical, is_ulid, sha256
from tackfree.record.kinds import check_body
from tackfree.record.store import Record, now_utc
from tackfree.record.tables import entry, held, job

Status = Literal["stored", "duplicate", "conflict", "held"]
FIELDS = (
    "id", "job", "device", "seq", "person", "wall", "zone", "kind", "v", "body", "previous",
)  # fmt: skip
BATCH_MAX = 50
EARLY = "early: "  # begins the reason of an entry whose predecessor has not arrived


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One immutable line of the record. ``pos`` grows in the order of arrival."""

    pos: int
    id: str
    job_id: str
    device: str
    seq: int
    person: str
    wall: str
    zone: str
    kind: str
    v: int
    body: Mapping[str, Any]
    previous: str
    sha: str
    received: str


@dataclass(frozen=True, kw_only=True)
class Held:
    """Something that was refused: raw, with the reason."""

    pos: int
    id: str
    device: str
    seq: int
    raw: str
    sha: str
    reason: str
    received: str


def sha_of(sent: Mapping[str, Any]) -> str:
    """Hash of an entry as sent: the next entry of the device names it as ``previous``."""
    return sha256(canonical(dict(sent)))


def append(record: Record, sent: Any) -> Status:
    """Append one entry as a device sends it; see :func:`append_all`."""
    return append_all(record, [sent])[0]


def append_all(record: Record, batch: Sequence[Any]) -> tuple[Status, ...]:
    """Append a batch of entries in one transaction, and answer for each.

    ``stored``: it is in the record, for good. ``duplicate``: it was already, word
    for word. ``conflict``: its id, or its place in the device's sequence, is taken by
    another; kept raw. ``held``: it cannot be right, or its predecessor is missing;
    kept raw. An entry held because it came early is stored by itself as soon as the
    gap is closed. The answer is given after the commit.

    Parameters
    ----------
    batch : sequence
        At most 50 entries: tables with ``id, job, device, seq, person, wall, zone,
        kind, v, body, previous``. Anything else is held, not refused, so that one
        bad entry never blocks a phone.

    Raises
    ------
    InputError
        If the batch is too large.
    """
    if len(batch) > BATCH_MAX:
        raise InputError(
            f"{len(batch)} entries came at once; {BATCH_MAX} are allowed.",
            where="record",
            do="Send them in smaller batches.",
        )
    answers: list[Status] = []
    with record.writing() as connection:
        for sent in batch:
            answers.append(_append(connection, sent))
    return tuple(answers)


def _append(connection: Connection, sent: Any) -> Status:
    try:
        _check(connection, sent)
    except InputError as error:
        return _hold(connection, sent, error.what)
    sha = sha_of(sent)
    same_id = connection.execute(select(entry.c.sha).where(entry.c.id == sent["id"])).first()
    if same_id is not None:
        if same_id.sha == sha:
            return "duplicate"
        _hold(connection, sent, "another entry has this id")
        return "conflict"
    if _sha_at(connection, sent["device"], sent["seq"]) is not None:
        _hold(connection, sent, f"another entry is number {sent['seq']} of this device")
        return "conflict"
    fault = _chain_fault(connection, sent)
    if fault:
        return _hold(connection, sent, fault)
    _store(connection, sent, sha)
    _store_waiting(connection, sent, sha)
    return "stored"


def _check(connection: Connection, sent: Any) -> None:
    """Raise InputError when an entry cannot be right in itself."""
    if not isinstance(sent, Mapping):
        raise InputError("an entry is a table of keys")
    odd = sorted(set(sent) ^ set(FIELDS), key=str)
    if odd:
        raise InputError(f"missing or unknown keys: {', '.join(map(str, odd))}")
    for name in ("job", "device", "person", "wall", "zone", "kind"):
        if not isinstance(sent[name], str) or not sent[name] or "\0" in sent[name]:
            raise InputError(f"{name} is not a text")
    if not isinstance(sent["previous"], str):
        raise InputError("previous is not a text")
    if not is_ulid(sent["id"]):
        raise InputError("id is not a ULID")
    for name in ("seq", "v"):
        number = sent[name]
        if type(number) is not int or not 1 <= number < 2**31:
            raise InputError(f"{name} is not a whole number from 1 up")
    _check_time(sent["wall"], sent["zone"])
    check_body(sent["kind"], sent["v"], sent["body"])
    if "\\u0000" in canonical(dict(sent)):
        raise InputError("a text holds a zero character")
    if connection.execute(select(job.c.id).where(job.c.id == sent["job"])).first() is None:
        raise InputError(f"the record does not know the job {sent['job']}")


def _check_time(wall: str, zone: str) -> None:
    try:
        moment = datetime.fromisoformat(wall)
    except ValueError as error:
        raise InputError("wall is not a date and time") from error
    if moment.tzinfo is None:
        raise InputError("wall has no offset from UTC")
    try:
        there = moment.astimezone(ZoneInfo(zone))
    except (KeyError, ValueError, OSError, OverflowError) as error:
        raise InputError(f"there is no time zone {zone}") from error
    if there.utcoffset() != moment.utcoffset():
        raise InputError(f"wall has another offset than {zone} at that time")


def _sha_at(connection: Connection, device: str, seq: int) -> str | None:
    return connection.execute(
        select(entry.c.sha).where(entry.c.device == device, entry.c.seq == seq)
    ).scalar()


def _chain_fault(connection: Connection, sent: Mapping[str, Any]) -> str | None:
    """Why an entry does not follow the one before it on its device."""
    device, seq, previous = sent["device"], sent["seq"], sent["previous"]
    if seq == 1:
        return None if previous == "" else "the first entry of a device has no predecessor"
    if _sha_at(connection, device, seq - 1) == previous:
        return None
    if _sha_at(connection, device, seq - 1) is not None:
        return f"it names another predecessor than entry {seq - 1} of this device"
    # The predecessor may itself be held: its raw text keeps the chain whole.
    for row in _held_at(connection, device, seq - 1):
        if _hash_or_none(row.raw) == previous and not row.reason.startswith(EARLY):
            return None
    return f"{EARLY}entry {seq - 1} of this device has not arrived"


def _held_at(connection: Connection, device: str, seq: int) -> Sequence[Row[Any]]:
    query = select(held).where(held.c.device == device, held.c.seq == seq).order_by(held.c.pos)
    return connection.execute(query).all()


def _hash_or_none(raw: str) -> str | None:
    try:
        return sha_of(json.loads(raw))
    except (TypeError, ValueError):
        return None


def _store(connection: Connection, sent: Mapping[str, Any], sha: str) -> None:
    values = {name: sent[name] for name in FIELDS if name not in {"job", "body"}}
    connection.execute(
        entry.insert().values(
            **values,
            job_id=sent["job"],
            body=canonical(sent["body"]),
            sha=sha,
            received=now_utc(),
        )
    )


def _store_waiting(connection: Connection, sent: Mapping[str, Any], sha: str) -> None:
    """Store what came early and follows the entry just stored, one after the other."""
    device, seq = sent["device"], sent["seq"]
    while True:
        for row in _held_at(connection, device, seq + 1):
            early = json.loads(row.raw) if row.reason.startswith(EARLY) else None
            if early is not None and early["previous"] == sha:
                break
        else:
            return
        taken = connection.execute(select(entry.c.id).where(entry.c.id == early["id"])).first()
        if taken is not None or _sha_at(connection, device, seq + 1) is not None:
            return
        seq, sha = seq + 1, sha_of(early)
        _store(connection, early, sha)


def _hold(connection: Connection, sent: Any, reason: str) -> Status:
    """Keep what was refused, once, as it came."""
    raw = json.dumps(sent, ensure_ascii=True, sort_keys=True, default=repr)
    sha = sha256(raw)
    if connection.execute(select(held.c.pos).where(held.c.sha == sha)).first() is None:
        claimed = sent if isinstance(sent, Mapping) else {}
        seq = claimed.get("seq")
        connection.execute(
            held.insert().values(
                id=_claim(claimed.get("id")),
                device=_claim(claimed.get("device")),
                seq=seq if type(seq) is int and 0 <= seq < 2**31 else 0,
                raw=raw,
                sha=sha,
                reason=reason,
                received=now_utc(),
            )
        )
    return "held"


def _claim(value: Any) -> str:
    """A text that any database takes, or nothing."""
    usable = isinstance(value, str) and len(value) <= 200 and value.isprintable()
    return value.encode("utf-8", "replace").decode() if usable else ""


def entries(
    record: Record, *, after: int = 0, job_id: str | None = None, limit: int = 1000
) -> tuple[Entry, ...]:
    """Entries that arrived after a position, in the order of arrival."""
    query = select(entry).where(entry.c.pos > after).order_by(entry.c.pos).limit(limit)
    if job_id is not None:
        query = query.where(entry.c.job_id == job_id)
    with record.reading() as connection:
        return tuple(
            Entry(**{**row._mapping, "body": json.loads(row.body)})
            for row in connection.execute(query)
        )


def held_entries(record: Record) -> tuple[Held, ...]:
    """What is held and has not been stored since, in the order of arrival."""
    with record.reading() as connection:
        stored = set(connection.execute(select(entry.c.sha)).scalars())
        rows = connection.execute(select(held).order_by(held.c.pos)).all()
    return tuple(Held(**row._mapping) for row in rows if _hash_or_none(row.raw) not in stored)


def verify(record: Record) -> tuple[Fault, ...]:
    """Read the whole record and hash it again: changed entries, broken or gapped chains."""
    with record.reading() as connection:
        rows = connection.execute(select(entry).order_by(entry.c.device, entry.c.seq)).all()
        kept: dict[tuple[str, int], set[str | None]] = {}
        for row in connection.execute(select(held)):
            kept.setdefault((row.device, row.seq), set()).add(_hash_or_none(row.raw))
    return tuple(_faults_of(rows, kept))


def _faults_of(
    rows: Iterable[Row[Any]], kept: Mapping[tuple[str, int], set[str | None]]
) -> Iterable[Fault]:
    last_seq: dict[str, int] = {}
    last_sha: dict[str, str] = {}
    for row in rows:
        where = f"device {row.device}, entry {row.seq}"
        do = "Compare with the device and with the last backup."
        sent = {n: row._mapping[n] for n in FIELDS if n not in {"job", "body"}}
        if sha_of({**sent, "job": row.job_id, "body": json.loads(row.body)}) != row.sha:
            yield Fault(where=where, what="The entry is not what was stored.", do=do)
        expected = last_seq.get(row.device, 0) + 1
        lost = [n for n in range(expected, row.seq) if (row.device, n) not in kept]
        for number in lost:
            yield Fault(where=where, what=f"Entry {number} before it is missing.", do=do)
        if row.seq == expected:
            follows = row.previous == last_sha.get(row.device, "")
        else:
            follows = bool(lost) or row.previous in kept[(row.device, row.seq - 1)]
        if not follows:
            yield Fault(where=where, what="It does not follow the entry before it.", do=do)
        last_seq[row.device], last_sha[row.device] = row.seq, row.sha
