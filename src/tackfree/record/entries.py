"""Append entries: each arrives once, in the chain of its device, and stays as it is."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from sqlalchemy import BindParameter, Connection, Row, bindparam, func, select

from tackfree.errors import InputError
from tackfree.record.canonical import canonical, seal_of, sha256
from tackfree.record.checking import FIELDS, Checked, Sender, checked, envelope
from tackfree.record.kinds import Doubt
from tackfree.record.store import DamagedError, Record, now_utc
from tackfree.record.tables import entry, held, job

Status = Literal["stored", "duplicate", "conflict", "held"]
BATCH_MAX = 200
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


@dataclass(frozen=True, kw_only=True)
class Result:
    """What became of one entry, and every fault where it was not stored."""

    id: str
    status: Status
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Taken:
    """The answer to a batch, given after its commit. ``pos`` is the record's newest."""

    results: tuple[Result, ...]
    pos: int


def sha_of(sent: Mapping[str, Any]) -> str:
    """Hash of an entry as sent: the next entry of the device names it as ``previous``."""
    return sha256(canonical(dict(sent)))


def append(record: Record, sent: Any) -> Status:
    """Append one entry as a device sends it; see :func:`take`."""
    return append_all(record, [sent])[0]


def append_all(record: Record, batch: Sequence[Any]) -> tuple[Status, ...]:
    """Append a batch in one transaction; only the status of each. See :func:`take`."""
    return tuple(r.status for r in take(record, batch).results)


def take(record: Record, batch: Sequence[Any], *, sender: Sender | None = None) -> Taken:
    """Append a batch of entries in one durable commit, and answer for each.

    ``stored``: it is in the record, for good. ``duplicate``: it was already, word
    for word. ``conflict``: its id, or its place in the device's sequence, is taken by
    another; kept raw. ``held``: it cannot be right, or its predecessor is missing;
    kept raw. An entry held because it came early is stored by itself as soon as the
    gap is closed.

    Parameters
    ----------
    batch : sequence
        At most 200 entries: tables with ``id, job, device, seq, person, wall, zone,
        kind, v, body, previous``. Anything else is held, not refused, so that one
        bad entry never blocks a phone.
    sender : Sender, optional
        The device and person that a token stands for; entries of others are held.

    Raises
    ------
    InputError
        If the batch is too large.
    """
    looked = look_at(batch, sender=sender)
    with record.writing() as connection:
        return write(connection, [looked])[0]


def look_at(batch: Sequence[Any], *, sender: Sender | None = None) -> tuple[Checked, ...]:
    """The first half of :func:`take`: everything that needs no database."""
    fits(batch)
    return tuple(checked(sent, sender) for sent in batch)


def fits(batch: Sequence[Any]) -> None:
    """Refuse a batch that is too large to be taken at once."""
    if len(batch) > BATCH_MAX:
        raise InputError(
            f"{len(batch)} entries came at once; {BATCH_MAX} are allowed.",
            where="entries",
            do="Send them in smaller batches.",
        )


def write(connection: Connection, batches: Sequence[Sequence[Checked]]) -> list[Taken]:
    """The second half of :func:`take` for several batches, in a transaction of the caller's."""
    desk = _Desk(connection, [one for looked in batches for one in looked])
    results = [tuple(desk.file(one) for one in looked) for looked in batches]
    desk.flush()
    newest = connection.execute(_NEWEST).scalar() or 0
    return [Taken(results=each, pos=newest) for each in results]


# What is asked of the database for every batch, put together once.
_SOME: BindParameter[Any] = bindparam("some", expanding=True)
_JOBS = select(job.c.id).where(job.c.id.in_(_SOME))
_KNOWN = select(entry.c.id, entry.c.sha).where(entry.c.id.in_(_SOME))
_LAST = (
    select(entry.c.device, func.max(entry.c.seq).label("seq"))
    .where(entry.c.device.in_(_SOME))
    .group_by(entry.c.device)
    .subquery()
)
_HEADS = select(entry.c.device, entry.c.seq, entry.c.sha).join(
    _LAST, (entry.c.device == _LAST.c.device) & (entry.c.seq == _LAST.c.seq)
)
_HELD = select(held.c.device).distinct().where(held.c.device.in_(_SOME))
_NEWEST = select(func.max(entry.c.pos))

ADDED = (
    "id", "job_id", "device", "seq", "person", "wall", "zone", "kind", "v", "body", "previous",
    "sha", "received", "seal",
)  # fmt: skip
_ADD_ROWS = f"INSERT INTO entry ({', '.join(ADDED)}) VALUES ({', '.join('?' * len(ADDED))})"
_COPY_ROWS = f"COPY entry ({', '.join(ADDED)}) FROM STDIN"


@dataclass
class _Desk:
    """What the database knows of all batches, asked once; rows to add wait for one statement."""

    connection: Connection
    looked: Sequence[Checked]
    jobs: set[str] = field(default_factory=set)
    ids: dict[str, str] = field(default_factory=dict)  # id -> hash
    heads: dict[str, tuple[int, str]] = field(default_factory=dict)  # device -> last seq, hash
    waiting: set[str] = field(default_factory=set)  # devices with something held
    rows: list[tuple[Any, ...]] = field(default_factory=list)  # in the order of ADDED
    now: str = field(default_factory=now_utc)  # when all of them came

    def __post_init__(self) -> None:
        good = [one.sent for one in self.looked if not one.doubts]
        ask = self.connection.execute
        if not good:
            return
        self.jobs = set(ask(_JOBS, {"some": list({g["job"] for g in good})}).scalars())
        found = ask(_KNOWN, {"some": [g["id"] for g in good]})
        self.ids = {row.id: row.sha for row in found}
        devices = list({g["device"] for g in good})
        heads = ask(_HEADS, {"some": devices})
        self.heads = dict.fromkeys(devices, (0, "")) | {r.device: (r.seq, r.sha) for r in heads}
        self.waiting = set(ask(_HELD, {"some": devices}).scalars())

    def _read_head(self, device: str) -> None:
        last = self.connection.execute(
            select(entry.c.seq, entry.c.sha)
            .where(entry.c.device == device)
            .order_by(entry.c.seq.desc())
            .limit(1)
        ).first()
        self.heads[device] = (last.seq, last.sha) if last else (0, "")

    def file(self, one: Checked) -> Result:
        """Find the place of one entry."""
        sent = one.sent
        if one.doubts:
            return self._hold(sent, "held", one.doubts)
        name = str(sent["id"])
        if sent["job"] not in self.jobs:
            unknown = Doubt(where="job", id="job", values={"job": sent["job"][:60]})
            return self._hold(sent, "held", (unknown,))
        known = self.ids.get(name)
        if known is not None:
            if known == one.sha:
                return Result(id=name, status="duplicate")
            return self._hold(sent, "conflict", (Doubt(where="id", id="id-taken"),))
        device, seq = sent["device"], sent["seq"]
        if (seq - 1, sent["previous"]) == self.heads[device]:
            self._add(one)
            return Result(id=name, status="stored")
        return self._out_of_line(one)

    def _add(self, one: Checked) -> None:
        sent = one.sent
        now = self.now
        self.rows.append((
            sent["id"], sent["job"], sent["device"], sent["seq"], sent["person"], sent["wall"],
            sent["zone"], sent["kind"], sent["v"], one.body, sent["previous"], one.sha, now,
            seal_of(one.sha, now),
        ))  # fmt: skip
        self.ids[sent["id"]] = one.sha
        self.heads[sent["device"]] = (sent["seq"], one.sha)
        if sent["device"] in self.waiting:
            self.flush()
            for early in _store_waiting(self.connection, sent, one.sha):
                self.ids[early["id"]] = sha_of(early)
            self._read_head(sent["device"])

    def _out_of_line(self, one: Checked) -> Result:
        """An entry that is not simply the next of its device."""
        self.flush()
        sent = one.sent
        if _sha_at(self.connection, sent["device"], sent["seq"]) is not None:
            taken = Doubt(where="seq", id="seq-taken", values={"seq": sent["seq"]})
            return self._hold(sent, "conflict", (taken,))
        fault = _chain_fault(self.connection, sent)
        if fault is not None:
            return self._hold(sent, "held", (fault,))
        self._add(one)
        self._read_head(sent["device"])
        return Result(id=sent["id"], status="stored")

    def _hold(self, sent: Any, status: Status, doubts: tuple[Doubt, ...]) -> Result:
        self.flush()
        _hold(self.connection, sent, doubts)
        claimed = sent if isinstance(sent, Mapping) else {}
        self.waiting.add(_claim(claimed.get("device")))
        return Result(id=_claim(claimed.get("id")), status=status, doubts=doubts)

    def flush(self) -> None:
        """Write the rows that wait."""
        if not self.rows:
            return
        if self.connection.dialect.name == "postgresql":
            # A row at a time costs a turn each; positions follow the order of the rows.
            driver: Any = self.connection.connection.driver_connection
            with driver.cursor() as cursor, cursor.copy(_COPY_ROWS) as rows:
                for row in self.rows:
                    rows.write_row(row)
        else:
            self.connection.exec_driver_sql(_ADD_ROWS, self.rows)
        self.rows = []


def _sha_at(connection: Connection, device: str, seq: int) -> str | None:
    return connection.execute(
        select(entry.c.sha).where(entry.c.device == device, entry.c.seq == seq)
    ).scalar()


def _chain_fault(connection: Connection, sent: Mapping[str, Any]) -> Doubt | None:
    """Why an entry does not follow the one before it on its device."""
    device, seq, previous = sent["device"], sent["seq"], sent["previous"]
    if seq == 1:
        return None if previous == "" else Doubt(where="previous", id="first")
    before = _sha_at(connection, device, seq - 1)
    if before == previous:
        return None
    values = {"seq": seq - 1}
    if before is not None:
        return Doubt(where="previous", id="predecessor", values=values)
    # The predecessor may itself be held: its raw text keeps the chain whole.
    for row in _held_at(connection, device, seq - 1):
        if hash_or_none(row.raw) == previous and not row.reason.startswith(EARLY):
            return None
    return Doubt(where="previous", id="early", values=values)


def _held_at(connection: Connection, device: str, seq: int) -> Sequence[Row[Any]]:
    query = select(held).where(held.c.device == device, held.c.seq == seq).order_by(held.c.pos)
    return connection.execute(query).all()


def hash_or_none(raw: str) -> str | None:
    """Hash of a held entry as the device made it, where it is an entry at all."""
    try:
        return sha_of(json.loads(raw))
    except (TypeError, ValueError):
        return None


def _store_waiting(
    connection: Connection, sent: Mapping[str, Any], sha: str
) -> list[Mapping[str, Any]]:
    """Store what came early and follows the entry just stored, one after the other."""
    device, seq = sent["device"], sent["seq"]
    stored: list[Mapping[str, Any]] = []
    while True:
        for row in _held_at(connection, device, seq + 1):
            early = json.loads(row.raw) if row.reason.startswith(EARLY) else None
            if early is not None and early["previous"] == sha:
                break
        else:
            return stored
        taken = connection.execute(select(entry.c.id).where(entry.c.id == early["id"])).first()
        if taken is not None or _sha_at(connection, device, seq + 1) is not None:
            return stored
        seq, sha = seq + 1, sha_of(early)
        values = {n: early[n] for n in FIELDS if n not in {"job", "body"}}
        values |= {"job_id": early["job"], "body": canonical(early["body"]), "sha": sha}
        now = now_utc()
        values |= {"received": now, "seal": seal_of(sha, now)}
        connection.execute(entry.insert().values(**values))
        stored.append(early)


def _hold(connection: Connection, sent: Any, doubts: Sequence[Doubt]) -> None:
    """Keep what was refused, once, as it came."""
    raw = json.dumps(sent, ensure_ascii=True, sort_keys=True, default=repr)
    sha = sha256(raw)
    if connection.execute(select(held.c.pos).where(held.c.sha == sha)).first() is not None:
        return
    told = [d.said() for d in doubts]
    early = EARLY if any(d.id == "early" for d in doubts) else ""
    claimed = sent if isinstance(sent, Mapping) else {}
    seq = claimed.get("seq")
    reason = "; ".join(f"{f.where}: {f.what}" for f in told)
    if early or reason.startswith(EARLY):  # a key of that name says nothing of the order
        reason = (early or "body: ") + reason
    now = now_utc()
    connection.execute(
        held.insert().values(
            id=_claim(claimed.get("id")),
            device=_claim(claimed.get("device")),
            seq=seq if type(seq) is int and 0 <= seq < 2**31 else 0,
            raw=raw,
            sha=sha,
            reason=reason,
            received=now,
            seal=seal_of(sha, reason, now),
        )
    )


def _claim(value: Any) -> str:
    """A text that any database takes, or nothing."""
    usable = isinstance(value, str) and len(value) <= 200 and value.isprintable()
    return value.encode("utf-8", "replace").decode() if usable else ""


def entries(
    record: Record, *, after: int = 0, job_id: str | None = None, limit: int = 1000
) -> tuple[Entry, ...]:
    """Entries that arrived after a position, in the order of arrival.

    Raises
    ------
    DamagedError
        If an entry is not what was stored: it is never used silently.
    """
    query = select(entry).where(entry.c.pos > after).order_by(entry.c.pos).limit(limit)
    if job_id is not None:
        query = query.where(entry.c.job_id == job_id)
    with record.reading() as connection:
        return tuple(map(entry_of, connection.execute(query)))


def count_of(record: Record) -> int:
    """How many entries the record holds, of every job."""
    with record.reading() as connection:
        return connection.execute(select(func.count()).select_from(entry)).scalar() or 0


def entry_of(row: Row[Any]) -> Entry:
    """A row as an entry; its hash is made again and compared."""
    if not same_as_stored(row):
        raise DamagedError(f"entry {row.seq} of device {row.device} is not what was stored")
    cells: Sequence[Any] = row
    pos, id_, job_id, device, seq, person, wall, zone, kind, v, body, previous, sha, at, _ = cells
    return Entry(
        pos=pos, id=id_, job_id=job_id, device=device, seq=seq, person=person, wall=wall,
        zone=zone, kind=kind, v=v, body=json.loads(body), previous=previous, sha=sha, received=at,
    )  # fmt: skip


def same_as_stored(row: Row[Any]) -> bool:
    """Whether a row still hashes to what was written when it came."""
    sent = row._asdict()
    sent["job"] = sent["job_id"]
    try:
        whole = sha256(envelope(sent, row.body))
    except (UnicodeEncodeError, TypeError):
        return False
    return whole == row.sha and (not row.seal or row.seal == seal_of(row.sha, row.received))


def held_entries(record: Record) -> tuple[Held, ...]:
    """What is held and has not been stored or mended since, in the order of arrival."""
    with record.reading() as connection:
        rows = connection.execute(select(held).order_by(held.c.pos)).all()
        if not rows:
            return ()
        stored = set(connection.execute(select(entry.c.sha)).scalars())
        menders = connection.execute(select(entry.c.body).where(entry.c.body.like('%"mends"%')))
        mended = {json.loads(body).get("mends") for body in menders.scalars()}
    return tuple(
        _held_of(row)
        for row in rows
        if hash_or_none(row.raw) not in stored and not (row.id and row.id in mended)
    )


def _held_of(row: Row[Any]) -> Held:
    values = dict(row._mapping)
    seal = values.pop("seal")
    if sha256(row.raw) != row.sha or (seal and seal != seal_of(row.sha, row.reason, row.received)):
        raise DamagedError(f"held entry {row.pos} is not what was stored")
    return Held(**values)
