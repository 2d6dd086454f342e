"""Export, import, backup and restore of a bundle's record, by one command each."""

from __future__ import annotations

from pathlib import Path
from zipfile import ZipFile

from tackfree.bundle.load import documents
from tackfree.errors import InputError, ToolError
from tackfree.record import backup as backups
from tackfree.record.backup import opened
from tackfree.record.entries import Status
from tackfree.record.photos import Photos
from tackfree.record.revisions import save_revision
from tackfree.record.store import open_record
from tackfree.record.transfer import files_of, take_in
from tackfree.record.verify import verify
from tackfree.service.job import open_job
from tackfree.service.record import where_of
from tackfree.service.save import RECEIPT, dumps, whole_folder

SET_ASIDE = "before-restore"


def export(bundle: Path, out: Path) -> tuple[str, ...]:
    """Write the record as JSON lines, CSV by kind, and photos; returns the names."""
    job = open_job(bundle)
    names = []
    with open_record(where_of(bundle)) as record, whole_folder(out) as folder:
        for name, data in files_of(record, Photos.of(bundle), job.id):
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            names.append(name)
        (folder / RECEIPT).write_text(dumps({"schema": "tackfree.run/1", "job": job.id}), "utf-8")
    return tuple(names)


def take_file(bundle: Path, source: Path) -> dict[Status, int]:
    """Take an export folder, or a file of JSON lines such as a phone saves.

    Raises
    ------
    InputError
        If there is no such file or folder, or it cannot be read.
    """
    lines = source / "record.jsonl" if source.is_dir() else source
    if not lines.is_file():
        raise InputError(
            "there are no entries here.",
            where=str(source),
            do="Name the folder of an export, or a file of JSON lines.",
        )
    job = open_job(bundle)
    found = sorted((lines.parent / "photos").glob("*.*")) if source.is_dir() else []
    pictures = {p.stem: p for p in found}
    try:
        text = lines.read_text("utf-8")
    except UnicodeDecodeError as error:
        raise InputError(
            "the file is no UTF-8 text.", where=lines.name, do="Export it again."
        ) from error
    with open_record(where_of(bundle)) as record:
        save_revision(record, documents(job.root), job_id=job.id)
        return take_in(record, Photos.of(bundle), text.split("\n"), pictures)


def back_up(bundle: Path, out: Path) -> dict[str, int]:
    """The whole record, its photos and the job's files as one zip; returns counts.

    Raises
    ------
    InputError
        If the record is not whole: a backup of a damaged record would hide the damage.
    """
    with open_record(where_of(bundle)) as record:
        faults = verify(record, Photos.of(bundle))
        if faults:
            raise InputError(
                f"the record is not whole ({faults[0]}).",
                where="record",
                do="See tackfree record verify; keep the older backups.",
            )
        return backups.backup(record, Photos.of(bundle), _files(bundle), out)


def _files(bundle: Path) -> dict[str, bytes]:
    """The bundle's own files: no record, no photos, no hidden files but marks cut anew.

    Entries name the layouts of marks cut anew, and the page that marks goes on in the
    chain of its own device.
    """
    found = {}
    for path in sorted(bundle.rglob("*")):
        parts = path.relative_to(bundle).parts
        plain = parts[0] != "photos" and not any(p.startswith(".") for p in parts)
        if path.is_file() and (plain or _of_marks(parts)):
            found["/".join(parts)] = path.read_bytes()
    return found


def _of_marks(parts: tuple[str, ...]) -> bool:
    if parts == (".tackfree", "marks-device"):
        return True
    return len(parts) == 3 and parts[:2] == (".tackfree", "layouts") and parts[2].endswith(".json")


def restore(source: Path, bundle: Path, *, replace: bool = False) -> dict[str, int]:
    """Make a bundle and its record again from a backup; returns counts.

    Everything is compared with its hash before anything is written, and the record is
    verified before it takes its place. With ``replace`` an older record file is set
    aside beside it under another name, never deleted.

    Raises
    ------
    InputError
        If the backup is not whole, or there is a record already.
    """
    zipped, manifest = opened(source)
    with zipped:
        for name in manifest["files"]:
            if name.startswith(("/", "\\")) or ".." in Path(name).parts or "\\" in name:
                raise InputError(
                    f"{name!r} in it leads out of its folder.",
                    where=source.name,
                    do="Do not use it.",
                )
        where = where_of(bundle)
        if isinstance(where, Path) and where.exists() and not replace:
            raise InputError(
                "there is a record here already.",
                where=str(where),
                do="Restore into a new folder, or set the old record aside with --replace.",
            )
        _unpack(zipped, manifest, bundle)
        if isinstance(where, Path):
            fresh = where.with_name("restoring.sqlite")
            _gone(fresh)
            try:
                _filled(fresh, zipped, manifest, bundle)
            except BaseException:
                _gone(fresh)
                raise
            _set_aside(where)
            fresh.replace(where)
        else:
            _filled(where, zipped, manifest, bundle)
    counts: dict[str, int] = manifest["counts"]
    return counts


def _unpack(zipped: ZipFile, manifest: dict[str, dict[str, str]], bundle: Path) -> None:
    """Files of the job that are not there, and every photo."""
    for name in manifest["files"]:
        room, _, rest = name.partition("/")
        if room == "bundle":
            path = bundle / rest
        elif room == "photos":
            path = bundle / "photos" / rest
        else:
            continue
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(zipped.read(name))


def _filled(
    where: str | Path, zipped: ZipFile, manifest: dict[str, dict[str, str]],
    bundle: Path,
) -> None:  # fmt: skip
    with open_record(where) as record:
        backups.restore(record, zipped, manifest)
        faults = verify(record, Photos.of(bundle))
        if faults:
            raise ToolError(str(faults[0]), where="restore", do="Use another backup.")


def _set_aside(where: Path) -> None:
    number = 1
    while (aside := where.with_name(f"{where.name}.{SET_ASIDE}-{number}")).exists():
        number += 1
    for ending in ("", "-wal", "-shm"):
        old = where.with_name(where.name + ending)
        if old.exists():
            old.rename(aside.with_name(aside.name + ending))


def _gone(path: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
