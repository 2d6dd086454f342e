"""Readings at any moments brought to whole UTC hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.errors import InputError
from tackfree.intake.weather.clean import FILL_UP_TO_H, HOUR_S, Station, finish
from tackfree.words import Message

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

NOWHERE = Station(name="", latitude_deg=np.nan, longitude_deg=np.nan, utc_offset_s=0)
HALF_HOUR_S = 1800.0  # a longer silence of the gauge leaves its hours unknown


@dataclass(frozen=True, kw_only=True)
class Samples:
    """Readings as they came: one moment and one value of each column per row.

    ``wet`` marks rows that tell of rain without an amount.
    """

    utc_s: IntArray
    columns: Mapping[str, FloatArray]
    wet: BoolArray | None = None


def settle(samples: Samples) -> tuple[Samples, list[Message]]:
    """Rows in order of time, each moment once.

    Equal rows are kept once. Where rows of one moment disagree in a column, that
    value is unknown; a row that only lacks it does not disagree.
    """
    order = np.argsort(samples.utc_s, kind="stable")
    moments, first, count = np.unique(samples.utc_s[order], return_index=True, return_counts=True)
    doubled = 0
    clashed = 0
    columns = {n: c[order][first].copy() for n, c in samples.columns.items()}
    wet = None if samples.wet is None else samples.wet[order][first].copy()
    for at in np.flatnonzero(count > 1):
        rows = order[first[at] : first[at] + count[at]]
        differs = False
        for name, column in samples.columns.items():
            values = column[rows]
            known = values[np.isfinite(values)]
            if known.size and (known != known[0]).any():
                columns[name][at] = np.nan
                differs = True
            else:
                columns[name][at] = known[0] if known.size else np.nan
        if wet is not None and samples.wet is not None:
            wet[at] = samples.wet[rows].any()
        doubled += 0 if differs else int(count[at] - 1)
        clashed += int(differs)
    messages = [
        Message(id=f"weather.{id_}", values={"count": n})
        for id_, n in (("doubled", doubled), ("clashed", clashed))
        if n
    ]
    return Samples(utc_s=moments, columns=columns, wet=wet), messages


def hourly(
    samples: Samples,
    *,
    origin: str,
    kind: str = "measured",
    station: Station = NOWHERE,
    running_rain: bool = False,
    already: Sequence[Message] = (),
) -> WeatherSeries:
    """Readings as a series of UTC hours.

    States are taken at each hour's end, straight between the readings beside it;
    where more than two hours of readings are missing they stay unknown. The sun is
    the mean of an hour's readings and rain their sum; ``running_rain`` readings
    count up through the hour, so that the largest is the hour's. An hour without
    enough readings of rain is unknown, never dry.

    Raises
    ------
    InputError
        If there are fewer than two readings, or :func:`clean.finish` refuses.
    """
    ready, messages = settle(samples)
    moments = ready.utc_s
    if len(moments) < 2:
        raise InputError(
            f"there are {len(moments)} reading(s) with a time.",
            do="Give a file with at least two; check the time column.",
        )
    usual = float(np.median(np.diff(moments)))
    start = int(-(-moments[0] // HOUR_S) * HOUR_S) - HOUR_S
    hours = int(-(-moments[-1] // HOUR_S)) - start // HOUR_S
    edges = start + HOUR_S * np.arange(hours + 1, dtype=np.int64)
    reach_s = FILL_UP_TO_H * HOUR_S + min(usual, HOUR_S)
    columns: dict[str, FloatArray] = {}
    filled = 0
    for name, values in ready.columns.items():
        if name == "rain_mm":
            columns[name] = _rain(moments, values, edges, usual, running_rain)
        elif name.endswith("_w_m2"):
            columns[name] = _means(moments, values, edges)
        else:
            columns[name], far = _states(moments, values, edges[1:], reach_s, 1.5 * usual)
            filled += far
    if filled:
        messages.append(Message(id="weather.filled", values={"count": filled}))
    wet = None
    if ready.wet is not None:
        wet = np.zeros(hours, dtype=np.bool_)
        wet[_hour_of(moments[ready.wet], start, hours)] = True
    return finish(
        columns, start_utc_s=start, station=station, origin=origin, kind=kind,
        already=(*already, *messages), wet=wet,
    )  # fmt: skip


def _hour_of(moments: IntArray, start: int, hours: int) -> IntArray:
    """Hour that a reading closes: one at the full hour belongs to the hour before."""
    return np.asarray(np.clip((moments - start - 1) // HOUR_S, 0, hours - 1))


def _states(
    moments: IntArray, values: FloatArray, ends: IntArray, reach_s: float, usual_s: float
) -> tuple[FloatArray, int]:
    known = np.isfinite(values)
    if not known.any():
        return np.full(len(ends), np.nan), 0
    t, v = moments[known], values[known]
    right = np.clip(np.searchsorted(t, ends), 0, len(t) - 1)
    left = np.where(t[right] == ends, right, np.clip(right - 1, 0, None))
    gap = t[right] - t[left]
    inside = (t[left] <= ends) & (t[right] >= ends) & (gap <= reach_s)
    at = np.interp(ends, t, v)
    out = np.where(inside, at, np.nan)
    # Half an hour past the last reading is still that reading.
    near = (ends > t[-1]) & (ends - t[-1] <= HOUR_S / 2)
    return np.where(near, v[-1], out), int((inside & (gap > max(usual_s, HOUR_S))).sum())


def _means(moments: IntArray, values: FloatArray, edges: IntArray) -> FloatArray:
    hours = len(edges) - 1
    known = np.isfinite(values)
    at = _hour_of(moments[known], int(edges[0]), hours)
    count = np.bincount(at, minlength=hours)
    total = np.bincount(at, values[known], minlength=hours)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _rain(
    moments: IntArray, values: FloatArray, edges: IntArray, usual_s: float, running: bool
) -> FloatArray:
    hours = len(edges) - 1
    known = np.isfinite(values)
    at = _hour_of(moments[known], int(edges[0]), hours)
    count = np.bincount(at, minlength=hours)
    if running:
        out = np.full(hours, -1.0)
        np.maximum.at(out, at, values[known])
        return np.where(count > 0, out, np.nan)
    total = np.bincount(at, values[known], minlength=hours)
    longest = max(1.5 * usual_s, HALF_HOUR_S)
    told = np.concatenate([[int(edges[0])], moments[known], [int(edges[-1])]])
    silent = np.flatnonzero(np.diff(told) > longest)
    out = total.astype(np.float64)
    for i in silent:  # every hour that a silence touches
        first = (told[i] - edges[0]) // HOUR_S
        last = -(-(told[i + 1] - edges[0]) // HOUR_S)
        out[max(0, first) : last] = np.nan
    return out if usual_s <= HOUR_S else np.full(hours, np.nan)
