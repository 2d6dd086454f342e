"""One suite for both databases: each test runs on SQLite and on PostgreSQL."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tackfree.record.canonical import ulid
from tackfree.record.entries import sha_of
from tackfree.record.revisions import save_revision
from tackfree.record.store import Record, open_record

NUMBERS = count(1)


def _server_programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    if found:
        return found[-1]
    on_path = shutil.which("initdb")
    return Path(on_path).parent if on_path else None


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The socket folder of a throw-away PostgreSQL server."""
    programs = _server_programs()
    if programs is None:
        pytest.skip("PostgreSQL's server programs are not installed")
    who: dict[str, Any] = {}
    if os.geteuid() == 0:  # the server refuses to run as root
        try:
            account = pwd.getpwnam("postgres")
        except KeyError:
            pytest.skip("root needs the account named postgres to run the server")
        who = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    folder = Path(tempfile.mkdtemp(prefix="tf-pg-"))
    if who:
        os.chown(folder, who["user"], who["group"])
    data = folder / "data"

    def call(program: str, *args: str) -> None:
        command = [str(programs / program), *args]
        with (folder / f"{program}.out").open("ab") as out:
            subprocess.run(command, check=True, cwd=folder, stdout=out, stderr=out, **who)

    try:
        call("initdb", "-D", str(data), "-U", "tackfree", "-A", "trust", "-E", "UTF8", "-N")
        quick = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"
        call("pg_ctl", "-D", str(data), "-w", "-l", str(folder / "log"), "-o", quick, "start")
        try:
            yield str(folder)
        finally:
            call("pg_ctl", "-D", str(data), "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


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
