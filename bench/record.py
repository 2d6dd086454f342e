"""The record against a bare insert loop on the same engine: SQLite and PostgreSQL."""

from __future__ import annotations

import asyncio
import json
import os
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import psycopg
from tests.record.conftest import Phone
from tests.record.postgres import lacking, throw_away
from tests.web.client import TestClient
from tests.web.made import make_out

from tackfree.record.checking import FIELDS
from tackfree.record.entries import count_of, sha_of
from tackfree.record.store import open_record
from tackfree.record.verify import verify
from tackfree.service import job as jobs
from tackfree.service.record import DATABASE
from tackfree.service.recording.desk import Desk
from tackfree.web.app import create_app

RUNS = 3
SINGLES, BATCH, BATCHES = 200, 200, 25
PHONES, WAITING = 200, 50
IN_SECTION, PAGES = 2000, 20
READ_AHEAD_S = 2.0  # what a server reads at its start is over by then
COLUMNS = (*FIELDS, "sha", "received", "seal")
READING = {
    "section": "S01", "coat": "BASE", "x_m": 1.25, "y_m": 2.5, "unit": "mil", "wet_tooth": 24,
    "dry_tooth": 26, "gauge": "G-1",
}  # fmt: skip


def run() -> list[dict[str, Any]]:
    """Rows of the bench table."""
    rows: list[dict[str, Any]] = []
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="tf-bench-")))
        rows += _engine("sqlite", folder, None)
        if why := lacking():
            print(f"record on postgresql: left out, {why}", file=sys.stderr)
            return rows
        rows += _engine("postgresql", folder, stack.enter_context(throw_away(durable=True)))
    return rows


def _engine(name: str, folder: Path, server: str | None) -> list[dict[str, Any]]:
    made = iter(range(10_000))

    def place() -> tuple[Path, str]:
        """A bundle of its own, and the address of an empty database or ""."""
        k = next(made)
        bundle = folder / f"{name}-{k}"
        jobs.new(bundle)
        if server is None:
            return bundle, ""
        admin = f"host={server} user=tackfree dbname=postgres"
        with psycopg.connect(admin, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE b{k}")
        return bundle, f"postgresql://tackfree@/b{k}?host={server}"

    one, bare_one = [], []
    many, bare_many = [], []
    for _ in range(RUNS):
        one.append(SINGLES / _taken(place, SINGLES, 1))
        bare_one.append(SINGLES / _bare(place, SINGLES, 1))
        many.append(BATCH * BATCHES / _taken(place, BATCHES, BATCH))
        bare_many.append(BATCH * BATCHES / _bare(place, BATCHES, BATCH))
    p99, whole, busy, once = zip(*(_sync(place) for _ in range(RUNS)), strict=True)
    bare_sync = statistics.median(_bare(place, PHONES, WAITING) for _ in range(RUNS))
    middle = statistics.median
    first, again, plain = _section_page(place)
    return [
        {
            "id": f"record-one-{name}", "value": middle(one), "unit": "entries/s",
            "baseline": "bare insert loop, one durable commit each",
            "ratio": middle(one) / middle(bare_one), "goal": "none",
            "holds": None, "runs": RUNS,
        },
        {
            "id": f"record-batch-{name}", "value": middle(many), "unit": "entries/s",
            "baseline": f"bare insert loop, {BATCH} rows a commit",
            "ratio": middle(many) / middle(bare_many), "goal": "none",
            "holds": None, "runs": RUNS,
        },
        {
            "id": f"record-sync-{name}", "value": middle(p99),
            "unit": f"s, p99 of a batch; the server worked {middle(busy):.2f} s",
            "baseline": f"bare loop of {PHONES} commits of {WAITING} rows, against all phones",
            "ratio": middle(whole) / bare_sync,
            "goal": f"{PHONES} phones × {WAITING} at once: each stored once, p99 under 1 s",
            "holds": all(once) and middle(p99) < 1.0, "runs": RUNS,
        },
        {
            "id": f"record-section-{name}", "value": 1000 * again,
            "unit": f"ms of the page, {1000 * first:.0f} ms when it is opened first after a start",
            "baseline": "selecting its rows and decoding their JSON", "ratio": again / plain,
            "goal": f"under 100 ms with {IN_SECTION:,} entries", "holds": again < 0.1,
            "runs": PAGES,
        },
    ]  # fmt: skip


def _section_page(place: Callable[[], tuple[Path, str]]) -> tuple[float, float, float]:
    """Seconds of a section's page: opened first, again, and of reading its rows plainly."""
    bundle, address = place()
    out = make_out(bundle.parent / f"{bundle.name}-out", sections=2)
    with _database(address):
        app = create_app(out, bundle)
        desk = app.state.site.desk
        phone = Phone()
        sent = _readings(desk.job.id, phone, IN_SECTION)
        for begin in range(0, IN_SECTION, BATCH):
            desk.take(sent[begin : begin + BATCH])
        app.state.site.warm()  # as a server does when it starts
        with TestClient(app, base_url="http://127.0.0.1") as client:

            def page() -> float:
                begin = time.perf_counter()
                answer = client.get("/section/S01", headers={"accept": "text/html"})
                took = time.perf_counter() - begin
                assert answer.status_code == 200
                assert f"{IN_SECTION} " in answer.text
                return took

            first, again = page(), statistics.median(page() for _ in range(PAGES))
        begin = time.perf_counter()
        with desk.record.reading() as connection:
            rows = connection.exec_driver_sql("SELECT body FROM entry").scalars().all()
        assert len([json.loads(r) for r in rows]) == IN_SECTION
        plain = time.perf_counter() - begin
        desk.close()
    return first, again, plain


@contextmanager
def _database(address: str) -> Iterator[None]:
    before = os.environ.pop(DATABASE, None)
    if address:
        os.environ[DATABASE] = address
    try:
        yield
    finally:
        os.environ.pop(DATABASE, None)
        if before is not None:
            os.environ[DATABASE] = before


def _readings(job: str, phone: Phone, count: int) -> list[dict[str, Any]]:
    return [phone.note(kind="film-reading", body=READING, job=job) for _ in range(count)]


def _taken(place: Callable[[], tuple[Path, str]], batches: int, size: int) -> float:
    """Seconds that the record takes for some batches."""
    bundle, address = place()
    with _database(address):
        desk = Desk(bundle=bundle)
        phone = Phone()
        sent = [_readings(desk.job.id, phone, size) for _ in range(batches)]
        desk.take(_readings(desk.job.id, Phone("WARM"), 1))
        begin = time.perf_counter()
        for batch in sent:
            desk.take(batch)
        took = time.perf_counter() - begin
        assert count_of(desk.record) == batches * size + 1
        desk.close()
    return took


def _bare(place: Callable[[], tuple[Path, str]], batches: int, size: int) -> float:
    """Seconds of a loop that inserts the same rows and checks nothing."""
    bundle, address = place()
    phone = Phone()
    rows = []
    for _ in range(batches):
        sent = _readings("J", phone, size)
        rows.append([
            (*(json.dumps(e[n]) if n == "body" else e[n] for n in FIELDS), sha_of(e), "", "")
            for e in sent
        ])  # fmt: skip
    names = ", ".join(COLUMNS)
    kinds = ", ".join(f"{n} {'INTEGER' if n in ('seq', 'v') else 'TEXT'}" for n in COLUMNS)
    kinds += ", UNIQUE (id), UNIQUE (device, seq)"  # without which nothing arrives just once
    if address:
        with psycopg.connect(address) as connection, connection.cursor() as cursor:
            cursor.execute(f"CREATE TABLE bare ({kinds})")
            connection.commit()
            marks = ", ".join(["%s"] * len(COLUMNS))
            begin = time.perf_counter()
            for batch in rows:
                cursor.executemany(f"INSERT INTO bare ({names}) VALUES ({marks})", batch)
                connection.commit()
            return time.perf_counter() - begin
    plain = sqlite3.connect(bundle / "bare.sqlite")
    plain.execute("PRAGMA journal_mode=WAL")
    plain.execute("PRAGMA synchronous=FULL")
    plain.execute(f"CREATE TABLE bare ({kinds})")
    marks = ", ".join("?" * len(COLUMNS))
    begin = time.perf_counter()
    for batch in rows:
        plain.executemany(f"INSERT INTO bare ({names}) VALUES ({marks})", batch)
        plain.commit()
    took = time.perf_counter() - begin
    plain.close()
    return took


def _sync(place: Callable[[], tuple[Path, str]]) -> tuple[float, float, float, bool]:
    """All phones at once against a server: p99 of a batch, all, its CPU, each stored once."""
    bundle, address = place()
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    env.pop(DATABASE, None)
    if address:
        env[DATABASE] = address
    code = (
        "import sys, pathlib; from tackfree.web.app import run; "
        "run(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[1]), port=int(sys.argv[2]))"
    )
    server = subprocess.Popen([sys.executable, "-c", code, str(bundle), str(port)], env=env)
    try:
        job = jobs.open_job(bundle).id
        bodies = [
            json.dumps({"entries": _readings(job, Phone(f"PHONE-{k}"), WAITING)}).encode()
            for k in range(PHONES)
        ]
        while True:
            try:
                asyncio.run(_ask(port, b'{"entries": []}'))
                break
            except OSError:
                time.sleep(0.05)
        time.sleep(READ_AHEAD_S)
        before = _cpu_s(server.pid)
        times, whole = asyncio.run(_together(port, bodies))
        busy = _cpu_s(server.pid) - before
    finally:
        server.terminate()
        server.wait(10)
    where = address or bundle / ".tackfree" / "job.sqlite"
    with open_record(where) as record:
        once = count_of(record) == PHONES * WAITING and verify(record) == ()
    return sorted(times)[int(0.99 * len(times))], whole, busy, once


def _cpu_s(pid: int) -> float:
    """Seconds of CPU that a process has taken, as the kernel counts them."""
    after_name = Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")


async def _together(port: int, bodies: list[bytes]) -> tuple[list[float], float]:
    lines = [await asyncio.open_connection("127.0.0.1", port) for _ in bodies]
    begin = time.perf_counter()
    times = await asyncio.gather(
        *(_send(line, body) for line, body in zip(lines, bodies, strict=True))
    )
    return list(times), time.perf_counter() - begin


async def _ask(port: int, body: bytes) -> float:
    return await _send(await asyncio.open_connection("127.0.0.1", port), body)


async def _send(line: tuple[asyncio.StreamReader, asyncio.StreamWriter], body: bytes) -> float:
    """Seconds from the first byte sent to the last byte of the answer."""
    reader, writer = line
    begin = time.perf_counter()
    writer.write(
        b"POST /api/entries HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Device any\r\n"
        b"Connection: close\r\nContent-Length: %d\r\n\r\n" % len(body) + body
    )
    await writer.drain()
    answer = await reader.read()
    assert answer.startswith(b"HTTP/1.1 200"), answer[:200]
    writer.close()
    return time.perf_counter() - begin
