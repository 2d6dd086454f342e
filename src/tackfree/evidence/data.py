"""What was read and spread over one grid, and how it varies together beforehand.

    film(s) = target + level + step[cell(s)] + smooth(s) + ridge(s)

``level`` is how the whole job lies about its target, ``step`` what changes from kit to
kit, ``smooth`` what changes over several feet, ``ridge`` what changes below the grid. A
reading sees the film at a spot plus its gauge's own bias, which every reading of that
gauge shares; a kit tells the mean over its cell plus an error of loss, which every kit of
its group shares. Shared errors are what keeps a hundred readings with one worn gauge from
looking like proof. One unit for lengths, one for films; the house uses m and µm.

Source
------
Published: Chilès & Delfiner, *Geostatistics*, 2nd ed., means over blocks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from tackfree.errors import InputError
from tackfree.evidence.interval import Sites, settled
from tackfree.evidence.kernel import FloatArray, IntArray, Rects, Tables

MOST_DATA = 4000


@dataclass(frozen=True, kw_only=True)
class Spread:
    """How film varies: sd and range of the smooth part, kit step, ridges. [film, length]"""

    sd: float
    ell: float
    tau: float = 0.0
    micro: float = 0.0
    kernel: str = "matern32"


@dataclass(frozen=True, kw_only=True)
class Doubts:
    """What instruments and books may be off by, as standard deviations. [film]

    ``gauge`` is shared by all readings of a gauge, ``loss`` by all kits of a group.
    """

    level: float = 0.0
    read: float = 0.1
    gauge: float = 0.0
    loss: float = 0.0


def _none() -> FloatArray:
    return np.zeros(0)


def _no_nodes() -> IntArray:
    return np.zeros((0, 2), dtype=np.int64)


def _no_ids() -> IntArray:
    return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Readings: nodes (P, 2), interval ends (P,), gauge number (P,)."""

    node: IntArray
    low: FloatArray
    high: FloatArray
    gauge: IntArray

    @classmethod
    def none(cls) -> Readings:
        return cls(node=_no_nodes(), low=_none(), high=_none(), gauge=_no_ids())

    def __len__(self) -> int:
        return len(self.low)

    @property
    def middle(self) -> FloatArray:
        """Middle of each interval; its closed end where it has one."""
        two = np.isfinite(self.low) & np.isfinite(self.high)
        one = np.where(np.isfinite(self.low), self.low, self.high)
        return np.asarray(
            np.where(two, 0.5 * (np.where(two, self.low, 0) + np.where(two, self.high, 0)), one)
        )


@dataclass(frozen=True, kw_only=True)
class Kits:
    """Cells with what their kits left: mean film (B,), own variance (B,), loss group (B,)."""

    rects: Rects
    mean: FloatArray
    var: FloatArray
    group: IntArray

    @classmethod
    def none(cls) -> Kits:
        return cls(rects=Rects.of([]), mean=_none(), var=_none(), group=_no_ids())

    def __len__(self) -> int:
        return len(self.mean)


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What was read and spread over one grid, and the film it was meant to be."""

    shape: tuple[int, int]
    step: float
    target: float
    readings: Readings
    kits: Kits
    doubts: Doubts

    def __post_init__(self) -> None:
        n = len(self.readings) + len(self.kits)
        if n == 0:
            raise InputError("there is neither a reading nor a kit.", do="Enter some first.")
        if n > MOST_DATA:
            raise InputError(
                f"{n} readings and kits are more than can be judged at once ({MOST_DATA}).",
                do="Judge one section at a time.",
            )

    @cached_property
    def cell_of(self) -> IntArray:
        """Cell number of each node (ny, nx); nodes of no kit share one more number."""
        out = np.full(self.shape, len(self.kits), dtype=np.int64)
        bounds, owner = self.kits.rects.bounds, self.kits.rects.owner
        for (r0, r1, c0, c1), cell in zip(bounds, owner, strict=True):
            out[r0:r1, c0:c1] = cell
        return out

    @cached_property
    def rows(self) -> sparse.csr_array:
        """What each datum weighs of each node: (n, ny * nx)."""
        p, nx = len(self.readings), self.shape[1]
        flat = np.arange(self.shape[0] * nx).reshape(self.shape)
        at, on, weight = [np.arange(p)], [flat[tuple(self.readings.node.T)]], [np.ones(p)]
        for (r0, r1, c0, c1), k in zip(self.kits.rects.bounds, self.kits.rects.owner, strict=True):
            here = flat[r0:r1, c0:c1].ravel()
            at.append(np.full(len(here), p + k))
            on.append(here)
            weight.append(np.full(len(here), 1 / self.kits.rects.nodes[k]))
        n = p + len(self.kits)
        parts = (np.concatenate(weight), (np.concatenate(at), np.concatenate(on)))
        return sparse.csr_array(parts, shape=(n, flat.size))

    @cached_property
    def in_cell(self) -> FloatArray:
        """What each datum weighs of each cell's step: (n, B + 1)."""
        p, b = len(self.readings), len(self.kits)
        out = np.zeros((p + b, b + 1))
        out[np.arange(p), self.cell_of[tuple(self.readings.node.T)]] = 1
        out[p + np.arange(b), np.arange(b)] = 1
        return out

    @cached_property
    def at_cell(self) -> IntArray:
        """Cell number of each datum: (n,)."""
        return np.concatenate(
            [self.cell_of[tuple(self.readings.node.T)], np.arange(len(self.kits))]
        )

    @cached_property
    def sharing(self) -> tuple[FloatArray, FloatArray]:
        """Which gauge (n, G) and which loss group (n, H) each datum shares."""
        p, b = len(self.readings), len(self.kits)
        gauge = np.zeros((p + b, int(self.readings.gauge.max(initial=-1)) + 1))
        gauge[np.arange(p), self.readings.gauge] = 1
        group = np.zeros((p + b, int(self.kits.group.max(initial=-1)) + 1))
        group[p + np.arange(b), self.kits.group] = 1
        return gauge, group

    def tables(self, spread: Spread) -> Tables:
        return Tables(self.shape, self.step, spread.sd, spread.ell, spread.kernel)

    def smooth(self, t: Tables) -> FloatArray:
        """Covariance of the smooth part among the data: (n, n)."""
        p = len(self.readings)
        n = p + len(self.kits)
        k = np.empty((n, n))
        k[:p, :p] = t.spots(self.readings.node, self.readings.node)
        k[:p, p:] = t.spots_cells(self.readings.node, self.kits.rects)
        k[p:, :p] = k[:p, p:].T
        k[p:, p:] = t.cells(self.kits.rects)
        return k

    @property
    def together(self) -> NDArray[np.bool_]:
        """Which data share a cell's step: (n, n)."""
        return np.asarray(self.at_cell[:, None] == self.at_cell)

    def covariance(self, spread: Spread, tables: Tables | None = None) -> FloatArray:
        """Prior covariance of the data, shared errors included: (n, n)."""
        p = len(self.readings)
        k = self.smooth(tables or self.tables(spread))
        k += self.doubts.level**2
        if spread.tau:
            np.add(k, spread.tau**2, out=k, where=self.together)
        for part, group, sd in (
            (k[:p, :p], self.readings.gauge, self.doubts.gauge),
            (k[p:, p:], self.kits.group, self.doubts.loss),
        ):
            np.add(part, sd**2, out=part, where=group[:, None] == group)
        return k

    def closed(self) -> Evidence:
        """Without readings open at one end; for the search of the spread only."""
        r = self.readings
        keep = np.isfinite(r.low) & np.isfinite(r.high)
        if keep.all() or (not keep.any() and not len(self.kits)):
            return self
        part = Readings(node=r.node[keep], low=r.low[keep], high=r.high[keep], gauge=r.gauge[keep])
        return replace(self, readings=part)

    def by_middles(self, spread: Spread, tables: Tables | None = None) -> Sites:
        """Intervals taken as their middle with the variance of an even spread."""
        return settled(self.covariance(spread, tables), self.target, *self.middles(spread))

    def middles(self, spread: Spread) -> tuple[FloatArray, FloatArray]:
        """Value and own variance of each datum, intervals as even spreads: (n,), (n,)."""
        r = self.readings
        noise = self.doubts.read**2 + spread.micro**2
        width = np.where(np.isfinite(r.high - r.low), r.high - r.low, 0)
        s = np.concatenate([width**2 / 12 + noise, self.kits.var])
        return np.concatenate([r.middle, self.kits.mean]), s

    def split(self, most: int) -> list[Evidence]:
        """Neighbours together in groups of at most ``most`` data, for the search of the spread."""
        p = len(self.readings)
        middle = self.kits.rects.middle
        at = np.concatenate([self.readings.node.astype(float), middle])
        groups, done = [np.arange(len(at))], []
        while groups:
            g = groups.pop()
            if len(g) <= most:
                done.append(np.sort(g))
                continue
            axis = int(np.ptp(at[g], axis=0).argmax())
            order = g[np.argsort(at[g, axis], kind="stable")]
            groups += [order[: len(g) // 2], order[len(g) // 2 :]]
        return [self._part(g[g < p], g[g >= p] - p) for g in sorted(done, key=lambda g: int(g[0]))]

    def _part(self, read: IntArray, kit: IntArray) -> Evidence:
        r, k = self.readings, self.kits
        readings = Readings(
            node=r.node[read], low=r.low[read], high=r.high[read], gauge=r.gauge[read]
        )
        rects = Rects.of(
            [[(int(a), int(b), int(c), int(d)) for a, b, c, d in k.rects.bounds[k.rects.owner == j]]
             for j in kit]
        )  # fmt: skip
        kits = Kits(rects=rects, mean=k.mean[kit], var=k.var[kit], group=k.group[kit])
        return replace(self, readings=readings, kits=kits)
