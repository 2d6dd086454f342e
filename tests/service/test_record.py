"""Entries of a bundle from the command line's services."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tackfree.errors import InputError
from tackfree.service import job, record


@pytest.fixture
def bundle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv(record.DATABASE, raising=False)
    job.new(tmp_path / "job")
    return tmp_path / "job"


def test_entries_follow_each_other_and_keep_the_job_revision(bundle: Path) -> None:
    first = record.add(bundle, kind="note", body={"text": "Gate closed at 6:40"}, person="Ada")
    again = record.add(bundle, kind="conditions", body={"slab_c": 24.0, "air_c": 22.5, "rh": 0.5})
    assert (first.status, again.status) == ("stored", "stored")
    assert first.revision == again.revision == 1
    text = (bundle / "job.toml").read_text("utf-8")
    (bundle / "job.toml").write_text(text.replace('name = "', 'name = "Other ', 1), "utf-8")
    assert record.add(bundle, kind="note", body={"text": "changed"}).revision == 2
    rows = record.listed(bundle)
    assert [e.seq for e in rows] == [1, 2, 3]
    assert rows[1].previous == rows[0].sha
    assert rows[0].person == "Ada"
    assert record.verified(bundle) == (3, ())


def test_a_refused_entry_writes_nothing(bundle: Path) -> None:
    with pytest.raises(InputError):
        record.add(bundle, kind="conditions", body={"slab_c": 24.0})
    with pytest.raises(InputError, match="not known"):
        record.add(bundle, kind="gossip", body={"text": "x"})
    assert record.listed(bundle) == ()


def test_an_altered_entry_is_found(bundle: Path) -> None:
    record.add(bundle, kind="note", body={"text": "first"})
    record.add(bundle, kind="note", body={"text": "second"})
    with sqlite3.connect(bundle / ".tackfree" / "job.sqlite") as db:
        for (name,) in db.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            db.execute(f'drop trigger "{name}"')
        db.execute("update entry set body = replace(body, 'first', 'other')")
    count, faults = record.verified(bundle)
    assert count == 2
    assert any("not what was stored" in f.what for f in faults)


def test_words_or_json() -> None:
    assert record.body_of("cones out") == {"text": "cones out"}
    assert record.body_of('{"rh": 0.5}') == {"rh": 0.5}
    with pytest.raises(InputError, match="no JSON"):
        record.body_of("{rh}")
