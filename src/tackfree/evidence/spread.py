"""How this crew's film varies, found from the job's own readings and kits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg.lapack import dpotri
from scipy.optimize import minimize

from tackfree.errors import InputError
from tackfree.evidence.data import Evidence, Spread
from tackfree.evidence.interval import settled
from tackfree.evidence.kernel import FloatArray, Tables

MOST_TRIES = 40
FAR = 4.0  # log sds from the middle; nothing is sought beyond
TOGETHER = 300  # data whose joint evidence is taken; more are split among neighbours


@dataclass(frozen=True, kw_only=True)
class Beforehand:
    """What is thought of the spread before the job: middle values and log sds.

    With fewer than about 30 readings the data say little of the range, and this speaks.
    """

    middle: Spread
    log_sd: tuple[float, float, float, float] = (0.5, 0.5, 0.6, 0.6)


# practice: squeegeed and back-rolled membranes; in mil and ft 2, 12, 0.8 and 0.5
USUAL = Beforehand(middle=Spread(sd=50.8, ell=3.6576, tau=20.32, micro=12.7))


def find_spread(evidence: Evidence, before: Beforehand = USUAL) -> Spread:
    """The most credible spread.

    Parameters
    ----------
    evidence : Evidence
        Readings and kits; those open at one end take no part in the search.
    before : Beforehand
        In the units of the evidence.

    Returns
    -------
    Spread

    Source
    ------
    Exact evidence of the normal model with readings at their middles (Rasmussen &
    Williams 2006, 5.4.1, with its gradient); maximum with the log-normal priors of
    ``before`` by a quasi-Newton search within bounds. Beyond 300 data the evidences of
    groups of neighbours are added as if groups knew nothing of each other (composite
    likelihood); the range lies well inside a group.
    """
    parts = evidence.closed().split(TOGETHER)
    m = before.middle
    middle = np.log([m.sd, m.ell, m.tau, m.micro])
    width = np.asarray(before.log_sd)
    reach = _reach(parts)

    def at(x: FloatArray) -> Spread:
        sd, ell, tau, micro = np.exp(middle + width * x)
        return replace(m, sd=float(sd), ell=float(ell), tau=float(tau), micro=float(micro))

    def cost(x: FloatArray) -> tuple[float, FloatArray]:
        try:
            fit, slope = log_evidence(parts, at(x), reach)
        except InputError:
            return 1e12, np.zeros(4)
        return 0.5 * float(x @ x) - fit, x - width * slope

    found = minimize(
        cost, np.zeros(4), jac=True, method="L-BFGS-B", bounds=[(-FAR, FAR)] * 4,
        options={"maxfun": MOST_TRIES, "ftol": 1e-9, "gtol": 3e-3},
    )  # fmt: skip
    return at(np.asarray(found.x))


def log_evidence(
    parts: list[Evidence], spread: Spread, reach: tuple[int, int]
) -> tuple[float, FloatArray]:
    """Summed log evidence, and its slope by the logarithms of sd, range, step and ridges.

    ``reach`` is the widest shift within a part, in nodes. (4,)
    """
    step = parts[0].step
    near = Tables(reach, step, spread.sd, spread.ell, spread.kernel)
    turn = Tables(reach, step, spread.sd, spread.ell, spread.kernel, slope=True)
    fit, slope = 0.0, np.zeros(4)
    for part in parts:
        sites = settled(part.covariance(spread, near), part.target, *part.middles(spread))
        fit += sites.log_evidence
        inverse, _ = dpotri(sites.chol, lower=1)
        inverse = np.tril(inverse) + np.tril(inverse, -1).T
        pull = np.outer(sites.alpha, sites.alpha) - inverse
        p = len(part.readings)
        slope += (
            float((pull * part.smooth(near)).sum()),
            0.5 * float((pull * part.smooth(turn)).sum()),
            spread.tau**2 * float(pull[part.together].sum()),
            spread.micro**2 * float(np.trace(pull[:p, :p])),
        )
    return fit, slope


def _reach(parts: list[Evidence]) -> tuple[int, int]:
    """Rows and columns that the data of the widest part span."""
    spans = np.ones((len(parts), 2), dtype=np.int64)
    for k, part in enumerate(parts):
        b = part.kits.rects.bounds
        for axis in (0, 1):
            node = part.readings.node[:, axis]
            ends = np.concatenate([node, node + 1, b[:, 2 * axis], b[:, 2 * axis + 1]])
            spans[k, axis] = np.ptp(ends)
    rows, cols = (int(v) for v in spans.max(0))
    return rows, cols
