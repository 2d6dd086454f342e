"""The record keeps every entry once, refuses to change any, and says what is wrong."""

from __future__ import annotations

import copy
import json
import sqlite3
import threading
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import inspect, text
from sqlalchemy.exc import DBAPIError

from tackfree.errors import InputError, NotFound, ToolError
from tackfree.record import migrations
from tackfree.record.canonical import ulid
from tackfree.record.entries import append, append_all, entries, held_entries, sha_of, take
from tackfree.record.revisions import newest_revision, revisions, save_revision
from tackfree.record.store import DamagedError, Record, open_record, pending
from tackfree.record.tables import metadata
from tackfree.record.verify import verify

JOB = "ALDER-ROW"


def test_an_entry_comes_back_as_it_was_sent(record: Record, phone: Any) -> None:
    sent = phone.note("slab sounds hollow at C4, 3 ft² — ñ")
    assert append(record, sent) == "stored"
    (kept,) = entries(record)
    assert kept.body == sent["body"]
    assert (kept.device, kept.seq, kept.person) == ("PHONE-1", 1, "R. Invented")
    assert (kept.wall, kept.zone, kept.previous) == (sent["wall"], sent["zone"], "")
    assert kept.sha == sha_of(sent)


def test_sent_twice_it_is_there_once(record: Record, phone: Any) -> None:
    batch = [phone.note(str(i)) for i in range(3)]
    assert append_all(record, batch) == ("stored",) * 3
    assert append_all(record, copy.deepcopy(batch)) == ("duplicate",) * 3
    assert len(entries(record)) == 3
    assert held_entries(record) == ()


def test_another_text_under_the_same_id_is_a_conflict_and_kept(record: Record, phone: Any) -> None:
    sent = phone.note()
    append(record, sent)
    other = {**sent, "body": {"text": "something else"}}
    assert append(record, other) == "conflict"
    assert append(record, other) == "conflict"  # and kept once
    (kept,) = held_entries(record)
    assert json.loads(kept.raw)["body"] == {"text": "something else"}
    assert entries(record)[0].body == sent["body"]


def test_another_id_at_the_same_place_of_a_device_is_a_conflict(record: Record, phone: Any) -> None:
    append(record, phone.note())
    twin = type(phone)()
    other = twin.note("a restored phone counts from 1 again")
    other["id"] = ulid(time_ms=1, randomness=b"0123456789")
    assert append(record, other) == "conflict"
    assert len(entries(record)) == 1


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"id": "short"}, "ULID"),
        ({"seq": 0}, "seq"),
        ({"seq": True}, "seq"),
        ({"v": 99}, "not known"),
        ({"kind": "gossip"}, "not known"),
        ({"kind": ["note"]}, "kind"),
        ({"body": {"text": ""}}, "text"),
        ({"body": {"text": "x", "extra": 1}}, "extra"),
        ({"body": None}, "body"),
        ({"wall": "2027-04-20T07:15:00"}, "offset"),
        ({"wall": "yesterday"}, "date"),
        ({"wall": "2027-04-20T07:15:00+02:00"}, "offset"),
        ({"zone": "Nowhere/Town"}, "time zone"),
        ({"job": "OTHER-JOB"}, "OTHER-JOB"),
        ({"person": ""}, "person"),
        ({"mood": "good"}, "mood"),
        ({"body": {"text": "zero \0 inside"}}, "zero"),
        ({"body": {"text": "half \ud800"}}, "text"),
    ],
)
def test_what_cannot_be_right_is_held_raw_with_its_reason(
    record: Record, phone: Any, change: dict[str, Any], reason: str
) -> None:
    sent = {**phone.note(), **change}
    assert append(record, sent) == "held"
    assert append(record, sent) == "held"
    (kept,) = held_entries(record)
    assert reason in kept.reason
    assert json.loads(kept.raw) == sent
    assert entries(record) == ()


@pytest.mark.parametrize("junk", [None, 7, "text", [], [1, 2], {}, {"id": 5, "seq": "x"}])
def test_junk_is_held_and_blocks_nobody(record: Record, phone: Any, junk: Any) -> None:
    assert append_all(record, [junk, phone.note()]) == ("held", "stored")


def test_conditions_are_checked(record: Record, phone: Any) -> None:
    good = {"slab_c": 18.5, "air_c": 20, "rh": 0.62, "wind_m_s": None, "section": "S01"}
    assert append(record, phone.note(kind="conditions", body=good)) == "stored"
    percent = {**good, "rh": 62}
    assert append(record, phone.note(kind="conditions", body=percent)) == "held"
    assert "rh" in held_entries(record)[0].reason


def test_the_chain_goes_on_after_a_held_entry_and_mending_appends(
    record: Record, phone: Any
) -> None:
    first, bad, third = phone.note(), phone.note(job="LATER-JOB"), phone.note("third")
    assert append_all(record, [first, bad, third]) == ("stored", "held", "stored")
    assert verify(record) == ()
    save_revision(record, {"job.toml": "x"}, job_id="LATER-JOB")
    assert append(record, bad) == "stored"
    assert held_entries(record) == ()
    assert verify(record) == ()


def test_entries_that_come_early_wait_for_the_gap_to_close(record: Record, phone: Any) -> None:
    one, two, three, four = (phone.note(str(i)) for i in range(4))
    assert append_all(record, [one, four, three]) == ("stored", "held", "held")
    assert len(held_entries(record)) == 2
    assert append(record, two) == "stored"
    assert [e.seq for e in entries(record)] == [1, 2, 3, 4]
    assert held_entries(record) == ()
    assert append(record, four) == "duplicate"
    assert verify(record) == ()


def test_an_entry_that_names_another_predecessor_is_held(record: Record, phone: Any) -> None:
    append(record, phone.note())
    assert append(record, {**phone.note(), "previous": "0" * 64}) == "held"
    assert append(record, {**type(phone)("PHONE-2").note(), "previous": "0" * 64}) == "held"


def test_devices_have_chains_of_their_own(record: Record, phone: Any) -> None:
    other = type(phone)("PHONE-2")
    batch = [phone.note(), other.note(), phone.note(), other.note()]
    assert append_all(record, batch) == ("stored",) * 4
    assert verify(record) == ()


def test_reading_goes_on_after_a_position(record: Record, phone: Any) -> None:
    append_all(record, [phone.note(str(i)) for i in range(5)])
    first = entries(record, limit=2)
    rest = entries(record, after=first[-1].pos)
    assert [e.seq for e in first + rest] == [1, 2, 3, 4, 5]
    assert entries(record, job_id="OTHER") == ()


def test_a_batch_has_a_limit(record: Record, phone: Any) -> None:
    with pytest.raises(InputError, match="smaller batches"):
        append_all(record, [phone.note() for _ in range(201)])


@pytest.mark.parametrize("table", ["migration", "job", "revision", "entry", "held"])
@pytest.mark.parametrize("verb", ["UPDATE {0} SET {1} = {1}", "DELETE FROM {0}"])
def test_the_database_itself_refuses_change(
    record: Record, phone: Any, table: str, verb: str
) -> None:
    append_all(record, [phone.note(), None])
    column = metadata.tables[table].columns.keys()[-1]
    with pytest.raises(DBAPIError, match="append-only"), record.writing() as connection:
        connection.execute(text(verb.format(table, column)))
    assert len(entries(record)) == 1


def test_replacing_a_row_is_refused_on_sqlite(tmp_path: Path, phone: Any) -> None:
    path = tmp_path / "job.sqlite"
    with open_record(path) as opened:
        save_revision(opened, {"job.toml": "x"}, job_id=JOB)
        append(opened, phone.note())
    plain = sqlite3.connect(path)  # without any of our settings
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        plain.execute("INSERT OR REPLACE INTO entry SELECT * FROM entry")
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):
        plain.execute("INSERT OR REPLACE INTO job SELECT id, 'now' FROM job")
    plain.close()


def test_truncating_is_refused_on_postgresql(record: Record) -> None:
    if not record.on_postgresql:
        return  # SQLite has no such statement; deletion is covered above
    with pytest.raises(DBAPIError, match="append-only"), record.writing() as connection:
        connection.execute(text("TRUNCATE entry"))


def test_a_foreign_job_and_a_wrong_type_are_refused_by_the_database(record: Record) -> None:
    row = (
        "INSERT INTO revision (id, job_id, number, content_sha, documents, person, made) "
        "VALUES ('{0}', '{1}', {2}, '{0}', '{{}}', '', '')"
    )
    for values in (("a" * 64, "NOBODY", "1"), ("b" * 64, JOB, "'many'")):
        with pytest.raises(DBAPIError), record.writing() as connection:
            connection.execute(text(row.format(*values)))


def test_a_transaction_that_fails_leaves_nothing(record: Record, phone: Any) -> None:
    def half() -> None:
        with record.writing() as connection:
            connection.execute(text("INSERT INTO job (id, made) VALUES ('HALF', '')"))
            raise RuntimeError("power cut")

    append(record, phone.note())
    with pytest.raises(RuntimeError):
        half()
    assert append(record, phone.note(job="HALF")) == "held"


def test_verify_finds_what_was_changed_behind_its_back(tmp_path: Path, phone: Any) -> None:
    path = tmp_path / "job.sqlite"
    with open_record(path) as opened:
        save_revision(opened, {"job.toml": "x"}, job_id=JOB)
        append_all(opened, [phone.note(str(i)) for i in range(4)])
        assert verify(opened) == ()
    plain = sqlite3.connect(path)
    plain.execute("DROP TRIGGER entry_no_update")
    plain.execute("DROP TRIGGER entry_no_delete")
    plain.execute('UPDATE entry SET body = \'{"text":"never said"}\' WHERE seq = 2')
    plain.execute("DELETE FROM entry WHERE seq = 3")
    plain.commit()
    plain.close()
    with open_record(path) as opened:
        found = [(f.where, f.what) for f in verify(opened)]
        with pytest.raises(DamagedError, match="entry 2 of device PHONE-1"):
            entries(opened)
    assert found == [
        ("device PHONE-1, entry 2", "The entry is not what was stored."),
        ("device PHONE-1, entry 4", "Entry 3 before it is missing."),
        ("table entry", "1 of its positions hold no row."),
        ("database", "The guard entry_no_delete is gone, so rows could be changed."),
        ("database", "The guard entry_no_update is gone, so rows could be changed."),
    ]


# Revisions


def test_a_revision_is_kept_and_names_the_one_before(record: Record) -> None:
    first = newest_revision(record, JOB)
    second = save_revision(record, {"job.toml": "b", "decks/P1.toml": "c"}, job_id=JOB, person="K")
    assert (second.number, second.predecessor) == (2, first.id)
    assert newest_revision(record, JOB) == second
    assert save_revision(record, {"decks/P1.toml": "c", "job.toml": "b"}, job_id=JOB) == second
    back = save_revision(record, first.documents, job_id=JOB)
    assert back.content_sha == first.content_sha
    assert back.id != first.id
    assert [r.number for r in revisions(record, JOB)] == [1, 2, 3]


def test_there_is_no_revision_of_an_unknown_job(record: Record) -> None:
    with pytest.raises(NotFound, match="NOBODY"):
        newest_revision(record, "NOBODY")
    with pytest.raises(InputError):
        save_revision(record, {}, job_id=JOB)


# Opening and migrations


def test_opening_again_runs_nothing_and_keeps_everything(where: Any, phone: Any) -> None:
    with open_record(where) as opened:
        save_revision(opened, {"job.toml": "x"}, job_id=JOB)
        append(opened, phone.note())
        assert pending(opened) == ()
    with open_record(where) as opened:
        assert len(entries(opened)) == 1
        with opened.reading() as connection:
            assert migrations.ran(connection) == set(range(1, len(migrations.STEPS) + 1))


def test_the_migrated_tables_are_those_the_code_names(record: Record) -> None:
    with record.reading() as connection:
        found = inspect(connection)
        for name, table in metadata.tables.items():
            assert [c["name"] for c in found.get_columns(name)] == table.columns.keys()


def test_asking_for_pending_steps_writes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "job.sqlite"
    sqlite3.connect(path).close()
    from tackfree.record.store import _engine

    fresh = Record(engine=_engine(path))
    assert pending(fresh) == tuple(s.__name__ for s in migrations.STEPS)
    with fresh.reading() as connection:
        assert inspect(connection).get_table_names() == []
    fresh.close()


def test_a_step_that_fails_leaves_no_trace(where: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(connection: Any) -> None:
        connection.execute(text("CREATE TABLE half (a INTEGER)"))
        raise ToolError("the step broke")

    with open_record(where) as opened:
        pass
    monkeypatch.setattr(migrations, "STEPS", (*migrations.STEPS, breaks))
    with pytest.raises(ToolError, match="broke"):
        open_record(where)
    monkeypatch.undo()
    with open_record(where) as opened, opened.reading() as connection:
        assert not inspect(connection).has_table("half")
        assert migrations.ran(connection) == set(range(1, len(migrations.STEPS) + 1))


def test_a_record_of_a_newer_version_is_left_alone(where: Any) -> None:
    with open_record(where) as opened, opened.writing() as connection:
        connection.execute(text("INSERT INTO migration VALUES (99, 'm0099_later', '')"))
    with pytest.raises(ToolError, match="newer version"):
        open_record(where)


def test_two_that_open_at_once_migrate_once(where: Any) -> None:
    faults: list[Exception] = []

    def open_and_close() -> None:
        try:
            open_record(where).close()
        except Exception as error:
            faults.append(error)

    threads = [threading.Thread(target=open_and_close) for _ in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert faults == []


def test_writers_at_once_lose_nothing_and_a_reader_misses_nothing(where: Any, phone: Any) -> None:
    with open_record(where) as opened:
        save_revision(opened, {"job.toml": "x"}, job_id=JOB)
        phones = [type(phone)(f"PHONE-{i}") for i in range(4)]
        batches = [[p.note(str(n)) for n in range(20)] for p in phones]

        def send(batch: list[dict[str, Any]]) -> None:
            for one in batch:
                append(opened, one)

        threads = [threading.Thread(target=send, args=(b,)) for b in batches]
        for t in threads:
            t.start()
        seen: list[str] = []
        pos = 0
        while True:
            working = any(t.is_alive() for t in threads)
            for one in entries(opened, after=pos):
                seen.append(one.id)
                pos = one.pos
            if not working:
                break
        assert len(seen) == len(set(seen)) == 80
        assert verify(opened) == ()


@pytest.mark.parametrize(
    "address", ["mysql://a/b", "postgresql+asyncpg://a/b", "://", "nonsense://x"]
)
def test_an_address_that_is_none_of_ours_is_refused(address: str) -> None:
    with pytest.raises(InputError):
        open_record(address)


def test_a_server_that_is_not_there_is_said_without_the_password() -> None:
    with pytest.raises(ToolError) as caught:
        open_record("postgresql://someone:secret@/db?host=/nonexistent&connect_timeout=2")
    assert "secret" not in str(caught.value)
    assert "cannot be opened" in str(caught.value)


def test_a_file_that_is_no_database_is_said(tmp_path: Path) -> None:
    path = tmp_path / "job.sqlite"
    path.write_bytes(b"this is a shopping list, not a database" * 100)
    with pytest.raises(ToolError, match="not a database"):
        open_record(path)


def test_sqlite_waits_for_the_disk(tmp_path: Path) -> None:
    with open_record(tmp_path / "job.sqlite") as opened, opened.reading() as connection:
        settings = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
        strict = connection.exec_driver_sql(
            "SELECT count(*) FROM pragma_table_list WHERE strict = 1 AND schema = 'main'"
        ).scalar()
    # published: SQLite's pragma documentation; synchronous 2 is FULL
    assert settings == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
    assert strict == len(metadata.tables)


def test_odd_texts_are_kept_to_the_letter(record: Record, phone: Any) -> None:
    """Whatever a batch is written through, its texts come back as they were sent."""
    odd = ['"', "\\", "\\n", "line\nline", "{a,b}", "\u2028", "𝄞", "null", " ", "%s", "'"]
    sent = [phone.note(t) for t in odd] + [phone.note("x", person=t) for t in odd]
    assert set(append_all(record, sent)) == {"stored"}
    assert [e.body["text"] for e in entries(record)] == odd + ["x"] * len(odd)
    assert [e.person for e in entries(record)][len(odd) :] == odd
    assert verify(record) == ()


def test_an_entry_with_half_a_character_is_held_alone(record: Record, phone: Any) -> None:
    good = phone.note()
    bad = [
        *({**phone.note(), name: 1} for name in ("\ud800", "a\0b", "person\udfff")),
        *({**phone.note(), name: "no\ud800te"} for name in ("id", "job", "kind", "v", "zone")),
        *({**phone.note(), "body": {"text": "x", name: 1}} for name in ("\ud800", "\0")),
        {**phone.note(), "body": {"text": "\ud800"}}, ["\ud800"], "\ud800",
    ]  # fmt: skip
    results = take(record, [good, *bad]).results
    assert [r.status for r in results] == ["stored", *["held"] * len(bad)]
    for fault in (d.said() for r in results for d in r.doubts):
        assert f"{fault.where} {fault.what} {fault.do}".encode()
    assert len(held_entries(record)) == len(bad)
    assert verify(record) == ()


def test_a_key_named_early_does_not_let_an_entry_in(record: Record, phone: Any) -> None:
    first = phone.note()
    bad = phone.note(body={"text": "x", "early": 1})
    after = phone.note()
    assert append_all(record, [bad, first, after]) == ("held", "stored", "stored")
    assert [h.id for h in held_entries(record)] == [bad["id"]]
    assert [e.id for e in entries(record)] == [first["id"], after["id"]]
    assert verify(record) == ()
