"""The drawn paths of one PDF page, as strokes in points of the page as it is shown.

x runs right and y up from the lower left corner of the shown page: /Rotate and the
crop box are taken in. Forms inside forms are followed. A PDF has no unit: a scale
comes from two points whose distance is known.
"""

from __future__ import annotations

import ctypes
import math
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

FloatArray = NDArray[np.float64]

LARGEST_BYTES = 150_000_000
MOST_POINTS = 3_000_000
DEEPEST = 16  # form in form in form
FINE_PT = 0.002  # no chord of a curve is further from it


@dataclass(frozen=True, kw_only=True)
class Page:
    """One page: its paths, its size as shown [pt], and what else is on it."""

    drawn: Drawn
    size_pt: tuple[float, float]
    pages: int
    images: int
    letterings: int


def read_page(path: Path, number: int = 1) -> Page:
    """Every path of one page.

    Layers are named by how a path is drawn: ``2.62 pt #000000`` for lines of one width
    and colour, ``fill #808080`` for filled shapes without a line.

    Parameters
    ----------
    path : Path
    number : int
        1 for the first page.

    Raises
    ------
    NotFound, InputError
        If there is no such file or page, it is no PDF, it is locked by a password, or
        it holds more than `MOST_POINTS` points.
    """
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
            return _Walk(page, path.name).run(pages)
        finally:
            page.close()


@contextmanager
def _open(path: Path) -> Iterator[pdfium.PdfDocument]:
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


class _Walk:
    """One pass over the objects of a page."""

    def __init__(self, page: pdfium.PdfPage, file: str) -> None:
        self.page, self.file = page, file
        self.out = Drawn()
        self.images = self.letterings = self.points = self.number = 0
        left, bottom, right, top = page.get_cropbox()
        self.box = (left, bottom, right, top)
        self.turn = page.get_rotation() % 360
        wide, high = right - left, top - bottom
        self.size = (high, wide) if self.turn in (90, 270) else (wide, high)

    def run(self, pages: int) -> Page:
        page = self.page.raw
        base = self._shown()
        for i in range(raw.FPDFPage_CountObjects(page)):
            self.take(raw.FPDFPage_GetObject(page, i), base, 0)
        layers = {s.origin.layer for s in self.out.strokes}
        layers |= {h.origin.layer for h in self.out.hatches}
        self.out.layers = tuple(sorted(layers))
        return Page(
            drawn=self.out,
            size_pt=self.size,
            pages=pages,
            images=self.images,
            letterings=self.letterings,
        )

    def _shown(self) -> FloatArray:
        """User space to the page as shown, as a 3 × 3 map of row vectors."""
        left, bottom, right, top = self.box
        move = np.array([[1, 0, 0], [0, 1, 0], [-left, -bottom, 1.0]])
        w, h = right - left, top - bottom
        turned = {
            0: [[1, 0, 0], [0, 1, 0], [0, 0, 1.0]],
            90: [[0, -1, 0], [1, 0, 0], [0, w, 1.0]],
            180: [[-1, 0, 0], [0, -1, 0], [w, h, 1.0]],
            270: [[0, 1, 0], [-1, 0, 0], [h, 0, 1.0]],
        }[self.turn]
        shown: FloatArray = move @ np.array(turned)
        return shown

    def take(self, thing: raw.FPDF_PAGEOBJECT, parent: FloatArray, depth: int) -> None:
        kind = raw.FPDFPageObj_GetType(thing)
        matrix = _matrix(thing) @ parent
        if kind == raw.FPDF_PAGEOBJ_FORM:
            if depth >= DEEPEST:
                self.out.too_deep += 1
                return
            for i in range(raw.FPDFFormObj_CountObjects(thing)):
                self.take(raw.FPDFFormObj_GetObject(thing, i), matrix, depth + 1)
        elif kind == raw.FPDF_PAGEOBJ_PATH:
            self.path(thing, matrix)
        elif kind == raw.FPDF_PAGEOBJ_IMAGE:
            self.images += 1
        elif kind == raw.FPDF_PAGEOBJ_TEXT:
            self.letterings += 1

    def path(self, thing: raw.FPDF_PAGEOBJECT, matrix: FloatArray) -> None:
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(thing, fill, stroke)
        if not fill.value and not stroke.value:
            return  # a clip or nothing
        chains = self._chains(thing, matrix)
        self.number += 1
        if stroke.value:
            width = ctypes.c_float()
            raw.FPDFPageObj_GetStrokeWidth(thing, width)
            scale = math.sqrt(abs(float(np.linalg.det(matrix[:2, :2]))))
            layer = f"{width.value * scale:.2f} pt {_colour(thing, raw.FPDFPageObj_GetStrokeColor)}"
        else:
            layer = f"fill {_colour(thing, raw.FPDFPageObj_GetFillColor)}"
        origin = Origin(layer=layer, entity="PATH", handle=str(self.number))
        wide, high = self.size
        kept = [
            (points, closed)
            for points, closed in chains
            if (points.max(axis=0) >= 0).all() and (points.min(axis=0) <= (wide, high)).all()
        ]  # clips are not applied, so what lies off the page is dropped here
        if stroke.value:
            for points, closed in kept:
                self.out.strokes.append(Stroke(origin=origin, points=points, closed=closed))
            return
        loops = tuple(points for points, _ in kept if len(points) > 2)
        if loops:
            self.out.hatches.append(HatchLoops(origin=origin, loops=loops, style=0))

    def _chains(
        self, thing: raw.FPDF_PAGEOBJECT, matrix: FloatArray
    ) -> list[tuple[FloatArray, bool]]:
        """Subpaths of one path, flattened; a closed one does not repeat its start."""
        chains: list[tuple[FloatArray, bool]] = []
        current: list[tuple[float, float]] = []
        curve: list[tuple[float, float]] = []
        x, y = ctypes.c_float(), ctypes.c_float()
        closed = False
        ax, ay, bx, by, cx, cy = matrix[:, :2].ravel().tolist()

        def flush() -> None:
            nonlocal current, closed
            points = np.array(current, dtype=float).reshape(-1, 2)
            if len(points) > 1:
                keep = np.ones(len(points), dtype=bool)
                keep[1:] = (np.diff(points, axis=0) != 0).any(axis=1)
                points = points[keep]
            if len(points) > 2 and np.allclose(points[0], points[-1], atol=1e-6, rtol=0):
                points, closed = points[:-1], True
            if len(points) > 1 and np.isfinite(points).all():
                chains.append((points, closed and len(points) > 2))
            current, closed = [], False

        for i in range(raw.FPDFPath_CountSegments(thing)):
            segment = raw.FPDFPath_GetPathSegment(thing, i)
            raw.FPDFPathSegment_GetPoint(segment, x, y)
            u, v = x.value, y.value
            point = (u * ax + v * bx + cx, u * ay + v * by + cy)
            kind = raw.FPDFPathSegment_GetType(segment)
            if kind == raw.FPDF_SEGMENT_MOVETO:
                flush()
                current = [point]
            elif kind == raw.FPDF_SEGMENT_LINETO:
                if closed:
                    start = current[0]
                    flush()
                    current = [start]
                current.append(point)
            else:
                curve.append(point)
                if len(curve) == 3:
                    current += _bent(current[-1] if current else curve[0], curve)
                    curve = []
            if raw.FPDFPathSegment_GetClose(segment):
                closed = True
            self.points += 1
        self.points += len(current)
        if self.points > MOST_POINTS:
            raise InputError(
                f"the page holds more than {MOST_POINTS} points.",
                where=self.file,
                do="Save the deck alone, without hatching and trees, as a page of its own.",
            )
        flush()
        return chains


def _matrix(thing: raw.FPDF_PAGEOBJECT) -> FloatArray:
    m = raw.FS_MATRIX()
    raw.FPDFPageObj_GetMatrix(thing, m)
    return np.array([[m.a, m.b, 0], [m.c, m.d, 0], [m.e, m.f, 1.0]])


def _colour(thing: raw.FPDF_PAGEOBJECT, get: object) -> str:
    r, g, b, a = (ctypes.c_uint() for _ in range(4))
    if not get(thing, r, g, b, a):  # type: ignore[operator]
        return "#000000"
    return f"#{r.value:02x}{g.value:02x}{b.value:02x}"


def _bent(
    start: tuple[float, float], curve: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Points along a cubic after its start, chords within `FINE_PT`."""
    p = np.array([start, *curve])
    bend = max(np.hypot(*(p[0] - 2 * p[1] + p[2])), np.hypot(*(p[1] - 2 * p[2] + p[3])))
    n = min(2000, max(2, math.ceil(math.sqrt(0.75 * float(bend) / FINE_PT))))
    t = np.linspace(0, 1, n + 1)[1:, None]
    points = (
        (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]
    )
    return [(float(a), float(b)) for a, b in points]
