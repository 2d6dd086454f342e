"""A small job for the whole-job tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from tackfree.service import job


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small") / "job"
    job.new(folder)
    return folder
