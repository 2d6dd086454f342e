"""Lettering of a PDF page: pieces on one line joined, placed as the page is shown."""

from __future__ import annotations

import ctypes
import math
from dataclasses import dataclass

import numpy as np
import pypdfium2.raw as raw
from numpy.typing import NDArray

from tackfree.intake.dxf.strokes import Lettering, Origin
from tackfree.intake.pdf.objects import Objects, as_array, matrix_of

FloatArray = NDArray[np.float64]

LAYER = "text"
SAME_LINE = 0.3  # of the letter height: pieces this near one base line are on it
TOUCHING = 0.15  # of the letter height: a gap this small is inside a word
SPACE = 0.9  # a gap this small is between words of one line
MOST_LETTERS = 100_000
_MARKS = str.maketrans({"’": "'", "′": "'", "”": '"', "″": '"'})  # feet and inches


@dataclass(frozen=True, kw_only=True)
class Written:
    """A line of lettering. ``lettering.at`` is its middle; ``along`` the way it runs (a
    unit vector), ``high`` the height of its letters, ``long`` its length. [pt]"""

    lettering: Lettering
    along: tuple[float, float]
    high: float
    long: float


@dataclass(kw_only=True)
class _Piece:
    text: str
    along: FloatArray
    start: FloatArray  # on the base line
    high: float
    long: float


def letterings_of(page: raw.FPDF_PAGE, found: Objects) -> tuple[Written, ...]:
    """The lettering of a page, in the order it was set."""
    if not found.texts or len(found.texts) > MOST_LETTERS:
        return ()
    texts = raw.FPDFText_LoadPage(page)
    try:
        pieces = [_piece(t, found.forms[form], texts) for t, form in found.texts]
    finally:
        raw.FPDFText_ClosePage(texts)
    lines: list[_Piece] = []
    for piece in pieces:
        if piece is None:
            continue
        if lines and (gap := _gap(lines[-1], piece)) is not None:
            line = lines[-1]
            line.text += ("" if gap <= TOUCHING * line.high else " ") + piece.text
            line.long = float((piece.start - line.start) @ line.along) + piece.long
        else:
            lines.append(piece)
    return tuple(_written(i, p) for i, p in enumerate(lines, 1) if p.text.strip())


def _piece(thing: raw.FPDF_PAGEOBJECT, form: FloatArray, texts: raw.FPDF_TEXTPAGE) -> _Piece | None:
    size = raw.FPDFTextObj_GetText(thing, texts, None, 0)
    if size <= 2:
        return None
    buffer = ctypes.create_string_buffer(size)
    raw.FPDFTextObj_GetText(
        thing, texts, ctypes.cast(buffer, ctypes.POINTER(ctypes.c_ushort)), size
    )
    text = buffer.raw[: size - 2].decode("utf-16-le", "replace")
    bounds = [ctypes.c_float() for _ in range(4)]
    raw.FPDFPageObj_GetBounds(thing, *bounds)
    left, bottom, right, top = (b.value for b in bounds)
    letters = ctypes.c_float()
    raw.FPDFTextObj_GetFontSize(thing, letters)
    whole = as_array(matrix_of(thing)) @ form
    along = whole[0, :2]
    reach = float(np.hypot(*along))
    high = letters.value * float(np.hypot(*whole[1, :2]))
    corners = np.array([(left, bottom), (right, bottom), (right, top), (left, top)])
    corners = corners @ form[:2, :2] + form[2, :2]
    if not (reach > 0 and high > 0 and np.isfinite(corners).all()):
        return None
    along = along / reach
    reaches = corners @ along
    start = whole[2, :2] + along * (float(reaches.min()) - float(whole[2, :2] @ along))
    return _Piece(text=text, along=along, start=start, high=high, long=float(np.ptp(reaches)))


def _gap(line: _Piece, piece: _Piece) -> float | None:
    """From the end of a line to a piece that goes on with it, else None. [pt]"""
    high = line.high
    if abs(piece.high / high - 1) > 0.1 or float(line.along @ piece.along) < 0.999:
        return None
    step = piece.start - line.start
    aside = abs(float(line.along[0] * step[1] - line.along[1] * step[0]))
    gap = float(step @ line.along) - line.long
    return gap if aside <= SAME_LINE * high and -high <= gap <= SPACE * high else None


def _written(number: int, piece: _Piece) -> Written:
    up = np.array([-piece.along[1], piece.along[0]])
    middle = piece.start + piece.along * piece.long / 2 + up * piece.high * 0.35
    return Written(
        lettering=Lettering(
            origin=Origin(layer=LAYER, entity="TEXT", handle=str(number)),
            at=(float(middle[0]), float(middle[1])),
            text=" ".join(piece.text.translate(_MARKS).split()),
        ),
        along=(float(piece.along[0]), float(piece.along[1])),
        high=piece.high,
        long=max(piece.long, math.ulp(1.0)),
    )
