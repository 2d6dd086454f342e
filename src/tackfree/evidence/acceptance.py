"""Moisture, flood and slip tests against the specification, and where to test more.

A test that was not made is missing, never passed: ``holds`` is None until what was asked
for is there. One result beyond its limit fails whatever the others say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Point
from shapely.geometry.base import BaseGeometry

from tackfree.because import Source
from tackfree.errors import InputError
from tackfree.evidence.rules import DUST
from tackfree.words import Message

_SPECIFIED = Source(kind="specification")
AROUND_M = 3.0  # practice: extra pulls stand this far from a low one, on its four sides
SIDES = ((1, 0), (0, 1), (-1, 0), (0, -1))


@dataclass(frozen=True, kw_only=True)
class TestRule:
    """Limit of one test by one method, in that method's unit.

    ``at_most``: moisture may not be more, grip may not be less. ``m2_per_test`` None: one
    test is enough.
    """

    __test__ = False  # its name is no test's

    what: str  # moisture or slip
    method: str
    limit: float
    at_most: bool
    m2_per_test: float | None = None
    source: Source = _SPECIFIED


@dataclass(frozen=True, kw_only=True)
class TestVerdict:
    """``holds`` is None where tests are missing; ``worst`` in the unit of the method."""

    __test__ = False

    what: str
    method: str
    holds: bool | None
    worst: float | None
    counted: int
    wanted: int
    messages: tuple[Message, ...]


def judge_tests(values: Sequence[float], rule: TestRule, *, area_m2: float) -> TestVerdict:
    """Results of one method over one area.

    Parameters
    ----------
    values : sequence of float
        By the rule's method only: methods are never mixed.
    rule : TestRule
    area_m2 : float
        [m²], above 0

    Returns
    -------
    TestVerdict

    Raises
    ------
    InputError
        If the area is not above 0 or a value is not finite.

    Source
    ------
    Exact; the numbers are the specification's.
    """
    if not 0 < area_m2 < math.inf:
        raise InputError(f"the area is {area_m2:g} m²; it must be above 0.", do="Check it.")
    if not all(math.isfinite(v) for v in values):
        raise InputError(f"{rule.what} by {rule.method} is not a number.", do="Read it again.")
    wanted = 1 if rule.m2_per_test is None else math.ceil(area_m2 / rule.m2_per_test - 1e-9)
    wanted = max(1, wanted)
    slack = DUST * abs(rule.limit)
    bad = [v for v in values if (v - rule.limit if rule.at_most else rule.limit - v) > slack]
    worst = (max(values) if rule.at_most else min(values)) if values else None
    said = []
    common = {"count": len(values), "wanted": wanted, "limit": rule.limit, "method": rule.method}
    if bad:
        said.append(
            Message(
                id=f"acceptance.{rule.what}_bad",
                values={**common, "bad": len(bad), "worst": worst if worst is not None else 0.0},
            )
        )
    if len(values) < wanted:
        said.append(Message(id=f"acceptance.{rule.what}_few", values=common))
    if not said:
        said.append(Message(id=f"acceptance.{rule.what}_ok", values=common))
    return TestVerdict(
        what=rule.what, method=rule.method,
        holds=False if bad else (True if len(values) >= wanted else None),
        worst=worst, counted=len(values), wanted=wanted, messages=tuple(said),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Flooded:
    """One flood or flow test: hours the water stood (None: not ended), what came through."""

    hours: float | None
    leaked: bool | None


def judge_flood(tests: Sequence[Flooded], *, hours: float) -> TestVerdict:
    """Flood tests of one section; a repaired leak needs a later test that stays dry.

    Parameters
    ----------
    tests : sequence of Flooded
        In order of time.
    hours : float
        Least time the water must stand. [h]

    Returns
    -------
    TestVerdict
        Of the last test that ended; a leak after it counts at once.
    """
    done = [t for t in tests if t.leaked or (t.hours is not None and t.leaked is not None)]
    common = {"count": len(done), "hours": hours}
    if not done:
        messages = (Message(id="acceptance.flood_none", values=common),)
        return TestVerdict(
            what="flood", method="flood", holds=None, worst=None, counted=0, wanted=1,
            messages=messages,
        )  # fmt: skip
    last = done[-1]
    stood = last.hours or 0.0
    if last.leaked:
        holds, word = False, "leak"
    elif stood < hours * (1 - DUST):
        holds, word = None, "brief"
    else:
        holds, word = True, "ok"
    return TestVerdict(
        what="flood", method="flood", holds=holds, worst=stood, counted=len(done), wanted=1,
        messages=(Message(id=f"acceptance.flood_{word}", values={**common, "stood_h": stood}),),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class MoreTests:
    """Where to pull next and why. ``places`` in the deck's frame. [m]"""

    places: tuple[tuple[float, float], ...]
    low: tuple[int, ...]  # which of the pulls are low
    together: bool  # they lie in one corner rather than anywhere
    messages: tuple[Message, ...]


def more_tests(
    strengths_pa: Sequence[float],
    places_m: Sequence[tuple[float, float]],
    floor: BaseGeometry,
    *,
    single_pa: float | None,
    among_m: Sequence[tuple[float, float]] = (),
) -> MoreTests:
    """Extra pulls that bound a weak place.

    A good mean hides a weak corner. Low is a pull under the single limit, or, where the
    specification has none, one under half of the median. Four pulls around each low one
    tell how far it reaches.

    Parameters
    ----------
    strengths_pa : sequence of float
        [Pa]
    places_m : sequence of (x, y)
        As long. [m]
    floor : geometry
        Where one can pull. [m]
    single_pa : float or None
    among_m : sequence of (x, y)
        Places of all pulls of the deck, these among them; left out, only these. [m]

    Returns
    -------
    MoreTests

    Source
    ------
    Practice; ``together`` compares the mean distance among low pulls with that among
    all of them.
    """
    values, places = np.asarray(strengths_pa, dtype=float), np.asarray(places_m, dtype=float)
    if not len(values):
        return MoreTests(places=(), low=(), together=False, messages=())
    limit = 0.5 * float(np.median(values)) if single_pa is None else single_pa * (1 - DUST)
    low = np.flatnonzero(values < limit)
    if not len(low):
        return MoreTests(places=(), low=(), together=False, messages=())
    spots: list[tuple[float, float]] = []
    for k in low:
        for dx, dy in SIDES:
            x, y = float(places[k, 0] + dx * AROUND_M), float(places[k, 1] + dy * AROUND_M)
            near = np.hypot(*(places - (x, y)).T).min() < 0.5 * AROUND_M
            twice = any(math.hypot(x - a, y - b) < 0.5 * AROUND_M for a, b in spots)
            if not near and not twice and floor.covers(Point(x, y)):
                spots.append((x, y))
    every = np.asarray(among_m, dtype=float) if len(among_m) else places
    together = len(low) > 1 and _mean_apart(places[low]) < 0.5 * _mean_apart(every)
    said = [
        Message(
            id=f"acceptance.more_pulls{'_corner' if together else ''}",
            values={
                "count": len(spots), "low": len(low), "tests": len(values),
                "strength_pa": float(values.min()), "around_m": AROUND_M,
            },
        )
    ]  # fmt: skip
    return MoreTests(
        places=tuple(spots), low=tuple(int(k) for k in low), together=together,
        messages=tuple(said),
    )  # fmt: skip


def _mean_apart(places: np.ndarray) -> float:
    gap = np.hypot(*(places[:, None, :] - places[None, :, :]).transpose(2, 0, 1))
    return float(gap[np.triu_indices(len(places), 1)].mean())
