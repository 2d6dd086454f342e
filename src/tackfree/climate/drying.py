"""When a rained-on deck is worth testing. It never says that a deck is dry."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tackfree import units
from tackfree.climate.air import dew_point_c
from tackfree.climate.types import WeatherSeries

FloatArray = NDArray[np.float64]

# Water left on and just under a drained, broom-finished surface, mm; ours, unchecked.
HOPEFUL_MM, CAREFUL_MM = 0.3, 1.2
BAND = 0.4  # the formula's own uncertainty


def evaporation_kg_m2_h(
    *, surface_c: FloatArray, air_c: FloatArray, rh: FloatArray, wind_m_s: FloatArray
) -> FloatArray:
    """Evaporation of a film of water; never below zero.

    Parameters
    ----------
    surface_c, air_c : array
        [°C]
    rh : array
        [fraction]
    wind_m_s : array
        [m/s]

    Returns
    -------
    array
        [kg/(m² h)], which is mm/h

    Source
    ------
    Published: Uno, ACI Materials Journal 95 (1998) 365, the formula behind the
    chart of ACI 305, inch-pound form, with an uncertainty of about 40 %.
    """
    # The inch-pound form: lb/(ft² h) from °F and mph.
    warm, moist = (
        np.maximum(np.asarray(t, dtype=np.float64) / units.K_PER_F + 32.0, 0.0) ** 2.5
        for t in (surface_c, air_c)
    )
    speed = np.asarray(wind_m_s, dtype=np.float64) / units.M_S_PER_MPH
    per_ft2 = np.maximum(warm - np.asarray(rh) * moist, 0.0) * (1.0 + 0.4 * speed) * 1e-6
    return np.asarray(per_ft2 * units.KG_PER_LB / units.M2_PER_FT2)


def worth_testing_from_utc_s(
    series: WeatherSeries,
    surface_c: FloatArray,
    *,
    rain_ends_utc_s: float,
    wind_factor: float,
) -> tuple[float | None, float | None]:
    """Careful and hopeful moment from which a moisture test is worth making.

    The careful end dries 1.2 mm at 60 % of the formula's rate from a deck no warmer
    than the air; the hopeful end 0.3 mm at 140 % from the modelled surface.

    Parameters
    ----------
    series : WeatherSeries
        Weather; unknown hours dry nothing, rain starts the sum again.
    surface_c : array
        Surface at each interval's end. [°C]
    rain_ends_utc_s : float
        When the rain stopped. [Unix s]
    wind_factor : float
        Wind at the deck over the station's.

    Returns
    -------
    tuple
        Careful, hopeful; None where the series ends first. [Unix s]
    """
    wind = wind_factor * series.wind_m_s
    air = series.air_c
    cool = np.minimum(surface_c, np.maximum(air, dew_point_c(air, series.rh)))
    careful = (1 - BAND) * evaporation_kg_m2_h(
        surface_c=cool, air_c=air, rh=series.rh, wind_m_s=wind
    )
    hopeful = (1 + BAND) * evaporation_kg_m2_h(
        surface_c=surface_c, air_c=air, rh=series.rh, wind_m_s=wind
    )
    return (
        _dried(series, careful, rain_ends_utc_s, CAREFUL_MM),
        _dried(series, hopeful, rain_ends_utc_s, HOPEFUL_MM),
    )


def _dried(
    series: WeatherSeries, rate: FloatArray, since_utc_s: float, water_mm: float
) -> float | None:
    hour = series.step_s / 3600
    left = water_mm
    first = max(0, int((since_utc_s - series.start_utc_s) // series.step_s))
    for i in range(first, len(series)):
        begins = series.start_utc_s + i * series.step_s
        part = 1.0 - max(0.0, since_utc_s - begins) / series.step_s
        falls = series.rain_mm[i] > 0 or (series.wet is not None and bool(series.wet[i]))
        if falls and begins >= since_utc_s:
            left = water_mm
            continue
        gone = rate[i] * hour * part if np.isfinite(rate[i]) else 0.0
        if gone >= left:
            return float(begins + series.step_s * (1 - part + part * left / gone))
        left -= gone
    return None
