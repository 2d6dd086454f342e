"""One weather series: UTC intervals, each column tagged, unknown stays unknown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tackfree.words import Message

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class WeatherSeries:
    """Weather on equal UTC intervals ``[start, start + step)``; NaN is unknown.

    Columns are one-dimensional, of one length. State columns (air, dew, wind,
    cloud, pressure) are taken at the interval's end unless ``tags`` says
    otherwise; ``ghi`` is the mean and ``rain`` the sum over the interval.
    """

    start_utc_s: int  # Unix time of the first interval's start
    step_s: int
    air_c: FloatArray
    dew_c: FloatArray
    rh: FloatArray  # fraction
    wind_m_s: FloatArray
    ghi_w_m2: FloatArray
    dni_w_m2: FloatArray
    dhi_w_m2: FloatArray
    cloud: FloatArray  # opaque sky fraction 0-1
    rain_mm: FloatArray
    pressure_pa: FloatArray
    longwave_w_m2: FloatArray
    tags: Mapping[str, str] = field(default_factory=dict)  # column -> mean, instant, sum
    kind: str = ""  # typical-year, forecast, measured
    origin: str = ""  # file and its provenance, for people
    issued_utc_s: int | None = None  # when a forecast was made
    notes: tuple[str, ...] = ()  # what was filled, dropped or doubted, in English
    messages: tuple[Message, ...] = ()  # the same, for the reader's language
    utc_offset_s: int | None = None  # the file's fixed standard time, where it has one
    wet: BoolArray | None = None  # wet although no amount is known: trace, rain in words
    wind_high_m_s: FloatArray | None = None  # upper end of a stated range, for a wind limit
    latitude_deg: float | None = None  # where the file itself says so
    longitude_deg: float | None = None

    def __len__(self) -> int:
        return len(self.air_c)
