"""The film map: where the film is shown, where it is short, where nobody knows.

Density of hatch tells what lacks and a quiet ground what is there; doubt stays bare
paper, so that nothing is claimed where nothing is known. It reads the same in grey.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import box, union_all
from shapely.geometry.base import BaseGeometry

from tackfree.sheets import look
from tackfree.sheets.svg import (
    Box,
    Frame,
    Pen,
    document,
    fit,
    line_d,
    num,
    path_d,
    text_width,
    word_box,
    wrapped,
)

STEPS = (0.05, 0.30, 0.70, 0.95)
TALL = 62.0
RING = 0.72  # radius [ems]
KEYS = ("dense", "some", "doubt", "light", "clear")
# gap [px], direction [degrees], crossed, role; None is bare
_HATCH: dict[str, tuple[float, float, bool, str] | None] = {
    "dense": (4.0, 45, True, "ink"),
    "some": (8.0, 45, False, "ink-2"),
    "doubt": None,
    "light": (9.0, 0, False, "accent"),
    "clear": None,
}


@dataclass(frozen=True, kw_only=True)
class MapCell:
    """A kit cell and the mean film its kits left, as text."""

    shape: BaseGeometry
    text: str


@dataclass(frozen=True, kw_only=True)
class MapReading:
    """A reading as a dot with its interval; the inspector's as an open square."""

    x_m: float
    y_m: float
    text: str
    inspector: bool = False


@dataclass(frozen=True, kw_only=True)
class MapPatch:
    """A patch with its word and a band on the axis of the bars."""

    id: str
    shape: BaseGeometry
    word: str
    low: float
    middle: float
    high: float


@dataclass(frozen=True, kw_only=True)
class FilmMap:
    """All a map shows. ``chance`` is (ny, nx) with nodes ``step_m`` wide from ``x0_m``,
    ``y0_m`` up; ``next_m`` are places to read, best first."""

    title: str
    lines: tuple[str, ...]
    floor: BaseGeometry
    x0_m: float
    y0_m: float
    step_m: float
    inside: NDArray[np.bool_]
    chance: NDArray[np.float64]
    cells: tuple[MapCell, ...]
    readings: tuple[MapReading, ...]
    patches: tuple[MapPatch, ...]
    next_m: tuple[tuple[float, float], ...]
    legend: Mapping[str, str]  # KEYS, reading, inspector, cell, next
    bars: str
    ticks: tuple[tuple[float, str], ...]  # of the bars, lowest and highest first and last
    wanted: float  # what is asked for, on the same axis
    thin: tuple[MapReading, ...] = ()  # the thinnest places, with the film likely there


def film_map_svg(
    m: FilmMap,
    *,
    palette: str = "print",
    width: float = 1120.0,
    type_px: float = 14.0,
    tall: float = TALL,
) -> str:
    """The map with its key and one bar for each patch.

    Parameters
    ----------
    m : FilmMap
    palette : "day", "night" or "print"
    width : px; the height follows
    type_px : size of type [px]
    tall : the highest the section is drawn [ems]

    Returns
    -------
    str
        SVG text, the same bytes for the same arguments.
    """
    t = type_px
    pen = Pen(look.PALETTES[palette], "tf-film")
    x0, y0, x1, y1 = m.floor.bounds
    bars_w = 27 * t
    room = width - bars_w - 4 * t
    px = min(room / (x1 - x0), tall * t / (y1 - y0))
    width = max(52 * t, 4 * t + (x1 - x0) * px + bars_w)
    lines = [part for line in m.lines for part in wrapped(line, t, width - 2 * t)]
    top = (3.6 + 1.5 * len(lines)) * t
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=px, left=1.5 * t, top=top)
    across, down = (x1 - x0) * px, (y1 - y0) * px
    key_top = max(top + down, top + (len(m.patches) * 2.0 + 4) * t) + 2.2 * t
    height = key_top + 7.9 * t

    body = [pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))]
    body.append(pen.text(t, 1.6 * t, m.title, 1.25 * t, bold=True))
    for k, line in enumerate(lines):
        body.append(pen.text(t, (3.2 + 1.5 * k) * t, line, t))
    body += plan_body(m, frame, pen, t)
    body += _bars(m, pen, left=3 * t + across, top=top, width=bars_w, t=t)
    body += _key(m, pen, top=key_top, t=t, width=width, px=px)
    desc = "; ".join(f"{p.id}: {p.word}" for p in m.patches)
    return document(
        body, width=width, height=height, title=m.title, desc=desc, prefix="tf-film",
        defs=patterns(pen),
    )  # fmt: skip


def plan_body(m: FilmMap, frame: Frame, pen: Pen, t: float) -> list[str]:
    """The section in its frame: chance, cells, patches, readings, words and rings."""
    taken: list[Box] = []
    return [
        *ground(m, frame, pen),
        *(f'<path d="{path_d(c.shape, frame)}" {pen.stroke("line", look.THIN)}/>' for c in m.cells),
        *(
            f'<path d="{path_d(p.shape, frame)}" {pen.stroke("ink", look.MEDIUM)}/>'
            for p in m.patches
        ),
        f'<path d="{path_d(m.floor, frame)}" {pen.stroke("ink", look.HEAVY)}/>',
        *_words(m, frame, pen, t, taken),
    ]


def patterns(pen: Pen) -> list[str]:
    """The hatches of every class of chance."""
    out = []
    for key, hatch in _HATCH.items():
        if hatch is None:
            continue
        gap, angle, crossed, role = hatch
        mark = pen.line(0, 0, gap, 0, role, 1.0)
        if crossed:
            mark += pen.line(0, 0, 0, gap, role, 1.0)
        out.append(
            f'<pattern id="{pen.prefix}-{key}" width="{num(gap)}" height="{num(gap)}" '
            f'patternUnits="userSpaceOnUse" patternTransform="rotate({num(angle)})">{mark}'
            "</pattern>"
        )
    return out


def paint(pen: Pen, key: str) -> list[str]:
    """Fills of one class, ground first."""
    out = []
    if key in ("clear", "light"):
        out.append(pen.fill("accent-ground"))
    if key == "light":
        out[0] = pen.fill("paper")
    if _HATCH[key] is not None:
        out.append(f'fill="url(#{pen.prefix}-{key})"')
    return out


def ground(m: FilmMap, frame: Frame, pen: Pen) -> list[str]:
    """The chance over the floor, class by class."""
    klass = np.digitize(m.chance, STEPS)
    out = []
    for k, key in enumerate(KEYS):
        area = _area((klass == k) & m.inside, m).intersection(m.floor)
        if area.is_empty:
            continue
        out += [f'<path d="{path_d(area, frame)}" {paint}/>' for paint in paint(pen, key)]
    return out


def _area(mask: NDArray[np.bool_], m: FilmMap) -> BaseGeometry:
    """Nodes as one outline, joined row by row. [m]"""
    rows = []
    for r in range(mask.shape[0]):
        edge = np.flatnonzero(np.diff(np.concatenate([[0], mask[r].astype(np.int8), [0]])))
        y = m.y0_m + r * m.step_m
        for a, b in zip(edge[::2], edge[1::2], strict=True):
            rows.append(box(m.x0_m + a * m.step_m, y, m.x0_m + b * m.step_m, y + m.step_m))
    return union_all(rows)


def _words(m: FilmMap, frame: Frame, pen: Pen, t: float, taken: list[Box]) -> list[str]:
    """Dots and rings always; words where they find room, the most wanted first."""
    fx0, _, fx1, _ = m.floor.bounds
    page = (frame.at(fx0, 0)[0] - 1.2 * t, frame.at(fx1, 0)[0] + 1.2 * t)
    out = []
    rings = []
    for k, (x_m, y_m) in enumerate(m.next_m, 1):
        x, y = frame.at(x_m, y_m)
        r = RING * t
        rings.append(ring(pen, x, y, str(k), 0.85 * t))
        taken.append(Box(x=x - r, y=y - r, w=2 * r, h=2 * r))
    for reading in m.readings:
        x, y = frame.at(reading.x_m, reading.y_m)
        taken.append(Box(x=x - 3, y=y - 3, w=6, h=6))

    def place(
        text: str, spots: Sequence[tuple[float, float, str]], size: float, *, bold: bool = False
    ) -> None:
        for x, y, anchor in spots:
            where = word_box(text, x, y, size, anchor)
            off = where.x < page[0] or where.x + where.w > page[1]
            if not off and not any(where.meets(b) for b in taken):
                taken.append(where.grown(1.5))
                out.append(pen.text(x, y, text, size, anchor=anchor, halo=True, bold=bold))
                return

    for patch in m.patches[:-1] or m.patches:  # the last is the whole
        spot = patch.shape.representative_point()
        x, y = frame.at(spot.x, spot.y)
        bx0, _, bx1, by1 = patch.shape.bounds
        left, up = frame.at(bx0, by1)
        text = f"{patch.id} {patch.word}"
        fits = text_width(text, t) <= (bx1 - bx0) * frame.px_per_m - 8
        shown = text if fits else patch.id
        tries = [(left + 6, up + 1.3 * t, "start"), (x, y, "middle")]
        tries += [(x, y + k * 1.2 * t, "middle") for k in (-1, 1, -2, 2)]
        place(shown, tries, t, bold=True)
    small = 0.82 * t
    for thin in m.thin:
        x, y = frame.at(thin.x_m, thin.y_m)
        out.append(thin_mark(pen, x, y, 0.4 * t))
        taken.append(Box(x=x - 0.4 * t, y=y - 0.4 * t, w=0.8 * t, h=0.8 * t))
        place(thin.text, _beside(x, y, 0.6 * t, t), small, bold=True)
    for reading in m.readings:
        x, y = frame.at(reading.x_m, reading.y_m)
        out.append(reading_mark(reading, x, y, pen))
        place(reading.text, _beside(x, y, 5, t), small)
    for cell in m.cells:
        cx0, cy0, _, _ = cell.shape.bounds
        x, y = frame.at(cx0, cy0)
        c = cell.shape.representative_point()
        spots = [(*frame.at(c.x, c.y), "middle")]
        if cell.shape.intersects(box(cx0, cy0, cx0 + 0.1, cy0 + 0.1)):  # no notch lies there
            spots.insert(0, (x + 3, y - 4, "start"))
        place(cell.text, spots, 0.75 * t)
    return [*out, *rings]


def _beside(x: float, y: float, gap: float, t: float) -> list[tuple[float, float, str]]:
    """Where the words of a mark may stand: right of it, left, over, under."""
    return [
        (x + gap, y + 0.35 * t, "start"), (x - gap, y + 0.35 * t, "end"),
        (x, y - 0.5 * t, "middle"), (x, y + 1.1 * t, "middle"),
    ]  # fmt: skip


def thin_mark(pen: Pen, x: float, y: float, r: float) -> str:
    """A triangle on its point where the film is thinnest."""
    corners = ((x - r, y - 0.8 * r), (x + r, y - 0.8 * r), (x, y + r))
    return f'<path d="{line_d(corners)}Z" {pen.stroke("ink", look.MEDIUM, fill="paper")}/>'


def ring(pen: Pen, x: float, y: float, number: str, type_px: float) -> str:
    """A numbered ring where to measure next."""
    return (
        f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(RING * type_px / 0.85)}" '
        f"{pen.stroke('accent', look.HEAVY, fill='paper')}/>"
        + pen.text(x, y + 0.35 * type_px, number, type_px, anchor="middle", bold=True)
    )


def reading_mark(reading: MapReading, x: float, y: float, pen: Pen, r: float = 2.6) -> str:
    """A dot, or an open square where the inspector read."""
    if reading.inspector:
        square = Box(x=x - 1.4 * r, y=y - 1.4 * r, w=2.8 * r, h=2.8 * r)
        return pen.rect(square, pen.stroke("ink", look.MEDIUM, fill="paper"))
    return f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(r)}" {pen.fill("ink")}/>'


def _bars(m: FilmMap, pen: Pen, *, left: float, top: float, width: float, t: float) -> list[str]:
    """One bar a patch: a 90 % band, a tick at its mean; dashed is what is asked for."""
    name = max((text_width(p.id, t) for p in m.patches), default=0) + 0.8 * t
    word = max((text_width(p.word, t) for p in m.patches), default=0) + 0.8 * t
    x0, span = left + name, max(width - name - word, 6 * t)
    out = [pen.text(left, top - 0.3 * t, fit(m.bars, 0.85 * t, width + t), 0.85 * t)]
    y = top + 1.2 * t
    bottom = y + 2.0 * t * len(m.patches)
    least, most = m.ticks[0][0], m.ticks[-1][0]

    def along(value: float) -> float:
        return x0 + min(max((value - least) / (most - least), 0.0), 1.0) * span

    for value, told in m.ticks:
        x = along(value)
        out.append(pen.line(x, y - 0.6 * t, x, bottom, "line", look.THIN))
        out.append(pen.text(x, bottom + t, told, 0.8 * t, anchor="middle", role="ink-2"))
    for k, p in enumerate(m.patches):
        row = y + (2.0 * k + 0.8) * t
        out.append(pen.text(left, row + 0.35 * t, p.id, t, bold=p.id == m.patches[-1].id))
        a, b = along(p.low), along(p.high)
        bar = Box(x=a, y=row - 0.3 * t, w=max(b - a, 2.0), h=0.6 * t)
        out.append(pen.rect(bar, pen.stroke("ink", look.THIN, fill="line")))
        x = along(p.middle)
        out.append(pen.line(x, row - 0.55 * t, x, row + 0.55 * t, "ink", look.HEAVY))
        out.append(pen.text(x0 + span + 0.6 * t, row + 0.35 * t, p.word, t))
    x = along(m.wanted)
    out.append(pen.line(x, y - 0.6 * t, x, bottom, "accent", look.MEDIUM, dash="5 3"))
    return out


def _key(m: FilmMap, pen: Pen, *, top: float, t: float, width: float, px: float) -> list[str]:
    out = []
    x, y = t, top
    for key in KEYS:
        text = m.legend[key]
        need = 2.6 * t + text_width(text, t) * 1.1 + 1.4 * t
        if x + need > width:
            x, y = t, y + 1.8 * t
        square = Box(x=x, y=y - 0.9 * t, w=1.9 * t, h=1.2 * t)
        out += [pen.rect(square, paint) for paint in paint(pen, key)]
        out.append(pen.rect(square, pen.stroke("ink", look.THIN)))
        out.append(pen.text(x + 2.4 * t, y, text, t))
        x += need
    x, y = t, y + 2.0 * t
    for key in ("reading", "inspector", "cell", "thin", "next"):
        absent = {
            "inspector": not any(r.inspector for r in m.readings),
            "next": not m.next_m,
            "thin": not m.thin,
            "cell": not m.cells,
        }
        if absent.get(key, False):
            continue
        if x + text_width(m.legend[key], t) * 1.1 > width:
            x, y = t, y + 1.5 * t
        out.append(pen.text(x, y, m.legend[key], t, role="ink-2"))
        x += text_width(m.legend[key], t) * 1.1 + 2 * t
    length, text = (15.24, "50 ft") if m.legend.get("scale") == "us" else (15.0, "15 m")
    y += 1.6 * t
    out.append(pen.line(t, y, t + length * px, y, "ink", look.HEAVY))
    out.append(pen.text(t + length * px + 0.6 * t, y + 0.35 * t, text, t))
    return out
