"""The objects of a PDF page, forms inside forms followed, as plain arrays.

The library gives one corner of one path at a time; everything that can wait until all
are read (maps, curves, closing, clipping) is done on whole arrays afterwards.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pypdfium2.raw as raw
from numpy.typing import NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_POINTS = 3_000_000
DEEPEST = 16  # form in form in form
FINE_PT = 0.002  # no chord of a curve is further from it
MOST_CHORDS = 2000  # of one curve
MOST_NAME = 1000  # bytes of a layer's name
NOT_VISIBLE = 3  # how text recognised on a scan is laid over it

Map = tuple[float, float, float, float, float, float]


@dataclass(kw_only=True)
class Objects:
    """What one page holds, in the order of drawing.

    ``drawn_as`` of each path is (line width in its own units, line colour, dashed) or
    (None, fill colour, False); ``own`` maps it to its form and ``outer`` the form to the
    page. ``texts`` and ``pictures`` are (object, map of its form).
    """

    drawn_as: list[tuple[float | None, str, bool]] = field(default_factory=list)
    own: list[Map] = field(default_factory=list)
    outer: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)  # corners of each path
    x: list[float] = field(default_factory=list)
    y: list[float] = field(default_factory=list)
    kind: list[int] = field(default_factory=list)
    close: list[int] = field(default_factory=list)
    forms: list[FloatArray] = field(default_factory=list)
    texts: list[tuple[raw.FPDF_PAGEOBJECT, int]] = field(default_factory=list)
    pictures: list[tuple[raw.FPDF_PAGEOBJECT, int]] = field(default_factory=list)
    layer_of: dict[int, str] = field(default_factory=dict)  # path -> optional content
    ask_layers: bool = False
    too_deep: int = 0


def objects_of(
    page: raw.FPDF_PAGE, shown: FloatArray, *, file: str, layers: bool = False
) -> Objects:
    """Every object of a page.

    Parameters
    ----------
    page : raw page
    shown : array (3, 3)
        User space to the page as shown, for row vectors.
    layers : bool
        The file has optional content: ask each path which it belongs to.

    Raises
    ------
    InputError
        If its paths have more than `MOST_POINTS` corners.
    """
    out = Objects(forms=[shown], ask_layers=layers)
    whole = ctypes.cast(page, ctypes.c_void_p).value
    for i in range(raw.FPDFPage_CountObjects(page)):
        _take(_object_at(whole, i), 0, 0, out, file)
    return out


def matrix_of(thing: raw.FPDF_PAGEOBJECT) -> Map:
    m = raw.FS_MATRIX()
    raw.FPDFPageObj_GetMatrix(thing, m)
    return (m.a, m.b, m.c, m.d, m.e, m.f)


def as_array(m: Map) -> FloatArray:
    """A map as a 3 × 3 array for row vectors."""
    return np.array([[m[0], m[1], 0], [m[2], m[3], 0], [m[4], m[5], 1.0]])


def _take(here: int, form: int, depth: int, out: Objects, file: str) -> None:
    kind = _kind_of(here)
    if kind == raw.FPDF_PAGEOBJ_PATH:
        _path(here, form, out, file)
        return
    thing = ctypes.cast(here, raw.FPDF_PAGEOBJECT)
    if kind == raw.FPDF_PAGEOBJ_FORM:
        if depth >= DEEPEST:
            out.too_deep += 1
            return
        out.forms.append(as_array(matrix_of(thing)) @ out.forms[form])
        inner = len(out.forms) - 1
        for i in range(raw.FPDFFormObj_CountObjects(thing)):
            _take(_inner_at(here, i), inner, depth + 1, out, file)
    elif kind == raw.FPDF_PAGEOBJ_IMAGE:
        out.pictures.append((thing, form))
    elif kind == raw.FPDF_PAGEOBJ_TEXT:
        out.texts.append((thing, form))


def _quick(function: Any, result: Any, *arguments: Any) -> Any:
    """The same library function taking addresses as plain numbers.

    A page asks a hundred thousand times; wrapping each pointer would be most of the work.
    """
    address = ctypes.cast(function, ctypes.c_void_p).value
    return ctypes.CFUNCTYPE(result, *arguments)(address or 0)


_AT, _INT = ctypes.c_void_p, ctypes.c_int
_object_at = _quick(raw.FPDFPage_GetObject, _AT, _AT, _INT)
_inner_at = _quick(raw.FPDFFormObj_GetObject, _AT, _AT, ctypes.c_ulong)
_kind_of = _quick(raw.FPDFPageObj_GetType, _INT, _AT)
_mode_of = _quick(raw.FPDFPath_GetDrawMode, _INT, _AT, _AT, _AT)
_count_of = _quick(raw.FPDFPath_CountSegments, _INT, _AT)
_segment_at = _quick(raw.FPDFPath_GetPathSegment, _AT, _AT, _INT)
_point_of = _quick(raw.FPDFPathSegment_GetPoint, _INT, _AT, _AT, _AT)
_type_of = _quick(raw.FPDFPathSegment_GetType, _INT, _AT)
_closes_at = _quick(raw.FPDFPathSegment_GetClose, _INT, _AT)
_width_of = _quick(raw.FPDFPageObj_GetStrokeWidth, _INT, _AT, _AT)
_dashes_of = _quick(raw.FPDFPageObj_GetDashCount, _INT, _AT)
_line_colour_of = _quick(raw.FPDFPageObj_GetStrokeColor, _INT, _AT, _AT, _AT, _AT, _AT)
_fill_colour_of = _quick(raw.FPDFPageObj_GetFillColor, _INT, _AT, _AT, _AT, _AT, _AT)
_map_of = _quick(raw.FPDFPageObj_GetMatrix, _INT, _AT, _AT)

_X, _Y = ctypes.c_float(), ctypes.c_float()
_FILL, _LINE = ctypes.c_int(), ctypes.c_int()
_RGBA = tuple(ctypes.c_uint() for _ in range(4))
_MAP = (ctypes.c_float * 6)()  # FS_MATRIX: a, b, c, d, e, f
_X_AT, _Y_AT = ctypes.addressof(_X), ctypes.addressof(_Y)
_FILL_AT, _LINE_AT = ctypes.addressof(_FILL), ctypes.addressof(_LINE)
_MAP_AT, _RGBA_AT = ctypes.addressof(_MAP), tuple(ctypes.addressof(c) for c in _RGBA)


def _path(here: int, form: int, out: Objects, file: str) -> None:
    _mode_of(here, _FILL_AT, _LINE_AT)
    if not _FILL.value and not _LINE.value:
        return  # a clip or nothing
    count = _count_of(here)
    if len(out.x) + count > MOST_POINTS:
        raise too_many(file)
    if _LINE.value:
        _width_of(here, _X_AT)
        colour = _colour(_line_colour_of(here, *_RGBA_AT))
        out.drawn_as.append((_X.value, colour, _dashes_of(here) > 0))
    else:
        out.drawn_as.append((None, _colour(_fill_colour_of(here, *_RGBA_AT)), False))
    _map_of(here, _MAP_AT)
    a, b, c, d, e, f = _MAP
    out.own.append((a, b, c, d, e, f))
    out.outer.append(form)
    out.counts.append(count)
    if out.ask_layers:
        named = _optional_content(here)
        if named:
            out.layer_of[len(out.counts) - 1] = named
    x, y, kinds, closes = out.x, out.y, out.kind, out.close
    for i in range(count):
        segment = _segment_at(here, i)
        _point_of(segment, _X_AT, _Y_AT)
        x.append(_X.value)
        y.append(_Y.value)
        kinds.append(_type_of(segment))
        closes.append(_closes_at(segment))


def _optional_content(here: int) -> str:
    """Name of the optional content that an object was drawn in, innermost; else "".

    A reader is told by marks around the object: OC, with the group's own dictionary.
    """
    thing = ctypes.cast(here, raw.FPDF_PAGEOBJECT)
    for i in reversed(range(max(0, raw.FPDFPageObj_CountMarks(thing)))):
        mark = raw.FPDFPageObj_GetMark(thing, i)
        if _text_of(raw.FPDFPageObjMark_GetName, mark) == "OC":
            return _text_of(raw.FPDFPageObjMark_GetParamStringValue, mark, b"Name")
    return ""


def _text_of(ask: Any, *arguments: Any) -> str:
    """A text that the library writes as UTF-16 into a buffer of the size it names."""
    size, empty = ctypes.c_ulong(), ctypes.POINTER(ctypes.c_ushort)()
    if not ask(*arguments, empty, 0, size) or not 2 < size.value <= MOST_NAME:
        return ""
    buffer = (ctypes.c_ushort * (size.value // 2))()
    if not ask(*arguments, buffer, size.value, size):
        return ""
    text = bytes(buffer).decode("utf-16-le", "replace").rstrip("\0")
    return " ".join(text.split())


def _colour(known: int) -> str:
    if not known:
        return "#000000"
    r, g, b = _RGBA[0].value, _RGBA[1].value, _RGBA[2].value
    return f"#{r:02x}{g:02x}{b:02x}"


def too_many(file: str) -> InputError:
    return InputError(
        f"the page holds more than {MOST_POINTS} points.",
        where=file,
        do="Save the deck alone, without hatching and trees, as a page of its own.",
    )


@dataclass(frozen=True, kw_only=True)
class Chains:
    """Subpaths as chains of straight legs on the page as shown. [pt]

    Chain ``i`` is ``points[starts[i]:starts[i + 1]]`` and belongs to path ``path[i]``;
    a closed one does not repeat its start. ``width`` is each path's line width. [pt]
    """

    points: FloatArray
    starts: IntArray
    path: IntArray
    closed: NDArray[np.bool_]
    width: FloatArray


def chains_of(found: Objects, size: tuple[float, float], *, file: str) -> Chains:
    """Flatten and split the paths of a page; what lies off it is dropped.

    Clips are not applied by the library, so that paths outside the page come with it.
    """
    counts = np.array(found.counts, dtype=np.int64)
    own = np.array(found.own, dtype=float).reshape(-1, 6)
    maps = np.zeros((len(own), 3, 3))
    maps[:, :, :2] = own.reshape(-1, 3, 2)
    maps[:, 2, 2] = 1.0
    whole = maps @ np.array(found.forms)[np.array(found.outer, dtype=np.int64)]
    scale = np.sqrt(np.abs(np.linalg.det(whole[:, :2, :2])))
    width = np.array([np.nan if w is None else w for w, _, _ in found.drawn_as]) * scale

    path = np.repeat(np.arange(len(counts)), counts)
    xy = np.column_stack([np.array(found.x), np.array(found.y)])
    points = np.einsum("ni,nij->nj", xy, whole[path, :2, :2]) + whole[path, 2, :2]
    kind, close = np.array(found.kind, dtype=np.int64), np.array(found.close, dtype=bool)
    points, kind, close, path = _reopened(points, kind, close, path)
    points, first, path, close = _straight(points, kind, close, path, file)
    return _split(points, first, path, close, width, size)


def _reopened(
    points: FloatArray, kind: IntArray, close: NDArray[np.bool_], path: IntArray
) -> tuple[FloatArray, IntArray, NDArray[np.bool_], IntArray]:
    """After a closing leg a line without a move starts where the closed part started."""
    again = np.flatnonzero(close[:-1] & (kind[1:] != raw.FPDF_SEGMENT_MOVETO)) + 1
    again = again[path[again] == path[again - 1]]
    if not len(again):
        return points, kind, close, path
    moves = np.flatnonzero(kind == raw.FPDF_SEGMENT_MOVETO)
    start = moves[np.searchsorted(moves, again, side="right") - 1]
    return (
        np.insert(points, again, points[start], axis=0),
        np.insert(kind, again, raw.FPDF_SEGMENT_MOVETO),
        np.insert(close, again, False),
        np.insert(path, again, path[again]),
    )


def _straight(
    points: FloatArray, kind: IntArray, close: NDArray[np.bool_], path: IntArray, file: str
) -> tuple[FloatArray, NDArray[np.bool_], IntArray, NDArray[np.bool_]]:
    """Curves as chords. Returns points, whether each starts a chain, its path, closing."""
    first = kind == raw.FPDF_SEGMENT_MOVETO
    first[:1] = True
    first[1:] |= path[1:] != path[:-1]
    control = np.flatnonzero(kind == raw.FPDF_SEGMENT_BEZIERTO)
    bent = control[: len(control) // 3 * 3].reshape(-1, 3)
    if not len(bent):
        return points, first, path, close
    p0, p1, p2, p3 = points[bent[:, 0] - 1], *(points[bent[:, i]] for i in range(3))
    sag = np.maximum(
        np.hypot(*(p0 - 2 * p1 + p2).T), np.hypot(*(p1 - 2 * p2 + p3).T)
    )  # chords of a cubic stray at most 3/4 of this over the square of their number
    sag = np.nan_to_num(sag, nan=0.0, posinf=0.0)
    chords = np.clip(np.ceil(np.sqrt(0.75 * sag / FINE_PT)), 2, MOST_CHORDS).astype(np.int64)
    many = np.ones(len(points), dtype=np.int64)
    many[bent[:, :2].ravel()] = 0
    many[bent[:, 2]] = chords
    if int(many.sum()) > MOST_POINTS:
        raise too_many(file)
    out = np.repeat(points, many, axis=0)
    ends = np.cumsum(many)
    at = np.repeat(ends[bent[:, 2]] - chords, chords) + _counting(chords)
    t = ((_counting(chords) + 1) / np.repeat(chords, chords))[:, None]
    q0, q1, q2, q3 = (np.repeat(p, chords, axis=0) for p in (p0, p1, p2, p3))
    out[at] = (1 - t) ** 3 * q0 + 3 * (1 - t) ** 2 * t * q1 + 3 * (1 - t) * t**2 * q2 + t**3 * q3
    starts = np.zeros(len(out), dtype=bool)
    starts[(ends - many)[first]] = True
    closing = np.zeros(len(out), dtype=bool)
    closing[(ends - 1)[close]] = True
    return out, starts, np.repeat(path, many), closing


def _counting(counts: IntArray) -> IntArray:
    """0, 1, 2 … within each group."""
    ends = np.cumsum(counts)
    return np.arange(int(ends[-1])) - np.repeat(ends - counts, counts)


def _split(
    points: FloatArray,
    first: NDArray[np.bool_],
    path: IntArray,
    close: NDArray[np.bool_],
    width: FloatArray,
    size: tuple[float, float],
) -> Chains:
    if not len(points):
        none = np.empty(0, dtype=np.int64)
        return Chains(points=points, starts=np.zeros(1, dtype=np.int64), path=none,
                      closed=none.astype(bool), width=width)  # fmt: skip
    chain = np.cumsum(first) - 1
    shut = np.logical_or.reduceat(close, np.flatnonzero(first))
    keep = first.copy()
    keep[1:] |= (np.diff(points, axis=0) != 0).any(axis=1)  # the same place again is no leg
    points, chain, path = points[keep], chain[keep], path[keep]
    count = np.bincount(chain, minlength=len(shut))
    begin = np.cumsum(count) - count
    last = begin + count - 1
    back = (count > 2) & (np.abs(points[begin] - points[last]) <= 1e-6).all(axis=1)
    stay = np.ones(len(points), dtype=bool)
    stay[last[back]] = False
    points, path = points[stay], path[stay]
    count = count - back
    begin = np.cumsum(count) - count
    closed = (shut | back) & (count > 2)
    low, high = np.minimum.reduceat(points, begin), np.maximum.reduceat(points, begin)
    real = np.isfinite(low).all(axis=1) & np.isfinite(high).all(axis=1)
    on_page = (high >= 0).all(axis=1) & (low <= np.array(size)).all(axis=1)
    good = (count > 1) & real & on_page
    kept = np.repeat(good, count)
    return Chains(
        points=points[kept],
        starts=np.concatenate([[0], np.cumsum(count[good])]).astype(np.int64),
        path=path[begin[good]],
        closed=closed[good],
        width=width,
    )
