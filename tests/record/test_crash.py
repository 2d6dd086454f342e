"""Killed servers, cut lines, repeated and reordered batches: each entry is there once."""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from tests.record.conftest import Phone

from tackfree.record.entries import held_entries
from tackfree.record.store import open_record
from tackfree.record.transfer import all_entries
from tackfree.record.verify import verify
from tackfree.service import job as jobs

ROOT = Path(__file__).resolve().parents[2]
SYNC_S = 20.0


@dataclass
class Mortal:
    """The server behind an address, killed and started again at will."""

    bundle: Path
    where: str | Path
    port: int
    process: subprocess.Popen[str]
    child: int = 0

    def start(self) -> None:
        assert self.process.stdin
        assert self.process.stdout
        asked = {"bundle": str(self.bundle), "port": self.port,
                 "database": self.where if isinstance(self.where, str) else ""}  # fmt: skip
        self.process.stdin.write(json.dumps(asked) + "\n")
        self.process.stdin.flush()
        self.child = int(self.process.stdout.readline())
        for _ in range(2000):
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.005)
        raise AssertionError("the server did not start")

    def kill(self) -> None:
        """As a power cut would: no farewell."""
        assert self.process.stdout
        os.kill(self.child, signal.SIGKILL)
        assert self.process.stdout.readline() == "dead\n"
        self.child = 0


@pytest.fixture(scope="module")
def starter() -> Iterator[subprocess.Popen[str]]:
    env = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}:{ROOT}"}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.record.mortal"],
        env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    yield process
    assert process.stdin
    assert process.stdout
    process.stdin.close()
    process.wait(60)  # a loaded machine takes its time to end a process
    process.stdout.close()


@pytest.fixture
def mortal(where: str | Path, starter: subprocess.Popen[str], tmp_path: Path) -> Iterator[Mortal]:
    """A running server over a record of each engine."""
    jobs.new(tmp_path / "job")
    here = where if isinstance(where, str) else tmp_path / "job" / ".tackfree" / "job.sqlite"
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    found = Mortal(bundle=tmp_path / "job", where=here, port=port, process=starter)
    found.start()
    try:
        yield found
    finally:
        if found.child:
            found.kill()


def post(port: int, batch: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The answer to a batch, or OSError where none came."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        line.request("POST", "/api/entries", json.dumps({"entries": batch}),
                     {"Authorization": "Device any"})  # fmt: skip
        answer = line.getresponse()
        if answer.status != 200:
            raise OSError(answer.status)
        found: list[dict[str, Any]] = json.loads(answer.read())["results"]
        return found
    except http.client.HTTPException as error:
        raise OSError(str(error)) from error
    finally:
        line.close()


@dataclass
class Sender(threading.Thread):
    """A phone that makes entries and sends each until it is acknowledged."""

    port: int
    job: str
    name_: str
    stop: threading.Event
    acked: list[str] = field(default_factory=list)
    sent: list[str] = field(default_factory=list)
    again: int = 0
    odd: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(daemon=True)

    def __hash__(self) -> int:
        return id(self)

    def run(self) -> None:
        phone, rng = Phone(self.name_), random.Random(self.name_)
        while not self.stop.is_set():
            batch = [phone.note(f"{self.name_} {k}", job=self.job)
                     for k in range(rng.choice([1, 1, 5, 20]))]  # fmt: skip
            self.sent += [e["id"] for e in batch]
            while True:
                try:
                    results = post(self.port, batch)
                    break
                except OSError:
                    self.again += 1
                    time.sleep(rng.uniform(0.001, 0.02))
            self.odd += [r for r in results if r["status"] not in ("stored", "duplicate")]
            self.acked += [r["id"] for r in results]


def stored(where: str | Path) -> tuple[list[Any], tuple[Any, ...], tuple[Any, ...]]:
    with open_record(where) as record:
        return list(all_entries(record)), held_entries(record), verify(record)


def test_a_server_killed_at_any_moment_loses_and_doubles_nothing(
    mortal: Mortal, request: pytest.FixtureRequest
) -> None:
    kills = 200 if request.config.getoption("--trials") else 6
    stop, rng = threading.Event(), random.Random(8)
    job = jobs.open_job(mortal.bundle).id
    phones = [Sender(port=mortal.port, job=job, name_=f"PHONE-{k}", stop=stop) for k in range(3)]
    for phone in phones:
        phone.start()
    for _ in range(kills):
        # A server that has just started only opens its record: kill it in the sync itself.
        known = sum(len(p.acked) for p in phones)
        until = time.monotonic() + SYNC_S
        while sum(len(p.acked) for p in phones) == known:
            assert time.monotonic() < until, "the server acknowledges nothing"
            time.sleep(0.002)
        time.sleep(rng.uniform(0.0, 0.1))
        mortal.kill()
        mortal.start()
    stop.set()
    for phone in phones:
        phone.join(SYNC_S)
        assert not phone.is_alive()
    mortal.kill()
    entries, held, faults = stored(mortal.where)
    ids = [e.id for e in entries]
    acked = [i for p in phones for i in p.acked]
    print(f"{kills} kills, {len(acked)} acknowledged, {sum(p.again for p in phones)} sent again")
    assert sum(p.again for p in phones) > 0
    assert len(acked) > 2 * kills  # each kill fell into a sync that got somewhere
    assert [p.odd for p in phones] == [[], [], []]
    assert len(ids) == len(set(ids))
    assert sorted(ids) == sorted(acked) == sorted(i for p in phones for i in p.sent)
    assert (held, faults) == ((), ())


def test_cut_repeated_and_reordered_requests_leave_each_entry_once(
    mortal: Mortal, request: pytest.FixtureRequest
) -> None:
    trials = 600 if request.config.getoption("--trials") else 60
    rng = random.Random(3)
    job = jobs.open_job(mortal.bundle).id
    phones = [Phone(f"PHONE-{k}") for k in range(4)]
    batches = []
    for k in range(trials):
        phone = phones[k % 4]
        batches.append([phone.note(f"é {k} {i}", job=job) for i in range(rng.randint(1, 4))])
    # each comes up to three times, near its place but not in it
    order = [(k + rng.uniform(0, 8), b) for k, b in enumerate(batches)
             for _ in range(rng.randint(1, 3))]  # fmt: skip
    cut = answered = 0
    for _, batch in sorted(order, key=lambda one: one[0]):
        if rng.random() < 0.5:
            cut_off(mortal.port, batch, rng)
            cut += 1
        else:
            statuses = {r["status"] for r in post(mortal.port, batch)}
            assert statuses <= {"stored", "duplicate", "held"}
            answered += 1
    assert min(cut, answered) > trials // 4
    for batch in batches:  # a phone sends what was not acknowledged again
        assert {r["status"] for r in post(mortal.port, batch)} <= {"stored", "duplicate"}
    mortal.kill()
    entries, held, faults = stored(mortal.where)
    print(f"{cut} requests cut, {answered} answered, {len(entries)} entries")
    assert sorted(e.id for e in entries) == sorted(e["id"] for b in batches for e in b)
    assert (held, faults) == ((), ())


def cut_off(port: int, batch: list[dict[str, Any]], rng: random.Random) -> None:
    """Send a part of a request, or all of it and hear a part of the answer; then hang up."""
    body = json.dumps({"entries": batch}, ensure_ascii=False).encode()
    head = (f"POST /api/entries HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Device any\r\n"
            f"Content-Length: {len(body)}\r\n\r\n")  # fmt: skip
    whole = head.encode() + body
    with socket.create_connection(("127.0.0.1", port), 10) as line:
        if rng.random() < 0.5:
            line.sendall(whole[: rng.randrange(len(whole))])
        else:
            line.sendall(whole)
            line.recv(rng.randrange(1, 60))
        if rng.random() < 0.5:  # hang up hard: what is on its way is thrown away
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
