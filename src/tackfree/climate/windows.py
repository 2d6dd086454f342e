"""May a coat be placed from this slot on? Judged to the moment it is tack-free.

A placement that begins at slot k and lasts d slots ends at edge k+d and is
tack-free at edge q. State columns are known at slot edges::

    edge   k                k+d                 q
           |---- placing ----|---- wet film ----|
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.window_types import StartStates, State, Window
from tackfree.words import Message

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SPREAD_MIN_K = 25 / 9  # 5 °F
SPREAD_MEASURE_K = 50 / 9  # 10 °F: nearer than this the model is no judge
OUTGASSING_CAUTION_K = 5 / 9  # 1 °F
OUTGASSING_HIGH_K = 20 / 9  # 4 °F
SURFACE_DEFAULT_C = (40 / 9, 290 / 9)  # 40 and 90 °F, where no sheet gives a limit


class Ranges:
    """Least and greatest value between any two edges, by a table of doubled spans."""

    def __init__(self, values: FloatArray) -> None:
        unknown = ~np.isfinite(values)
        self._unknown = np.concatenate([[0], np.cumsum(unknown)])
        self._low = self._table(np.where(unknown, np.inf, values), np.minimum)
        self._high = self._table(np.where(unknown, -np.inf, values), np.maximum)

    @staticmethod
    def _table(values: FloatArray, pick: Callable[..., FloatArray]) -> FloatArray:
        rows = [values]
        span = 1
        while 2 * span <= len(values):
            last = rows[-1]
            row = last.copy()
            row[:-span] = pick(last[:-span], last[span:])
            rows.append(row)
            span *= 2
        return np.array(rows)

    def unknown(self, first: IntArray, last: IntArray) -> BoolArray:
        """Whether any value from edge ``first`` to edge ``last`` is not known."""
        return np.asarray(self._unknown[last + 1] > self._unknown[first])

    def low(self, first: IntArray, last: IntArray) -> FloatArray:
        return self._over(self._low, np.minimum, first, last)

    def high(self, first: IntArray, last: IntArray) -> FloatArray:
        return self._over(self._high, np.maximum, first, last)

    @staticmethod
    def _over(
        table: FloatArray, pick: Callable[..., FloatArray], first: IntArray, last: IntArray
    ) -> FloatArray:
        level = np.frexp((last - first + 1).astype(np.float64))[1] - 1
        return pick(table[level, first], table[level, last + 1 - (1 << level)])


@dataclass(frozen=True, kw_only=True)
class SlotWeather:
    """One exposure and surface on the planner's slots; NaN is unknown.

    ``surface_c``, ``top_c``, ``air_c``, ``dew_c``, ``rh``, ``wind_m_s`` hold one
    value for each slot edge (one more than slots); ``rain`` is 1 wet, 0 dry or NaN
    for each slot; ``lit`` is daylight or working light through the slot.
    """

    slot0_utc_s: int
    slot_s: int
    surface_c: FloatArray
    top_c: FloatArray
    air_c: FloatArray
    dew_c: FloatArray
    rh: FloatArray
    wind_m_s: FloatArray
    rain: FloatArray
    lit: BoolArray
    water_kg_kg: FloatArray | None = None  # of the air, for one-part products

    @property
    def slots(self) -> int:
        return len(self.rain)

    @cached_property
    def surface_ranges(self) -> Ranges:
        return Ranges(self.surface_c)

    @cached_property
    def top_ranges(self) -> Ranges:
        return Ranges(self.top_c)

    @cached_property
    def air_ranges(self) -> Ranges:
        return Ranges(self.air_c)

    @cached_property
    def rh_ranges(self) -> Ranges:
        return Ranges(self.rh)

    @cached_property
    def wind_ranges(self) -> Ranges:
        return Ranges(self.wind_m_s)

    @cached_property
    def water_ranges(self) -> Ranges:
        water = self.water_kg_kg
        return Ranges(np.full(self.slots + 1, np.nan) if water is None else water)

    @cached_property
    def spread_ranges(self) -> Ranges:
        return Ranges(self.surface_c - self.dew_c)

    @cached_property
    def next_rain(self) -> IntArray:
        """For each edge, the first wet slot at or after it (the slot count: none)."""
        return _next(self.rain > 0)

    @cached_property
    def next_unknown_rain(self) -> IntArray:
        return _next(np.isnan(self.rain))

    @cached_property
    def next_dark(self) -> IntArray:
        return _next(~self.lit)


def _next(mask: BoolArray) -> IntArray:
    count = len(mask)
    at = np.where(np.append(mask, True), np.arange(count + 1), count)
    return np.asarray(np.minimum.accumulate(at[::-1])[::-1], dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class PlacingLimits:
    """What governs one product on one job; None is not limited and not applied.

    ``came_from`` names, for each limit in force, specification, sheet or default.
    """

    surface_min_c: float | None = None
    surface_max_c: float | None = None
    air_min_c: float | None = None
    air_max_c: float | None = None
    rh_max: float | None = None
    spread_min_k: float | None = SPREAD_MIN_K
    spread_measure_k: float | None = SPREAD_MEASURE_K
    rain_free_h: float | None = None
    wind_max_m_s: float | None = None
    water_min_kg_kg: float | None = None  # one-part: below, cure cannot be told
    came_from: tuple[tuple[str, str], ...] = ()


def start_states(
    weather: SlotWeather,
    limits: PlacingLimits,
    *,
    duration_slots: int,
    tack_free: IntArray | None,
    first_liquid: bool = False,
    stale: bool = False,
) -> StartStates:
    """State of every start slot for one exposure, product and placing time.

    Slab, air, humidity and spread are judged from the first kit until the last is
    tack-free; wind and light while placing; rain until tack-free or for the
    rain-free hours, whichever is longer.

    Parameters
    ----------
    weather : SlotWeather
        Exposure and surface under the coat, N slots.
    limits : PlacingLimits
        Limits in force.
    duration_slots : int
        Placing time, at least 1. [slots]
    tack_free : array of N+1 int, or None
        Edge at which a placement that ends at each edge is tack-free, -1 unknown.
        None: the sheet gives no time, and only the placing itself is judged.
    first_liquid : bool
        First liquid on bare or repaired concrete: rising slab temperature counts.
    stale : bool
        The forecast is too old: what would be GO has to be measured.

    Returns
    -------
    StartStates
        The worst rule of each start; among equals the first in the rules' order.

    Source
    ------
    Practice (limits through the cure, cooling slab for the first liquid); the
    outgassing thresholds are ours and not from data.
    """
    count = weather.slots
    first = np.arange(count, dtype=np.int64)
    end = first + duration_slots
    whole = end <= count
    end = np.minimum(end, count)
    dry = end if tack_free is None else tack_free[end]
    known = whole & (dry >= 0)
    last = np.where(known, dry, end)
    book = _Book(count)
    if limits.water_min_kg_kg is not None:
        # The trace of such a product is unknown in dry air: the reason is said, not the gap.
        number, least = weather.water_ranges.low(first, last), limits.water_min_kg_kg
        book.rule(number < least, State.UNKNOWN, "climate.unknown.dry_air", number, least)
    book.rule(~known, State.UNKNOWN, "climate.unknown.tack_free")

    dark = weather.next_dark[first] < end
    book.rule(dark, State.WAIT, "climate.wait.dark")
    _rain(book, weather, limits, first, end, last)

    def bounds(name: str, ranges: Ranges, low: float | None, high: float | None) -> None:
        if low is None and high is None:
            return
        book.rule(ranges.unknown(first, last), State.UNKNOWN, f"climate.unknown.{name}")
        if low is not None:
            number = ranges.low(first, last)
            book.rule(number < low, State.WAIT, f"climate.wait.{name}_low", number, low)
        if high is not None:
            number = ranges.high(first, last)
            book.rule(number > high, State.WAIT, f"climate.wait.{name}_high", number, high)

    bounds("surface", weather.surface_ranges, limits.surface_min_c, limits.surface_max_c)
    bounds("air", weather.air_ranges, limits.air_min_c, limits.air_max_c)
    bounds("rh", weather.rh_ranges, None, limits.rh_max)
    if limits.wind_max_m_s is not None:
        number, most = weather.wind_ranges.high(first, end), limits.wind_max_m_s
        unknown = weather.wind_ranges.unknown(first, end)
        book.rule(unknown, State.UNKNOWN, "climate.unknown.wind")
        book.rule(number > most, State.WAIT, "climate.wait.wind", number, most)
    _spread(book, weather, limits, first, end, last)
    if first_liquid:
        ranges = weather.top_ranges
        book.rule(ranges.unknown(first, last), State.UNKNOWN, "climate.unknown.surface")
        rise = ranges.high(first, last) - weather.top_c[first]
        book.rule(
            rise > OUTGASSING_HIGH_K, State.WAIT, "climate.wait.outgassing", rise, OUTGASSING_HIGH_K
        )
    if stale:
        book.rule(np.ones(count, dtype=np.bool_), State.MEASURE, "climate.measure.stale")
    return StartStates(
        slot0_utc_s=weather.slot0_utc_s,
        slot_s=weather.slot_s,
        duration_slots=duration_slots,
        state=book.state,
        rule=book.which,
        number=book.number,
        limit=book.limit,
        rules=tuple(book.ids),
    )


def _rain(
    book: _Book,
    weather: SlotWeather,
    limits: PlacingLimits,
    first: IntArray,
    end: IntArray,
    last: IntArray,
) -> None:
    slot_h = np.float64(weather.slot_s / 3600)
    free = 0.0 if limits.rain_free_h is None else limits.rain_free_h
    until = np.maximum(last, end + int(np.ceil(free / slot_h - 1e-9)))
    past = until > weather.slots
    until = np.minimum(until, weather.slots)
    wet = weather.next_rain[first]
    begun, hours = (wet - first) * slot_h, (wet - end) * slot_h
    unknown = (weather.next_unknown_rain[first] < until) | past
    book.rule(wet < end, State.WAIT, "climate.wait.rain_placing", begun)
    book.rule(wet < until, State.WAIT, "climate.wait.rain", hours, (until - end) * slot_h)
    book.rule(unknown, State.UNKNOWN, "climate.unknown.rain")


def _spread(
    book: _Book,
    weather: SlotWeather,
    limits: PlacingLimits,
    first: IntArray,
    end: IntArray,
    last: IntArray,
) -> None:
    least, near = limits.spread_min_k, limits.spread_measure_k
    if least is None:
        return
    ranges = weather.spread_ranges
    book.rule(ranges.unknown(first, last), State.UNKNOWN, "climate.unknown.spread")
    placing, curing = ranges.low(first, end), ranges.low(end, last)
    book.rule(placing < least, State.WAIT, "climate.wait.spread", placing, least)
    book.rule(curing < least, State.WAIT, "climate.wait.dew", curing, least)
    if near is not None:
        book.rule(placing < near, State.MEASURE, "climate.measure.spread", placing, near)
        book.rule(curing < near, State.MEASURE, "climate.measure.dew", curing, near)


class _Book:
    """The worst verdict so far of each start; a later rule must be worse to replace it."""

    def __init__(self, count: int) -> None:
        self.state = np.zeros(count, dtype=np.int8)
        self.which = np.full(count, -1, dtype=np.int8)
        self.number = np.full(count, np.nan)
        self.limit = np.full(count, np.nan)
        self.ids: list[str] = []

    def rule(
        self,
        hit: BoolArray,
        state: State,
        name: str,
        number: FloatArray | float = np.nan,
        limit: FloatArray | float = np.nan,
    ) -> None:
        if name not in self.ids:
            self.ids.append(name)
        worse = hit & (self.state < state)
        self.state[worse] = state
        self.which[worse] = self.ids.index(name)
        self.number[worse] = np.broadcast_to(number, worse.shape)[worse]
        self.limit[worse] = np.broadcast_to(limit, worse.shape)[worse]


def rise_k(weather: SlotWeather, *, duration_slots: int, tack_free: IntArray | None) -> FloatArray:
    """Outgassing index: how far the slab's top warms while the film is still wet.

    Returns
    -------
    array of N
        Warming of the top 1.5 in from the start until tack-free. [K], NaN unknown.
        Up to 1 °F is low, above 4 °F high; thresholds are ours.
    """
    first = np.arange(weather.slots, dtype=np.int64)
    end = np.minimum(first + duration_slots, weather.slots)
    dry = end if tack_free is None else tack_free[end]
    last = np.where(dry < 0, end, dry)
    ranges = weather.top_ranges
    rise = ranges.high(first, last) - weather.top_c[first]
    bad = (dry < 0) | ranges.unknown(first, last) | (first + duration_slots > weather.slots)
    return np.where(bad, np.nan, rise)


def outgassing_note(rise: float) -> Message | None:
    """A caution where the slab warms by more than 1 °F under a wet film; else None."""
    if not rise > OUTGASSING_CAUTION_K:
        return None
    values = _both_units("climate.note.outgassing", "number", rise)
    return Message(id="climate.note.outgassing", values=values)


def not_applied(limits: PlacingLimits) -> tuple[Message, ...]:
    """The rules for which no limit stands anywhere, to be said beside the windows."""
    names = (
        "surface_min_c", "surface_max_c", "air_min_c", "air_max_c", "rh_max", "spread_min_k",
        "rain_free_h", "wind_max_m_s",
    )  # fmt: skip
    return tuple(
        Message(id=f"climate.no_limit.{name}") for name in names if getattr(limits, name) is None
    )


def go(states: StartStates) -> BoolArray:
    """Starts that need no reading to be allowed."""
    return np.asarray(states.state == State.GO)


def plannable(states: StartStates) -> BoolArray:
    """Starts a plan may use: GO, and MEASURE, where a reading decides on the day."""
    return np.asarray(states.state <= State.MEASURE)


def intervals(mask: BoolArray) -> tuple[tuple[int, int], ...]:
    """Runs of True as inclusive pairs."""
    edge = np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8))
    begins, ends = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1) - 1
    return tuple((int(a), int(b)) for a, b in zip(begins, ends, strict=True))


def reason(states: StartStates, slot: int) -> Message | None:
    """Why a start is not GO, with its number and limit in both unit systems."""
    index = int(states.rule[slot])
    if index < 0:
        return None
    id_ = states.rules[index]
    values: dict[str, float] = {}
    for key, x in (("number", states.number[slot]), ("limit", states.limit[slot])):
        if np.isfinite(x):
            values |= _both_units(id_, key, float(x))
    return Message(id=id_, values=values)


def _both_units(id_: str, key: str, x: float) -> dict[str, float]:
    kind = id_.rsplit(".", 1)[1]
    if kind in ("surface_low", "surface_high", "air_low", "air_high"):
        return {f"{key}_c": round(x, 1), f"{key}_f": round(x * 1.8 + 32)}
    if kind in ("spread", "dew", "outgassing"):
        return {f"{key}_k": round(x, 1), f"{key}_f": round(x * 1.8, 1)}
    if kind == "rh_high":
        return {f"{key}_percent": round(100 * x)}
    if kind == "wind":
        return {f"{key}_m_s": round(x, 1), f"{key}_mph": round(x / 0.44704)}
    if kind == "dry_air":
        return {f"{key}_gr_lb": round(7000 * x), f"{key}_g_kg": round(1000 * x, 1)}
    return {f"{key}_h": round(x, 1)}


def windows(states: StartStates) -> tuple[Window, ...]:
    """Runs of starts that share state and first reason; the number is the run's first."""
    if not len(states.state):
        return ()
    change = np.flatnonzero((np.diff(states.state) != 0) | (np.diff(states.rule) != 0))
    begins = [0, *(change + 1).tolist()]
    ends = [*(change + 1).tolist(), len(states.state)]
    return tuple(
        Window(
            start_utc_s=states.slot0_utc_s + a * states.slot_s,
            end_utc_s=states.slot0_utc_s + b * states.slot_s,
            state=State(int(states.state[a])),
            reason=reason(states, a),
        )
        for a, b in zip(begins, ends, strict=True)
    )
