"""Kit cells as a drawing: numbered in order, arrows, exits, the corner to measure from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import Cell
from tackfree.sheets import look
from tackfree.sheets.svg import Frame, Pen, document, esc, num, path_d, text_width

EDGE = 40.0  # px around the drawing: exits, the mixing station, words
_LEAST = 330.0  # px of width that words at corners and exits need
_PAST_M = 1.0  # how far a stop line is drawn beyond the floor
_DIM = 7.5  # px, type of dimensions


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A running dimension: read along ``toward_rad`` from its foot, beside its line.

    It is drawn only where ``room_m`` holds its words.
    """

    text: str
    at: Point
    toward_rad: float
    room_m: float


@dataclass(frozen=True, kw_only=True)
class Tap:
    """A cell that can be pressed: ``state`` is in, next or bare, ``covered`` its film."""

    state: str
    label: str
    covered: BaseGeometry | None = None


@dataclass(frozen=True, kw_only=True)
class MarkedFloor:
    """The cells of one section, its exits and the corner marks are measured from."""

    section_id: str
    cells: tuple[Cell, ...]
    exits: tuple[Point, ...] = ()
    corners: tuple[Point, ...] = ()
    stop_lines: tuple[BaseGeometry, ...] = ()
    dimensions: tuple[Dimension, ...] = ()
    taps: Mapping[int, Tap] = field(default_factory=dict)


def marks_svg(
    floors: Sequence[MarkedFloor],
    *,
    title: str,
    desc: str,
    exit_word: str,
    corner_word: str,
    station_word: str = "",
    palette: str = "print",
    width: float = 900.0,
    height: float = 700.0,
    px_per_m: float | None = None,
    room: float = EDGE,
    prefix: str = "marks",
) -> str:
    """A drawing of floors on one deck; the same floors give the same text.

    Parameters
    ----------
    floors : sequence of MarkedFloor
        In one frame. [m]
    width, height : float
        The room the drawing may take. [px]
    px_per_m : float, optional
        A scale to draw at instead; the drawing is as large as it gets.
    room : float
        Around the floors, for words at the exits. [px]
    station_word : str
        Named at a mixing station outside each exit; none is drawn without a word.

    Returns
    -------
    str
        SVG; each cell is a path with ``data-cell`` and ``data-section``.
    """
    pen = Pen(look.PALETTES[palette], prefix)
    frame, w, h = framed(floors, width=width, height=height, px_per_m=px_per_m, room=room)
    body: list[str] = []
    for floor in floors:
        body.append(f'<g id="{prefix}-{floor.section_id}">')
        for cell in floor.cells:
            tap = floor.taps.get(cell.number)
            ground = "paper" if cell.full or tap else "accent-ground"
            fill = pen.stroke("ink", look.THIN, fill=ground)
            if tap:
                body.append(
                    f'<g class="cell is-{tap.state}" data-tap="{cell.number}" tabindex="0" '
                    f'role="button" aria-label="{esc(tap.label)}">'
                )
            body.append(
                f'<path d="{path_d(cell.outline, frame)}" {fill} fill-rule="evenodd" '
                f'data-section="{floor.section_id}" data-cell="{cell.number}"/>'
            )
            if tap:
                body.append("</g>")
        for tap in floor.taps.values():
            if tap.covered is not None:
                film = path_d(tap.covered, frame)
                body.append(f'<path d="{film}" class="film" {pen.hatched("done")}/>')
        edge = shapely.union_all([c.outline for c in floor.cells], grid_size=1e-5)
        body.append(f'<path d="{path_d(edge, frame)}" {pen.stroke("ink", look.HEAVY)}/>')
        for line in floor.stop_lines:
            dash = pen.stroke("accent", look.HEAVY, dash="9 5")
            near = line.intersection(edge.buffer(_PAST_M))  # a joint runs on over the deck
            body.append(f'<path d="{path_d(near, frame)}" {dash}/>')
        body += _walk(floor.cells, frame, pen)
        body += _dimensions(floor.dimensions, frame, pen)
        body += _numbers(floor.cells, frame, pen)
        for e in floor.exits:
            body += _flag(e, edge, frame, pen, (exit_word, station_word), w)
        for c in floor.corners:
            body += _corner(c, frame, pen, corner_word, w)
        body.append("</g>")
    hatches = pen.hatches(["done"] if any(f.taps for f in floors) else [])
    return document(body, width=w, height=h, title=title, desc=desc, prefix=prefix, defs=hatches)


def framed(
    floors: Sequence[MarkedFloor],
    *,
    width: float = 900.0,
    height: float = 700.0,
    px_per_m: float | None = None,
    room: float = EDGE,
) -> tuple[Frame, float, float]:
    """Where metres lie in the drawing, and its size. [px]"""
    shapes = [c.outline for f in floors for c in f.cells]
    x0, y0, x1, y1 = shapely.total_bounds(shapes).tolist() if shapes else (0.0, 0.0, 1.0, 1.0)
    scale = px_per_m or min(
        (width - 2 * room) / max(x1 - x0, 0.1), (height - 2 * room) / max(y1 - y0, 0.1)
    )
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=scale, left=room, top=room)
    # Words at corners and exits need room beside a narrow floor.
    least = min(_LEAST, width) if px_per_m is None else 0.0
    spare = max(least - ((x1 - x0) * scale + 2 * room), 0.0) / 2
    frame = replace(frame, left=room + spare)
    return frame, (x1 - x0) * scale + 2 * room + 2 * spare, (y1 - y0) * scale + 2 * room


def _inside(cell: Cell) -> Point:
    largest = max(shapely.get_parts(cell.outline), key=lambda p: (p.area, p.bounds))
    centre: Point = largest.centroid
    inside: Point = largest.representative_point()
    return centre if largest.contains(centre) else inside


def _walk(cells: Sequence[Cell], frame: Frame, pen: Pen) -> list[str]:
    """The way from cell to cell, with a head on each step."""
    at = [frame.at(p.x, p.y) for p in map(_inside, cells)]
    out = []
    for (ax, ay), (bx, by) in pairwise(at):
        out.append(pen.line(ax, ay, bx, by, "accent", look.THIN))
        size = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
        if size < 12:
            continue
        ux, uy = (bx - ax) / size, (by - ay) / size
        mx, my = (ax + bx) / 2, (ay + by) / 2
        for side in (-1, 1):
            out.append(
                pen.line(mx, my, mx - 5 * ux + side * 3 * uy, my - 5 * uy - side * 3 * ux,
                         "accent", look.THIN)
            )  # fmt: skip
    return out


def _numbers(cells: Sequence[Cell], frame: Frame, pen: Pen) -> list[str]:
    out = []
    for cell in cells:
        p = _inside(cell)
        x, y = frame.at(p.x, p.y)
        box = cell.outline.bounds
        room = min(box[2] - box[0], box[3] - box[1]) * frame.px_per_m
        size = max(min(14.0, 0.6 * room), 5.0)
        text = str(cell.number)
        out.append(pen.text(x, y + 0.36 * size, text, size, anchor="middle", bold=True, halo=True))
    return out


def _dimensions(dimensions: Sequence[Dimension], frame: Frame, pen: Pen) -> list[str]:
    """Running dimensions; one that would touch the last drawn is left to the table."""
    out = []
    drawn: list[Point] = []
    for d in dimensions:
        x, y = frame.at(d.at.x, d.at.y)
        if text_width(d.text, _DIM) + 8 > d.room_m * frame.px_per_m:
            continue
        if any(math.hypot(p.x - x, p.y - y) < 1.3 * _DIM for p in drawn):
            continue
        drawn.append(Point(x, y))
        turn = -math.degrees(d.toward_rad)
        upside = not -90.0 - 1e-6 < (turn + 180.0) % 360.0 - 180.0 <= 90.0 - 1e-6
        ux, uy = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        x, y = x + 4 * ux, y + 4 * uy
        if upside:
            turn += 180.0
        # Above its line as it is read.
        ax, ay = math.sin(math.radians(turn)), -math.cos(math.radians(turn))
        text = pen.text(
            x + 2 * ax, y + 2 * ay, d.text, _DIM, anchor="end" if upside else "start",
            turn=round((turn + 180.0) % 360.0 - 180.0, 2), halo=True,
        )  # fmt: skip
        out.append(text)
    return out


def _flag(
    at: Point, floor: BaseGeometry, frame: Frame, pen: Pen, words: tuple[str, str], width: float
) -> list[str]:
    """An exit, and outside it the mixing station."""
    x, y = frame.at(at.x, at.y)
    out = [f'<circle cx="{num(x)}" cy="{num(y)}" r="5" {pen.stroke("ink", 2, fill="paper")}/>']
    # Away from the floor, as drawn.
    near = floor.intersection(at.buffer(3.0)).centroid
    dx, dy = at.x - near.x, near.y - at.y
    size = math.hypot(dx, dy) or 1.0
    if not words[1]:
        return [*out, _beside(x, y, dx / size, dy / size, words[0], pen, width)]
    sx, sy = x + 20 * dx / size, y + 20 * dy / size
    box = f'x="{num(sx - 6)}" y="{num(sy - 6)}" width="12" height="12"'
    out.append(f"<rect {box} {pen.stroke('ink', 2, fill='paper')}/>")
    out.append(pen.line(sx - 6, sy - 6, sx + 6, sy + 6, "ink", look.THIN))
    out.append(pen.line(sx - 6, sy + 6, sx + 6, sy - 6, "ink", look.THIN))
    for text, px, at_x, gap, at_y in (
        (words[1], 9, sx, 9, sy + 3),
        (words[0], 11, x, 8, y + 18 if abs(sy - y) < 10 else y + 4),
    ):
        left = at_x + gap + text_width(text, px) > width
        out.append(pen.text(at_x - gap if left else at_x + gap, at_y, text, px, halo=True,
                            anchor="end" if left else "start", bold=px == 11))  # fmt: skip
    return out


def _beside(x: float, y: float, ux: float, uy: float, word: str, pen: Pen, width: float) -> str:
    """A word off the floor, run inward so that it stays on the drawing at any size of type."""
    if abs(uy) < 0.3:
        outward = x + math.copysign(8 + text_width(word, 11), ux)
        side = ux if 0 <= outward <= width else -ux
        anchor = "start" if side > 0 else "end"
        return pen.text(x + math.copysign(8, side), y + 4, word, 11, anchor=anchor, bold=True,
                        halo=True)  # fmt: skip
    anchor = "start" if x < width / 2 else "end"
    text = pen.text(x, y + math.copysign(9, uy), word, 11, anchor=anchor, bold=True, halo=True)
    return f'<g dominant-baseline="hanging">{text}</g>' if uy > 0 else text


def _corner(at: Point, frame: Frame, pen: Pen, word: str, width: float) -> list[str]:
    x, y = frame.at(at.x, at.y)
    right = x > width / 2
    return [
        pen.line(x - 9, y, x + 9, y, "ink", look.HEAVY),
        pen.line(x, y - 9, x, y + 9, "ink", look.HEAVY),
        pen.text(x + 8 if right else x - 8, y - 12, word, 10, bold=True, halo=True,
                 anchor="end" if right else "start"),
    ]  # fmt: skip
