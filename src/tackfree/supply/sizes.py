"""Section sizes at which kits come out whole, and kits that two sections share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.film.volume import SLACK_KITS, kits_needed


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """Sizes in place of those given, with the kits of both. [m²]"""

    given_m2: tuple[float, ...]
    sizes_m2: tuple[float, ...]
    given_kits: int
    kits: int

    @property
    def saved(self) -> int:
        return self.given_kits - self.kits


def propose_sizes(
    given_m2: Sequence[float],
    kits_per_m2: Sequence[float],
    *,
    most_m2: float | None = None,
    least_share: float = 0.5,
) -> Proposal:
    """As many sections as given, of the same total area, with fewer kits where possible.

    All sections but the last get one of at most two sizes at which some coat's kits are
    whole; the last takes the rest. The cutting itself stays with whoever draws it.

    Parameters
    ----------
    given_m2 : sequence of float
        Sizes as cut. [m²]
    kits_per_m2 : sequence of float
        What each coat takes, loss and fill included. [kits/m²]
    most_m2 : float, optional
        Largest section allowed; the largest given stays allowed.
    least_share : float
        No section smaller than this share of the smallest given.

    Returns
    -------
    Proposal
        Never more kits than given: where nothing better is found, the sizes as given.

    Source
    ------
    Search by enumeration over sizes at which one coat needs whole kits.
    """
    given = tuple(given_m2)
    total, n = sum(given), len(given)
    rates = np.array([r for r in kits_per_m2 if r > 0])

    def kits(sizes: NDArray[np.float64]) -> NDArray[np.float64]:
        found = np.ceil(sizes[..., None] * rates - SLACK_KITS)
        out: NDArray[np.float64] = np.maximum(found, 0.0).sum(axis=-1)
        return out

    now = int(kits(np.array(given)).sum())
    same = Proposal(given_m2=given, sizes_m2=given, given_kits=now, kits=now)
    if n < 2 or not rates.size:
        return same
    most = max(max(given), most_m2 or 0.0)
    least = least_share * min(given)
    tops = [np.arange(1, int(most * r + SLACK_KITS) + 1) / r for r in rates]
    sizes = np.unique(np.concatenate(tops))
    sizes = sizes[(sizes >= least) & (sizes <= most)]
    if not sizes.size:
        return same
    need = kits(sizes)
    best = (now, given)
    for first in range(n):  # sections of one size; the others but the last of another
        second = n - 1 - first
        rest = total - first * sizes[:, None] - second * sizes[None, :]
        ok = (rest >= least) & (rest <= most)
        if not ok.any():
            continue
        sums = first * need[:, None] + second * need[None, :] + kits(np.where(ok, rest, 0.0))
        sums = np.where(ok, sums, np.inf)
        i, j = np.unravel_index(int(np.argmin(sums)), sums.shape)
        if sums[i, j] < best[0]:
            made = (*[float(sizes[i])] * first, *[float(sizes[j])] * second, float(rest[i, j]))
            best = (int(sums[i, j]), made)
    return Proposal(given_m2=given, sizes_m2=best[1], given_kits=now, kits=best[0])


def shared_kits(volumes_l: Sequence[float], kit_l: float) -> tuple[int, int]:
    """Kits of sections coated apart, and coated one after the other in one go.

    In one go the last kit of a section begins the next one; that needs both to be ready
    and the kit to be down within its pot life, which the caller checks.

    >>> shared_kits([6.0, 6.0], 10.0), shared_kits([4.0, 4.0], 10.0)
    ((2, 2), (2, 1))
    """
    return sum(kits_needed(v, kit_l) for v in volumes_l), kits_needed(sum(volumes_l), kit_l)
