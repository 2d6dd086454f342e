"""A drawing brought to a job: counted while it comes, told by its bytes, kept once."""

from __future__ import annotations

import hashlib
import re
import tempfile
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from tackfree.errors import InputError
from tackfree.intake.picture_view import PDFIUM, page_count, picture_png
from tackfree.service.trace.ground import THUMB_PX
from tackfree.service.trace.refuse import NotTaken

LARGEST_BYTES = 60_000_000
HEAD_BYTES = 1024
SUFFIXES = {"pdf": ".pdf", "png": ".png", "jpeg": ".jpg"}
# What a file begins with, and what it then is. Names and types that a browser sends are
# not asked: only the first bytes are.
BEGINNINGS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "pdf"),
    (b"\x89PNG\r\n\x1a\n", "png"),
    (b"\xff\xd8\xff", "jpeg"),
    (b"PK\x03\x04", "packed"),
    (b"\x1f\x8b", "packed"),
    (b"7z\xbc\xaf", "packed"),
    (b"AC10", "dwg"),
    (b"AutoCAD Binary DXF", "dxf"),
    (b"GIF8", "other-picture"),
    (b"BM", "other-picture"),
    (b"II*\0", "other-picture"),
    (b"MM\0*", "other-picture"),
    (b"RIFF", "other-picture"),
)


@dataclass(frozen=True, kw_only=True)
class Brought:
    """A drawing that now lies in the job's ``decks`` folder."""

    file: str
    kind: str  # pdf, picture
    pages: int


@dataclass(kw_only=True)
class Incoming:
    """A drawing on its way in; never more of it on disk than `LARGEST_BYTES`."""

    folder: Path
    name: str
    _file: IO[bytes] = field(init=False)
    _count: int = 0

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self._file = tempfile.NamedTemporaryFile(  # noqa: SIM115
            dir=self.folder, prefix=".brought-", delete=False
        )

    def write(self, chunk: bytes) -> None:
        """Take the next bytes.

        Raises
        ------
        NotTaken
            As soon as there are too many.
        """
        self._count += len(chunk)
        if self._count > LARGEST_BYTES:
            raise NotTaken("too-large", where=self.name, most=LARGEST_BYTES // 1_000_000)
        self._file.write(chunk)

    def drop(self) -> None:
        """Leave nothing behind."""
        self._file.close()
        Path(self._file.name).unlink(missing_ok=True)

    def keep(self) -> Brought:
        """Look at what came, and put it among the decks under a name of its own.

        The same bytes brought twice are one file; another file of the same name gets
        a number.

        Raises
        ------
        NotTaken, InputError
            If it is nothing that can be traced over; nothing is left behind.
        """
        self._file.close()
        path = Path(self._file.name)
        try:
            kind = kind_of(path, self.name)
            try:
                pages = _look(path, kind)
            except InputError as fault:
                raise InputError(fault.what, where=self.name, do=fault.do) from fault
            target = self._place(path, kind)
        except BaseException:
            path.unlink(missing_ok=True)
            raise
        if path.exists():
            path.chmod(0o644)
            path.replace(target)
        return Brought(file=target.name, kind="pdf" if kind == "pdf" else "picture", pages=pages)

    def _place(self, path: Path, kind: str) -> Path:
        sha = _sha(path)
        stem, suffix = stem_of(self.name), SUFFIXES[kind]
        number = 1
        while True:
            target = self.folder / f"{stem}{f'-{number}' if number > 1 else ''}{suffix}"
            if not target.exists():
                return target
            if _sha(target) == sha:
                path.unlink()
                return target
            number += 1


def kind_of(path: Path, name: str) -> str:
    """``pdf``, ``png`` or ``jpeg``, by the first bytes.

    Raises
    ------
    NotTaken
        For anything else, with what to do about each.
    """
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if not head.strip():
        raise NotTaken("empty", where=name)
    kind = next((k for begin, k in BEGINNINGS if head.startswith(begin)), "")
    if kind in SUFFIXES:
        return kind
    text = head.lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    if text.startswith((b"<svg", b"<?xml", b"<!doctype svg")) or b"<svg" in text:
        kind = "svg"
    elif text.startswith((b"0\r\n", b"0\n", b"999")):
        kind = "dxf"
    elif text.startswith(b"{"):
        kind = "geojson"
    raise NotTaken(f"kind-{kind or 'unknown'}", where=name)


def _look(path: Path, kind: str) -> int:
    """Pages; a picture is unpacked once, small, so that a torn one is refused now."""
    if kind != "pdf":
        with PDFIUM:  # one large picture at a time
            picture_png(path, most_px=THUMB_PX)
        return 1
    with PDFIUM:
        pages = page_count(path)
    if not pages:
        raise InputError(
            "the PDF has no page.", where=path.name, do="Print the drawing to PDF again."
        )
    return pages


def stem_of(name: str) -> str:
    """A file name's stem in plain letters, digits, points and hyphens."""
    base = name.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    plain = unicodedata.normalize("NFKD", base).encode("ascii", "ignore").decode()
    kept = re.sub(r"[^A-Za-z0-9._-]+", "-", plain).strip("-._")[:60].strip("-._")
    return kept or "drawing"


def _sha(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
