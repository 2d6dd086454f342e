"""The climate of one job: every exposure and surface on the planner's slots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.air import STANDARD_PRESSURE_PA, humidity_ratio_at_dew
from tackfree.climate.sky import Opening
from tackfree.climate.sun import is_daylight
from tackfree.climate.types import WeatherSeries
from tackfree.climate.windows import SlotWeather
from tackfree.deck.types import Exposure

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

RAIN_REACHES = frozenset(
    {Exposure.OPEN_SKY, Exposure.OVER_OCCUPIED, Exposure.ON_GRADE, Exposure.SPLIT_SLAB}
)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """An exposure whose sky is partly hidden; ``name`` tells it from others like it."""

    name: str
    exposure: Exposure
    opening: Opening

    @property
    def value(self) -> str:
        return self.name


Where = Exposure | Setting  # a zone without shade is its exposure alone


def exposure_of(there: Where) -> Exposure:
    """The exposure of a place, shaded or not."""
    return there.exposure if isinstance(there, Setting) else there


@dataclass(frozen=True, kw_only=True)
class ClimateStage:
    """Weather, slab and light of a job, by exposure or setting and solar absorptance.

    ``surface_c`` holds the slab at the end of every weather interval;
    ``on_slots`` the same and all else on slots, edge 0 at ``slot0_utc_s``.
    ``stale`` is True where the forecast is older than its use allows.
    """

    series: WeatherSeries
    slot0_utc_s: int
    slot_s: int
    slots: int
    surface_c: Mapping[tuple[Where, float], FloatArray]
    on_slots: Mapping[tuple[Where, float], SlotWeather]
    daylight: BoolArray
    stale: bool = False

    def spread_k(self, exposure: Where, absorptance: float) -> FloatArray:
        """Slab minus dew point at slot edges. [K]"""
        there = self.on_slots[exposure, absorptance]
        return there.surface_c - there.dew_c


@dataclass(frozen=True, kw_only=True)
class LegalHours:
    """Hours of one month from which one coat may be started, on one exposure.

    ``held_by`` is the rule that stands most often in the way of a lit start, as
    "climate.wait.dew"; empty where none does.
    """

    month: str  # 2027-04
    exposure: Exposure
    build_up_id: str
    coat_id: str
    go_h: float
    measure_h: float
    wait_h: float
    unknown_h: float
    held_by: str = ""


def daylight_slots(
    slot0_utc_s: int, slot_s: int, slots: int, *, latitude_deg: float, longitude_deg: float
) -> BoolArray:
    """Slots with daylight from end to end."""
    edges = slot0_utc_s + slot_s * np.arange(slots + 1, dtype=np.float64)
    bright = is_daylight(edges, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    return np.asarray(bright[:-1] & bright[1:])


def at_edges(series: WeatherSeries, column: FloatArray, edges_utc_s: FloatArray) -> FloatArray:
    """A state column at any moments, straight between interval ends; unknown beside a gap."""
    at = (edges_utc_s - series.start_utc_s) / series.step_s - 1.0  # 0 is the first end
    inside = (at >= 0) & (at <= len(column) - 1)
    position = np.clip(at, 0, max(len(column) - 1, 0))
    low = np.floor(position).astype(np.int64)
    part = position - low
    high = np.minimum(low + 1, len(column) - 1)
    mixed = np.where(part > 0, column[low] * (1 - part) + column[high] * part, column[low])
    return np.where(inside, mixed, np.nan)


def slot_weather(
    series: WeatherSeries,
    surface_c: FloatArray,
    top_c: FloatArray,
    *,
    exposure: Exposure,
    slot0_utc_s: int,
    slot_s: int,
    slots: int,
    lit: BoolArray,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> SlotWeather:
    """One exposure and surface brought to the planner's slots.

    Rain falls through the whole of any interval that has some; a covered or an
    enclosed deck has none, whatever the file says. An enclosed deck is lit.
    """
    edges = slot0_utc_s + slot_s * np.arange(slots + 1, dtype=np.float64)
    states = {
        "surface_c": surface_c,
        "top_c": top_c,
        "air_c": series.air_c,
        "dew_c": series.dew_c,
        "rh": series.rh,
        "wind_m_s": series.wind_m_s if series.wind_high_m_s is None else series.wind_high_m_s,
        "water_kg_kg": humidity_ratio_at_dew(series.dew_c, pressure_pa),
    }
    return SlotWeather(
        slot0_utc_s=slot0_utc_s,
        slot_s=slot_s,
        **{name: at_edges(series, column, edges) for name, column in states.items()},
        rain=_rain(series, edges) if exposure in RAIN_REACHES else np.zeros(slots),
        lit=np.ones(slots, dtype=np.bool_) if exposure is Exposure.ENCLOSED else lit,
    )


def _rain(series: WeatherSeries, edges_utc_s: FloatArray) -> FloatArray:
    """1 wet, 0 dry, NaN unknown; a slot across two intervals takes the worse."""
    wet = np.where(np.isnan(series.rain_mm), np.nan, (series.rain_mm > 0).astype(np.float64))
    if series.wet is not None:
        wet = np.where(series.wet, 1.0, wet)

    def look(moment: FloatArray) -> FloatArray:
        index = np.floor((moment - series.start_utc_s) / series.step_s).astype(np.int64)
        inside = (index >= 0) & (index < len(wet))
        return np.where(inside, wet[np.clip(index, 0, len(wet) - 1)], np.nan)

    return np.maximum(look(edges_utc_s[:-1]), look(edges_utc_s[1:] - 1.0))
