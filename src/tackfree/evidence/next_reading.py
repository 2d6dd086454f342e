"""Where to read next while the film is wet, and whether reading is what helps.

A reading more, a check of the gauge, a weighing of the empty pails: each takes its own
share off the doubt of a patch's mean, whatever it will say, because in a normal model
the doubt left depends only on what is measured and how well. So they can be ranked
before anyone bends down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, solve_triangular

from tackfree.evidence.field import Field
from tackfree.evidence.grid import BoolArray
from tackfree.evidence.kernel import FloatArray, IntArray
from tackfree.evidence.verdict import Judged, Patch

CANDIDATES = 500
APART = 1 / 3  # of the range: closer spots repeat each other, and a person is not that exact
DOUBTFUL = (0.05, 0.95)


@dataclass(frozen=True, kw_only=True)
class Helps:
    """Share of a patch mean's variance each measurement would take away.

    ``spots`` are nodes to read, best first; ``readings`` what all of them take together.
    ``gauge`` and ``loss`` are by gauge and by loss group.
    """

    patch_id: str
    spots: IntArray
    readings: float
    gauge: FloatArray
    loss: FloatArray


def what_helps(
    field: Field,
    patch: Patch,
    judged: Judged,
    *,
    count: int = 6,
    gauge: int = 0,
    width: float = 50.8,
    gauge_check_sd: float = 5.08,
    weighing_sd: float = 2.54,
    wet: BoolArray | None = None,
) -> Helps:
    """Rank what could be measured next for one patch.

    Parameters
    ----------
    field : Field
    patch : Patch
    judged : Judged
        Readings are sought where the chance is neither near 0 nor near 1.
    count : int
        Spots to name.
    gauge : int
        The gauge they would be read with, or one not used so far.
    width : float
        Gap between its teeth. [µm]
    gauge_check_sd, weighing_sd : float
        What a pour of known volume, or weighed pails, leave of the shared errors. [µm]
    wet : array (ny, nx), optional
        Nodes where a gauge still reads; left out, all of them. Where none of the patch
        is wet no spot is named and only gauge and pails are left to rank.

    Returns
    -------
    Helps

    Source
    ------
    Exact for the normal model: each datum takes cov² / (var + noise) off the variance.
    """
    e, chol = field.evidence, field.sites.chol
    weight = patch.mask / patch.mask.sum()
    over = field.tables.product(weight)
    there = patch.mask if wet is None else patch.mask & wet
    nodes = np.argwhere(there & (judged.chance > DOUBTFUL[0]) & (judged.chance < DOUBTFUL[1]))
    if not len(nodes):
        nodes = np.argwhere(there)
    nodes = nodes[:: max(1, -(-len(nodes) // CANDIDATES))]
    share = np.bincount(e.cell_of[patch.mask], minlength=len(e.kits) + 1) / patch.mask.sum()
    level, tau2 = e.doubts.level**2, field.spread.tau**2
    to_data = e.rows @ over.ravel() + level + tau2 * (e.in_cell @ share)
    half = solve_triangular(chol, to_data, lower=True)
    left = float((weight * over).sum() + level + tau2 * (share @ share) - half @ half)

    ones_gauge, ones_group = e.sharing
    by_gauge = _checks(field, to_data, ones_gauge, e.doubts.gauge, gauge_check_sd) / left
    by_loss = _checks(field, to_data, ones_group, e.doubts.loss, weighing_sd) / left

    if not len(nodes):
        return Helps(patch_id=patch.id, spots=nodes, readings=0.0, gauge=by_gauge, loss=by_loss)
    new = field.cross(nodes)
    own = ones_gauge[:, gauge] if gauge < ones_gauge.shape[1] else np.zeros(len(to_data))
    new += e.doubts.gauge**2 * own
    z = solve_triangular(chol, new.T, lower=True)
    cell = e.cell_of[tuple(nodes.T)]
    to_patch = over[tuple(nodes.T)] + level + tau2 * share[cell] - half @ z
    among = field.tables.spots(nodes, nodes) + level + e.doubts.gauge**2
    among += tau2 * (cell[:, None] == cell) - z.T @ z
    noise = e.doubts.read**2 + field.spread.micro**2 + width**2 / 12
    picked: list[int] = []
    gone = 0.0
    free = np.ones(len(nodes), dtype=bool)
    apart = APART * field.spread.ell / e.step
    for _ in range(count):
        gain = np.where(free, to_patch**2 / (np.diag(among) + noise), -1.0)
        best = int(gain.argmax())
        if gain[best] < 0:
            break
        free &= np.hypot(*(nodes - nodes[best]).T) > apart
        picked.append(best)
        gone += float(gain[best])
        pull = among[:, best] / (among[best, best] + noise)
        to_patch = to_patch - pull * to_patch[best]
        among = among - np.outer(pull, among[best])
    return Helps(
        patch_id=patch.id,
        spots=nodes[picked],
        readings=gone / left,
        gauge=by_gauge,
        loss=by_loss,
    )


def still_wet(cells: Sequence[BoolArray], hours: Sequence[float], open_h: float) -> BoolArray:
    """Nodes whose film a notch gauge still reads.

    Parameters
    ----------
    cells : sequence of array (ny, nx)
        Ground of each kit, one or more.
    hours : sequence of float
        Since each was placed. [h]
    open_h : float
        Until the film no longer closes behind the gauge: gel or tack-free, the sooner. [h]

    Returns
    -------
    array (ny, nx)
    """
    wet = np.zeros(np.shape(cells[0]), dtype=bool)
    for cell, since in zip(cells, hours, strict=True):
        if 0 <= since < open_h:
            wet |= cell
    return wet


def _checks(
    field: Field, to_data: FloatArray, ones: FloatArray, sd: float, after: float
) -> FloatArray:
    """Variance of the patch mean taken away by measuring a shared error directly."""
    if sd == 0 or not ones.shape[1]:
        return np.zeros(ones.shape[1])
    known = cho_solve((field.sites.chol, True), ones)
    cov = -(sd**2) * to_data @ known
    var = sd**2 - sd**4 * np.einsum("ng,ng->g", ones, known)
    return np.asarray(cov**2 / (var + after**2))
