"""One suite for both databases: each test runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
import pytest
from tests.record.postgres import lacking, throw_away

from tackfree.record.canonical import ulid
from tackfree.record.entries import sha_of
from tackfree.record.revisions import save_revision
from tackfree.record.store import Record, open_record

NUMBERS = count(1)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The socket folder of a throw-away PostgreSQL server."""
    if why := lacking():
        pytest.skip(why)
    with throw_away() as folder:
        yield folder


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str | Path:
    """The address of a database that does not hold anything yet."""
    if request.param == "sqlite":
        return tmp_path / "deep" / "job.sqlite"
    folder = request.getfixturevalue("server")
    name = f"t{next(NUMBERS)}"
    address = f"host={folder} user=tackfree dbname=postgres"
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"postgresql://tackfree@/{name}?host={folder}"


@pytest.fixture
def record(where: str | Path) -> Iterator[Record]:
    """An open record that knows one job."""
    with open_record(where) as opened:
        save_revision(opened, {"job.toml": 'id = "ALDER-ROW"'}, job_id="ALDER-ROW")
        yield opened


class Phone:
    """A device that keeps its own sequence and chain."""

    def __init__(self, name: str = "PHONE-1") -> None:
        self.name, self.seq, self.last = name, 0, ""

    def note(self, text: str = "primer tacky at the drain", **changes: Any) -> dict[str, Any]:
        self.seq += 1
        made = {
            "id": ulid(
                time_ms=1_800_000_000_000 + self.seq,
                randomness=self.name.encode().ljust(10, b"-")[:10],
            ),
            "job": "ALDER-ROW",
            "device": self.name,
            "seq": self.seq,
            "person": "R. Invented",
            "wall": "2027-04-20T07:15:00-04:00",
            "zone": "America/New_York",
            "kind": "note",
            "v": 1,
            "body": {"text": text},
            "previous": self.last,
            **changes,
        }
        self.last = sha_of(made)
        return made


@pytest.fixture
def phone() -> Phone:
    return Phone()
