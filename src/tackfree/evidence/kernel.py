"""Covariances of spots and rectangles on a grid, by look-ups in summed tables.

A grid node is (row, column). The covariance of two nodes depends on their shift only,
so one table of all shifts serves every pair; its running sums give a node against a
rectangle in four look-ups and two rectangles in sixteen, without a loop over nodes.

Lengths are in one unit and films in another, whatever they are; the house uses m and µm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import fft

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Grid = TypeVar("Grid", NDArray[np.float64], NDArray[np.float32])


def _matern32(r: FloatArray) -> FloatArray:
    return np.asarray((1 + np.sqrt(3) * r) * np.exp(-np.sqrt(3) * r))


def _exponential(r: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-r))


def _squared(r: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * r**2))


KERNELS: dict[str, Callable[[FloatArray], FloatArray]] = {
    "matern32": _matern32,
    "exponential": _exponential,
    "squared-exponential": _squared,
}
# how each changes with the logarithm of its range
SLOPES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "matern32": lambda r: np.asarray(3 * r**2 * np.exp(-np.sqrt(3) * r)),
    "exponential": lambda r: np.asarray(r * np.exp(-r)),
    "squared-exponential": lambda r: np.asarray(r**2 * np.exp(-0.5 * r**2)),
}


@dataclass(frozen=True, kw_only=True)
class Rects:
    """Cells as disjoint half-open rectangles of nodes.

    ``bounds`` is (R, 4): first row, end row, first column, end column; ``owner`` (R,)
    names the cell of each, in ascending order; ``nodes`` (B,) counts nodes of each cell.
    """

    bounds: IntArray
    owner: IntArray
    nodes: IntArray

    @classmethod
    def of(cls, cells: list[list[tuple[int, int, int, int]]]) -> Rects:
        """From a list of rectangles for each cell."""
        flat = [r for cell in cells for r in cell]
        bounds = np.array(flat, dtype=np.int64).reshape(-1, 4)
        owner = np.repeat(np.arange(len(cells)), [len(c) for c in cells]).astype(np.int64)
        size = (bounds[:, 1] - bounds[:, 0]) * (bounds[:, 3] - bounds[:, 2])
        nodes = np.bincount(owner, weights=size, minlength=len(cells)).astype(np.int64)
        return cls(bounds=bounds, owner=owner, nodes=nodes)

    def __len__(self) -> int:
        return len(self.nodes)

    @property
    def middle(self) -> FloatArray:
        """Centre of each cell in nodes: (B, 2)."""
        b = self.bounds.astype(float)
        size = (b[:, 1] - b[:, 0]) * (b[:, 3] - b[:, 2])
        out = np.empty((len(self), 2))
        for axis in (0, 1):
            at = 0.5 * (b[:, 2 * axis] + b[:, 2 * axis + 1] - 1)
            out[:, axis] = np.bincount(self.owner, weights=size * at, minlength=len(self))
        return np.asarray(out / self.nodes[:, None])

    @property
    def starts(self) -> IntArray:
        """Where each cell begins in ``bounds``."""
        return np.searchsorted(self.owner, np.arange(len(self))).astype(np.int64)


class Tables:
    """The covariance of one kernel on one grid.

    Only shifts matter: a grid as large as the widest shift asked about is enough.
    ``slope`` takes the kernel's change with the logarithm of its range instead.
    """

    def __init__(
        self,
        shape: tuple[int, int],
        step: float,
        sd: float,
        ell: float,
        kernel: str = "matern32",
        *,
        slope: bool = False,
    ) -> None:
        self.shape = shape
        self.step, self.sd, self.ell, self.kernel = step, sd, ell, kernel
        self._shape_of = (SLOPES if slope else KERNELS)[kernel]
        ny, nx = shape
        near = self.at(np.hypot(np.arange(ny)[:, None], np.arange(nx)[None, :]) * step)
        half = np.concatenate([near[:, :0:-1], near], axis=1)  # shifts to both sides are alike
        self.table = np.concatenate([half[:0:-1], half])
        self.once = np.zeros((2 * ny, 2 * nx))
        self.once[1:, 1:] = self.table.cumsum(0).cumsum(1)
        self.twice = np.zeros((2 * ny + 1, 2 * nx + 1))
        self.twice[1:, 1:] = self.once.cumsum(0).cumsum(1)

    def at(self, distance: FloatArray) -> FloatArray:
        """Covariance at a distance."""
        return self.sd**2 * self._shape_of(np.asarray(distance, dtype=float) / self.ell)

    def spots(self, a: IntArray, b: IntArray) -> FloatArray:
        """Covariance of nodes (n, 2) with nodes (m, 2): (n, m)."""
        dy = a[:, 0][:, None] - b[:, 0][None, :] + self.shape[0] - 1
        dx = a[:, 1][:, None] - b[:, 1][None, :] + self.shape[1] - 1
        return np.asarray(self.table[dy, dx])

    def spots_cells(self, a: IntArray, rects: Rects) -> FloatArray:
        """Covariance of nodes (n, 2) with the mean over each cell: (n, B)."""
        if not len(rects):
            return np.zeros((len(a), 0))
        rows, cols = a[:, 0][:, None], a[:, 1][:, None]
        p0, p1, q0, q1 = (rects.bounds[:, k][None, :] for k in range(4))
        ny, nx = self.shape[0] - 1, self.shape[1] - 1
        s = self.once
        total = (
            s[p1 - rows + ny, q1 - cols + nx]
            - s[p0 - rows + ny, q1 - cols + nx]
            - s[p1 - rows + ny, q0 - cols + nx]
            + s[p0 - rows + ny, q0 - cols + nx]
        )
        return np.add.reduceat(total, rects.starts, axis=1) / rects.nodes

    def band(
        self, first: int, rows: int, spots: IntArray, rects: Rects, kind: type[np.floating]
    ) -> NDArray[np.floating]:
        """Covariance of nodes (n, 2), then of cells, with whole rows of nodes: (n + B, rows * nx).

        A spot against a row of nodes is a piece cut out of the table, so nothing is looked
        up node by node.
        """
        ny, nx = self.shape[0] - 1, self.shape[1]
        cut = np.lib.stride_tricks.sliding_window_view
        out = np.empty((len(spots) + len(rects), rows, nx), dtype=kind)
        pieces = cut(self.table, (rows, nx))
        out[: len(spots)] = pieces[first - spots[:, 0] + ny, nx - 1 - spots[:, 1]]
        if len(rects):
            p0, p1, q0, q1 = rects.bounds.T
            # the table is even: a node against a rectangle is the rectangle against the node
            turned = cut(self.once[::-1, ::-1], (rows, nx))
            total = np.zeros((len(p0), rows, nx))
            for sign, p, q in ((1, p1, q1), (-1, p0, q1), (-1, p1, q0), (1, p0, q0)):
                here = turned[ny + first - p + 1, nx - q]
                total += sign * here
            total = np.add.reduceat(total, rects.starts, axis=0)
            out[len(spots) :] = total / rects.nodes[:, None, None]
        return out.reshape(len(out), -1)

    def cells(self, rects: Rects) -> FloatArray:
        """Covariance of the means over cells: (B, B)."""
        if not len(rects):
            return np.zeros((0, 0))
        n = rects.bounds
        ny, nx = self.shape
        rows = _ends(n[:, 0], n[:, 1], ny)
        cols = _ends(n[:, 2], n[:, 3], nx)
        total = np.zeros((len(n), len(n)))
        for sign_r, r in rows:
            for sign_c, c in cols:
                total += sign_r * sign_c * self.twice[r, c]
        starts = rects.starts
        summed = np.add.reduceat(np.add.reduceat(total, starts, axis=0), starts, axis=1)
        return np.asarray(summed / np.outer(rects.nodes, rects.nodes))

    @cached_property
    def _padded(self) -> tuple[list[int], FloatArray]:
        """Twice the grid, so that far ends do not meet, and the eigenvalues there.

        They stay as they are, negative ones too: a product needs no square root.
        """
        size = [fft.next_fast_len(2 * n - 1, real=True) for n in self.shape]
        big = np.zeros(size)
        ny, nx = self.shape
        rows = np.arange(1 - ny, ny) % size[0]
        cols = np.arange(1 - nx, nx) % size[1]
        big[np.ix_(rows, cols)] = self.table
        return size, np.asarray(fft.rfft2(big).real)

    def product(self, grid: Grid) -> Grid:
        """Covariance times a field over the grid, exactly: (..., ny, nx), in its precision."""
        size, value = self._padded
        ny, nx = self.shape
        wave = fft.rfft2(grid, s=size, axes=(-2, -1))
        wave *= value.astype(grid.dtype)
        out: Grid = fft.irfft2(wave, s=size, axes=(-2, -1))[..., :ny, :nx]
        return out


def _ends(p0: IntArray, p1: IntArray, n: int) -> list[tuple[int, IntArray]]:
    """Signed indices into the twice-summed table of every pair of spans, one axis."""
    return [
        (1, p1[:, None] - p0[None, :] + n),
        (-1, p0[:, None] - p0[None, :] + n),
        (-1, p1[:, None] - p1[None, :] + n),
        (1, p0[:, None] - p1[None, :] + n),
    ]
