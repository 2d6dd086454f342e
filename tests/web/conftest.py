"""One small output folder and an app over it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from tests.web.client import TestClient
from tests.web.field_tools import ARGS, CHROMIUM, running
from tests.web.made import make_out

from tackfree.service import job as jobs
from tackfree.web.app import create_app

TODAY = date(2027, 4, 22)


@pytest.fixture(scope="session")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_out(tmp_path_factory.mktemp("job") / "out")


@pytest.fixture(scope="session")
def app(out: Path) -> FastAPI:
    return create_app(out, Path("demo/job"), today=lambda zone: TODAY)


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    """A reader without cookies yet."""
    return TestClient(app, base_url="http://127.0.0.1", headers={"accept": "text/html"})


@pytest.fixture
def bundle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A new job that a page may write into, its record in a file of its own."""
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    jobs.new(tmp_path / "job")
    return tmp_path / "job"


@pytest.fixture
def app_over(tmp_path: Path, bundle: Path) -> Callable[[Callable[[Path], Path]], FastAPI]:
    """The app over the bundle and an output that is made by a function of its folder."""
    return lambda make: create_app(make(tmp_path / "out"), bundle, today=lambda zone: TODAY)


@pytest.fixture
def address(app: FastAPI) -> Iterator[str]:
    """The app served in a thread."""
    with running(app) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium for one file; its driver holds an event loop, so it ends with the file."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        found = p.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield found
        found.close()
