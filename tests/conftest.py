"""What every test may use."""

from __future__ import annotations

import fcntl
import os
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parents[1]
SHARED = Path(os.environ.get("TACKFREE_SHARED", ROOT.parent / "shared"))


# A loaded machine is slow, not wrong; where CI is set, the library also fixes its cases.
settings.register_profile("unhurried", deadline=None)
if not os.environ.get("CI"):
    settings.load_profile("unhurried")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--trials", action="store_true", help="run the long versions")
    parser.addoption("--no-skips", action="store_true", help="a skipped test fails the run")
    parser.addoption("--rewrite-golden", action="store_true", help="write golden files anew")


@cache
def published() -> dict[str, dict[str, Any]]:
    """The check values from outside the project, by id."""
    path = SHARED / "checks" / "published.toml"
    return {c["id"]: c for c in tomllib.loads(path.read_text("utf-8"))["check"]}


@pytest.fixture
def check():
    """``check(id)`` gives a published check; skipped, with the reason, where absent."""
    if not (SHARED / "checks" / "published.toml").exists():
        pytest.skip("shared/checks/published.toml is not beside this checkout")

    def get(name: str) -> dict[str, Any]:
        return published()[name]

    return get


@pytest.fixture(scope="session")
def shared() -> Path:
    if not SHARED.exists():
        pytest.skip("the folder of real files is not beside this checkout")
    return SHARED


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's documents; tests copy what they change."""
    from tackfree.service import job

    folder = tmp_path_factory.mktemp("demo") / "job"
    job.new(folder, demo=True)
    return folder


@pytest.fixture(scope="session")
def demo_out(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo built, once for all workers of a run; nobody writes into it."""
    from tackfree.service import build

    base = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent
    out = base / "demo-out"
    with (base / "demo-out.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not out.exists():
            build.build(demo, out)
    return out


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With --no-skips a skipped test fails the run: CI has everything."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = reporter.stats.get("skipped", []) if reporter else []
    if session.config.getoption("--no-skips") and skipped and exitstatus == 0:
        session.exitstatus = 1
