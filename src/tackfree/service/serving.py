"""Build a job where needed, and serve its pages, in whatever state it is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tackfree.errors import InputError, ToolError
from tackfree.service import build
from tackfree.service.save import RECEIPT


def ready(bundle: Path, out: Path | None, *, say: Callable[[str], None]) -> Path:
    """The output folder to show; built first where it is missing.

    A job that cannot be built yet is served all the same: its decks can be traced, and
    the other pages say what is missing. The folder is then an empty one, which a later
    build fills.

    Raises
    ------
    InputError
        If the bundle is not there, or ``out`` holds something that is not ours.
    """
    out = out or Path(f"{bundle.name.removesuffix('.zip')}-out")
    if (out / RECEIPT).exists():
        return out
    if not bundle.exists():
        raise InputError(
            "there is no such bundle.", where=str(bundle), do="Name a folder or a zip of a job."
        )
    say(f"Building {bundle} into {out} first ...")
    try:
        build.build(bundle, out, progress=lambda stage, n, of: say(f"[{n}/{of}] {stage}"))
    except ToolError as fault:
        if out.exists() and (not out.is_dir() or any(out.iterdir())):
            raise
        out.mkdir(parents=True, exist_ok=True)
        say("It cannot be built yet; the pages open, and a deck can be traced:")
        for one in fault.faults:
            say(f"  {one}")
    return out
