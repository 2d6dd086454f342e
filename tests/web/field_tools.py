"""A job with floors and cells, its server in a process of its own, and a phone to hold it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import uvicorn
from tests.web.made import make_out

from tackfree.record.entries import entries, held_entries
from tackfree.record.store import open_record
from tackfree.service import job as jobs
from tackfree.service.record import verified
from tackfree.web.app import create_app

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}
ROOT = Path(__file__).resolve().parents[2]


def make_job(folder: Path, *, sections: int = 2) -> tuple[Path, Path]:
    """The demo's documents and a small output with floors and kit cells: (out, bundle)."""
    out = make_out(folder / "out", sections=sections)
    bundle = folder / "job"
    jobs.new(bundle, demo=True)
    path = out / "stages" / "sections.json"
    stage = json.loads(path.read_text("utf-8"))
    layouts = []
    for k, section in enumerate(stage["sections"]):
        x = 40.0 * k
        section["floor"] = {"type": "MultiPolygon", "coordinates": [[box(x, 0, x + 24, 12)]]}
        layouts += [
            {
                "id": f"MK-{section['id']}-{coat}", "section_id": section["id"],
                "deck_id": section["deck_id"], "coat_id": coat,
                "cells": [
                    {"number": n + 1, "lane": 1, "plan_m2": 24.0, "kits": 1.0, "full": True,
                     "outline": [[box(x + 4 * (n % 6), 6 * (n // 6), x + 4 * (n % 6) + 4,
                                      6 * (n // 6) + 6)]]}
                    for n in range(12)
                ],
            }
            for coat in ("PRIMER", "BASE", "TOP")
        ]  # fmt: skip
    path.write_text(json.dumps(stage), "utf-8")
    marks = {"schema": "tackfree.marks/1", "layouts": layouts}
    (out / "stages" / "marks.json").write_text(json.dumps(marks), "utf-8")
    return out, bundle


def box(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]


@dataclass
class Served:
    """The server as a process that can be killed and started again at the same place."""

    out: Path
    bundle: Path
    port: int = 0
    process: subprocess.Popen[bytes] | None = field(default=None)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        if not self.port:
            with socket.socket() as s:
                s.bind(("127.0.0.1", 0))
                self.port = s.getsockname()[1]
        code = (
            "import sys, pathlib; from tackfree.web.app import run;"
            "run(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), port=int(sys.argv[3]))"
        )
        env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
        env.pop("TACKFREE_DATABASE", None)
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, str(self.out), str(self.bundle), str(self.port)], env=env
        )
        for _ in range(600):
            try:
                with urllib.request.urlopen(self.url + "/static/icon.svg", timeout=1):
                    return
            except OSError:
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def kill(self) -> None:
        """As a power cut would: no farewell."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(10)
            self.process = None

    def stored(self) -> tuple[Any, ...]:
        """Entries in the order of arrival."""
        with open_record(self.bundle / ".tackfree" / "job.sqlite") as record:
            return entries(record, limit=100_000)

    def held(self) -> tuple[Any, ...]:
        with open_record(self.bundle / ".tackfree" / "job.sqlite") as record:
            return held_entries(record)

    def faults(self) -> tuple[Any, ...]:
        """What ``record verify`` says: broken chains, altered entries, what is held."""
        return verified(self.bundle)[1]


@contextmanager
def serving(folder: Path) -> Iterator[Served]:
    """The server as a process of its own."""
    out, bundle = make_job(folder)
    server = Served(out=out, bundle=bundle)
    server.start()
    try:
        yield server
    finally:
        server.kill()


@contextmanager
def running(app: Any) -> Iterator[int]:
    """An app served in a thread of the tests: its port. Quick to start, not to be killed."""
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.01)
    yield server.servers[0].sockets[0].getsockname()[1]
    server.should_exit = True
    thread.join(10)


@contextmanager
def beside(folder: Path) -> Iterator[Served]:
    """A job served in a thread of the tests."""
    out, bundle = make_job(folder)
    with running(create_app(out, bundle)) as port:
        yield Served(out=out, bundle=bundle, port=port)


def opened(page: Any, url: str, name: str = "Ana") -> None:
    """The field page, ready, with a name given."""
    page.goto(f"{url}/field")
    page.wait_for_selector("#field[data-ready]")
    if name:
        page.wait_for_selector("#first-name", timeout=10_000)
        page.fill("#first-name", name)
        page.click("dialog .big")


def installed(page: Any) -> None:
    """Wait until the worker holds the whole shell."""
    page.evaluate("navigator.serviceWorker.ready.then(r => r.active.state)")
    until(
        page,
        """async () => {
      const list = await (await fetch('/sw.js')).text();
      const shell = JSON.parse(list.match(/const SHELL = (.*);/)[1]);
      return (await Promise.all(shell.map(p => caches.match(p)))).every(Boolean);
    }""",
    )


def until(page: Any, asked: str, seconds: float = 40) -> None:
    """Ask again and again until the page's answer is yes."""
    end = time.monotonic() + seconds
    while not page.evaluate(asked):
        assert time.monotonic() < end, asked
        page.wait_for_timeout(100)


def app(page: Any, code: str, value: Any = None) -> Any:
    """Run code with the page's own app at hand."""
    return page.evaluate(
        f"async (value) => {{ const {{ app }} = await import('/static/field.js'); {code} }}", value
    )


def state(page: Any) -> str:
    return str(page.inner_text("#sync"))


def safe(page: Any) -> None:
    """Wait until everything is acknowledged, nudging as signal coming back would."""
    until(
        page,
        """async () => { const { app } = await import('/static/field.js');
      await app.sync.nudge();
      return app.stateWords() === 'All safe'; }""",
    )


def picture() -> bytes:
    """A JPEG with the notes a camera writes."""
    import io

    from PIL import Image

    image = Image.effect_noise((2000, 1500), 60).convert("RGB")
    exif = Image.Exif()
    exif[0x0132] = "2027:04:20 09:00:00"
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80, exif=exif)
    return out.getvalue()
