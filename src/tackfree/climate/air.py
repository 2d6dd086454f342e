"""Moist air: dew point, frost point, wet bulb, saturation and standard pressure.

All functions take plain floats or arrays of one shape. NaN stays NaN. A scalar
that cannot be right raises; the same value inside an array becomes NaN, so that
one bad row of a weather file stays unknown and the others are used.
"""

from __future__ import annotations

from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from tackfree.errors import InputError

FloatArray = NDArray[np.float64]
X = TypeVar("X", float, FloatArray)

ZERO_C_K = 273.15
STANDARD_PRESSURE_PA = 101_325.0

# Hyland and Wexler 1983, as in ASHRAE Handbook - Fundamentals 2017, ch. 1, eqs. 5 and 6:
# ln p = c0/T + c1 + c2 T + c3 T² + c4 T³ + c5 T⁴ + c6 ln T, p in Pa, T in K
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def saturation_pressure_water_pa(temp_c: X) -> X:
    """Vapour pressure of air saturated over liquid water, also below 0 °C.

    Parameters
    ----------
    temp_c : float or array
        Air temperature. [°C], -100 to 200 (below 0 °C over supercooled water)

    Returns
    -------
    float or array of the same shape
        Saturation pressure. [Pa]

    Source
    ------
    Published: Hyland and Wexler 1983, in ASHRAE Handbook - Fundamentals 2017,
    ch. 1, eq. 6 (stated for 0 to 200 °C).

    Examples
    --------
    >>> print(round(saturation_pressure_water_pa(25.0), 1))
    3169.2
    """
    return _back(np.exp(_ln_p(_array(temp_c) + ZERO_C_K, _WATER)), temp_c)


def saturation_pressure_ice_pa(temp_c: X) -> X:
    """Vapour pressure of air saturated over ice.

    Parameters
    ----------
    temp_c : float or array
        Air temperature. [°C], -100 to 0

    Returns
    -------
    float or array of the same shape
        Saturation pressure. [Pa]

    Source
    ------
    Published: Hyland and Wexler 1983, in ASHRAE Handbook - Fundamentals 2017,
    ch. 1, eq. 5.
    """
    return _back(np.exp(_ln_p(_array(temp_c) + ZERO_C_K, _ICE)), temp_c)


def dew_point_c(air_c: X, rh: X) -> X:
    """Temperature at which air of this humidity starts to wet a surface.

    Always over liquid water, also below 0 °C; :func:`frost_point_c` is the other
    one. A Magnus formula starts, two Newton steps on Hyland-Wexler finish.

    Parameters
    ----------
    air_c : float or array
        Air temperature. [°C], -40 to 60
    rh : float or array of the same shape
        Relative humidity over water. [fraction], above 0, at most 1

    Returns
    -------
    float or array of the same shape
        Dew point. [°C], NaN where an input is NaN

    Raises
    ------
    InputError
        If a scalar humidity is outside (0, 1] or a scalar temperature outside
        -90 to 90 °C. Inside arrays such values give NaN.

    Source
    ------
    Published: Hyland and Wexler 1983 (ASHRAE Handbook - Fundamentals 2017, ch. 1);
    start from Magnus 17.62 and 243.12 °C (WMO No. 8).

    Examples
    --------
    >>> print(round(dew_point_c(20.0, 0.5), 2))
    9.27
    """
    t, h = _air_and_rh(air_c, rh)
    return _back(_solve(t, h, _WATER, 17.62, 243.12), air_c)


def frost_point_c(air_c: X, rh: X) -> X:
    """Temperature at which air of this humidity starts to frost a surface.

    Humidity is still stated over water, as instruments and weather files do.

    Parameters
    ----------
    air_c, rh : float or array
        As in :func:`dew_point_c`.

    Returns
    -------
    float or array of the same shape
        Frost point. [°C], NaN where it would lie above 0 °C: there dew forms first

    Source
    ------
    Published: as :func:`dew_point_c`, over ice.
    """
    t, h = _air_and_rh(air_c, rh)
    frost = _solve(t, h, _ICE, 22.46, 272.62)
    return _back(np.where(frost <= 0.01, frost, np.nan), air_c)


def rh_from_dew(air_c: X, dew_c: X) -> X:
    """Relative humidity over water from air temperature and dew point.

    Parameters
    ----------
    air_c, dew_c : float or array
        Air temperature and dew point. [°C]

    Returns
    -------
    float or array of the same shape
        Relative humidity. [fraction], above 1 where the dew point exceeds the air

    Source
    ------
    Published: ratio of saturation pressures, Hyland and Wexler 1983.
    """
    t, d = _array(air_c), _array(dew_c)
    return _back(np.exp(_ln_p(d + ZERO_C_K, _WATER) - _ln_p(t + ZERO_C_K, _WATER)), air_c)


def spread_k(surface_c: X, dew_c: X) -> X:
    """Slab temperature minus dew point; the air's temperature plays no part.

    Parameters
    ----------
    surface_c, dew_c : float or array
        Slab surface temperature and dew point of the air. [°C]

    Returns
    -------
    float or array of the same shape
        Spread. [K], negative where the slab is wet by dew

    Source
    ------
    Exact, by definition.
    """
    return _back(_array(surface_c) - _array(dew_c), surface_c)


def standard_pressure_pa(altitude_m: X) -> X:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude_m : float or array
        Height above sea level. [m], -5000 to 11000

    Returns
    -------
    float or array of the same shape
        Pressure. [Pa]

    Source
    ------
    Published: ASHRAE Handbook - Fundamentals 2017, ch. 1, eq. 3.
    """
    return _back(
        STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * _array(altitude_m)) ** 5.2559, altitude_m
    )


def humidity_ratio(air_c: X, rh: X, pressure_pa: float = STANDARD_PRESSURE_PA) -> X:
    """Mass of water vapour for each mass of dry air.

    Parameters
    ----------
    air_c, rh : float or array
        As in :func:`dew_point_c`.
    pressure_pa : float
        Air pressure. [Pa]

    Returns
    -------
    float or array of the same shape
        Humidity ratio. [kg/kg]

    Source
    ------
    Published: ASHRAE Handbook - Fundamentals 2017, ch. 1, eq. 20 (0.621945).
    """
    t, h = _air_and_rh(air_c, rh)
    return _back(_ratio(h * np.exp(_ln_p(t + ZERO_C_K, _WATER)), pressure_pa), air_c)


def humidity_ratio_at_dew(dew_c: X, pressure_pa: float = STANDARD_PRESSURE_PA) -> X:
    """Mass of water vapour for each mass of dry air, from the dew point over water. [kg/kg]

    Source
    ------
    Published: as :func:`humidity_ratio`; air at its dew point holds what it holds.

    Examples
    --------
    >>> print(round(7000 * humidity_ratio_at_dew(12.85), 1))
    64.7
    """
    kelvin = _array(dew_c) + ZERO_C_K
    return _back(_ratio(np.exp(_ln_p(kelvin, _WATER)), pressure_pa), dew_c)


def wet_bulb_c(air_c: X, rh: X, pressure_pa: float = STANDARD_PRESSURE_PA) -> X:
    """Thermodynamic wet bulb; a well-swung sling reads close to it.

    Parameters
    ----------
    air_c, rh : float or array
        As in :func:`dew_point_c`.
    pressure_pa : float
        Air pressure. [Pa]

    Returns
    -------
    float or array of the same shape
        Wet bulb. [°C], over ice below 0 °C, and there never above the air

    Source
    ------
    Published: ASHRAE Handbook - Fundamentals 2017, ch. 1, eqs. 33 and 35,
    solved by halving between dew point and air temperature.
    """
    t, h = _air_and_rh(air_c, rh)
    vapour_pa = h * np.exp(_ln_p(t + ZERO_C_K, _WATER))
    target = _ratio(vapour_pa, pressure_pa)
    low, high = _solve(t, h, _WATER, 17.62, 243.12) - 1.0, t.copy()
    for _ in range(50):
        middle = 0.5 * (low + high)
        too_dry = _ratio_at_wet_bulb(t, middle, pressure_pa) < target
        low, high = np.where(too_dry, middle, low), np.where(too_dry, high, middle)
    return _back(np.where(np.isfinite(target), 0.5 * (low + high), np.nan), air_c)


def rh_from_wet_bulb(air_c: X, wet_c: X, pressure_pa: float = STANDARD_PRESSURE_PA) -> X:
    """Relative humidity over water from a dry and a wet bulb.

    Parameters
    ----------
    air_c, wet_c : float or array
        Dry and wet bulb. [°C]
    pressure_pa : float
        Air pressure. [Pa]

    Returns
    -------
    float or array of the same shape
        Relative humidity. [fraction]

    Raises
    ------
    InputError
        If a scalar wet bulb is above the dry bulb, or so far below it that the
        air would hold less than no water.

    Source
    ------
    Published: ASHRAE Handbook - Fundamentals 2017, ch. 1, eqs. 33, 35 and 20.
    """
    t, w = _array(air_c), _array(wet_c)
    ratio = _ratio_at_wet_bulb(t, w, pressure_pa)
    vapour_pa = pressure_pa * ratio / (0.621945 + ratio)
    rh = vapour_pa / np.exp(_ln_p(t + ZERO_C_K, _WATER))
    bad = (w > t + 1e-9) | (rh <= 0)
    if rh.ndim == 0 and bool(bad):
        raise InputError(
            f"a wet bulb of {float(w):g} °C does not go with a dry bulb of {float(t):g} °C.",
            do="Check the wick, the water and which thermometer is which.",
        )
    return _back(np.where(bad, np.nan, np.minimum(rh, 1.0)), air_c)


def _array(x: Any) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def _back(x: Any, like: X) -> X:
    """The result in the shape it was asked in: a plain float for a float."""
    return cast(X, float(x) if np.ndim(x) == 0 else x)


def _ln_p(kelvin: FloatArray, c: tuple[float, ...]) -> FloatArray:
    poly = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    return c[0] / kelvin + poly + c[6] * np.log(kelvin)


def _slope(kelvin: FloatArray, c: tuple[float, ...]) -> FloatArray:
    poly = c[2] + kelvin * (2 * c[3] + kelvin * (3 * c[4] + kelvin * 4 * c[5]))
    return -c[0] / kelvin**2 + poly + c[6] / kelvin


def _solve(t: FloatArray, h: FloatArray, c: tuple[float, ...], a: float, b: float) -> FloatArray:
    ln_vapour = np.log(h) + _ln_p(t + ZERO_C_K, _WATER)
    g = ln_vapour - np.log(611.2)  # Magnus: p = 611.2 exp(a T / (b + T))
    kelvin = b * g / (a - g) + ZERO_C_K
    for _ in range(2):
        kelvin = kelvin - (_ln_p(kelvin, c) - ln_vapour) / _slope(kelvin, c)
    slope: FloatArray = kelvin - ZERO_C_K
    return slope


def _air_and_rh(air_c: Any, rh: Any) -> tuple[FloatArray, FloatArray]:
    t, h = np.broadcast_arrays(_array(air_c), _array(rh))
    # A humidity worked out from a dew point may pass 1 by rounding.
    bad_h, bad_t = (h <= 0) | (h > 1 + 1e-6), np.abs(t) > 90
    if t.ndim == 0:
        if bad_h:
            raise InputError(
                f"relative humidity is {float(h):g}; it must be above 0 and at most 1.",
                do="Give a fraction: for 65 % write 0.65. A reading of 0 is a dead sensor.",
            )
        if bad_t:
            raise InputError(
                f"air temperature is {float(t):g} °C; expected -90 to 90.",
                do="Check the unit of the reading.",
            )
    bad = bad_h | bad_t
    return np.where(bad, np.nan, t), np.where(bad, np.nan, np.minimum(h, 1.0))


def _ratio(vapour_pa: FloatArray, pressure_pa: float) -> FloatArray:
    return 0.621945 * vapour_pa / (pressure_pa - vapour_pa)


def _ratio_at_wet_bulb(t: FloatArray, wet: FloatArray, pressure_pa: float) -> FloatArray:
    kelvin = wet + ZERO_C_K
    over_ice = wet < 0
    saturated = np.where(over_ice, np.exp(_ln_p(kelvin, _ICE)), np.exp(_ln_p(kelvin, _WATER)))
    full = _ratio(saturated, pressure_pa)
    above = ((2501 - 2.326 * wet) * full - 1.006 * (t - wet)) / (2501 + 1.86 * t - 4.186 * wet)
    below = ((2830 - 0.24 * wet) * full - 1.006 * (t - wet)) / (2830 + 1.86 * t - 2.1 * wet)
    return np.where(over_ice, below, above)
