"""Slab temperature through the day: one-dimensional conduction under sky and wind.

      sun, sky, wind
    ──●────────────── node 0, half a cell: this is the surface
      │  cell
      ●
      │
    ──●────────────── node n, half a cell: soffit, room below or ground

Crank-Nicolson with four steps an hour. One step an hour would ring by several
degrees after a cloud passes; a test keeps that from coming back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from tackfree.climate.types import WeatherSeries
from tackfree.deck.types import Exposure
from tackfree.errors import InputError

FloatArray = NDArray[np.float64]

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA 2018
ZERO_C_K = 273.15
STEPS_PER_HOUR = 4
TOP_DEPTH_M = 0.0381  # 1.5 in: the layer whose warming drives air out of the pores
SPIN_UP_H = 48
UNKNOWN_AFTER_GAP_H = 24
BLOCK = 64

BARE_ABSORPTANCE = 0.65  # weathered bare concrete
DARK_ABSORPTANCE = 0.90  # a dark coat


@dataclass(frozen=True, kw_only=True)
class SlabCase:
    """One slab under one exposure. Every figure is a default of ours, editable.

    ``sun_factor`` and ``sky_view`` are the shares of sun and sky the surface sees,
    ``wind_factor`` the wind at the deck over the station's. ``bottom`` says what
    the underside meets: "air" (outdoor), "interior" (``interior_c``) or "ground"
    (the series' mean air temperature, through ``bottom_h_w_m2k``).
    """

    absorptance: float = BARE_ABSORPTANCE
    sun_factor: float = 1.0
    sky_view: float = 1.0
    wind_factor: float = 0.6
    thickness_m: float = 0.2032
    cells: int = 8
    conductivity_w_mk: float = 1.7
    heat_j_m3k: float = 2300.0 * 900.0
    emissivity: float = 0.92
    bottom: str = "air"
    bottom_h_w_m2k: float = 8.0
    interior_c: float = 22.2

    def __post_init__(self) -> None:
        for name in ("absorptance", "sun_factor", "sky_view", "wind_factor", "emissivity"):
            value = getattr(self, name)
            if not 0 <= value <= 1:
                raise InputError(
                    f"{name.replace('_', ' ')} is {value:g}; expected a fraction 0 to 1.",
                    do="For 65 % write 0.65.",
                )
        if self.cells < 2 or self.thickness_m <= 0:
            raise InputError(
                f"a slab of {self.thickness_m:g} m in {self.cells} cells cannot be worked out.",
                do="Give a thickness above 0 and at least 2 cells.",
            )
        if self.bottom not in ("air", "interior", "ground"):
            raise InputError(
                f"the underside meets {self.bottom!r}; expected air, interior or ground.",
                do="Use one of the three words.",
            )

    @classmethod
    def of(cls, exposure: Exposure, absorptance: float = BARE_ABSORPTANCE) -> SlabCase:
        """The default slab of an exposure.

        Open sky, covered and over occupied space follow the climate notes (wind
        factors from the pavement literature, shares of sun and sky assumed). Ours
        and unchecked: an enclosed deck sees no sun, no sky and little wind; a slab
        on grade carries 0.41 m of ground with it; a split slab is coated while its
        structural slab lies open, over a heated room.
        """
        return replace(_DEFAULTS[exposure], absorptance=absorptance)

    @classmethod
    def balcony(cls, absorptance: float = BARE_ABSORPTANCE) -> SlabCase:
        """A balcony of no particular orientation, 6 in thick."""
        return cls(absorptance=absorptance, sun_factor=0.45, sky_view=0.5, thickness_m=0.1524)


_DEFAULTS = {
    Exposure.OPEN_SKY: SlabCase(),
    Exposure.COVERED: SlabCase(sun_factor=0.03, sky_view=0.1, wind_factor=0.5),
    Exposure.OVER_OCCUPIED: SlabCase(bottom="interior", bottom_h_w_m2k=0.5),
    Exposure.ENCLOSED: SlabCase(sun_factor=0.0, sky_view=0.0, wind_factor=0.2),
    Exposure.ON_GRADE: SlabCase(thickness_m=0.6096, cells=24, bottom="ground", bottom_h_w_m2k=1.5),
    Exposure.SPLIT_SLAB: SlabCase(bottom="interior", bottom_h_w_m2k=0.5),
}


@dataclass(frozen=True, kw_only=True)
class SlabTrace:
    """Temperatures at the end of every interval, ``[case, interval]``, °C."""

    surface_c: FloatArray
    top_c: FloatArray  # mean of the uppermost 1.5 in


def sky_longwave_w_m2(air_c: FloatArray, dew_c: FloatArray, cloud: FloatArray) -> FloatArray:
    """Long-wave radiation of the sky on a horizontal surface.

    Parameters
    ----------
    air_c, dew_c : array
        Air temperature and dew point. [°C]
    cloud : array
        Opaque share of the sky. [fraction]

    Returns
    -------
    array
        Sky radiation. [W/m²]

    Source
    ------
    Published: Clark and Allen 1978 with the cloud polynomial of Walton,
    NBSIR 83-2655. Against one clear winter day of measured radiation its error is
    17 W/m² (root mean square).
    """
    tenths = 10.0 * cloud
    clear = 0.787 + 0.764 * np.log((dew_c + ZERO_C_K) / ZERO_C_K)
    cover = 1.0 + 0.0224 * tenths - 0.0035 * tenths**2 + 0.00028 * tenths**3
    return np.asarray(clear * cover * STEFAN_BOLTZMANN * (air_c + ZERO_C_K) ** 4)


def slab_trace(
    series: WeatherSeries,
    cases: Sequence[SlabCase],
    *,
    start_c: float | None = None,
    steps_per_hour: int = STEPS_PER_HOUR,
) -> SlabTrace:
    """Surface temperature of every case under one weather series.

    State columns run linearly from one interval's end to the next; the sun is the
    interval's mean. Where a column that the case needs is missing, its last known
    value carries the sum on, and the result is unknown (NaN) for the gap and the
    24 h after it. Without ``start_c`` the slab starts 3 °F (1.7 K) above the mean
    air temperature and the first 48 h are unknown.

    Parameters
    ----------
    series : WeatherSeries
        Weather on equal intervals.
    cases : sequence of SlabCase
        What to work out.
    start_c : float, optional
        Known uniform slab temperature at the series' start. [°C]
    steps_per_hour : int
        Crank-Nicolson steps; 4 is accurate to about 0.2 °F.

    Returns
    -------
    SlabTrace
        Temperatures at interval ends.

    Source
    ------
    Published: scheme and wind function as NISTIR 6551 (Bentz 2000), built for
    concrete pavements and bridge decks under typical years. Out of the box expect
    6 to 9 °F root mean square against a measured surface.
    """
    sky = np.where(
        np.isfinite(series.longwave_w_m2),
        series.longwave_w_m2,
        sky_longwave_w_m2(series.air_c, series.dew_c, series.cloud),
    )
    columns = {"air": series.air_c, "sky": sky, "sun": series.ghi_w_m2, "wind": series.wind_m_s}
    held = {name: _hold(column) for name, column in columns.items()}
    mean_air = float(np.mean(held["air"])) if len(series) else np.nan
    surface = np.full((len(cases), len(series)), np.nan)
    top = surface.copy()
    first = mean_air + 5.0 / 3.0 if start_c is None else start_c
    if len(series) and np.isfinite(series.air_c).any():
        for cells in sorted({c.cells for c in cases}):
            rows = [i for i, c in enumerate(cases) if c.cells == cells]
            table = np.array([_numbers(cases[i], mean_air) for i in rows])
            weights = np.array([_top_weights(cases[i]) for i in rows]).T.copy()
            steps = max(1, round(steps_per_hour * series.step_s / 3600))
            found = _march(
                held["air"], held["sky"], held["sun"], held["wind"],
                table, weights, cells, first, series.step_s / steps, steps,
            )  # fmt: skip
            surface[rows], top[rows] = found
    per_hour = 3600 / series.step_s
    masks: dict[tuple[str, ...], NDArray[np.bool_]] = {}
    for i, case in enumerate(cases):
        needs = _needs(case)
        if needs not in masks:
            gaps = np.any([~np.isfinite(columns[n]) for n in needs], axis=0)
            masks[needs] = _spread_forward(gaps, round(UNKNOWN_AFTER_GAP_H * per_hour))
            if start_c is None:
                masks[needs][: round(SPIN_UP_H * per_hour)] = True
        surface[i, masks[needs]] = np.nan
        top[i, masks[needs]] = np.nan
    return SlabTrace(surface_c=surface, top_c=top)


def _needs(case: SlabCase) -> tuple[str, ...]:
    """The columns without which this case is unknown."""
    needs = ["air"]
    needs += ["sun"] if case.sun_factor * case.absorptance > 0 else []
    needs += ["sky"] if case.sky_view * case.emissivity > 0 else []
    needs += ["wind"] if case.wind_factor > 0 else []
    return tuple(needs)


def _hold(column: FloatArray) -> FloatArray:
    """Gaps filled with the last known value, so that the march stays finite."""
    known = np.isfinite(column)
    if not known.any():
        return np.zeros_like(column)
    last = np.where(known, np.arange(len(column)), -1)
    last = np.maximum.accumulate(last)
    return np.asarray(column[np.where(last < 0, np.argmax(known), last)])


def _spread_forward(mask: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """The mask with ``count`` further intervals marked after each marked one."""
    last = np.maximum.accumulate(np.where(mask, np.arange(len(mask)), -count - 1))
    return np.asarray(np.arange(len(mask)) - last <= count)


def _numbers(case: SlabCase, mean_air_c: float) -> list[float]:
    """A case as the row of floats that the kernel reads."""
    cell_m = case.thickness_m / case.cells
    conductance = case.conductivity_w_mk / cell_m
    below_c = {"interior": case.interior_c, "ground": mean_air_c, "air": 0.0}[case.bottom]
    return [
        conductance,
        case.heat_j_m3k * cell_m,
        case.absorptance * case.sun_factor,
        case.emissivity,
        case.sky_view,
        case.wind_factor,
        case.bottom_h_w_m2k,
        1.0 if case.bottom == "air" else 0.0,
        below_c + ZERO_C_K,
    ]


def _top_weights(case: SlabCase) -> FloatArray:
    """Share of each node in the mean of the uppermost 1.5 in."""
    cell_m = case.thickness_m / case.cells
    lower = cell_m * (np.arange(case.cells + 1) + 0.5)
    depth = np.minimum(lower, min(TOP_DEPTH_M, case.thickness_m))
    part = np.diff(np.concatenate([[0.0], depth])).clip(0)
    return np.asarray(part / part.sum())


@njit(cache=True, error_model="numpy")
def _march(air, sky, sun, wind, table, weights, cells, start_c, dt, steps):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The time march, cases in blocks so that the inner loops run in SIMD.

    Each step eliminates from the underside up: all its multipliers are constants
    of the case, only the surface row changes with time.
    """
    count, hours = table.shape[0], air.shape[0]
    surface = np.empty((count, hours))
    top = np.empty((count, hours))
    for begin in range(0, count, BLOCK):
        end = min(begin + BLOCK, count)
        width = end - begin
        g = table[begin:end, 0].copy()
        c = table[begin:end, 1] / dt
        gain = table[begin:end, 2].copy()
        e = table[begin:end, 3] * STEFAN_BOLTZMANN
        view = table[begin:end, 4].copy()
        shelter = table[begin:end, 5].copy()
        hb = table[begin:end, 6].copy()
        outdoors = table[begin:end, 7].copy()
        below = table[begin:end, 8].copy()
        inv = np.empty((cells + 1, width))
        mul = np.zeros((cells + 1, width))
        for k in range(width):
            inv[cells, k] = 1.0 / (0.5 * c[k] + 0.5 * g[k] + 0.5 * hb[k])
            mul[cells, k] = 0.5 * g[k] * inv[cells, k]
            for i in range(cells - 1, 0, -1):
                inv[i, k] = 1.0 / (c[k] + g[k] - 0.5 * g[k] * mul[i + 1, k])
                mul[i, k] = 0.5 * g[k] * inv[i, k]
        t = np.full((cells + 1, width), start_c + ZERO_C_K)
        p = np.empty((cells + 1, width))
        h0 = np.empty(width)
        h1 = np.empty(width)
        for hour in range(hours):
            before = max(hour - 1, 0)
            for k in range(width):
                h0[k] = _convection(shelter[k] * wind[before])
                h1[k] = _convection(shelter[k] * wind[hour])
            for step in range(steps):
                w = (step + 0.5) / steps
                ta = (1 - w) * air[before] + w * air[hour] + ZERO_C_K
                lw = (1 - w) * sky[before] + w * sky[hour]
                for k in range(width):
                    tb = outdoors[k] * ta + (1 - outdoors[k]) * below[k]
                    flow = 0.5 * g[k] * (t[cells - 1, k] - t[cells, k])
                    rest = 0.5 * c[k] * t[cells, k] + flow + hb[k] * (tb - 0.5 * t[cells, k])
                    p[cells, k] = rest * inv[cells, k]
                for i in range(cells - 1, 0, -1):
                    for k in range(width):
                        flow = 0.5 * g[k] * (t[i - 1, k] - 2 * t[i, k] + t[i + 1, k])
                        rest = c[k] * t[i, k] + flow + 0.5 * g[k] * p[i + 1, k]
                        p[i, k] = rest * inv[i, k]
                for k in range(width):
                    h = (1 - w) * h0[k] + w * h1[k]
                    t0 = t[0, k]
                    hr = 4.0 * e[k] * t0**3
                    gained = gain[k] * sun[hour] + h * (ta - 0.5 * t0)
                    ambient = view[k] * lw / STEFAN_BOLTZMANN + (1 - view[k]) * ta**4
                    gained += e[k] * (ambient - t0**4) + 0.5 * hr * t0
                    rest = 0.5 * c[k] * t0 + 0.5 * g[k] * (t[1, k] - t0) + gained
                    lead = 0.5 * (c[k] + g[k] + hr + h - g[k] * mul[1, k])
                    t[0, k] = (rest + 0.5 * g[k] * p[1, k]) / lead
                for i in range(1, cells + 1):
                    for k in range(width):
                        t[i, k] = p[i, k] + mul[i, k] * t[i - 1, k]
            mean = np.zeros(width)
            for i in range(cells + 1):
                for k in range(width):
                    mean[k] += weights[i, begin + k] * t[i, k]
            for k in range(width):
                surface[begin + k, hour] = t[0, k] - ZERO_C_K
                top[begin + k, hour] = mean[k] - ZERO_C_K
    return surface, top


@njit(cache=True, error_model="numpy")
def _convection(v):  # type: ignore[no-untyped-def]  # pragma: no cover
    """W/(m² K) from the wind at the deck in m/s; the pair of NISTIR 6551."""
    return 5.6 + 4.0 * v if v < 5.0 else 7.2 * v**0.78
