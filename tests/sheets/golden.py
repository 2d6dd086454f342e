"""Golden drawings: compared byte for byte, rewritten by one flag, looked at by a person."""

from __future__ import annotations

from pathlib import Path

import pytest

GOLDEN = Path(__file__).resolve().parents[1] / "golden"


def same(name: str, text: str, config: pytest.Config) -> None:
    path = GOLDEN / name
    if config.getoption("--rewrite-golden"):
        GOLDEN.mkdir(exist_ok=True)
        path.write_text(text, "utf-8")
    assert path.exists(), f"run with --rewrite-golden and look at {path}"
    assert text == path.read_text("utf-8"), f"{name} changed; look at it, then --rewrite-golden"
