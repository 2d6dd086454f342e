"""What lies under a tracing: a picture of the drawing, its lines, and points to snap to."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from tackfree.errors import InputError, NotFound, ToolError
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.strokes import Drawn, collect
from tackfree.intake.pdf import read_page
from tackfree.intake.picture_view import (
    PDFIUM,
    SHOWN_PX,
    Shown,
    page_png,
    picture_png,
    upright_size,
)

FloatArray = NDArray[np.float64]

MOST_POINTS = 40_000  # offered for snapping; a page with more is thinned to its ends
MOST_LINES = 60_000  # legs of a drawing that are shown
KEPT = 6  # pictures kept ready
THUMB_PX = 240
FINE = 1e-6  # of the drawing's size: points nearer than this are one


@dataclass(frozen=True, kw_only=True)
class Ground:
    """A drawing as it lies under a tracing; lengths in drawing units, y up.

    ``kind`` is pdf, picture, lines or none. ``vector`` says that there are lines on it
    whose ends can be snapped to.
    """

    kind: str
    size: tuple[float, float]
    pages: int = 1
    vector: bool = False


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Lines of a drawing as chains, and the places to snap to. [drawing units]"""

    chains: tuple[FloatArray, ...]
    points: FloatArray  # (n, 2)


class _Shelf:
    """The last few pictures, by file, page and content's date."""

    def __init__(self) -> None:
        self.kept: OrderedDict[tuple[object, ...], Shown] = OrderedDict()
        self.lock = Lock()

    def get(self, key: tuple[object, ...]) -> Shown | None:
        with self.lock:
            return self.kept.get(key)

    def put(self, key: tuple[object, ...], shown: Shown) -> None:
        with self.lock:
            self.kept[key] = shown
            while len(self.kept) > KEPT:
                self.kept.popitem(last=False)


_shelf = _Shelf()


def kind_by_name(name: str | None) -> str:
    """pdf, picture, lines or none, by a file's ending."""
    suffix = Path(name or "").suffix.lower()
    if not suffix:
        return "none"
    return {".pdf": "pdf", ".png": "picture", ".jpg": "picture", ".jpeg": "picture"}.get(
        suffix, "lines"
    )


def drawing_path(decks: Path, name: str) -> Path:
    """A drawing in the decks folder.

    Raises
    ------
    NotFound
        If there is none of that name, or the name leads elsewhere.
    """
    path = decks / name
    if path.name != name or name.startswith(".") or not path.is_file():
        raise NotFound("there is no such drawing.", where=name, do="Bring the drawing again.")
    return path


def picture_of(decks: Path, name: str, page: int, *, small: bool = False) -> Shown:
    """The drawing as a picture, made once and kept; a small one to choose a page by.

    Raises
    ------
    NotFound, InputError
        If it is not there or cannot be shown.
    """
    path = drawing_path(decks, name)
    most_px = THUMB_PX if small else SHOWN_PX
    stat = path.stat()
    key = (str(path.resolve()), page, most_px, stat.st_mtime_ns, stat.st_size)
    found = _shelf.get(key)
    if found is None:
        with PDFIUM:  # one large picture at a time
            pdf = kind_by_name(name) == "pdf"
            found = (
                page_png(path, page, most_px=most_px) if pdf else picture_png(path, most_px=most_px)
            )
        _shelf.put(key, found)
    return found


def ground_of(decks: Path, name: str | None, page: int) -> Ground:
    """What a drawing is, without drawing it.

    Raises
    ------
    NotFound, InputError
        As `picture_of`.
    """
    kind = kind_by_name(name)
    if name is None or kind == "none":
        return Ground(kind="none", size=(0.0, 0.0))
    path = drawing_path(decks, name)
    if kind == "picture":
        wide, high = upright_size(path)
        return Ground(kind=kind, size=(float(wide), float(high)))
    if kind == "pdf":
        try:
            with PDFIUM:
                read = read_page(path, page)
        except InputError:  # too many lines to snap to, or none at all: then its picture says
            shown = picture_of(decks, name, page)
            return Ground(kind=kind, size=shown.size, pages=shown.pages)
        return Ground(
            kind=kind,
            size=read.size_pt,
            pages=read.pages,
            vector=bool(read.drawn.strokes or read.drawn.hatches),
        )
    return Ground(kind="lines", size=(0.0, 0.0), vector=True)


def lines_of(decks: Path, name: str, page: int) -> Lines:
    """Lines of a vector drawing and the ends to snap to.

    Raises
    ------
    NotFound, InputError
        If the drawing is not there, or holds no lines that can be read.
    """
    path = drawing_path(decks, name)
    kind = kind_by_name(name)
    if kind == "picture":
        return Lines(chains=(), points=np.zeros((0, 2)))
    if kind == "pdf":
        with PDFIUM:
            drawn = read_page(path, page).drawn
    else:
        document, _ = load(path)
        drawn = collect(document, tolerance=0.01)
    return _lines(drawn)


def _lines(drawn: Drawn) -> Lines:
    chains = [np.vstack([s.points, s.points[:1]]) if s.closed else s.points for s in drawn.strokes]
    chains += [np.vstack([p, p[:1]]) for h in drawn.hatches for p in h.loops]
    corners = [c for c in chains if len(c) <= 40]  # a longer chain is a curve: its ends only
    ends = [c[[0, -1]] for c in chains if len(c) > 40]
    marks = [np.array([m.at]) for m in drawn.marks]
    every = [*corners, *ends, *marks]
    points = np.concatenate(every) if every else np.zeros((0, 2))
    if len(points):
        grain = max(float(np.ptp(points, axis=0).max()) * FINE, 1e-9)
        _, first = np.unique(np.round(points / grain), axis=0, return_index=True)
        points = points[np.sort(first)][:MOST_POINTS]
    kept, legs = [], 0
    for chain in chains:
        legs += len(chain) - 1
        if legs > MOST_LINES:
            break
        kept.append(chain)
    return Lines(chains=tuple(kept), points=points)


def etag_of(*parts: bytes) -> str:
    """A short name for some bytes; another name where they differ."""
    sha = hashlib.sha256()
    for part in parts:
        sha.update(hashlib.sha256(part).digest())
    return sha.hexdigest()[:24]


def readable(decks: Path, name: str | None, page: int) -> tuple[Ground, ToolError | None]:
    """`ground_of`, with the fault in hand where the drawing cannot be shown."""
    try:
        return ground_of(decks, name, page), None
    except ToolError as fault:
        return Ground(kind="none", size=(0.0, 0.0)), fault
