"""The house: imports run one way, and the core touches nothing outside itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

SRC = Path(__file__).resolve().parents[1] / "src" / "tackfree"

# Low to high. Rooms of one layer never import each other.
LAYERS: list[set[str]] = [
    {"errors", "because", "units", "words"},
    {"film", "deck", "cure"},
    {"buildup", "climate"},
    {"marks", "supply", "evidence"},
    {"plan", "upkeep"},
    {"record", "bundle", "intake", "sheets"},
    {"service"},
    {"web"},
    {"cli"},  # `serve` starts the pages
]
CORE = set().union(*LAYERS[:5])
FORBIDDEN_IN_CORE = {
    "socket", "subprocess", "sqlite3", "sqlalchemy", "fastapi", "starlette", "typst",
    "xlsxwriter", "ezdxf", "pydantic", "urllib", "http", "requests", "httpx", "random",
    "time", "os", "pathlib", "shutil", "tempfile", "logging", "threading", "multiprocessing",
}  # fmt: skip
SOLVERS = {"ortools"}
FORBIDDEN_CALLS = {"open", "print", "input"}
CLOCKS = {"now", "today", "utcnow"}


def rooms() -> dict[str, list[Path]]:
    found: dict[str, list[Path]] = {}
    for path in sorted(SRC.rglob("*.py")):
        part = path.relative_to(SRC).parts
        if part[0] in {"__init__.py", "__main__.py", "assets"}:
            continue
        found.setdefault(part[0].removesuffix(".py"), []).append(path)
    return found


def layer_of(room: str) -> int:
    for i, names in enumerate(LAYERS):
        if room in names:
            return i
    raise AssertionError(f"room {room!r} has no layer in tests/test_house.py")


def imports(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names.update(a.name for a in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            names.add(node.module or "")
            names.update(f"{node.module}.{a.name}" for a in node.names)
    return names


@pytest.mark.parametrize("room", sorted(rooms()))
def test_imports_run_one_way(room: str) -> None:
    here = layer_of(room)
    for path in rooms()[room]:
        for name in imports(path):
            if not name.startswith("tackfree."):
                continue
            other = name.split(".")[1]
            if other == room or other == "__version__":
                continue
            there = layer_of(other)
            same_floor = there == here and here not in (0,)
            assert there <= here, f"{path.relative_to(SRC)} imports {name}, a floor above"
            assert not same_floor, f"{path.relative_to(SRC)} imports {name}, a room beside it"


@pytest.mark.parametrize("room", sorted(CORE & set(rooms())))
def test_the_core_touches_nothing_outside(room: str) -> None:
    for path in rooms()[room]:
        roots = {n.split(".")[0] for n in imports(path)}
        assert not roots & FORBIDDEN_IN_CORE, f"{path}: {roots & FORBIDDEN_IN_CORE}"
        if room != "plan":
            assert not roots & SOLVERS, f"{path}: only plan imports a solver"
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                if isinstance(node.func, ast.Name):
                    assert node.func.id not in FORBIDDEN_CALLS, f"{path}:{node.lineno}"
                elif isinstance(node.func, ast.Attribute):
                    assert node.func.attr not in CLOCKS, f"{path}:{node.lineno} reads a clock"


def test_solvers_stay_in_plan() -> None:
    for room, paths in rooms().items():
        if room == "plan":
            continue
        for path in paths:
            assert not {n.split(".")[0] for n in imports(path)} & SOLVERS, path
