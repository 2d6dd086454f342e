"""One PDF page as strokes and lettering, in points of the page as it is shown.

x runs right and y up from the lower left corner of the shown page: /Rotate and the
crop box are taken in. Forms inside forms are followed. A PDF has no unit: a scale
comes from two points whose distance is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw
from numpy.typing import NDArray

from tackfree.errors import InputError, NotFound
from tackfree.intake.dxf.strokes import Drawn, HatchLoops, Origin, Stroke
from tackfree.intake.pdf.objects import Objects, as_array, chains_of, matrix_of, objects_of
from tackfree.intake.pdf.packed import Unpacked, look_inside
from tackfree.intake.pdf.texts import Written, letterings_of

FloatArray = NDArray[np.float64]

LARGEST_BYTES = 150_000_000
MOSTLY = 0.5  # of the page: a picture this large is the drawing
FEW_LINES = 60  # beside such a picture: a border and a title block


@dataclass(frozen=True, kw_only=True)
class Page:
    """One page: its paths and lettering, its size as shown [pt], and what else is on it.

    ``covered`` is the part of the page under its largest picture; ``user_unit`` the
    1/72 inches of one point.
    """

    drawn: Drawn
    size_pt: tuple[float, float]
    pages: int
    images: int
    letterings: int
    written: tuple[Written, ...] = ()
    covered: float = 0.0
    user_unit: float = 1.0

    @property
    def only_picture(self) -> bool:
        """A scan: a picture with no lines, or with no more than a border and a title."""
        lines = len(self.drawn.strokes) + len(self.drawn.hatches)
        return self.images > 0 and (lines == 0 or (self.covered >= MOSTLY and lines < FEW_LINES))


def read_page(path: Path, number: int = 1) -> Page:
    """Every path and lettering of one page.

    Layers are named by how a path is drawn: ``2.62 pt #000000`` for lines of one width
    and colour, with ``dashed`` after it for broken ones, ``fill #808080`` for filled
    shapes without a line. Where the program that drew it kept its own layers as
    optional content, their name stands first: ``A-SLAB: 2.62 pt #000000``.

    Parameters
    ----------
    path : Path
    number : int
        1 for the first page.

    Raises
    ------
    NotFound, InputError
        If there is no such file or page, it is no PDF, it is locked by a password, or
        it holds more than `objects.MOST_POINTS` points.
    """
    inside = _inside(path)
    with _open(path) as document:
        pages = len(document)
        if not 1 <= number <= pages:
            raise InputError(
                f"there is no page {number}; the file has {pages}.",
                where=path.name,
                do=f"Name a page from 1 to {pages}.",
            )
        page = document[number - 1]
        try:
            return _read(page, path, pages, inside)
        finally:
            page.close()


def _inside(path: Path) -> Unpacked:
    """What the file holds beside pages, once it is sure that it can be opened safely."""
    if not path.is_file():
        raise NotFound(
            "there is no such drawing.",
            where=path.name,
            do="Put the PDF into the decks folder of the job, or correct its name.",
        )
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError(
            f"the file is larger than {LARGEST_BYTES // 1_000_000} MB.",
            where=path.name,
            do="Save the page of the deck as a file of its own.",
        )
    return look_inside(path.read_bytes(), file=path.name)


@contextmanager
def _open(path: Path) -> Iterator[pdfium.PdfDocument]:
    try:
        document = pdfium.PdfDocument(path)
    except pdfium.PdfiumError as fault:
        if raw.FPDF_GetLastError() == raw.FPDF_ERR_PASSWORD or "password" in str(fault).lower():
            raise InputError(
                "the PDF is locked by a password.",
                where=path.name,
                do="Ask its author for an unlocked copy.",
            ) from fault
        raise InputError(
            "this is not a PDF, or it is damaged beyond reading.",
            where=path.name,
            do="Print the drawing to PDF again.",
        ) from fault
    try:
        yield document
    finally:
        document.close()


def _read(page: pdfium.PdfPage, path: Path, pages: int, inside: Unpacked) -> Page:
    box = page.get_cropbox()
    turn = page.get_rotation() % 360
    wide, high = box[2] - box[0], box[3] - box[1]
    size = (high, wide) if turn in (90, 270) else (wide, high)
    found = objects_of(page.raw, _shown(box, turn), file=path.name, layers=inside.layers)
    written = letterings_of(page.raw, found)
    drawn = _drawn(found, size, written, path.name)
    return Page(
        drawn=drawn,
        size_pt=size,
        pages=pages,
        images=len(found.pictures),
        letterings=len(found.texts),
        written=written,
        covered=max((_picture_area(t, found.forms[f]) for t, f in found.pictures), default=0.0)
        / (wide * high or 1.0),
        user_unit=inside.user_unit,
    )


def _shown(box: tuple[float, float, float, float], turn: int) -> FloatArray:
    """User space to the page as shown, as a 3 × 3 map of row vectors."""
    left, bottom, right, top = box
    move = np.array([[1, 0, 0], [0, 1, 0], [-left, -bottom, 1.0]])
    w, h = right - left, top - bottom
    turned = {
        0: [[1, 0, 0], [0, 1, 0], [0, 0, 1.0]],
        90: [[0, -1, 0], [1, 0, 0], [0, w, 1.0]],
        180: [[-1, 0, 0], [0, -1, 0], [w, h, 1.0]],
        270: [[0, 1, 0], [-1, 0, 0], [h, 0, 1.0]],
    }[turn]
    shown: FloatArray = move @ np.array(turned)
    return shown


def _drawn(
    found: Objects, size: tuple[float, float], written: tuple[Written, ...], file: str
) -> Drawn:
    out = Drawn(too_deep=found.too_deep)
    chains = chains_of(found, size, file=file)
    starts, closed = chains.starts.tolist(), chains.closed.tolist()
    origins: dict[int, Origin] = {}
    loops: dict[int, list[FloatArray]] = {}
    names: dict[tuple[str, float | None, str, bool], str] = {}
    widths = np.round(chains.width, 2).tolist()
    for i, path in enumerate(chains.path.tolist()):
        points = chains.points[starts[i] : starts[i + 1]]
        origin = origins.get(path)
        if origin is None:
            width, colour, dashed = found.drawn_as[path]
            named = found.layer_of.get(path, "")
            kind = (named, None if width is None else widths[path], colour, dashed)
            layer = names.get(kind) or names.setdefault(kind, _layer(*kind))
            origin = Origin(layer=layer, entity="PATH", handle=str(path + 1))
            origins[path] = origin
        if found.drawn_as[path][0] is not None:
            out.strokes.append(Stroke(origin=origin, points=points, closed=closed[i]))
        elif len(points) > 2:
            loops.setdefault(path, []).append(points)
    out.hatches = [
        HatchLoops(origin=origins[path], loops=tuple(rings), style=0)
        for path, rings in loops.items()
    ]
    out.letterings = [w.lettering for w in written]
    layers = {s.origin.layer for s in out.strokes} | {h.origin.layer for h in out.hatches}
    out.layers = tuple(sorted(layers | {t.origin.layer for t in out.letterings}))
    return out


def _layer(named: str, width_pt: float | None, colour: str, dashed: bool) -> str:
    before = f"{named}: " if named else ""
    if width_pt is None:
        return f"{before}fill {colour}"
    return f"{before}{width_pt:.2f} pt {colour}{' dashed' if dashed else ''}"


def _picture_area(thing: raw.FPDF_PAGEOBJECT, form: FloatArray) -> float:
    """A picture fills the unit square of its own space. [pt²]"""
    return abs(float(np.linalg.det((as_array(matrix_of(thing)) @ form)[:2, :2])))
