"""The film over a section, given what :mod:`tackfree.evidence.data` holds of it.

Everything is solved among the data (a few hundred, at most a few thousand), never over
the grid, and is exact.

Source
------
Published: Rasmussen & Williams, *Gaussian Processes for Machine Learning*, 2006, 2.2 and
3.6; Chilès & Delfiner, *Geostatistics*, 2nd ed., conditioning by kriging.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, solve_triangular
from scipy.linalg.blas import dtrsm, strsm

from tackfree.evidence.data import Evidence, Spread
from tackfree.evidence.draws import SmoothDraws
from tackfree.evidence.interval import Sites, factor, settle
from tackfree.evidence.kernel import FloatArray, IntArray, Tables

BATCH = 16
TILE = 4096
PLACES = 6_000_000  # numbers of one band of the exact map
CHECKED = 64  # nodes of a map worked in single precision that are worked in double too
SINGLE = 3e-6  # of the variance beforehand; what single precision may cost


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

    def sd_map(self, *, single: bool = True) -> FloatArray:
        """Exact sd of the film at every node, ridges left out: (ny, nx).

        Worked in single precision with the job's level apart, whose variance would drown
        the rest; some nodes are worked again in double, and all of them where that shows
        a difference. Without ``single`` all of it is worked in double.
        """
        e = self.evidence
        if not single:
            return np.sqrt(np.maximum(self._variances(np.float64), 0.0))
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
        prior = SmoothDraws(self.tables)
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
