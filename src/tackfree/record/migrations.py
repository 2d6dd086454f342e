"""Numbered steps from an empty database to today's tables. Steps are only ever added.

A step is frozen once released: it spells its tables out and leans on nothing that may
change later. It runs in one transaction with the row that says it ran.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, inspect, select, text

from tackfree.record.tables import migration

Step = Callable[[Connection], None]


def m0001_revisions_and_entries(connection: Connection) -> None:
    """Jobs, their revisions, entries and what was held."""
    lite = connection.dialect.name == "sqlite"
    end = " STRICT" if lite else ""
    position = (
        "INTEGER PRIMARY KEY AUTOINCREMENT"
        if lite
        else "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY"
    )
    tables = {
        "migration": "number INTEGER PRIMARY KEY, name TEXT NOT NULL, ran TEXT NOT NULL",
        "job": "id TEXT PRIMARY KEY NOT NULL, made TEXT NOT NULL",
        "revision": """
            id TEXT PRIMARY KEY NOT NULL CHECK (length(id) = 64),
            job_id TEXT NOT NULL REFERENCES job (id),
            number INTEGER NOT NULL CHECK (number >= 1),
            predecessor TEXT UNIQUE REFERENCES revision (id),
            content_sha TEXT NOT NULL CHECK (length(content_sha) = 64),
            documents TEXT NOT NULL,
            person TEXT NOT NULL,
            made TEXT NOT NULL,
            UNIQUE (job_id, number),
            CHECK ((number = 1) = (predecessor IS NULL))""",
        "entry": f"""
            pos {position},
            id TEXT NOT NULL UNIQUE CHECK (length(id) = 26),
            job_id TEXT NOT NULL REFERENCES job (id),
            device TEXT NOT NULL,
            seq INTEGER NOT NULL CHECK (seq >= 1),
            person TEXT NOT NULL,
            wall TEXT NOT NULL,
            zone TEXT NOT NULL,
            kind TEXT NOT NULL,
            v INTEGER NOT NULL,
            body TEXT NOT NULL,
            previous TEXT NOT NULL,
            sha TEXT NOT NULL CHECK (length(sha) = 64),
            received TEXT NOT NULL,
            UNIQUE (device, seq)""",
        "held": f"""
            pos {position},
            id TEXT NOT NULL,
            device TEXT NOT NULL,
            seq INTEGER NOT NULL,
            raw TEXT NOT NULL,
            sha TEXT NOT NULL UNIQUE,
            reason TEXT NOT NULL,
            received TEXT NOT NULL""",
    }
    for name, columns in tables.items():
        connection.execute(text(f"CREATE TABLE {name} ({columns}){end}"))
    connection.execute(text("CREATE INDEX entry_job_pos ON entry (job_id, pos)"))
    connection.execute(text("CREATE INDEX held_device_seq ON held (device, seq)"))
    # What makes a row the same row: REPLACE would otherwise delete it unseen on SQLite.
    keys = {
        "migration": ["number"],
        "job": ["id"],
        "revision": ["id", "job_id, number", "predecessor"],
        "entry": ["id", "pos", "device, seq"],
        "held": ["sha", "pos"],
    }
    for name in tables:
        (_append_only_sqlite if lite else _append_only_postgresql)(connection, name, keys[name])


def _append_only_sqlite(connection: Connection, table: str, keys: list[str]) -> None:
    for verb in ("UPDATE", "DELETE"):
        connection.execute(
            text(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        )
    same = " OR ".join(
        "(" + " AND ".join(f"{c} = NEW.{c}" for c in key.split(", ")) + ")" for key in keys
    )
    connection.execute(
        text(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )
    )


def _append_only_postgresql(connection: Connection, table: str, keys: list[str]) -> None:
    connection.execute(
        text(
            f"CREATE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{table} is append-only'; END $$"
        )
    )
    connection.execute(
        text(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuse()"
        )
    )


def m0002_seals_and_people(connection: Connection) -> None:
    """A seal over what the chain of a device does not cover; people and their devices."""
    lite = connection.dialect.name == "sqlite"
    end = " STRICT" if lite else ""
    for name in ("revision", "entry", "held"):
        connection.execute(text(f"ALTER TABLE {name} ADD COLUMN seal TEXT NOT NULL DEFAULT ''"))
    tables = {
        "person": """
            id TEXT PRIMARY KEY NOT NULL,
            name TEXT NOT NULL UNIQUE,
            role TEXT NOT NULL,
            password TEXT,
            made TEXT NOT NULL,
            ended TEXT""",
        "device": """
            id TEXT PRIMARY KEY NOT NULL,
            person_id TEXT NOT NULL REFERENCES person (id),
            name TEXT NOT NULL,
            token_sha TEXT NOT NULL UNIQUE,
            made TEXT NOT NULL,
            revoked TEXT""",
        "invitation": """
            code_sha TEXT PRIMARY KEY NOT NULL,
            name TEXT NOT NULL,
            role TEXT NOT NULL,
            made_by TEXT NOT NULL,
            made TEXT NOT NULL,
            expires TEXT NOT NULL,
            used TEXT""",
        "session": """
            token_sha TEXT PRIMARY KEY NOT NULL,
            person_id TEXT NOT NULL REFERENCES person (id),
            made TEXT NOT NULL,
            expires TEXT NOT NULL""",
        "view": """
            token_sha TEXT PRIMARY KEY NOT NULL,
            label TEXT NOT NULL,
            made_by TEXT NOT NULL,
            made TEXT NOT NULL,
            expires TEXT NOT NULL,
            revoked TEXT""",
    }
    for name, columns in tables.items():
        connection.execute(text(f"CREATE TABLE {name} ({columns}){end}"))


STEPS: tuple[Step, ...] = (m0001_revisions_and_entries, m0002_seals_and_people)


def ran(connection: Connection) -> set[int]:
    """Numbers of the steps that this database has taken. Only reads."""
    if not inspect(connection).has_table("migration"):
        return set()
    return set(connection.execute(select(migration.c.number)).scalars())


def pending(connection: Connection) -> tuple[Step, ...]:
    """Steps that are still to run. Only reads."""
    done = ran(connection)
    return tuple(step for number, step in enumerate(STEPS, 1) if number not in done)


def run(connection: Connection, step: Step, *, at: str) -> None:
    """Take one step and write its row; the caller holds the transaction."""
    step(connection)
    number = STEPS.index(step) + 1
    values = {"number": number, "name": step.__name__, "ran": at}
    connection.execute(migration.insert().values(values))
