"""What is measured out on the floor: lines between cells, rounded to a tape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from tackfree.marks.cell_types import EIGHTH_INCH_M, Layout
from tackfree.marks.contacts import contacts
from tackfree.marks.lanes import into

_SHORT_M = 0.02  # a line shorter than this is not worth a mark


@dataclass(frozen=True, kw_only=True)
class ChalkLine:
    """A straight line between two cells, measured from the corner of the layout.

    ``x`` runs along the lanes, ``y`` across them, both from the corner away from the
    exit, so that no mark depends on another one. [m] ``cells`` are those beside a cut;
    for a lane line, the first and last number along it.
    """

    x0_m: float
    y0_m: float
    x1_m: float
    y1_m: float
    cells: tuple[int, int]

    @property
    def across(self) -> bool:
        """A cut across a lane, at one place along it."""
        return abs(self.x1_m - self.x0_m) < 1e-9


def corner_of(layout: Layout) -> tuple[float, float]:
    """The corner that marks are measured from, in the layout's frame. [m]"""
    boxes = shapely.bounds([into(c.outline, layout.frame) for c in layout.cells])
    return float(boxes[:, 0].min()), float(boxes[:, 1].min())


def chalk_lines(layout: Layout, step_m: float = EIGHTH_INCH_M) -> tuple[ChalkLine, ...]:
    """Every line between two cells, ends rounded to the tape's step.

    Parameters
    ----------
    layout : Layout
    step_m : float
        Smallest division of the tape. [m]

    Returns
    -------
    tuple of ChalkLine
        Cuts across lanes in order of place, then the other lines.
    """
    cx, cy = corner_of(layout)
    shapes = [into(c.outline, layout.frame) for c in layout.cells]
    i, j, edges = contacts(shapes)
    out: list[ChalkLine] = []
    for a, b, edge in zip(i.tolist(), j.tolist(), edges, strict=True):
        pair = (layout.cells[a].number, layout.cells[b].number)
        for run in shapely.get_parts(shapely.line_merge(edge)):
            xy = shapely.get_coordinates(run.simplify(1e-4))
            out += _lines(xy - (cx, cy), step_m, pair)
    out = _along_lanes(out)
    return tuple(sorted(out, key=lambda c: (not c.across, c.y0_m, c.x0_m, c.y1_m, c.cells)))


def _along_lanes(lines: Sequence[ChalkLine]) -> list[ChalkLine]:
    """Stretches of one lane line that meet are one line."""
    out = [c for c in lines if c.y0_m != c.y1_m]
    level = sorted((c for c in lines if c.y0_m == c.y1_m), key=lambda c: (c.y0_m, c.x0_m, c.x1_m))
    for c in level:
        last = out[-1] if out else None
        if last and last.y0_m == last.y1_m == c.y0_m and c.x0_m <= last.x1_m + _SHORT_M:
            pair = (min(last.cells[0], *c.cells), max(last.cells[1], *c.cells))
            out[-1] = replace(last, x1_m=max(last.x1_m, c.x1_m), cells=pair)
        else:
            out.append(replace(c, cells=(min(c.cells), max(c.cells))))
    return out


def _lines(xy: NDArray[np.float64], step_m: float, pair: tuple[int, int]) -> Sequence[ChalkLine]:
    on_tape = np.round(xy / step_m) * step_m
    out = []
    for p, q in pairwise(on_tape):
        if np.hypot(*(q - p)) < _SHORT_M:
            continue
        (x0, y0), (x1, y1) = sorted((tuple(p.tolist()), tuple(q.tolist())))
        out.append(ChalkLine(x0_m=x0, y0_m=y0, x1_m=x1, y1_m=y1, cells=pair))
    return out
