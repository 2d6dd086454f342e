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
MOST_CELLS = 255
FLUSH_H = 64

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
        if not 2 <= self.cells <= MOST_CELLS or self.thickness_m <= 0:
            raise InputError(
                f"a slab of {self.thickness_m:g} m in {self.cells} cells cannot be worked out.",
                do=f"Give a thickness above 0 and 2 to {MOST_CELLS} cells.",
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
            first_of = {cases[i].thickness_m: cases[i] for i in rows}
            kept = {thickness: _top_weights(case) for thickness, case in first_of.items()}
            weights = np.array([kept[cases[i].thickness_m] for i in rows]).T.copy()
            steps = max(1, round(steps_per_hour * series.step_s / 3600))
            found = _march(
                held["air"], held["sky"], held["sun"], held["wind"],
                table, weights, cells, first, series.step_s / steps, steps,
            )  # fmt: skip
            if len(rows) == len(cases):
                surface, top = found
            else:
                surface[rows], top[rows] = found
    per_hour = 3600 / series.step_s
    by_needs: dict[tuple[str, ...], list[int]] = {}
    for i, case in enumerate(cases):
        by_needs.setdefault(_needs(case), []).append(i)
    for needs, rows in by_needs.items():
        gaps = np.any([~np.isfinite(columns[n]) for n in needs], axis=0)
        unknown = _spread_forward(gaps, round(UNKNOWN_AFTER_GAP_H * per_hour))
        if start_c is None:
            unknown[: round(SPIN_UP_H * per_hour)] = True
        if unknown.any():
            at = np.array(rows)[:, None], np.flatnonzero(unknown)[None, :]
            surface[at] = np.nan
            top[at] = np.nan
    return SlabTrace(surface_c=surface, top_c=top)


def compile_kernels() -> None:
    """Compile the march once, so that a first job does not wait for it (setup calls this)."""
    calm = np.full(72, 10.0)
    nothing = np.zeros(72)
    slab_trace(
        WeatherSeries(
            start_utc_s=0, step_s=3600, air_c=calm, dew_c=nothing, rh=nothing + 0.5,
            wind_m_s=nothing, ghi_w_m2=nothing, dni_w_m2=nothing, dhi_w_m2=nothing, cloud=nothing,
            rain_mm=nothing, pressure_pa=nothing + 101325, longwave_w_m2=nothing + 300,
        ),
        [SlabCase.of(Exposure.OPEN_SKY)],
    )  # fmt: skip


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


# One workspace of rows of 64 cases, addressed by unsigned constants: the compiler then
# sees that rows never overlap and runs the loops over cases in SIMD.
_U = np.uint64
_ROW = _U(BLOCK)
_ROOM = MOST_CELLS + 1
_T, _P, _INV, _MUL, _WEIGHT = (_U(i * _ROOM * BLOCK) for i in range(5))
(_G, _C, _GAIN, _E, _VIEW, _SHELTER, _HB, _OUTDOORS, _BELOW, _H0, _H1, _MEAN, _LEAD) = (
    _U((5 * _ROOM + i) * BLOCK) for i in range(13)
)
_SIZE = (5 * _ROOM + 13) * BLOCK


@njit(cache=True, error_model="numpy")
def _march(air, sky, sun, wind, table, weights, cells, start_c, dt, steps):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The time march, cases in blocks of 64 whose inner loops run in SIMD.

    Each step eliminates from the underside up: all its multipliers are constants
    of the case, only the surface row changes with time. A last block that is not
    full repeats its last case and throws the copies away.
    """
    count, hours = table.shape[0], air.shape[0]
    surface = np.empty((count, hours))
    top = np.empty((count, hours))
    a = np.empty(_SIZE)
    held = np.empty((2, FLUSH_H, BLOCK))
    last = _U(cells) * _ROW
    for begin in range(0, count, BLOCK):
        width = min(BLOCK, count - begin)
        _load(a, table, weights, cells, begin, width, start_c, dt)
        for k in range(_ROW):
            a[_H0 + k] = _convection(a[_SHELTER + k] * wind[0])
        for hour in range(hours):
            before = max(hour - 1, 0)
            for k in range(_ROW):
                a[_H1 + k] = _convection(a[_SHELTER + k] * wind[hour])
            s = sun[hour]
            for step in range(steps):
                w = (step + 0.5) / steps
                ta = (1 - w) * air[before] + w * air[hour] + ZERO_C_K
                ta4 = ta**4
                lw = ((1 - w) * sky[before] + w * sky[hour]) / STEFAN_BOLTZMANN
                for k in range(_ROW):
                    tb = a[_OUTDOORS + k] * ta + (1 - a[_OUTDOORS + k]) * a[_BELOW + k]
                    tn = a[_T + last + k]
                    rest = 0.5 * a[_C + k] * tn + a[_HB + k] * (tb - 0.5 * tn)
                    rest += a[_G + k] * (a[_T + last - _ROW + k] - tn)
                    a[_P + last + k] = rest * a[_INV + last + k]
                for i in range(cells - 1, 0, -1):
                    r = _U(i) * _ROW
                    for k in range(_ROW):
                        x = a[_T + r + k]
                        flow = a[_T + r - _ROW + k] - 2 * x + a[_T + r + _ROW + k]
                        rest = a[_C + k] * x + a[_G + k] * (flow + a[_P + r + _ROW + k])
                        a[_P + r + k] = rest * a[_INV + r + k]
                for k in range(_ROW):
                    h = (1 - w) * a[_H0 + k] + w * a[_H1 + k]
                    t0 = a[_T + k]
                    cube = t0 * t0 * t0
                    hr = 4.0 * a[_E + k] * cube
                    gained = a[_GAIN + k] * s + h * (ta - 0.5 * t0)
                    ambient = a[_VIEW + k] * lw + (1 - a[_VIEW + k]) * ta4
                    gained += a[_E + k] * (ambient - cube * t0) + 0.5 * hr * t0
                    rest = 0.5 * a[_C + k] * t0 + a[_G + k] * (a[_T + _ROW + k] - t0) + gained
                    lead = a[_LEAD + k] + 0.5 * (hr + h)
                    a[_T + k] = (rest + a[_G + k] * a[_P + _ROW + k]) / lead
                for i in range(1, cells + 1):
                    r = _U(i) * _ROW
                    for k in range(_ROW):
                        a[_T + r + k] = a[_P + r + k] + a[_MUL + r + k] * a[_T + r - _ROW + k]
            for k in range(_ROW):
                a[_MEAN + k] = 0.0
                a[_H0 + k] = a[_H1 + k]
            for i in range(cells + 1):
                r = _U(i) * _ROW
                for k in range(_ROW):
                    a[_MEAN + k] += a[_WEIGHT + r + k] * a[_T + r + k]
            row = hour % FLUSH_H
            for k in range(BLOCK):
                held[0, row, k] = a[_T + _U(k)] - ZERO_C_K
                held[1, row, k] = a[_MEAN + _U(k)] - ZERO_C_K
            if row == FLUSH_H - 1 or hour == hours - 1:  # few long writes, not many short
                for k in range(width):
                    for h in range(row + 1):
                        surface[begin + k, hour - row + h] = held[0, h, k]
                        top[begin + k, hour - row + h] = held[1, h, k]
    return surface, top


@njit(cache=True, error_model="numpy")
def _load(a, table, weights, cells, begin, width, start_c, dt):  # type: ignore[no-untyped-def]  # pragma: no cover
    """A block's constants and its first temperatures into the workspace.

    ``_G`` holds half the conductance: Crank-Nicolson takes half of each flow.
    """
    last = _U(cells) * _ROW
    for k in range(_ROW):
        j = begin + min(np.int64(k), width - 1)
        a[_G + k] = 0.5 * table[j, 0]
        a[_C + k] = table[j, 1] / dt
        a[_GAIN + k] = table[j, 2]
        a[_E + k] = table[j, 3] * STEFAN_BOLTZMANN
        a[_VIEW + k] = table[j, 4]
        a[_SHELTER + k] = table[j, 5]
        a[_HB + k] = table[j, 6]
        a[_OUTDOORS + k] = table[j, 7]
        a[_BELOW + k] = table[j, 8]
        a[_INV + last + k] = 1.0 / (0.5 * a[_C + k] + a[_G + k] + 0.5 * a[_HB + k])
        a[_MUL + last + k] = a[_G + k] * a[_INV + last + k]
        for i in range(cells - 1, 0, -1):
            r = _U(i) * _ROW + k
            a[_INV + r] = 1.0 / (a[_C + k] + 2.0 * a[_G + k] - a[_G + k] * a[_MUL + r + _ROW])
            a[_MUL + r] = a[_G + k] * a[_INV + r]
        a[_LEAD + k] = 0.5 * a[_C + k] + a[_G + k] - a[_G + k] * a[_MUL + _ROW + k]
        for i in range(cells + 1):
            a[_T + _U(i) * _ROW + k] = start_c + ZERO_C_K
            a[_WEIGHT + _U(i) * _ROW + k] = weights[i, j]


@njit(cache=True, error_model="numpy")
def _convection(v):  # type: ignore[no-untyped-def]  # pragma: no cover
    """W/(m² K) from the wind at the deck in m/s; the pair of NISTIR 6551."""
    return 5.6 + 4.0 * v if v < 5.0 else 7.2 * v**0.78
