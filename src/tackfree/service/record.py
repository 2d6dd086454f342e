"""The record of a job: add an entry, list them, verify the chains."""

from __future__ import annotations

import getpass
import json
import os
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.bundle.load import documents
from tackfree.bundle.types import Job
from tackfree.errors import Fault, InputError
from tackfree.record.canonical import ulid
from tackfree.record.entries import Entry, append, count_of, entries, held_entries
from tackfree.record.kinds import check_body
from tackfree.record.photos import Photos
from tackfree.record.revisions import Revision, save_revision
from tackfree.record.store import Record, open_record
from tackfree.record.verify import verify
from tackfree.service.job import open_job

DATABASE = "TACKFREE_DATABASE"  # a URL here wins over the bundle's own file


@dataclass(frozen=True, kw_only=True)
class Added:
    """What became of an entry, and the job's revision it was written under."""

    status: str
    id: str
    revision: int


def where_of(bundle: Path) -> str | Path:
    """The record of a bundle: the database named in the environment, or its own file."""
    url = os.environ.get(DATABASE)
    if url:
        return url
    if bundle.is_file():
        raise InputError(
            "a zip keeps no record of its own.",
            where=str(bundle),
            do=f"Unpack it, or name a database in {DATABASE}.",
        )
    return bundle / ".tackfree" / "job.sqlite"


def add(bundle: Path, *, kind: str, body: Mapping[str, Any], person: str | None = None) -> Added:
    """Append one entry of this machine, and keep the job document as it is now.

    Raises
    ------
    InputError
        If the kind is unknown or its body has faults; nothing is written then.
    """
    job = open_job(bundle)
    check_body(kind, 1, dict(body))
    with open_record(where_of(bundle)) as record:
        revision = _revise(record, job)
        device, seq, previous = _device(bundle, record, job.id)
        zone = job.place.time_zone
        sent: dict[str, Any] = {
            "id": ulid(time_ms=time.time_ns() // 1_000_000, randomness=secrets.token_bytes(10)),
            "job": job.id,
            "device": device,
            "seq": seq,
            "person": person or this_person(),
            "wall": datetime.now(ZoneInfo(zone)).isoformat(timespec="seconds"),
            "zone": zone,
            "kind": kind,
            "v": 1,
            "body": dict(body),
            "previous": previous,
        }
        return Added(status=append(record, sent), id=sent["id"], revision=revision.number)


def this_person() -> str:
    """Who uses this machine, as far as it knows."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "here"


def _revise(record: Record, job: Job) -> Revision:
    return save_revision(record, documents(job.root), job_id=job.id)


def _device(bundle: Path, record: Record, job_id: str) -> tuple[str, int, str]:
    """This machine's id in the bundle, its next number and its last entry's hash."""
    path = bundle / ".tackfree" / "device"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"cli-{secrets.token_hex(6)}\n", "utf-8")
    device = path.read_text("utf-8").strip()
    last: Entry | None = None
    after = 0
    while page := entries(record, after=after):
        after = page[-1].pos
        last = next((e for e in reversed(page) if e.device == device), last)
    return (device, last.seq + 1, last.sha) if last else (device, 1, "")


def listed(bundle: Path, *, after: int = 0) -> tuple[Entry, ...]:
    """Entries of the job in the order of arrival."""
    with open_record(where_of(bundle)) as record:
        return entries(record, after=after)


def verified(bundle: Path) -> tuple[int, tuple[Fault, ...]]:
    """How many entries were read, and what is missing, altered or held."""
    with open_record(where_of(bundle)) as record:
        faults = verify(record, Photos.of(bundle))
        if not faults:
            faults = tuple(
                Fault(where=f"held entry {h.pos}", what=h.reason, do="Mend it by a new entry.")
                for h in held_entries(record)
            )
        return count_of(record), faults


def body_of(text: str) -> Mapping[str, Any]:
    """A body typed on the command line: a JSON object, or plain words for a note."""
    if not text.lstrip().startswith("{"):
        return {"text": text}
    try:
        found = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(
            f"the entry is no JSON: {error.msg} at character {error.pos}.",
            where="BODY",
            do="""Write it as '{"slab_c": 24.5, "air_c": 26, "rh": 0.55}'.""",
        ) from None
    assert isinstance(found, dict)
    return found
