"""A section as grid nodes, and outlines as rectangles of nodes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError

BoolArray = NDArray[np.bool_]
Rect = tuple[int, int, int, int]
MAX_NODES = 250_000


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Nodes at the middle of squares ``step_m`` wide; ``inside`` marks deck under film."""

    x0_m: float
    y0_m: float
    step_m: float
    inside: BoolArray

    @property
    def shape(self) -> tuple[int, int]:
        return (self.inside.shape[0], self.inside.shape[1])

    @property
    def node_m2(self) -> float:
        return self.step_m**2

    def place(self, row: int, col: int) -> tuple[float, float]:
        """Coordinates of a node. [m]"""
        return self.x0_m + (col + 0.5) * self.step_m, self.y0_m + (row + 0.5) * self.step_m

    def node(self, x_m: float, y_m: float) -> tuple[int, int] | None:
        """The node nearest a place, None where none lies within two steps.

        A person's position is good to a foot or so; a reading at an edge is moved in.
        """
        col = (x_m - self.x0_m) / self.step_m - 0.5
        row = (y_m - self.y0_m) / self.step_m - 0.5
        r0, c0 = max(0, round(row) - 2), max(0, round(col) - 2)
        near = np.argwhere(self.inside[r0 : r0 + 5, c0 : c0 + 5]) + np.array([r0, c0])
        if not len(near):
            return None
        far = np.hypot(near[:, 0] - row, near[:, 1] - col)
        best = int(far.argmin())
        if far[best] > 2.0:
            return None
        return int(near[best, 0]), int(near[best, 1])

    def mask(self, outline: BaseGeometry) -> BoolArray:
        """Nodes of the section inside an outline."""
        ny, nx = self.shape
        x = self.x0_m + (np.arange(nx) + 0.5) * self.step_m
        y = self.y0_m + (np.arange(ny) + 0.5) * self.step_m
        found = shapely.contains_xy(outline, *np.meshgrid(x, y))
        return np.asarray(found, dtype=bool) & self.inside


def make_grid(floor: BaseGeometry, step_m: float) -> Grid:
    """Lay nodes over a section's floor.

    Raises
    ------
    InputError
        If no node falls inside, or there are too many.
    """
    x0, y0, x1, y1 = floor.bounds if not floor.is_empty else (0.0, 0.0, 0.0, 0.0)
    nx = max(1, int(np.ceil((x1 - x0) / step_m - 1e-9)))
    ny = max(1, int(np.ceil((y1 - y0) / step_m - 1e-9)))
    if nx * ny > MAX_NODES:
        raise InputError(
            f"the grid would have {nx * ny} nodes; {MAX_NODES} is the most.",
            do="Judge one section at a time, or take a wider step.",
        )
    grid = Grid(x0_m=x0, y0_m=y0, step_m=step_m, inside=np.ones((ny, nx), dtype=bool))
    inside = grid.mask(floor)
    if not inside.any():
        raise InputError("the section has no area.", do="Check its outline.")
    return Grid(x0_m=x0, y0_m=y0, step_m=step_m, inside=inside)


def rectangles(mask: BoolArray) -> list[Rect]:
    """A mask as disjoint rectangles: runs of each row, equal runs of rows below joined."""
    done: list[Rect] = []
    open_: dict[tuple[int, int], int] = {}
    new = np.ones(mask.shape[0] + 1, dtype=bool)  # a row like the one above changes no run
    new[1:-1] = (mask[1:] != mask[:-1]).any(1)
    for row in map(int, np.flatnonzero(new)):
        runs: set[tuple[int, int]] = set()
        if row < mask.shape[0]:
            edge = np.flatnonzero(np.diff(np.concatenate([[0], mask[row].astype(np.int8), [0]])))
            runs = {(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)}
        for run in sorted(set(open_) - runs):
            done.append((open_.pop(run), row, *run))
        for run in runs - set(open_):
            open_[run] = row
    return sorted(done)
