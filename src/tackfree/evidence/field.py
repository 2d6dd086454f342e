"""The film over a section, given interval readings at spots and volumes over cells.

    film(s) = target + level + step[cell(s)] + smooth(s) + ridge(s)

``level`` is how the whole job lies about its target, ``step`` what changes from kit to
kit, ``smooth`` what changes over several feet, ``ridge`` what changes below the grid. A
reading sees the film at a spot plus its gauge's own bias, which every reading of that
gauge shares; a kit tells the mean over its cell plus an error of loss, which every kit of
its group shares. Shared errors are what keeps a hundred readings with one worn gauge from
looking like proof.

Everything is solved among the data (a few hundred, at most a few thousand), never over
the grid, and is exact. One unit for lengths, one for films; the house uses m and µm.

Source
------
Published: Rasmussen & Williams, *Gaussian Processes for Machine Learning*, 2006, 2.2 and
3.6; Chilès & Delfiner, *Geostatistics*, 2nd ed., conditioning by kriging; Dietrich &
Newsam 1997, draws by circulant embedding.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import fft, sparse
from scipy.linalg import cho_solve, solve_triangular
from scipy.linalg.blas import dtrsm, strsm

from tackfree.errors import InputError
from tackfree.evidence.interval import Sites, factor, settle, settled
from tackfree.evidence.kernel import FloatArray, IntArray, Rects, Tables

MOST_DATA = 4000
BATCH = 16
TILE = 4096
PLACES = 6_000_000  # numbers of one band of the exact map
CHECKED = 64  # nodes of a map worked in single precision that are worked in double too
SINGLE = 3e-6  # of the variance beforehand; what single precision may cost
MOST_PADDED = 4_000_000  # nodes of the grid that draws are made on


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


@dataclass(frozen=True, kw_only=True)
class Field:
    """The film given the evidence: mean, sd, joint draws."""

    evidence: Evidence
    spread: Spread
    sites: Sites
    tables: Tables

    def mean(self) -> FloatArray:
        """Mean film at each node: (ny, nx)."""
        return self.evidence.target + self._carry(self.sites.alpha)

    def _carry(self, alpha: FloatArray, *, coarse: bool = False) -> FloatArray:
        """Cross-covariance of nodes and data times ``alpha``: (..., ny, nx).

        Gauge bias and loss have no part in it: they are no film.
        """
        e = self.evidence
        flat = (e.rows.T @ alpha.T).T.reshape(*alpha.shape[:-1], *e.shape)
        out = np.array(self.tables.product(flat.astype(np.float32) if coarse else flat))
        out += (e.doubts.level**2 * alpha.sum(-1))[..., None, None]
        if self.spread.tau:
            out += self.spread.tau**2 * (alpha @ e.in_cell)[..., e.cell_of]
        return out

    def cross(self, node: IntArray) -> FloatArray:
        """Covariance of nodes (m, 2) with the data: (m, n)."""
        e = self.evidence
        p = len(e.readings)
        out = np.empty((len(node), p + len(e.kits)))
        out[:, :p] = self.tables.spots(node, e.readings.node)
        out[:, p:] = self.tables.spots_cells(node, e.kits.rects)
        out += e.doubts.level**2
        if self.spread.tau:
            out += self.spread.tau**2 * e.in_cell[:, e.cell_of[tuple(node.T)]].T
        return out

    @property
    def prior_var(self) -> float:
        """Variance of the film at a node before anything was read, ridges left out."""
        return self.spread.sd**2 + self.evidence.doubts.level**2 + self.spread.tau**2

    def sd(self, node: IntArray) -> FloatArray:
        """Exact sd of the film at nodes (m, 2), ridges left out."""
        out = np.empty(len(node))
        for at in range(0, len(node), TILE):
            k = self.cross(node[at : at + TILE])
            z = solve_triangular(
                self.sites.chol, k.T, lower=True, check_finite=False, overwrite_b=True
            )
            out[at : at + TILE] = self.prior_var - np.einsum("ij,ij->j", z, z)
        return np.sqrt(np.maximum(out, 0.0))

    def sd_map(self) -> FloatArray:
        """Exact sd of the film at every node, ridges left out: (ny, nx).

        Worked in single precision with the job's level apart, whose variance would drown
        the rest; some nodes are worked again in double, and all of them where that shows
        a difference.
        """
        e = self.evidence
        var = self._variances(np.float32)
        some = np.linspace(0, var.size - 1, CHECKED).astype(np.int64)
        node = np.column_stack(np.divmod(some, e.shape[1]))
        off = np.abs(var.ravel()[some] - self.sd(node) ** 2).max()
        if off > SINGLE * self.prior_var:
            var = self._variances(np.float64)
        return np.sqrt(np.maximum(var, 0.0))

    def _variances(self, kind: type[np.floating]) -> FloatArray:
        """Variance of the film at every node, band by band of rows."""
        e, tau2 = self.evidence, self.spread.tau**2
        bare = replace(e, doubts=replace(e.doubts, level=0.0))
        chol = factor(bare.covariance(self.spread, self.tables) + np.diag(self.sites.s))
        ones = solve_triangular(chol, np.ones(len(chol)), lower=True)
        level = float(ones @ ones) + (1 / e.doubts.level**2 if e.doubts.level else np.inf)
        low = np.asfortranarray(chol, dtype=kind)
        one = ones.astype(kind)
        trsm = strsm if kind is np.float32 else dtrsm
        ny, nx = e.shape
        size = len(chol) + len(e.kits.rects.bounds)
        rows = int(np.clip(PLACES // (nx * size), 1, ny))
        out = np.empty(ny * nx)
        for first in range(0, ny, rows):
            count = min(rows, ny - first)
            k = self.tables.band(first, count, e.readings.node, e.kits.rects, kind)
            if tau2:
                same = e.at_cell[:, None] == e.cell_of[first : first + count].ravel()
                np.add(k, kind(tau2), out=k, where=same)
            z = trsm(1.0, low, k.T, side=1, lower=1, trans_a=1, overwrite_b=1)
            told = np.einsum("ij,ij->i", z, z)
            missed = 1 - z @ one
            out[first * nx : (first + count) * nx] = (
                self.spread.sd**2 + tau2 - told + missed**2 / level
            )
        return out.reshape(ny, nx)

    def gauge_bias(self) -> tuple[FloatArray, FloatArray]:
        """What each gauge reads above the film: mean and sd."""
        return self._shared(self.evidence.sharing[0], self.evidence.doubts.gauge)

    def loss_error(self) -> tuple[FloatArray, FloatArray]:
        """What each group of kits tells above the film: mean and sd."""
        return self._shared(self.evidence.sharing[1], self.evidence.doubts.loss)

    def _shared(self, ones: FloatArray, sd: float) -> tuple[FloatArray, FloatArray]:
        mean = sd**2 * ones.T @ self.sites.alpha
        held = np.einsum("ng,ng->g", ones, cho_solve((self.sites.chol, True), ones))
        return mean, np.sqrt(np.maximum(sd**2 - sd**4 * held, 0.0))

    def draws(self, count: int, seed: int) -> Iterator[NDArray[np.float32]]:
        """Joint draws of the film over the grid, in batches (<= 16, ny, nx); ridges left out."""
        e = self.evidence
        rng = np.random.default_rng(seed)
        prior = _Draw(self.tables)
        gauge, group = e.sharing
        root = np.sqrt(self.sites.s)
        left = count
        while left > 0:
            m = min(BATCH, left)
            left -= m
            x = prior.some(m, rng)
            x += e.doubts.level * rng.standard_normal((m, 1, 1))
            if self.spread.tau:
                step = self.spread.tau * rng.standard_normal((m, len(e.kits) + 1))
                x += step[:, e.cell_of]
            seen = (e.rows @ x.reshape(m, -1).T).T
            seen += e.doubts.gauge * rng.standard_normal((m, gauge.shape[1])) @ gauge.T
            seen += e.doubts.loss * rng.standard_normal((m, group.shape[1])) @ group.T
            seen += root * rng.standard_normal((m, len(root)))
            r = self.sites.y - e.target - seen
            alpha = cho_solve((self.sites.chol, True), r.T, check_finite=False).T
            yield (e.target + x + self._carry(alpha, coarse=True)).astype(np.float32)


class _Draw:
    """Draws of the smooth part: a circulant grid, padded until its clipped share is nil."""

    def __init__(self, t: Tables) -> None:
        self.shape = t.shape
        for pad in (2, 4, 6, 8, 12, 16, 24, 32):
            size = [fft.next_fast_len(n + int(np.ceil(pad * t.ell / t.step))) for n in t.shape]
            if pad > 2 and size[0] * size[1] > MOST_PADDED:
                break
            dy, dx = (np.minimum(np.arange(n), n - np.arange(n)) for n in size)
            value = fft.fft2(t.at(np.hypot(dy[:, None], dx[None, :]) * t.step)).real
            if -value[value < 0].sum() < 1e-6 * np.abs(value).sum():
                break
        self.root = np.sqrt(np.maximum(value, 0) * value.size).astype(np.float32)

    def some(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Two draws come out of each transform: its real and its imaginary part."""
        half = (count + 1) // 2
        noise = rng.standard_normal((half, *self.root.shape, 2), dtype=np.float32)
        both = fft.ifft2(self.root * noise.view(np.complex64)[..., 0])
        both = both[:, : self.shape[0], : self.shape[1]]
        return np.concatenate([both.real, both.imag])[:count].astype(float)


def solve(evidence: Evidence, spread: Spread) -> Field:
    """The film given the evidence and a known spread."""
    tables = evidence.tables(spread)
    sites = settle(
        evidence.covariance(spread, tables),
        centre=evidence.target,
        low=evidence.readings.low,
        high=evidence.readings.high,
        noise_var=evidence.doubts.read**2 + spread.micro**2,
        kit_y=evidence.kits.mean,
        kit_var=evidence.kits.var,
    )
    return Field(evidence=evidence, spread=spread, sites=sites, tables=tables)
