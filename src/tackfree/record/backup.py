"""One file that holds a whole record, and a record made from it again, on either engine."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Connection, Table, func, select, text

from tackfree.errors import InputError, ToolError
from tackfree.record import migrations
from tackfree.record.photos import Photos
from tackfree.record.store import Record, now_utc
from tackfree.record.tables import (
    device,
    entry,
    held,
    invitation,
    job,
    metadata,
    person,
    revision,
    session,
    view,
)

# In an order that foreign keys allow. Sessions and open invitations are not carried over.
TABLES: tuple[Table, ...] = (job, revision, entry, held, person, device, view)
LEFT_OUT = (session, invitation)
MANIFEST = "backup.json"
ROWS = 500


def backup(record: Record, photos: Photos, files: Mapping[str, bytes], out: Path) -> dict[str, int]:
    """Write everything into one zip: every table as JSON lines, pictures, the job's files.

    It is read in one transaction, so it is one moment of the record, and written whole
    or not at all.

    Parameters
    ----------
    files : mapping
        Path in the bundle -> bytes, the job's own documents.
    out : Path
        The zip to write.

    Returns
    -------
    dict of table or folder to count
    """
    counts: dict[str, int] = {}
    hashes: dict[str, str] = {}
    with _whole(out) as target, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as zipped:

        def put(name: str, data: bytes) -> None:
            hashes[name] = hashlib.sha256(data).hexdigest()
            zipped.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)

        with record.reading() as connection:
            for table in TABLES:
                keys = list(table.primary_key)
                rows = connection.execute(select(table).order_by(*keys)).all()
                lines = [json.dumps(dict(r._mapping), ensure_ascii=False) + "\n" for r in rows]
                put(f"tables/{table.name}.jsonl", "".join(lines).encode("utf-8"))
                counts[table.name] = len(rows)
            step = max(migrations.ran(connection))
        pictures = sorted(photos.folder.iterdir()) if photos.folder.is_dir() else []
        kept = [p for p in pictures if not p.name.startswith(".")]
        for path in kept:
            put(f"photos/{path.name}", path.read_bytes())
        counts["photos"] = len(kept)
        for name, data in sorted(files.items()):
            put(f"bundle/{name}", data)
        manifest = {"schema": "tackfree.backup/1", "step": step, "made": now_utc(),
                    "counts": counts, "files": hashes}  # fmt: skip
        zipped.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return counts


@contextmanager
def _whole(out: Path) -> Iterator[IO[bytes]]:
    out.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{out.name}.", dir=out.parent)
    try:
        with os.fdopen(handle, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(out)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def opened(path: Path) -> tuple[zipfile.ZipFile, dict[str, Any]]:
    """A backup and its list of contents, every file of it compared with its hash.

    Raises
    ------
    InputError
        If it is no backup of ours, or not as it was written.
    """

    def refuse(what: str) -> InputError:
        return InputError(what, where=path.name, do="Use another backup.")

    try:
        zipped = zipfile.ZipFile(path)
        manifest = json.loads(zipped.read(MANIFEST))
        hashes = dict(manifest["files"])
        names = set(zipped.namelist()) - {MANIFEST}
        if manifest["schema"] != "tackfree.backup/1":
            raise refuse("it is a backup of another kind.")
        for name, sha in hashes.items():
            if hashlib.sha256(zipped.read(name)).hexdigest() != sha:
                raise refuse(f"{name} in it is not what was written.")
    except (OSError, zipfile.BadZipFile, KeyError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise refuse("it is no whole backup.") from error
    except Exception as error:  # zlib and friends on a damaged file
        raise refuse("it is damaged.") from error
    if names != set(hashes):
        raise refuse("it holds files that it does not list.")
    if manifest["step"] > len(migrations.STEPS):
        raise refuse("it was made by a newer version.")
    return zipped, manifest


def restore(record: Record, zipped: zipfile.ZipFile, manifest: Mapping[str, Any]) -> None:
    """Fill an empty record with the rows of a backup, position by position.

    Raises
    ------
    InputError
        If the record is not empty.
    ToolError
        If it does not hold the backup's rows afterwards; nothing is kept then.
    """
    with record.writing() as connection:
        for table in (*TABLES, *LEFT_OUT):
            if connection.execute(select(func.count()).select_from(table)).scalar():
                raise InputError(
                    f"the record is not empty: it has rows in {table.name}.",
                    where="record",
                    do="Restore into a new bundle or an empty database.",
                )
        for table in TABLES:
            rows = [
                {c.name: "" if c.name == "seal" else None for c in table.columns} | json.loads(line)
                for line in zipped.read(f"tables/{table.name}.jsonl").decode("utf-8").splitlines()
            ]
            _fill(connection, table, rows, record.on_postgresql)
            count = connection.execute(select(func.count()).select_from(table)).scalar()
            if count != manifest["counts"][table.name]:
                raise ToolError(
                    f"{table.name} holds {count} rows; the backup says "
                    f"{manifest['counts'][table.name]}.",
                    where="restore",
                    do="Use another backup.",
                )


def _fill(
    connection: Connection, table: Table, rows: Sequence[dict[str, Any]], on_postgresql: bool
) -> None:
    if not rows:
        return
    names = [c.name for c in table.columns]
    over = " OVERRIDING SYSTEM VALUE" if on_postgresql and "pos" in names else ""
    values = ", ".join(f":{n}" for n in names)
    insert = text(f"INSERT INTO {table.name} ({', '.join(names)}){over} VALUES ({values})")
    for begin in range(0, len(rows), ROWS):
        connection.execute(insert, rows[begin : begin + ROWS])
    if over:
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'pos'), "
                f"(SELECT max(pos) FROM {table.name}))"
            )
        )


assert {t.name for t in (*TABLES, *LEFT_OUT)} | {"migration"} == set(metadata.tables)
