"""Nothing of a record is lost on its way out and in again, and damage never goes unseen."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import random
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from sqlalchemy import select

from tackfree.errors import InputError, ToolError
from tackfree.record import backup as backups
from tackfree.record import migrations
from tackfree.record.entries import append_all, entries, held_entries
from tackfree.record.photos import Photos
from tackfree.record.revisions import revisions, save_revision
from tackfree.record.store import Record, open_record
from tackfree.record.transfer import files_of, take_in
from tackfree.record.verify import verify

JOB = "ALDER-ROW"
HERE = Path(__file__).parent


def picture() -> tuple[str, bytes]:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), (90, 120, 60)).save(out, "JPEG")
    return hashlib.sha256(out.getvalue()).hexdigest(), out.getvalue()


@pytest.fixture
def photos(tmp_path: Path) -> Photos:
    return Photos.of(tmp_path / "bundle")


@pytest.fixture
def full(record: Record, phone: Any, photos: Photos) -> Record:
    """Two devices, a held entry, a photo, a formula in a text."""
    sha, data = picture()
    photos.keep(sha, data)
    other = type(phone)("PHONE-2")
    batch = [
        phone.note("=1+1"),
        phone.note(kind="conditions", body={"slab_c": 18.5, "air_c": 20, "rh": 0.62}),
        other.note("ñ \U0001f600", body={"text": "ñ \U0001f600", "photos": [sha]}),
        phone.note(kind="conditions", body={"slab_c": "warm"}),
        phone.note("after the held one"),
    ]
    append_all(record, batch)
    return record


def rows_of(record: Record) -> dict[str, list[dict[str, Any]]]:
    with record.reading() as connection:
        return {
            t.name: [dict(r._mapping) for r in connection.execute(select(t))]
            for t in backups.TABLES
        }


def exported(record: Record, photos: Photos) -> dict[str, bytes]:
    return dict(files_of(record, photos, JOB))


def test_a_restored_record_equals_the_old_one(full: Record, photos: Photos, tmp_path: Path) -> None:
    out = tmp_path / "kept.zip"
    counts = backups.backup(full, photos, {"job.toml": b'id = "ALDER-ROW"'}, out)
    assert counts["entry"] == 4
    zipped, manifest = backups.opened(out)
    with open_record(tmp_path / "again.sqlite") as again:  # from either engine into SQLite
        backups.restore(again, zipped, manifest)
        assert rows_of(again) == rows_of(full)
        assert verify(again, photos) == ()
        later = append_all(again, [{"junk": 1}])
        assert later == ("held",)
        with pytest.raises(InputError, match="not empty"):
            backups.restore(again, zipped, manifest)
    zipped.close()


def test_a_restored_record_goes_on(where: Any, phone: Any, photos: Photos, tmp_path: Path) -> None:
    with open_record(tmp_path / "old.sqlite") as old:
        save_revision(old, {"job.toml": "x"}, job_id=JOB)
        append_all(old, [phone.note(str(i)) for i in range(3)])
        backups.backup(old, photos, {}, tmp_path / "kept.zip")
    zipped, manifest = backups.opened(tmp_path / "kept.zip")
    with open_record(where) as again:
        backups.restore(again, zipped, manifest)
        assert append_all(again, [phone.note("next")]) == ("stored",)
        assert [e.pos for e in entries(again)] == [1, 2, 3, 4]
        assert verify(again) == ()
    zipped.close()


def test_a_damaged_backup_is_refused(full: Record, photos: Photos, tmp_path: Path) -> None:
    out = tmp_path / "kept.zip"
    backups.backup(full, photos, {"job.toml": b"x" * 500}, out)
    whole = out.read_bytes()
    rng = random.Random(5)
    for trial in range(60):
        bad = bytearray(whole)
        if trial % 3 == 0:
            bad = bad[: rng.randrange(len(bad))]
        else:
            bad[rng.randrange(len(bad))] ^= 1 << rng.randrange(8)
        path = tmp_path / "bad.zip"
        path.write_bytes(bytes(bad))
        try:
            zipped, manifest = backups.opened(path)
        except InputError:
            continue
        # What is left unseen must not matter: times and attributes of the zip itself.
        with zipped, open_record(tmp_path / f"t{trial}.sqlite") as again:
            backups.restore(again, zipped, manifest)
            assert rows_of(again) == rows_of(full)


def test_an_export_taken_in_again_changes_nothing(
    full: Record, photos: Photos, tmp_path: Path
) -> None:
    files = exported(full, photos)
    lines = files["record.jsonl"].decode().split("\n")
    before = rows_of(full)
    assert take_in(full, photos, lines, {})["duplicate"] == 4
    assert rows_of(full) == before
    there = Photos.of(tmp_path / "there")
    pictures = {}
    for name, data in files.items():
        if name.startswith("photos/"):
            path = tmp_path / Path(name).name
            path.write_bytes(data)
            pictures[path.stem] = path
    raws = [json.loads(r)["raw"] for r in files["held.jsonl"].decode().splitlines()]
    with open_record(tmp_path / "there.sqlite") as other:
        save_revision(other, {"job.toml": "x"}, job_id=JOB)
        counts = take_in(other, there, [*raws, *lines], pictures)
        assert (counts["stored"], counts["held"]) == (4, 1)
        assert [(e.id, e.sha) for e in entries(other)] == [(e.id, e.sha) for e in entries(full)]
        assert [h.raw for h in held_entries(other)] == [h.raw for h in held_entries(full)]
        assert verify(other, there) == ()
        assert take_in(other, there, lines, pictures)["stored"] == 0


def test_an_export_lists_its_hashes_and_defuses_formulas(full: Record, photos: Photos) -> None:
    files = exported(full, photos)
    manifest = json.loads(files["manifest.json"])
    for name, sha in manifest["files"].items():
        assert hashlib.sha256(files[name]).hexdigest() == sha
    notes = list(csv.DictReader(io.StringIO(files["csv/note.csv"].decode("utf-8-sig"))))
    assert [n["text"] for n in notes] == ["'=1+1", "ñ \U0001f600", "after the held one"]
    assert (
        next(csv.DictReader(io.StringIO(files["csv/conditions.csv"].decode("utf-8-sig"))))["rh"]
        == "0.62"
    )
    assert any(n.startswith("photos/") for n in files)


def test_a_line_that_is_no_json_takes_nothing(full: Record, photos: Photos, phone: Any) -> None:
    before = len(entries(full))
    with pytest.raises(InputError, match="line 2"):
        take_in(full, photos, [json.dumps(phone.note()), "{"], {})
    assert len(entries(full)) == before


def test_a_missing_and_an_altered_photo_are_named(full: Record, photos: Photos) -> None:
    sha, _ = picture()
    path = photos.path(sha)
    assert path is not None
    assert verify(full, photos) == ()
    path.write_bytes(path.read_bytes()[:-1] + b"\0")
    assert [f.what for f in verify(full, photos)] == ["Its bytes were altered."]
    path.unlink()
    (fault,) = verify(full, photos)
    assert (fault.what, sha[:12] in fault.where) == ("It is missing.", True)


# Older databases


@pytest.mark.parametrize("release", sorted((HERE / "releases").glob("*.sql")), ids=lambda p: p.stem)
def test_an_older_database_is_upgraded(release: Path, tmp_path: Path) -> None:
    path = tmp_path / "job.sqlite"
    plain = sqlite3.connect(path)
    plain.executescript(release.read_text("utf-8"))
    counts = {
        t: plain.execute(f"SELECT count(*) FROM {t}").fetchone()[0]
        for t in ("job", "revision", "entry", "held")
    }
    assert counts == {"job": 1, "revision": 2, "entry": 3, "held": 1}
    plain.close()
    with open_record(path) as opened:
        assert [e.body.get("text") for e in entries(opened)] == [
            "first", None, "after a held one",
        ]  # fmt: skip
        assert entries(opened)[1].body["slab_c"] == 18.5
        assert [r.number for r in revisions(opened, JOB)] == [1, 2]
        assert len(held_entries(opened)) == 1
        assert verify(opened) == ()
        with opened.reading() as connection:
            assert migrations.ran(connection) == set(range(1, len(migrations.STEPS) + 1))


# Damage


def _all_of(path: Path) -> Any:
    with open_record(path) as opened:
        got = (entries(opened), held_entries(opened), revisions(opened, JOB))
        faults = verify(opened)
    return got, faults


def test_a_damaged_file_is_never_used_silently(
    tmp_path: Path, phone: Any, request: pytest.FixtureRequest
) -> None:
    path = tmp_path / "job.sqlite"
    with open_record(path) as opened:
        save_revision(opened, {"job.toml": "x" * 3000}, job_id=JOB)
        append_all(opened, [phone.note(f"{i} " + "word " * 20) for i in range(120)])
        append_all(opened, [{"junk": i} for i in range(10)])
    sound, faults = _all_of(path)
    assert faults == ()
    whole = path.read_bytes()
    rng = random.Random(11)
    seen = 0
    trials = 400 if request.config.getoption("--trials") else 60
    for trial in range(trials):
        for old in tmp_path.glob("bad.sqlite*"):
            old.unlink()
        bad = bytearray(whole)
        if trial % 4 == 0:
            bad = bad[: rng.randrange(1, len(bad))]
        elif trial % 4 == 1:
            begin = rng.randrange(len(bad))
            bad[begin : begin + 512] = rng.randbytes(len(bad[begin : begin + 512]))
        else:
            bad[rng.randrange(len(bad))] ^= 1 << rng.randrange(8)
        where = tmp_path / "bad.sqlite"
        where.write_bytes(bytes(bad))
        try:
            got, faults = _all_of(where)
        except ToolError:
            seen += 1
            continue
        if faults:
            seen += 1
        else:
            assert got == sound, f"trial {trial} was read otherwise and nothing was said"
    assert seen > trials // 2
    shutil.rmtree(tmp_path, ignore_errors=True)
