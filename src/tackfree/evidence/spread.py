"""How this crew's film varies, found from the job's own readings and kits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from tackfree.errors import InputError
from tackfree.evidence.field import Evidence, Spread
from tackfree.evidence.kernel import FloatArray

MOST_TRIES = 90
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
    Exact evidence of the normal model with readings at their middles; maximum with the
    log-normal priors of ``before`` by the downhill simplex, at most 90 tries. Beyond 300
    data the evidences of groups of neighbours are added as if groups knew nothing of each
    other (composite likelihood); the range lies well inside a group.
    """
    parts = evidence.closed().split(TOGETHER)
    m = before.middle
    start = np.log([m.sd, m.ell, m.tau, m.micro])
    width = np.asarray(before.log_sd)

    def at(x: FloatArray) -> Spread:
        sd, ell, tau, micro = np.exp(x)
        return replace(m, sd=float(sd), ell=float(ell), tau=float(tau), micro=float(micro))

    def cost(x: FloatArray) -> float:
        away = (x - start) / width
        if np.abs(away).max() > 4:
            return 1e12 + float(away @ away)
        try:
            spread = at(x)
            tables = evidence.tables(spread)
            fit = sum(p.by_middles(spread, tables).log_evidence for p in parts)
        except InputError:
            return 1e12
        return 0.5 * float(away @ away) - fit

    simplex = np.vstack([start, start + 0.4 * np.eye(4)])
    found = minimize(
        cost,
        start,
        method="Nelder-Mead",
        options={
            "maxfev": MOST_TRIES, "xatol": 0.02, "fatol": 0.02, "initial_simplex": simplex,
        },
    )  # fmt: skip
    return at(np.asarray(found.x))
