"""Immutable revisions of the job document, one after the other."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, select

from tackfree.errors import InputError, NotFound
from tackfree.record.canonical import canonical, seal_of, sha256
from tackfree.record.store import DamagedError, Record, now_utc
from tackfree.record.tables import job, revision


@dataclass(frozen=True, kw_only=True)
class Revision:
    """One state of a job document. ``id`` hashes job, predecessor and content."""

    id: str
    job_id: str
    number: int
    predecessor: str | None
    content_sha: str
    documents: Mapping[str, str]  # path in the bundle -> text
    person: str
    made: str


def save_revision(
    record: Record, documents: Mapping[str, str], *, job_id: str, person: str = ""
) -> Revision:
    """Keep the job document as it is now; the newest one if nothing has changed.

    Parameters
    ----------
    documents : mapping
        Path in the bundle -> text, as ``bundle.load.documents`` gives it.
    job_id : str
        The job's id; the job is made known to the record at its first revision.
    person : str
        Who saved it, as far as known.

    Raises
    ------
    InputError
        If there is nothing to save.
    """
    if not documents or not job_id:
        raise InputError(
            "There is nothing to save: no job id or no documents.",
            where="revision",
            do="Give the job's id and its documents.",
        )
    content = canonical(dict(documents))
    content_sha = sha256(content)
    with record.writing() as connection:
        make_job_known(connection, job_id)
        last = _newest(connection, job_id)
        if last is not None and last.content_sha == content_sha:
            return last
        before = last.id if last else None
        new = Revision(
            id=_id_of(content_sha, job_id, before),
            job_id=job_id,
            number=last.number + 1 if last else 1,
            predecessor=before,
            content_sha=content_sha,
            documents=dict(documents),
            person=person,
            made=now_utc(),
        )
        seal = seal_of(new.id, person, new.made)
        values = {**vars(new), "documents": content, "seal": seal}
        connection.execute(revision.insert().values(values))
    return new


def make_job_known(connection: Connection, job_id: str) -> None:
    """Write the job's row where there is none."""
    known = connection.execute(select(job.c.id).where(job.c.id == job_id)).first()
    if known is None:
        connection.execute(job.insert().values(id=job_id, made=now_utc()))


def newest_revision(record: Record, job_id: str) -> Revision:
    """The job document as it was saved last.

    Raises
    ------
    NotFound
        If the record holds no revision of the job.
    """
    with record.reading() as connection:
        found = _newest(connection, job_id)
    if found is None:
        raise NotFound(
            f"The record holds no revision of {job_id}.",
            where="revision",
            do="Save the job once.",
        )
    return found


def revisions(record: Record, job_id: str) -> tuple[Revision, ...]:
    """Every revision of a job, oldest first."""
    query = select(revision).where(revision.c.job_id == job_id).order_by(revision.c.number)
    with record.reading() as connection:
        return tuple(map(_of, connection.execute(query)))


def _id_of(content_sha: str, job_id: str, predecessor: str | None) -> str:
    return sha256(canonical({"content": content_sha, "job": job_id, "predecessor": predecessor}))


def _newest(connection: Connection, job_id: str) -> Revision | None:
    row = connection.execute(
        select(revision)
        .where(revision.c.job_id == job_id)
        .order_by(revision.c.number.desc())
        .limit(1)
    ).first()
    return None if row is None else _of(row)


def _of(row: Row[Any]) -> Revision:
    values = dict(row._mapping)
    seal = values.pop("seal")
    if (
        sha256(values["documents"]) != values["content_sha"]
        or _id_of(values["content_sha"], values["job_id"], values["predecessor"]) != values["id"]
        or (seal and seal != seal_of(values["id"], values["person"], values["made"]))
    ):
        raise DamagedError(f"revision {values['number']} is not what was stored")
    return Revision(**{**values, "documents": json.loads(values["documents"])})
