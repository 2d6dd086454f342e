"""The command line as people and scripts rely on it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from tackfree import __version__
from tackfree.cli.reference import reference

ROOT = Path(__file__).resolve().parents[2]
# (the command-line library itself looks for pydantic)
HEAVY = {"numpy", "scipy", "shapely", "ortools", "sqlalchemy", "fastapi", "typst",
         "ezdxf", "numba", "pandas", "pvlib", "rich.progress"}  # fmt: skip


def tool(*args: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tackfree", *map(str, args)],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
    )


def test_version() -> None:
    done = tool("--version")
    assert (done.returncode, done.stdout) == (0, f"tackfree {__version__}\n")


@pytest.mark.parametrize("args", [("--version",), ("--help",), ("job", "--help")])
def test_start_imports_nothing_heavy(args: tuple[str, ...]) -> None:
    """A start-up test checks imports, not seconds; seconds are in the bench."""
    code = (
        "import sys\nfrom tackfree.cli import main\n"
        f"sys.argv = ['tackfree', *{list(args)!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('MODULES', *sorted(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    modules = set(done.stdout.split("MODULES ")[1].split())
    assert not modules & HEAVY


def test_misuse_is_2() -> None:
    assert tool("job", "nonsense").returncode == 2
    assert tool("ask", "wet").returncode == 2


def test_refusal_is_1_with_reasons_in_json(tmp_path: Path) -> None:
    done = tool("job", "check", tmp_path / "nowhere", "--json")
    assert done.returncode == 1
    document = json.loads(done.stdout)
    assert document["schema"] == "tackfree.refused/1"
    for row in document["refused"]:
        assert set(row) == {"where", "what", "do"}
        assert row["what"]
        assert row["do"]


def test_the_reference_is_current() -> None:
    """Every command and option is documented; run `make schemas` to write it anew."""
    assert (ROOT / "docs" / "commands.md").read_text("utf-8") == reference()


def test_every_command_ends_with_a_line_to_paste() -> None:
    from tackfree.cli.app import app

    def walk(command: object, path: str) -> None:
        children = getattr(command, "commands", None)
        if children:
            for name, child in children.items():
                walk(child, f"{path} {name}")
            return
        epilog = getattr(command, "epilog", None)
        assert epilog, path
        assert epilog.startswith("Try: tackfree "), path

    walk(typer.main.get_command(app), "tackfree")


def test_outlines_are_written_as_the_report_gives_them(tmp_path: Path) -> None:
    for extra in (("--part", "1"), ("--measured", "0,0 180,0 = 90 ft", "--measured",
                                    "0,0 0,166 = 166 ft", "--use-both")):  # fmt: skip
        out = tmp_path / f"{extra[0][2:]}.geojson"
        unit = () if "--use-both" in extra else ("--unit", "ft")
        drawing = ROOT / "demo/job/decks/P1.dxf"
        done = tool("deck", "read", drawing, *extra, *unit, "--layer", "OPENING", "--out", out)
        assert done.returncode == 0, done.stderr
        (stair,) = json.loads(out.read_text("utf-8"))["features"]
        xs, ys = zip(*stair["geometry"]["coordinates"][0], strict=True)
        # exact: the stair is 10 by 22 ft, half as wide on the sheet measured at half width
        half = 0.5 if "--use-both" in extra else 1.0
        assert (max(xs) - min(xs)) / 0.3048 == pytest.approx(10 * half, abs=1e-4)
        assert (max(ys) - min(ys)) / 0.3048 == pytest.approx(22, abs=1e-4)
