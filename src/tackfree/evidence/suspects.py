"""Which reading, kit or instrument is wrong, where something does not fit the rest.

Each datum is foretold from all the others; what lies far off is suspect. Each single cause
leaves its own pattern in the data: a kit missing lifts one cell by one kit's film, a gauge
lifts all its readings alike, pails left half full or a section drawn too small lift all
kits alike, a kit booked in the wrong section leaves one cell too rich and another too poor.
The chance of each pattern, nothing wrong among them, follows from how much better the data
fit with it. One cause at a time: two at once are not looked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve

from tackfree.errors import InputError
from tackfree.evidence.field import Field
from tackfree.evidence.interval import settled
from tackfree.evidence.kernel import FloatArray

NOTHING = "nothing"
# practice: chance beforehand that a section's record has it
BEFORE = {
    NOTHING: 0.70, "reading": 0.05, "area": 0.06, "kit-missing": 0.05, "kit-twice": 0.04,
    "wrong-section": 0.03, "kits-alike": 0.04, "gauge": 0.03,
}  # fmt: skip
AREA_OFF = 0.20  # practice: of the area, where it is wrong at all
READING_OFF = 0.25  # practice: of the film, for a reading of the wrong spot or scale
SHARED_OFF = 0.12  # practice: of the film, for a worn gauge or pails left half full


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One cause, its chance, and by how much it moves the data. [film]

    ``which`` is the reading, kit cell, gauge or loss group; ``other`` the second cell of a
    kit booked in the wrong section. ``off`` is what the datum tells above the truth.
    """

    cause: str
    which: int
    chance: float
    off: float
    other: int | None = None


@dataclass(frozen=True, kw_only=True)
class Suspects:
    """``residual`` (n,) of readings, then kit cells, each foretold without itself. [sd]"""

    residual: FloatArray
    causes: tuple[Suspect, ...]  # likeliest first; ``nothing`` is one of them

    def chance(self, cause: str) -> float:
        """That this kind of cause is the one, wherever it is."""
        return math.fsum(s.chance for s in self.causes if s.cause == cause)


def find_suspects(field: Field, *, kit_film: FloatArray | None = None) -> Suspects:
    """What does not fit, and the likeliest single cause.

    Parameters
    ----------
    field : Field
        Readings are taken at the middle of their interval.
    kit_film : array (B,), optional
        Film that one kit more makes on each cell; the cell's own mean where left out,
        as if each cell had one kit.

    Returns
    -------
    Suspects

    Raises
    ------
    InputError
        If ``kit_film`` is not one number above 0 for each cell.

    Source
    ------
    Exact for the normal model: Rasmussen & Williams 2006, 5.4.2, eq. 5.12, foretold
    without itself; evidence of a shift in mean along a pattern, known or normal. Chances
    beforehand are practice.
    """
    e = field.evidence
    p, b = len(e.readings), len(e.kits)
    whole = e.kits.mean if kit_film is None else np.asarray(kit_film, dtype=float)
    if whole.shape != (b,) or not (np.isfinite(whole) & (whole > 0)).all():
        raise InputError(
            "the film of one kit is not above 0 on every cell.", do="Check areas and volumes."
        )
    two = np.isfinite(e.readings.low) & np.isfinite(e.readings.high)
    y, s = e.middles(field.spread)
    s[:p][~two] = 1e6 * field.prior_var  # an open interval tells no middle
    sites = settled(e.covariance(field.spread, field.tables), e.target, y, s)
    inverse = cho_solve((sites.chol, True), np.eye(p + b), check_finite=False)
    own = np.diag(inverse)
    found: list[tuple[str, int, int | None, float, float]] = []
    for cause, which, other, pattern, size, sd in _patterns(field, whole, two):
        pull, stiff = float(pattern @ sites.alpha), float(pattern @ inverse @ pattern)
        if sd is None:
            gain, off = size * pull - 0.5 * size**2 * stiff, size
        else:
            gain = 0.5 * (pull**2 * sd**2 / (1 + sd**2 * stiff) - math.log1p(sd**2 * stiff))
            off = pull * sd**2 / (1 + sd**2 * stiff)
        found.append((cause, which, other, gain, off))
    kinds = [f[0] for f in found]
    log = np.array(
        [math.log(BEFORE[NOTHING])]
        + [math.log(BEFORE[c] / kinds.count(c)) + gain for c, _, _, gain, _ in found]
    )
    chance = np.exp(log - log.max())
    chance /= chance.sum()
    causes = [Suspect(cause=NOTHING, which=0, chance=float(chance[0]), off=0.0)]
    causes += [
        Suspect(cause=c, which=w, chance=float(q), off=off, other=o)
        for (c, w, o, _, off), q in zip(found, chance[1:], strict=True)
    ]
    causes.sort(key=lambda x: (-x.chance, x.cause, x.which, x.other or 0))
    return Suspects(residual=sites.alpha / np.sqrt(own), causes=tuple(causes))


def _patterns(
    field: Field, whole: FloatArray, two: np.ndarray
) -> Iterator[tuple[str, int, int | None, FloatArray, float, float | None]]:
    """Cause, which, other, its pattern in the data, its size, or the sd of its size."""
    e = field.evidence
    p, b = len(e.readings), len(e.kits)
    unit = np.eye(p + b)
    for r in map(int, np.flatnonzero(two)):
        yield "reading", r, None, unit[r], 0.0, READING_OFF * e.target
    for k in range(b):
        yield "area", k, None, unit[p + k], 0.0, AREA_OFF * float(e.kits.mean[k])
        yield "kit-missing", k, None, unit[p + k], -float(whole[k]), None
        yield "kit-twice", k, None, unit[p + k], float(whole[k]), None
        for j in range(b):
            if j != k:
                # booked on k, poured on j
                pattern = unit[p + k] * whole[k] - unit[p + j] * whole[j]
                yield "wrong-section", k, j, pattern, 1.0, None
    gauge, group = e.sharing
    for cause, ones in (("gauge", gauge), ("kits-alike", group)):
        for k in range(ones.shape[1]):
            yield cause, k, None, ones[:, k], 0.0, SHARED_OFF * e.target
