"""The wheel carries everything and works from a clean environment outside the checkout."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
UV = ROOT / ".tools" / "bin" / "uv"


def run(*args: str | Path, cwd: Path, env: dict[str, str] | None = None) -> str:
    done = subprocess.run(
        [str(a) for a in args], cwd=cwd, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{args}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.mark.slow
def test_the_wheel_builds_the_demo_outside_the_checkout(tmp_path: Path) -> None:
    if not UV.exists():
        pytest.skip("uv is not in .tools; run `make setup`")
    source = tmp_path / "source"
    shutil.copytree(
        ROOT,
        source,
        ignore=shutil.ignore_patterns(
            ".git", ".venv", ".tools", "out", "__pycache__", ".mypy_cache", ".pytest_cache",
            ".ruff_cache", ".hypothesis",
        ),
    )  # fmt: skip
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", tmp_path, cwd=source)
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    for part in (
        "tackfree/assets/fonts/B612-Regular.otf",
        "tackfree/assets/demo/job/job.toml",
        "tackfree/assets/schemas/job.schema.json",
        "tackfree/web/templates/",
        "tackfree/words/es/",
    ):
        assert any(n.startswith(part) for n in names), f"{part} is not in the wheel"

    env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV"))}
    env["UV_SYSTEM_CERTS"] = "true"
    away = tmp_path / "away"
    away.mkdir()
    run(UV, "venv", "-q", "--python", sys.executable, away / "env", cwd=away, env=env)
    python = away / "env" / "bin" / "python"
    # The lock as constraints: only what the wheel itself declares is installed.
    lock = [
        line.split("\\")[0].strip()
        for line in (ROOT / "requirements.lock").read_text("utf-8").splitlines()
        if line and not line.startswith((" ", "#"))
    ]
    (away / "constraints.txt").write_text("\n".join(lock) + "\n", "utf-8")
    run(UV, "pip", "install", "-q", "-p", python, "-c", "constraints.txt", wheel, cwd=away, env=env)
    shutil.rmtree(source)

    tool = away / "env" / "bin" / "tackfree"
    assert run(tool, "--version", cwd=away, env=env).startswith("tackfree ")
    run(tool, "job", "new", "mine", "--demo", cwd=away, env=env)
    run(tool, "job", "build", "mine", "--out", "sheets", cwd=away, env=env)
    made = {p.relative_to(away / "sheets").as_posix() for p in (away / "sheets").rglob("*")}
    assert {"summary.json", "run.json", "order.xlsx", "plan.ics"} <= made
    assert any(n.startswith("shift/") and n.endswith(".pdf") for n in made)
