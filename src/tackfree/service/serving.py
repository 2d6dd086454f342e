"""Build a job where needed, and serve its pages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tackfree.errors import InputError
from tackfree.service import build
from tackfree.service.save import RECEIPT


def ready(bundle: Path, out: Path | None, *, say: Callable[[str], None]) -> Path:
    """The output folder to show; built first where it is missing.

    Raises
    ------
    InputError
        If the bundle is not there.
    """
    out = out or Path(f"{bundle.name.removesuffix('.zip')}-out")
    if (out / RECEIPT).exists():
        return out
    if not bundle.exists():
        raise InputError(
            "there is no such bundle.", where=str(bundle), do="Name a folder or a zip of a job."
        )
    say(f"Building {bundle} into {out} first ...")
    build.build(bundle, out, progress=lambda stage, n, of: say(f"[{n}/{of}] {stage}"))
    return out
