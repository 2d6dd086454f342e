"""Results as JSON, and whole folders written at once.

A stage's result is a frozen dataclass; :func:`to_json` walks it. Field order is
kept, floats keep full precision, NaN and infinities become null, geometry becomes
GeoJSON rounded to the micrometre, so that the same result is the same bytes.
"""

from __future__ import annotations

import ctypes
import dataclasses
import json
import math
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime, time
from decimal import Decimal
from enum import Enum, IntEnum
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from tackfree.because import Figure
from tackfree.errors import InputError
from tackfree.words import Message

RECEIPT = "run.json"  # every folder we write carries it; we replace no other folder


def to_json(thing: Any) -> Any:
    """Plain dicts, lists, strings and numbers of any result of ours."""
    if thing is None or isinstance(thing, (bool, str)):
        return thing
    if isinstance(thing, IntEnum):
        return thing.name.lower()
    if isinstance(thing, Enum):
        return thing.value
    if isinstance(thing, (int, np.integer)):
        return int(thing)
    if isinstance(thing, (float, np.floating)):
        return float(thing) if math.isfinite(thing) else None
    if isinstance(thing, Decimal):
        return str(thing)  # money stays exact
    if isinstance(thing, (Figure, Message)):
        return to_json(thing.to_json())
    if isinstance(thing, BaseGeometry):
        return to_json(shapely.geometry.mapping(shapely.set_precision(thing, 1e-6)))
    if isinstance(thing, np.ndarray):
        plain = thing.dtype.kind in "iu" or (thing.dtype.kind == "f" and np.isfinite(thing).all())
        return thing.tolist() if plain else [to_json(v) for v in thing.tolist()]
    if isinstance(thing, (date, datetime, time)):
        return thing.isoformat()
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        return {f.name: to_json(getattr(thing, f.name)) for f in dataclasses.fields(thing)}
    if isinstance(thing, Mapping):
        return {str(to_json(k)): to_json(v) for k, v in thing.items()}
    if isinstance(thing, (list, tuple)):
        if all(type(v) is int for v in thing):
            return list(thing)
        return [to_json(v) for v in thing]
    if isinstance(thing, (set, frozenset)):
        return sorted(to_json(v) for v in thing)
    raise TypeError(f"no JSON form for {type(thing).__name__}")


def dumps(document: Any) -> str:
    """One JSON document as text, ending in a newline; rows of plain values stay on a line."""
    return _lines(to_json(document), "\n") + "\n"


def _lines(node: Any, newline: str) -> str:
    """Indented text of a node; a list with nothing deeper than rows of values stays flat."""
    deeper = newline + " "
    if isinstance(node, dict) and node:
        rows = [
            f"{json.dumps(k, ensure_ascii=False)}: {_lines(v, deeper)}" for k, v in node.items()
        ]
        return "{" + deeper + ("," + deeper).join(rows) + newline + "}"
    if isinstance(node, list) and (any(_deep(v) for v in node) or _long(node)):
        rows = [_lines(v, deeper) for v in node]
        return "[" + deeper + ("," + deeper).join(rows) + newline + "]"
    return json.dumps(node, ensure_ascii=False, allow_nan=False)


def _deep(node: Any) -> bool:
    if isinstance(node, list):
        return any(isinstance(v, (dict, list)) for v in node)
    return isinstance(node, dict)


def _long(node: list[Any]) -> bool:
    return all(isinstance(v, str) for v in node) and sum(map(len, node)) > 80


def write_atomic(path: Path, data: str | bytes) -> None:
    """Write one file whole: a crash leaves the old one."""
    raw = data.encode("utf-8") if isinstance(data, str) else data
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as f:
            f.write(raw)
            f.flush()
            os.fsync(f.fileno())
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A new folder to write into, which takes ``out``'s place when all went well.

    On any error, or a crash at any moment, the old folder stays as it was. Only a
    folder of ours (it holds a receipt), an empty one or a missing one is replaced.

    Raises
    ------
    InputError
        If ``out`` is a file, or a folder that holds something else.
    """
    out = out.absolute()
    _recover(out)
    if out.exists() and not out.is_dir():
        raise InputError(
            "this is a file, and the output is a folder.",
            where=str(out),
            do="Name another folder with --out.",
        )
    if out.is_dir() and any(out.iterdir()) and not (out / RECEIPT).exists():
        raise InputError(
            "this folder holds files that Tackfree did not write, and would be replaced.",
            where=str(out),
            do="Name an empty or a new folder with --out.",
        )
    out.parent.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(prefix=f".{out.name}.new-", dir=out.parent))
    try:
        yield fresh
        fresh.chmod(0o755)
        if out.exists():
            _exchange(fresh, out)
        else:
            fresh.rename(out)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _recover(out: Path) -> None:
    """Finish or undo what a crash left beside ``out``."""
    old = out.parent / f".{out.name}.old"
    if old.exists():
        if out.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            old.rename(out)
    if out.parent.is_dir():
        for left in out.parent.glob(f".{out.name}.new-*"):
            shutil.rmtree(left, ignore_errors=True)


def _exchange(fresh: Path, out: Path) -> None:
    """Swap two folders; in one step where the system can (Linux), else in two."""
    at_cwd, exchange = -100, 2
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
        if rename(at_cwd, os.fsencode(fresh), at_cwd, os.fsencode(out), exchange) == 0:
            return
    except (AttributeError, OSError):
        pass
    old = out.parent / f".{out.name}.old"
    out.rename(old)
    fresh.rename(out)
    shutil.rmtree(old, ignore_errors=True)
