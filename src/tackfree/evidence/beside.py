"""Rules that stand beside a verdict: a share of readings, a tolerance limit, a standard's spots.

None of them decides by itself. Each is told with its basis next to the contract's own
rule and the chance, because they answer different questions and may disagree.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError
from tackfree.evidence.kernel import FloatArray
from tackfree.evidence.rules import DUST, FT2, RuleResult, SpotRule, areas_to_measure
from tackfree.evidence.tolerance import lower_limit
from tackfree.words import Message

AREA_SIDE_M = (100 * FT2) ** 0.5


def share_result(
    values_um: Sequence[float], *, specified_um: float, share: float, whole: int = 1
) -> RuleResult:
    """Share of readings at the specified film or more.

    Parameters
    ----------
    values_um : sequence of float
        Middles of the readings. [µm]
    specified_um : float
    share : float
        Asked for; a fraction above 0, up to 1.
    whole : int
        Fewer readings than this decide nothing.

    Returns
    -------
    RuleResult

    Source
    ------
    Exact; the numbers are the contract's.
    """
    if not 0 < share <= 1:
        raise InputError(f"the share is {share:g}.", do="For 90 % write 0.9.")
    n = len(values_um)
    if n < max(whole, 1):
        return RuleResult(
            rule="share", holds=None, found=None, wanted=share,
            message=Message(id="acceptance.share_none", values={"count": n}),
        )  # fmt: skip
    enough = sum(v >= specified_um * (1 - DUST) for v in values_um)
    holds = enough >= share * n - 1e-9
    return RuleResult(
        rule="share", holds=holds, found=enough / n, wanted=share,
        message=Message(
            id=f"acceptance.share_{'ok' if holds else 'low'}",
            values={
                "enough": enough, "count": n, "specified_um": specified_um,
                "share_pct": round(100 * share),
            },
        ),
    )  # fmt: skip


def tolerance_result(
    values_um: FloatArray,
    places_m: FloatArray,
    patch: BaseGeometry,
    *,
    least_um: float,
    share: float = 0.9,
    confidence: float = 0.95,
) -> RuleResult:
    """Whether the readings alone show that ``share`` of a patch has ``least_um``.

    Parameters
    ----------
    values_um : array (n,)
        Middles of the readings. [µm]
    places_m : array (n, 2)
        [m]
    patch : geometry
        [m]
    least_um : float
    share, confidence : float

    Returns
    -------
    RuleResult
        ``holds`` is None where there are fewer than two readings, and where they crowd
        together: they speak for their corner then, and the map must be asked.

    Source
    ------
    As :func:`tackfree.evidence.tolerance.lower_limit`.
    """
    n = len(values_um)
    said = {
        "count": n, "least_um": least_um, "share_pct": round(100 * share),
        "sure_pct": round(100 * confidence),
    }  # fmt: skip
    if n < 2:
        return RuleResult(
            rule="tolerance", holds=None, found=None, wanted=least_um,
            message=Message(id="acceptance.tolerance_none", values=said),
        )  # fmt: skip
    got = lower_limit(values_um, places_m, patch, share=share, confidence=confidence)
    if got.limit_um is None:
        said["hull_pct"] = round(100 * got.hull_share)
        return RuleResult(
            rule="tolerance", holds=None, found=None, wanted=least_um,
            message=Message(id="acceptance.tolerance_crowded", values=said),
        )  # fmt: skip
    holds = got.limit_um >= least_um * (1 - DUST)
    said["limit_um"] = got.limit_um
    return RuleResult(
        rule="tolerance", holds=holds, found=got.limit_um, wanted=least_um,
        message=Message(id=f"acceptance.tolerance_{'ok' if holds else 'low'}", values=said),
    )  # fmt: skip


def spot_result(
    values_um: FloatArray,
    places_m: FloatArray,
    *,
    area_m2: float,
    low_um: float,
    high_um: float,
    rule: SpotRule,
    sanded: bool,
    spot_m: float = 0.1524,
) -> RuleResult:
    """A standard's counting rule over one patch: spots of close readings in areas of 100 ft².

    Parameters
    ----------
    values_um : array (n,)
        Readings of the film the standard is for. [µm]
    places_m : array (n, 2)
        [m]
    area_m2 : float
        Of the patch. [m²]
    low_um, high_um : float
        Specified least and most film. [µm]
    rule : SpotRule
    sanded : bool
        Whether there is sand in the film: most of these rules are not for it.
    spot_m : float
        Readings no further apart than this belong to one spot. [m]

    Returns
    -------
    RuleResult
        ``holds`` is None where the standard cannot be applied, ``found`` the number of
        areas measured as it asks.

    Source
    ------
    ``rule.source``.
    """
    wanted = areas_to_measure(area_m2, rule)
    said: dict[str, int | float | str] = {
        "rule": rule.id, "areas": wanted, "spots": rule.spots_per_area,
        "readings": rule.readings_per_spot,
    }  # fmt: skip
    if sanded and not rule.sanded:
        return RuleResult(
            rule=rule.id, holds=None, found=None, wanted=float(wanted),
            message=Message(id="acceptance.spots_sanded", values=said),
        )  # fmt: skip
    areas = _areas(values_um, places_m, rule, spot_m)
    said["found"] = len(areas)
    if len(areas) < wanted:
        return RuleResult(
            rule=rule.id, holds=None, found=float(len(areas)), wanted=float(wanted),
            message=Message(id="acceptance.spots_few", values=said),
        )  # fmt: skip
    slack = DUST * high_um
    floor, ceiling = rule.spot_floor * low_um - slack, rule.spot_ceiling * high_um + slack
    bad = sum(
        not (all(floor <= v <= ceiling for v in spots)
             and low_um - slack <= float(np.mean(spots)) <= high_um + slack)
        for spots in areas
    )  # fmt: skip
    said["bad"] = bad
    return RuleResult(
        rule=rule.id, holds=not bad, found=float(len(areas)), wanted=float(wanted),
        message=Message(id=f"acceptance.spots_{'low' if bad else 'ok'}", values=said),
    )  # fmt: skip


def _areas(
    values_um: FloatArray, places_m: FloatArray, rule: SpotRule, spot_m: float
) -> list[list[float]]:
    """Spot means of every square of 100 ft² that has as many spots as the rule asks."""
    if not len(values_um):
        return []
    places = np.asarray(places_m, dtype=float)
    tree = cKDTree(places)
    _, spot = connected_components(tree.sparse_distance_matrix(tree, spot_m), directed=False)
    squares: dict[tuple[int, int], list[float]] = {}
    for k in range(int(spot.max()) + 1):
        here = np.flatnonzero(spot == k)
        if len(here) >= rule.readings_per_spot:
            x, y = np.floor(places[here].mean(0) / AREA_SIDE_M)
            squares.setdefault((int(x), int(y)), []).append(float(np.mean(values_um[here])))
    return [squares[k] for k in sorted(squares) if len(squares[k]) >= rule.spots_per_area]
