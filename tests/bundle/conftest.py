"""A copy of a job that a test may break, and of the demo."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tackfree.bundle.load import check

SAMPLE = Path(__file__).resolve().parent / "job"
DEMO = Path(__file__).resolve().parents[2] / "demo" / "job"


class Bundle:
    """A bundle on disk, with ways to break it."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def change(self, file: str, old: str, new: str, *, times: int = 1) -> Bundle:
        """Replace the first ``times`` places of a text that must be there."""
        path = self.root / file
        text = path.read_text("utf-8")
        assert old in text, f"{file} does not hold {old!r}"
        path.write_text(text.replace(old, new, times), "utf-8")
        return self

    def add(self, file: str, text: str) -> Bundle:
        path = self.root / file
        path.write_text(path.read_text("utf-8") + text, "utf-8")
        return self

    def told(self) -> list[str]:
        """Every fault as one line."""
        return [str(f) for f in check(self.root)]


def _copy(source: Path, root: Path) -> Bundle:
    """The documents; drawings and weather are empty files, which nothing reads here."""
    for path in sorted(source.rglob("*.toml")):
        target = root / path.relative_to(source)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    for name in ("decks/P1.dxf", "decks/P2.dxf", "decks/BAL.dxf", "weather/723170TYA.CSV"):
        target = root / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(b"")
    return Bundle(root)


@pytest.fixture
def bundle(tmp_path: Path) -> Bundle:
    """The job beside these tests."""
    return _copy(SAMPLE, tmp_path / "job")


@pytest.fixture
def demo(tmp_path: Path) -> Bundle:
    """The demo job."""
    return _copy(DEMO, tmp_path / "demo")


@pytest.fixture
def breaks(bundle: Bundle) -> Callable[..., str]:
    """``breaks(file, old, new)`` changes one thing and returns the only fault."""

    def one(file: str, old: str, new: str) -> str:
        bundle.change(file, old, new)
        told = bundle.told()
        assert len(told) == 1, told
        return told[0]

    return one
