"""Kit cells as a drawing: numbered in order, arrows, exits, the corner to measure from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import Cell
from tackfree.sheets import look
from tackfree.sheets.svg import Frame, Pen, document, num, path_d, text_width

_EDGE = 26.0  # px around the drawing
_LEAST = 330.0  # px of width that words at corners and exits need


@dataclass(frozen=True, kw_only=True)
class MarkedFloor:
    """The cells of one section, its exits and the corner marks are measured from."""

    section_id: str
    cells: tuple[Cell, ...]
    exits: tuple[Point, ...] = ()
    corners: tuple[Point, ...] = ()
    stop_lines: tuple[BaseGeometry, ...] = ()


def marks_svg(
    floors: Sequence[MarkedFloor],
    *,
    title: str,
    desc: str,
    exit_word: str,
    corner_word: str,
    palette: str = "print",
    width: float = 900.0,
    height: float = 700.0,
    prefix: str = "marks",
) -> str:
    """A drawing of floors on one deck; the same floors give the same text.

    Parameters
    ----------
    floors : sequence of MarkedFloor
        In one frame. [m]
    width, height : float
        The room the drawing may take. [px]

    Returns
    -------
    str
        SVG; each cell is a path with ``data-cell`` and ``data-section``.
    """
    pen = Pen(look.PALETTES[palette], prefix)
    shapes = [c.outline for f in floors for c in f.cells]
    x0, y0, x1, y1 = shapely.total_bounds(shapes).tolist() if shapes else (0.0, 0.0, 1.0, 1.0)
    scale = min((width - 2 * _EDGE) / max(x1 - x0, 0.1), (height - 2 * _EDGE) / max(y1 - y0, 0.1))
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=scale, left=_EDGE, top=_EDGE)
    # Words at corners and exits need room beside a narrow floor.
    spare = max(_LEAST - ((x1 - x0) * scale + 2 * _EDGE), 0.0) / 2
    frame = replace(frame, left=_EDGE + spare)
    w, h = (x1 - x0) * scale + 2 * _EDGE + 2 * spare, (y1 - y0) * scale + 2 * _EDGE
    body: list[str] = []
    for floor in floors:
        body.append(f'<g id="{prefix}-{floor.section_id}">')
        for cell in floor.cells:
            fill = pen.stroke("ink", look.THIN, fill="paper" if cell.full else "accent-ground")
            body.append(
                f'<path d="{path_d(cell.outline, frame)}" {fill} fill-rule="evenodd" '
                f'data-section="{floor.section_id}" data-cell="{cell.number}"/>'
            )
        edge = shapely.union_all([c.outline for c in floor.cells], grid_size=1e-5)
        body.append(f'<path d="{path_d(edge, frame)}" {pen.stroke("ink", look.HEAVY)}/>')
        for line in floor.stop_lines:
            dash = pen.stroke("accent", look.HEAVY, dash="9 5")
            body.append(f'<path d="{path_d(line, frame)}" {dash}/>')
        body += _walk(floor.cells, frame, pen)
        body += _numbers(floor.cells, frame, pen)
        for e in floor.exits:
            body += _flag(e, frame, pen, exit_word, w)
        for c in floor.corners:
            body += _corner(c, frame, pen, corner_word, w)
        body.append("</g>")
    return document(body, width=w, height=h, title=title, desc=desc, prefix=prefix)


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


def _flag(at: Point, frame: Frame, pen: Pen, word: str, width: float) -> list[str]:
    x, y = frame.at(at.x, at.y)
    head = f'<circle cx="{num(x)}" cy="{num(y)}" r="5" {pen.stroke("ink", 2, fill="paper")}/>'
    left = x + 8 + text_width(word, 11) > width
    where = x - 8 if left else x + 8
    anchor = "end" if left else "start"
    return [head, pen.text(where, y + 4, word, 11, anchor=anchor, bold=True, halo=True)]


def _corner(at: Point, frame: Frame, pen: Pen, word: str, width: float) -> list[str]:
    x, y = frame.at(at.x, at.y)
    right = x > width / 2
    return [
        pen.line(x - 9, y, x + 9, y, "ink", look.HEAVY),
        pen.line(x, y - 9, x, y + 9, "ink", look.HEAVY),
        pen.text(x + 8 if right else x - 8, y - 12, word, 10, bold=True,
                 anchor="end" if right else "start"),
    ]  # fmt: skip
