"""Open a DXF file, mended where a strict reader would give up."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import ezdxf
from ezdxf import recover
from ezdxf.document import Drawing

from tackfree.errors import InputError, NotFound
from tackfree.words import Message

UNREADABLE = (ezdxf.DXFError, OSError, UnicodeError, ValueError, KeyError, IndexError)
LARGEST_BYTES = 150_000_000
HEADERLESS = "  0\nSECTION\n  2\nHEADER\n  9\n$ACADVER\n  1\nAC1015\n  0\nENDSEC\n"


def load(path: Path) -> tuple[Drawing, tuple[Message, ...]]:
    """The drawing and what had to be done to open it.

    The plain reader comes first: the mending one may drop entities without a word.

    Parameters
    ----------
    path : Path
        A DXF file, text or binary.

    Returns
    -------
    document, messages

    Raises
    ------
    NotFound
        If the file does not exist.
    InputError
        If it is no DXF drawing.
    """
    if not path.is_file():
        raise NotFound(
            "there is no such drawing.",
            where=path.name,
            do="Put the DXF file into the decks folder of the job, or correct its name.",
        )
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError(
            f"the file is larger than {LARGEST_BYTES // 1_000_000} MB.",
            where=path.name,
            do="Save the decks as a drawing of their own, without the rest.",
        )
    with path.open("rb") as file:
        head = file.read(64)
    if head.startswith((b"PK\x03\x04", b"\x1f\x8b", b"7z\xbc\xaf")):
        raise InputError(
            "this is a packed archive, not a drawing; it was not unpacked.",
            where=path.name,
            do="Unpack it and name the DXF file inside.",
        )
    if head.startswith(b"AC10"):
        raise InputError(
            "this is a DWG drawing, which is not read.",
            where=path.name,
            do="Save it as DXF (2010 or any later version) and read that.",
        )
    if not head.startswith(b"AutoCAD Binary DXF") and b"\x00" in head:
        raise _no_dxf(path)
    content = path.read_bytes()
    headless = Message(id="intake.no-header", values={"file": path.name})
    with _quiet():
        if b"$ACADVER" not in content and b"AcDb" in content:
            # Taken for release 12 it would lose its layers and closed flags.
            return _with_header(path, content), (headless,)
        try:
            return ezdxf.readfile(path), ()
        except UNREADABLE:
            pass
        try:
            document, audit = recover.readfile(path)
        except UNREADABLE:
            return _with_header(path, content), (headless,)
    if not len(document.modelspace()):
        raise _no_dxf(path)
    mended = Message(
        id="intake.mended",
        values={"file": path.name, "faults": len(audit.errors) + len(audit.fixes)},
    )
    return document, (mended,)


def _with_header(path: Path, content: bytes) -> Drawing:
    text = content.decode("utf-8-sig", errors="replace").replace("\r\n", "\n")
    try:
        return ezdxf.read(io.StringIO(HEADERLESS + text))
    except UNREADABLE as fault:
        raise _no_dxf(path) from fault


def _no_dxf(path: Path) -> InputError:
    return InputError(
        "this is not a DXF drawing, or it is damaged beyond reading.",
        where=path.name,
        do="Open it in the program it was drawn with and save it as DXF again.",
    )


@contextmanager
def _quiet() -> Iterator[None]:
    """The library's own remarks do not reach the user's screen."""
    log = logging.getLogger("ezdxf")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(before)
