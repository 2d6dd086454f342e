"""One small output folder and an app over it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from tests.web.client import TestClient
from tests.web.made import make_out

from tackfree.web.app import create_app

TODAY = date(2027, 4, 22)


@pytest.fixture(scope="session")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_out(tmp_path_factory.mktemp("job") / "out")


@pytest.fixture
def client(out: Path) -> Iterator[TestClient]:
    app = create_app(out, Path("demo/job"), today=lambda zone: TODAY)
    with TestClient(app, base_url="http://127.0.0.1", headers={"accept": "text/html"}) as c:
        yield c
