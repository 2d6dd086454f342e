"""The whole job: complete, repeatable, whole or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tackfree.errors import InputError, ToolError
from tackfree.service import build, save


def fingerprint(folder: Path, *, but: tuple[str, ...] = ("run.json",)) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.name not in but
    }


def numbers_without_unit(node: Any, path: str = "") -> list[str]:
    """Paths of bare numbers: every number must sit beside a ``unit``."""
    if isinstance(node, dict):
        found = []
        for key, value in node.items():
            bare = isinstance(value, (int, float)) and not isinstance(value, bool)
            if bare and "unit" not in node:
                found.append(f"{path}.{key}")
            elif not bare:
                found += numbers_without_unit(value, f"{path}.{key}")
        return found
    if isinstance(node, list):
        return [f for i, v in enumerate(node) for f in numbers_without_unit(v, f"{path}[{i}]")] + [
            f"{path}[{i}]"
            for i, v in enumerate(node)
            if isinstance(v, (int, float)) and not isinstance(v, bool)
        ]
    return []


def test_the_demo_gives_every_sheet(demo_out: Path) -> None:
    made = set(fingerprint(demo_out, but=()))
    assert {"summary.json", "run.json", "order.xlsx", "plan.ics"} <= made
    for stage in ("takeoff", "sections", "materials", "climate", "plan", "clocks"):
        assert f"stages/{stage}.json" in made
    assert any(n.startswith("shift/") for n in made)
    assert {"drawings/P1.svg", "drawings/P2.svg", "drawings/BAL.svg"} <= made


def test_every_number_of_the_summary_has_its_unit(demo_out: Path) -> None:
    summary = json.loads((demo_out / "summary.json").read_text("utf-8"))
    assert numbers_without_unit(summary) == []
    quantities = summary["quantities"]
    assert len(quantities) >= 10
    for name, figure in quantities.items():
        assert figure["because"]["formula"], name
        assert figure["because"]["source"]["kind"], name


def test_times_are_kept_for_every_stage(demo_out: Path) -> None:
    run = json.loads((demo_out / "run.json").read_text("utf-8"))
    assert list(run["seconds"]) == list(build.STAGES)
    assert run["total_seconds"] > 0


@pytest.mark.slow
def test_twice_is_the_same_bytes(demo: Path, demo_out: Path, tmp_path: Path) -> None:
    """In another process, from another folder."""
    other = tmp_path / "elsewhere"
    shutil.copytree(demo, other)
    code = "import sys;from pathlib import Path;from tackfree.service import build;"
    code += "build.build(Path(sys.argv[1]), Path(sys.argv[2]))"
    subprocess.run(
        [sys.executable, "-c", code, str(other), str(tmp_path / "again")],
        check=True,
        env={**os.environ, "PYTHONHASHSEED": "7"},
    )
    assert fingerprint(tmp_path / "again") == fingerprint(demo_out)


def test_a_fault_leaves_the_old_output_whole(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    build.build(small, out)
    before = fingerprint(out, but=())
    broken = tmp_path / "broken"
    shutil.copytree(small, broken)
    sheet = broken / "products.toml"
    sheet.write_text(sheet.read_text("utf-8").replace("volume_solids", "volume_solid", 1), "utf-8")
    with pytest.raises(ToolError, match="volume_solid"):
        build.build(broken, out)
    assert fingerprint(out, but=()) == before
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".out")] == []


def test_a_stop_leaves_the_old_output_whole(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    build.build(small, out)
    before = fingerprint(out, but=())
    asked = iter([False] * 8 + [True] * 20)
    with pytest.raises(ToolError, match="Stopped"):
        build.build(small, out, stop=lambda: next(asked))
    assert fingerprint(out, but=()) == before


@pytest.mark.slow
def test_kill_at_many_moments_leaves_old_or_new(small: Path, tmp_path: Path) -> None:
    """SIGKILL while a changed job is built over an old output."""
    out = tmp_path / "out"
    build.build(small, out)
    old = fingerprint(out)
    changed = tmp_path / "changed"
    shutil.copytree(small, changed)
    text = (changed / "job.toml").read_text("utf-8")
    marked = text.replace('name = "', 'name = "Changed ', 1)
    assert marked != text
    (changed / "job.toml").write_text(marked, "utf-8")
    begun = time.perf_counter()
    build.build(changed, tmp_path / "new")
    whole = time.perf_counter() - begun
    new = fingerprint(tmp_path / "new")
    assert new != old
    code = "import sys;from pathlib import Path;from tackfree.service import build;"
    code += "print('ready', flush=True);build.build(Path(sys.argv[1]), Path(sys.argv[2]))"
    seen = set()
    for k in range(8):
        child = subprocess.Popen(
            [sys.executable, "-c", code, str(changed), str(out)],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        time.sleep(whole * (k + 0.5) / 6)
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        state = fingerprint(out)
        assert state in (old, new)
        seen.add(state == new)
    build.build(changed, out)  # and the next run tidies up
    assert fingerprint(out) == new
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".out")] == []


def test_a_folder_of_somebody_else_is_never_replaced(tmp_path: Path) -> None:
    theirs = tmp_path / "photos"
    theirs.mkdir()
    (theirs / "holiday.txt").write_text("keep", "utf-8")
    with pytest.raises(InputError, match="did not write"), save.whole_folder(theirs):
        raise AssertionError("not reached")
    assert (theirs / "holiday.txt").read_text("utf-8") == "keep"
