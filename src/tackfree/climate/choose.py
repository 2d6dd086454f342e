"""Which start is best, and where the two dangers of a day leave a gap.

::

    slab still warms ........|======== no more air from the pores =======>
    <======== dry until tack-free ==========|........ dew in the evening
                             |<- overlap  ->|
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.window_types import StartStates, State
from tackfree.climate.windows import (
    OUTGASSING_CAUTION_K,
    SPREAD_MIN_K,
    PlacingLimits,
    SlotWeather,
    intervals,
    rise_k,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Start:
    """One start worth having: the safest moment of a run of allowed starts.

    ``margin_k`` is the smallest distance of slab and spread from their limits until
    tack-free; ``last_utc_s`` the last allowed start of the same run.
    """

    start_utc_s: int
    last_utc_s: int
    state: State
    margin_k: float


@dataclass(frozen=True, kw_only=True)
class Overlap:
    """Starts of one day that are safe from pore air and from dew. Unix seconds.

    Each span is the day's longest run, None where the day has none.
    """

    outgassing_safe: tuple[int, int] | None
    dew_safe: tuple[int, int] | None
    both: tuple[int, int] | None

    @property
    def hours(self) -> float:
        return 0.0 if self.both is None else (self.both[1] - self.both[0]) / 3600


def margin_k(
    weather: SlotWeather,
    limits: PlacingLimits,
    *,
    duration_slots: int,
    tack_free: IntArray | None,
) -> FloatArray:
    """Smallest distance from a temperature limit, from first kit to tack-free. [K]

    Negative beyond a limit, NaN unknown, infinite where nothing limits.
    """
    first = np.arange(weather.slots, dtype=np.int64)
    end = np.minimum(first + duration_slots, weather.slots)
    last = end if tack_free is None else np.where(tack_free[end] < 0, end, tack_free[end])
    found = np.full(weather.slots, np.inf)
    surface, spread = weather.surface_ranges, weather.spread_ranges
    if limits.spread_min_k is not None:
        found = np.minimum(found, spread.low(first, last) - limits.spread_min_k)
    if limits.surface_min_c is not None:
        found = np.minimum(found, surface.low(first, last) - limits.surface_min_c)
    if limits.surface_max_c is not None:
        found = np.minimum(found, limits.surface_max_c - surface.high(first, last))
    unknown = surface.unknown(first, last) | spread.unknown(first, last)
    return np.where(unknown, np.nan, found)


def best_starts(
    states: StartStates, margin: FloatArray, *, from_utc_s: float, to_utc_s: float
) -> tuple[Start, ...]:
    """The best start of each run of allowed starts in a span, safest first.

    GO comes before MEASURE; then the larger margin, then the earlier start.

    Source
    ------
    Ours: an allowed start far from every limit forgives a wrong forecast.
    """
    at = states.slot0_utc_s + states.slot_s * np.arange(len(states.state))
    inside = (at >= from_utc_s) & (at < to_utc_s)
    found = []
    for state in (State.GO, State.MEASURE):
        for a, b in intervals(inside & (states.state == state)):
            here = np.where(np.isnan(margin[a : b + 1]), -np.inf, margin[a : b + 1])
            best = a + int(np.argmax(here))
            found.append(
                Start(
                    start_utc_s=int(at[best]),
                    last_utc_s=int(at[b]),
                    state=state,
                    margin_k=float(margin[best]),
                )
            )
    return tuple(sorted(found, key=lambda s: (s.state, -s.margin_k, s.start_utc_s)))


def overlap(
    weather: SlotWeather,
    *,
    duration_slots: int,
    tack_free: IntArray | None,
    from_utc_s: int,
    to_utc_s: int,
    spread_k: float = SPREAD_MIN_K,
) -> Overlap:
    """Starts between two moments at which the slab warms by at most 1 °F under the
    wet film, starts at which the spread holds until tack-free, and both.

    Source
    ------
    Practice: coat on a level or falling slab, and be tack-free before dew. The 1 °F
    is ours.
    """
    first = np.arange(weather.slots, dtype=np.int64)
    end = np.minimum(first + duration_slots, weather.slots)
    dry = end if tack_free is None else tack_free[end]
    last = np.where(dry < 0, end, dry)
    spread = weather.spread_ranges
    known = (dry >= 0) & (first + duration_slots <= weather.slots)
    dew_safe = known & ~spread.unknown(first, last) & (spread.low(first, last) >= spread_k)
    rise = rise_k(weather, duration_slots=duration_slots, tack_free=tack_free)
    calm = rise <= OUTGASSING_CAUTION_K
    at = weather.slot0_utc_s + weather.slot_s * first
    inside = (at >= from_utc_s) & (at < to_utc_s)

    def longest(mask: BoolArray) -> tuple[int, int] | None:
        runs = intervals(mask & inside)
        if not runs:
            return None
        a, b = max(runs, key=lambda r: (r[1] - r[0], -r[0]))
        return int(at[a]), int(at[b]) + weather.slot_s

    return Overlap(
        outgassing_safe=longest(calm), dew_safe=longest(dew_safe), both=longest(calm & dew_safe)
    )
