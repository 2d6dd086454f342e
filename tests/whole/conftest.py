"""A small job and the demo, built once for the whole-job tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from tackfree.service import build, job


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small") / "job"
    job.new(folder)
    return folder


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "job"
    job.new(folder, demo=True)
    return folder


@pytest.fixture(scope="session")
def demo_out(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "demo"
    build.build(demo, out)
    return out
