"""Recoat clocks: cure summed over the slab's own temperature.

A *dose* is time weighted by speed: an hour at the sheet's temperature counts one.
A milestone is reached when the dose reaches the sheet's time. Both the sheet's
range and the rate law are uncertain; the careful end is the moment by which 95 %
of the cases have got there, the hopeful end 5 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.cure.moisture import MoistureCure, moisture_speed
from tackfree.cure.rates import (
    FITTED_HALF_WIDTH_KJ_MOL,
    GAS_CONSTANT_KJ,
    PRIOR_KJ_MOL,
    ZERO_C_K,
    activation_from_points_kj_mol,
    doubling_factor,
    triangular_nodes,
)
from tackfree.cure.types import Clock, Ends
from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CAREFUL, HOPEFUL = 0.95, 0.05
SET_CAP_C = 290 / 9  # 90 °F: no more credit than this for tack-free and recoat
NEAR_C = 215 / 9  # 75 °F: the sheet's point nearest to this is the reference
DOUBLING = "doubling-18F"
ARRHENIUS = "arrhenius"
_LEAST = 1e-9


@dataclass(frozen=True, kw_only=True)
class Point:
    """One milestone's time at one temperature of the sheet, a range in hours."""

    temp_c: float
    low_h: float
    high_h: float

    def __post_init__(self) -> None:
        if not 0 <= self.low_h <= self.high_h:
            raise InputError(
                f"a cure time runs from {self.low_h:g} h to {self.high_h:g} h.",
                do="Give the shorter time first; both at or above 0.",
            )


@dataclass(frozen=True, kw_only=True)
class CureSheet:
    """What a product sheet says about cure, as plain values.

    A milestone without points has no clock. ``stall_below_c`` is the sheet's
    lowest surface temperature: below it no cure is credited.
    """

    tack_free: tuple[Point, ...] = ()
    recoat_after: tuple[Point, ...] = ()
    feet_after: tuple[Point, ...] = ()
    cars_after: tuple[Point, ...] = ()
    recoat_before_h: float | None = None
    recoat_before_hot_h: float | None = None
    hot_from_c: float | None = None
    rate_law: str = ARRHENIUS
    activation_kj_mol: float | None = None
    stall_below_c: float | None = None
    moisture: MoistureCure | None = None  # one-part: the sheet's air

    def __post_init__(self) -> None:
        if self.rate_law not in (DOUBLING, ARRHENIUS):
            raise InputError(
                f"rate law is {self.rate_law!r}; expected {ARRHENIUS} or {DOUBLING}.",
                do="Correct it on the product sheet.",
            )


@dataclass(frozen=True, kw_only=True)
class Trace:
    """Slab surface, one mean temperature for each equal interval; NaN is unknown."""

    start_utc_s: int
    step_s: int
    temp_c: FloatArray
    water_kg_kg: FloatArray | None = None  # of the air, for one-part products


@dataclass(frozen=True, kw_only=True)
class Dose:
    """Summed dose at interval edges, for each possible rate law, toward one milestone.

    ``summed_h[law, edge]``; ``unknown[edge]`` counts unknown intervals before it.
    The milestone needs between ``low_h`` and ``high_h``, evenly likely.
    """

    start_utc_s: int
    step_s: int
    summed_h: FloatArray
    unknown: IntArray
    low_h: float
    high_h: float


def dose(
    trace: Trace,
    sheet: CureSheet,
    points: Sequence[Point],
    *,
    end: float = CAREFUL,
    traffic: bool = False,
    capped: bool = True,
) -> Dose:
    """The dose toward one milestone over a surface trace.

    Parameters
    ----------
    trace : Trace
        Slab surface.
    sheet : CureSheet
        Rate law and stall temperature.
    points : sequence of Point
        The milestone's times; at least one. Between two temperatures they are
        interpolated, outside them the nearest pair's energy carries on.
    end : float
        The end it serves: the careful end follows the long times of each point,
        the hopeful end the short ones.
    traffic : bool
        Feet and cars: never faster than at the sheet's own temperature.
    capped : bool
        Tack-free and recoat: no more credit than at 90 °F, none below the stall
        temperature. Off only for the heat-shortened time, which may run on.

    Source
    ------
    Published: equivalent age as ASTM C1074 (an analogy; it is written for
    concrete). The caps are ours: heat may not open a deck early on paper.
    """
    temp = np.asarray(trace.temp_c, dtype=np.float64)
    speed = speeds(trace, sheet, points, end=end, traffic=traffic, capped=capped)
    known = np.isfinite(temp)
    if sheet.moisture is not None:
        if trace.water_kg_kg is None:
            raise InputError(
                "a one-part product cures with the water of the air, which is not given.",
                do="Give weather with air temperature and humidity.",
            )
        speed = speed * moisture_speed(trace.water_kg_kg, sheet.moisture, careful=end >= 0.5)
        known &= np.isfinite(speed).all(axis=0)
    hours = np.where(known, speed, 0.0) * (trace.step_s / 3600)
    low_h, high_h = milestone_hours(points)
    summed = np.zeros((hours.shape[0], hours.shape[1] + 1))
    np.cumsum(hours, axis=1, out=summed[:, 1:])
    unknown = np.concatenate([[0], np.cumsum(~known)]).astype(np.int64)
    return Dose(
        start_utc_s=trace.start_utc_s,
        step_s=trace.step_s,
        summed_h=summed,
        unknown=unknown,
        low_h=low_h,
        high_h=high_h,
    )


def speeds(
    trace: Trace,
    sheet: CureSheet,
    points: Sequence[Point],
    *,
    end: float = CAREFUL,
    traffic: bool = False,
    capped: bool = True,
    stalls: bool = True,
) -> FloatArray:
    """Speed of cure by law and interval, 1 at the sheet's temperature; see :func:`dose`.

    Water is left out, and with ``stalls`` off the stop below the sheet's minimum too.
    """
    ordered = sorted(points, key=lambda p: p.temp_c)
    ref = _reference(ordered)
    temp = np.asarray(trace.temp_c, dtype=np.float64)
    felt = np.minimum(temp, SET_CAP_C) if capped and not traffic else temp
    if sheet.rate_law == DOUBLING:
        speed = doubling_factor(felt, ref.temp_c)[None, :]
    else:
        speed = _arrhenius_speeds(felt, sheet, ordered, ref, end)
    if traffic:
        speed = np.minimum(speed, 1.0)
    if stalls and capped and sheet.stall_below_c is not None:
        speed = np.where(temp < sheet.stall_below_c, 0.0, speed)
    return speed


def milestone_hours(points: Sequence[Point]) -> tuple[float, float]:
    """Least and most hours of a milestone at its reference temperature."""
    ref = _reference(points)
    return ref.low_h, ref.high_h


def _reference(points: Sequence[Point]) -> Point:
    ordered = sorted(points, key=lambda p: p.temp_c)
    return min(ordered, key=lambda p: abs(p.temp_c - NEAR_C))


def _arrhenius_speeds(
    temp: FloatArray, sheet: CureSheet, ordered: Sequence[Point], ref: Point, end: float
) -> FloatArray:
    inverse = 1.0 / (temp + ZERO_C_K)
    at_ref = 1.0 / (ref.temp_c + ZERO_C_K)
    if len(ordered) == 1:
        base = np.ones_like(temp)
        if sheet.activation_kj_mol is None:
            energies = triangular_nodes(*PRIOR_KJ_MOL)
        else:
            energies = _about(sheet.activation_kj_mol)
    else:
        base = _between(inverse, ordered, ref, end)
        energies = _about(0.0)
    each = np.array(energies)[:, None] / GAS_CONSTANT_KJ
    return np.asarray(base * np.exp(each * (at_ref - inverse)))


def _about(energy: float) -> tuple[float, ...]:
    half = FITTED_HALF_WIDTH_KJ_MOL
    return triangular_nodes(energy - half, energy, energy + half)


def _between(inverse: FloatArray, ordered: Sequence[Point], ref: Point, end: float) -> FloatArray:
    """Speed along the sheet's own points: straight in ln(time) over 1/T."""
    hours = [max(p.high_h if end >= 0.5 else p.low_h, _LEAST) for p in ordered]
    for (a, ha), (b, hb) in zip(
        zip(ordered, hours, strict=True), list(zip(ordered, hours, strict=True))[1:], strict=False
    ):
        activation_from_points_kj_mol(temp_a_c=a.temp_c, hours_a=ha, temp_b_c=b.temp_c, hours_b=hb)
    x = np.array([1.0 / (p.temp_c + ZERO_C_K) for p in ordered])
    y = np.log(hours)
    left = np.clip(np.searchsorted(-x, -inverse) - 1, 0, len(x) - 2)
    slope = (y[left + 1] - y[left]) / (x[left + 1] - x[left])
    ln_hours = y[left] + slope * (inverse - x[left])
    return np.asarray(np.exp(math.log(hours[ordered.index(ref)]) - ln_hours))


def reached_utc_s(toward: Dose, since_utc_s: FloatArray, end: float) -> FloatArray:
    """Moments at which a milestone is reached in a given share of cases.

    Parameters
    ----------
    toward : Dose
        From :func:`dose`.
    since_utc_s : array
        Moments of placing. [Unix s]
    end : float
        Share of cases that must have arrived: ``CAREFUL`` or ``HOPEFUL``.

    Returns
    -------
    array of the same shape
        Moments. [Unix s], NaN where the trace ends first or is unknown on the way

    Source
    ------
    Exact: the share over the sheet's range is a straight line, over the rate law
    a mean of equally likely laws; nothing is drawn at random.
    """
    since = np.atleast_1d(np.asarray(since_utc_s, dtype=np.float64))
    edges = toward.summed_h.shape[1] - 1
    at = (since - toward.start_utc_s) / toward.step_s
    inside = (at >= 0) & (at <= edges)
    at = np.clip(at, 0, edges)
    begun = _at(toward.summed_h, at)

    def enough(position: FloatArray) -> NDArray[np.bool_]:
        gained = _at(toward.summed_h, position) - begun
        width = toward.high_h - toward.low_h
        if width > _LEAST:
            shares = np.clip((gained - toward.low_h) / width, 0.0, 1.0)
        else:
            shares = (gained >= toward.low_h - _LEAST).astype(np.float64)
        return np.asarray(shares.mean(axis=0) >= end - _LEAST)

    low, high = np.floor(at), np.full_like(at, edges)
    ends = enough(high) & inside
    while True:
        open_ = high - low > 1
        if not open_.any():
            break
        middle = np.where(open_, np.floor((low + high) / 2), high)
        yes = enough(middle)
        high = np.where(open_ & yes, middle, high)
        low = np.where(open_ & ~yes, middle, low)
    below, above = np.maximum(low, at), high
    for _ in range(40):  # inside one interval the dose is a straight line
        middle = (below + above) / 2
        yes = enough(middle)
        below, above = np.where(yes, below, middle), np.where(yes, middle, above)
    whole = np.ceil(above - 1e-7).astype(np.int64).clip(0, edges)
    ends &= toward.unknown[whole] == toward.unknown[np.floor(at).astype(np.int64)]
    return np.where(ends, toward.start_utc_s + above * toward.step_s, np.nan)


def _at(summed: FloatArray, position: FloatArray) -> FloatArray:
    index = np.minimum(position.astype(np.int64), summed.shape[1] - 2).clip(0)
    if summed.shape[1] == 1:
        return np.repeat(summed, len(position), axis=1)
    part = position - index
    return np.asarray(summed[:, index] * (1 - part) + summed[:, index + 1] * part)


def earliest_after(toward: Dose, *, end: float = CAREFUL) -> IntArray:
    """For a placement that ends at each interval edge, the first edge to follow at.

    Parameters
    ----------
    toward : Dose
        From :func:`dose`, on the planner's slots.
    end : float
        ``CAREFUL`` for planning.

    Returns
    -------
    array of int, one longer than the trace
        Edge index, nondecreasing where known; -1 where the trace ends first or is
        unknown on the way

    Source
    ------
    Exact, as :func:`reached_utc_s`, rounded up to the edge.
    """
    count = toward.summed_h.shape[1]
    edges = np.arange(count)
    summed = toward.summed_h
    width = toward.high_h - toward.low_h

    def enough(at: IntArray) -> NDArray[np.bool_]:
        gained = summed[:, at] - summed
        if width > _LEAST:
            shares = np.clip((gained - toward.low_h) / width, 0.0, 1.0)
        else:
            shares = (gained >= toward.low_h - _LEAST).astype(np.float64)
        return np.asarray(shares.mean(axis=0) >= end - _LEAST)

    low, high = edges - 1, np.full(count, count - 1)
    ends = enough(high)
    while (high - low > 1).any():
        middle = np.where(high - low > 1, (low + high) // 2, high)
        yes = enough(middle)
        high, low = np.where(yes, middle, high), np.where(yes, low, middle)
    ends &= toward.unknown[high] == toward.unknown
    return np.where(ends, high, -1).astype(np.int64)


def clock(
    trace: Trace, sheet: CureSheet, *, placed_from_utc_s: float, placed_to_utc_s: float
) -> Clock:
    """The clock of one coat.

    Recoat after, feet and cars count from the last kit. Recoat before counts from
    the first, on the wall clock: cold never extends it. Once the slab is as hot as
    the sheet's hot-weather limit, the sheet's hot-weather maximum holds instead.

    Parameters
    ----------
    trace : Trace
        Surface with this coat on it.
    sheet : CureSheet
        What the product sheet says.
    placed_from_utc_s, placed_to_utc_s : float
        First kit and last kit. [Unix s]

    Returns
    -------
    Clock
        Ends are None where the trace ends first, is unknown on the way, or the
        sheet is silent.

    Raises
    ------
    InputError
        If the last kit comes before the first.

    Source
    ------
    Practice: minimum times stretch with cold, maximum times do not.
    """
    return clocks(trace, sheet, ((placed_from_utc_s, placed_to_utc_s),))[0]


def clocks(
    trace: Trace, sheet: CureSheet, placed_utc_s: Sequence[tuple[float, float]]
) -> tuple[Clock, ...]:
    """The clocks of several placings of one coat over one surface; see :func:`clock`.

    Parameters
    ----------
    placed_utc_s : sequence of (first kit, last kit)
        Moments. [Unix s]
    """
    if any(last < first for first, last in placed_utc_s):
        raise InputError(
            "the last kit is placed before the first.",
            do="Check the two times and their dates.",
        )
    ends = np.array([last for _, last in placed_utc_s], dtype=np.float64)

    def both(points: tuple[Point, ...], traffic: bool) -> list[Ends]:
        careful = _all(trace, sheet, points, ends, CAREFUL, traffic)
        hopeful = _all(trace, sheet, points, ends, HOPEFUL, traffic)
        return [
            Ends(careful_utc_s=c, hopeful_utc_s=h) for c, h in zip(careful, hopeful, strict=True)
        ]

    tack_free, recoat_after = both(sheet.tack_free, False), both(sheet.recoat_after, False)
    feet_after, cars_after = both(sheet.feet_after, True), both(sheet.cars_after, True)
    out = []
    for k, (first, last) in enumerate(placed_utc_s):
        before = recoat_before_utc_s(trace, sheet, first)
        out.append(
            Clock(
                placed_from_utc_s=first,
                placed_to_utc_s=last,
                tack_free=tack_free[k],
                recoat_after=recoat_after[k],
                recoat_before_utc_s=before,
                better_before_utc_s=_better_before(trace, sheet, first, before),
                feet_after=feet_after[k],
                cars_after=cars_after[k],
                stalled_h=_stalled_h(trace, sheet, first, recoat_after[k].careful_utc_s),
            )
        )
    return tuple(out)


def _all(
    trace: Trace,
    sheet: CureSheet,
    points: tuple[Point, ...],
    since: FloatArray,
    end: float,
    traffic: bool,
) -> list[float | None]:
    if not points:
        return [None] * len(since)
    toward = dose(trace, sheet, points, end=end, traffic=traffic)
    found = reached_utc_s(toward, since, end).tolist()
    return [x if math.isfinite(x) else None for x in found]


def recoat_before_utc_s(trace: Trace, sheet: CureSheet, first_utc_s: float) -> float | None:
    """By when the next coat must be down: the sheet's maximum on the wall clock.

    The hot-weather maximum counts from the first kit too, but not from before the
    slab first became hot: a deadline cannot lie in the past of its cause.
    """
    if sheet.recoat_before_h is None:
        return None
    latest = first_utc_s + sheet.recoat_before_h * 3600
    if sheet.recoat_before_hot_h is None or sheet.hot_from_c is None:
        return latest
    begins = trace.start_utc_s + trace.step_s * np.arange(len(trace.temp_c))
    hot = (trace.temp_c >= sheet.hot_from_c) & (begins + trace.step_s > first_utc_s)
    hot &= begins < latest
    if not hot.any():
        return latest
    since = max(first_utc_s, float(begins[np.argmax(hot)]))
    return min(latest, max(since, first_utc_s + sheet.recoat_before_hot_h * 3600))


def _better_before(
    trace: Trace, sheet: CureSheet, first_utc_s: float, before: float | None
) -> float | None:
    """When heat has used up the recoat window, at the fastest 5 %; only if it is earlier."""
    if before is None or sheet.recoat_before_h is None or not sheet.recoat_after:
        return None
    points = sorted(sheet.recoat_after, key=lambda p: abs(p.temp_c - NEAR_C))
    span = sheet.recoat_before_h
    closing = [Point(temp_c=points[0].temp_c, low_h=span, high_h=span)]
    toward = dose(trace, sheet, closing, end=HOPEFUL, capped=False)
    found = float(reached_utc_s(toward, np.array([first_utc_s]), HOPEFUL)[0])
    return found if math.isfinite(found) and found < before - 60 else None


def _stalled_h(trace: Trace, sheet: CureSheet, since: float, until: float | None) -> float:
    if sheet.stall_below_c is None:
        return 0.0
    begins = trace.start_utc_s + trace.step_s * np.arange(len(trace.temp_c))
    last = float("inf") if until is None else until
    part = np.minimum(begins + trace.step_s, last) - np.maximum(begins, since)
    cold = trace.temp_c < sheet.stall_below_c
    return float(np.where(cold, part.clip(0), 0.0).sum() / 3600)
