"""What is measured out for a layout, in the order a person with a tape walks it.

Everything is measured from one corner: lane lines across, cuts along each lane from
the same end. Lines that are neither get both of their ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import EIGHTH_INCH_M, Layout
from tackfree.marks.chalk import ChalkLine, chalk_lines, corner_of
from tackfree.marks.lanes import into
from tackfree.units import System
from tackfree.units.show import feet_and_inches

TWO_MM_M = 0.002
_NEAR_M = 0.004  # from a lane line
_GAP_M = 0.02  # floor in a gap shorter than this is none


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Lines of one layout, in m from its corner: x along the lanes, y across.

    ``lanes`` are lane lines, ``cuts`` by lane number those that cross a whole lane,
    ``others`` the rest. Cell numbers are those of the section. ``laser_m`` is the lane
    line a laser is best set along, from which ``offset`` gives the others. ``waits`` is
    how many kits later the second side of the line behind a lane is closed.
    """

    lanes: tuple[ChalkLine, ...]
    cuts: dict[int, tuple[ChalkLine, ...]]
    others: tuple[ChalkLine, ...]
    laser_m: float | None
    corner_on_floor: bool
    edges_m: tuple[float, ...]
    waits: dict[int, int]

    def lane_before(self, line: ChalkLine) -> int:
        """The lane on the corner's side of a lane line."""
        gaps = [abs(y - line.y0_m) for y in self.edges_m]
        return gaps.index(min(gaps))

    def lanes_beside(self, line: ChalkLine) -> str:
        """Lanes on both sides of a lane line, "3 | 4"."""
        lane = self.lane_before(line)
        return f"{lane} | {lane + 1}"

    def offset(self, line: ChalkLine) -> float:
        """From the laser to a lane line, + away from the corner. [m]"""
        return line.y0_m - (self.laser_m or 0.0)


def measured(layout: Layout, shift: int, shown: Sequence[int], step_m: float) -> Measured:
    """Sort the lines of a layout.

    Parameters
    ----------
    layout : Layout
    shift : int
        Number of its first cell less 1.
    shown : sequence of int
        Cells that are marked; lines between others are left out.
    step_m : float
        Smallest division of the tape. [m]
    """
    cx, cy = corner_of(layout)
    shapes = [into(c.outline, layout.frame) for c in layout.cells]
    floor = shapely.union_all(shapes, grid_size=1e-6)
    shapely.prepare(floor)
    edges = np.array(layout.lines_m) - cy
    known = set(shown)
    lines = [
        replace(c, cells=(c.cells[0] + shift, c.cells[1] + shift))
        for c in chalk_lines(layout, step_m)
    ]
    lines = [c for c in lines if known & set(range(min(c.cells), max(c.cells) + 1))]
    lanes: list[ChalkLine] = []
    others: list[ChalkLine] = []
    cuts: dict[int, list[ChalkLine]] = {}
    across: dict[tuple[float, int], list[ChalkLine]] = {}
    for c in lines:
        if c.across:
            lane = int(np.searchsorted(edges[1:-1], (c.y0_m + c.y1_m) / 2)) + 1
            across.setdefault((c.x0_m, lane), []).append(c)
        elif c.y0_m == c.y1_m and len(edges) > 2 and np.abs(edges[1:-1] - c.y0_m).min() < _NEAR_M:
            lanes.append(c)
        else:
            others.append(c)
    for (x, lane), stretches in sorted(across.items()):
        low, high = edges[lane - 1], edges[lane]
        chord = LineString([(cx + x, cy + low), (cx + x, cy + high)])
        bare = _length(floor, chord) - sum(s.y1_m - s.y0_m for s in stretches)
        inside = all(low - _NEAR_M <= s.y0_m and s.y1_m <= high + _NEAR_M for s in stretches)
        if inside and bare <= _GAP_M:
            ends = [n for s in stretches for n in s.cells]
            whole = ChalkLine(x0_m=x, x1_m=x, y0_m=float(low), y1_m=float(high),
                              cells=(min(ends), max(ends)))  # fmt: skip
            cuts.setdefault(lane, []).append(whole)
        else:
            others += stretches
    lanes = _bridged(lanes, floor, cx, cy)
    middle = (edges[0] + edges[-1]) / 2
    laser = min((c.y0_m for c in lanes), key=lambda y: (abs(y - middle), y), default=None)
    corner = shapely.Point(cx, cy)
    return Measured(
        lanes=tuple(lanes),
        cuts={k: tuple(v) for k, v in cuts.items()},
        others=tuple(sorted(others, key=lambda c: (c.cells, c.x0_m, c.y0_m))),
        laser_m=laser,
        edges_m=tuple(float(y) for y in edges),
        corner_on_floor=bool(floor.distance(corner) < 0.3),
        waits=_waits(layout),
    )


def _waits(layout: Layout) -> dict[int, int]:
    """The longest wait across the line behind each lane, in kits."""
    lane_of = {c.number: c.lane for c in layout.cells}
    out: dict[int, int] = {}
    for a, b in layout.check.seams:
        first, second = sorted((lane_of[a], lane_of[b]))
        for lane in range(first, second):  # a cell may take in the lane between
            out[lane] = max(out.get(lane, 0), abs(b - a))
    return out


def _bridged(
    lanes: Sequence[ChalkLine], floor: BaseGeometry, cx: float, cy: float
) -> list[ChalkLine]:
    """Stretches of a lane line with a column between them are one line."""
    out: list[ChalkLine] = []
    for c in sorted(lanes, key=lambda c: (c.y0_m, c.x0_m)):
        last = out[-1] if out else None
        if last and last.y0_m == c.y0_m:
            gap = LineString([(cx + last.x1_m, cy + c.y0_m), (cx + c.x0_m, cy + c.y0_m)])
            if gap.length <= _GAP_M or _length(floor, gap) <= _GAP_M:
                pair = (min(last.cells[0], c.cells[0]), max(last.cells[1], c.cells[1]))
                out[-1] = replace(last, x1_m=c.x1_m, cells=pair)
                continue
        out.append(c)
    return out


def _length(floor: BaseGeometry, line: LineString) -> float:
    return float(shapely.intersection(floor, line).length)


def step_of(system: System) -> float:
    """The smallest division of the tape. [m]"""
    return EIGHTH_INCH_M if system == "us" else TWO_MM_M


def on_paper(length_m: float, system: System) -> str:
    """A length as it is read on the tape."""
    return feet_and_inches(length_m) if system == "us" else f"{length_m + 0.0:.3f} m"


def pair_text(line: ChalkLine) -> str:
    """Cells beside a cut, "12 | 13"."""
    return f"{min(line.cells)} | {max(line.cells)}"
