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
from numpy.typing import NDArray

from tackfree.climate import march
from tackfree.climate.types import WeatherSeries
from tackfree.deck.types import Exposure
from tackfree.errors import InputError

FloatArray = NDArray[np.float64]

STEFAN_BOLTZMANN, ZERO_C_K = march.STEFAN_BOLTZMANN, march.ZERO_C_K
STEPS_PER_HOUR = 4
TOP_DEPTH_M = 0.0381  # 1.5 in: the layer whose warming drives air out of the pores
SPIN_UP_H = 48
WARMER_K = 5.0 / 3.0  # 3 °F: a slab not measured starts so much above the mean air
UNKNOWN_AFTER_GAP_H = 24
COLUMNS = "air", "sky", "sun", "wind"  # of the weather, as the kernel takes them

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
        if not 2 <= self.cells <= march.MOST_CELLS or self.thickness_m <= 0:
            raise InputError(
                f"a slab of {self.thickness_m:g} m in {self.cells} cells cannot be worked out.",
                do=f"Give a thickness above 0 and 2 to {march.MOST_CELLS} cells.",
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
    """Temperatures at the end of every interval, ``[case, interval]``, °C.

    Of many weathers: ``[weather, case, interval]``.
    """

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
    cover = 1.0 + tenths * (0.0224 - tenths * (0.0035 - 0.00028 * tenths))
    square = np.square(air_c + ZERO_C_K)
    return np.asarray(clear * cover * STEFAN_BOLTZMANN * square * square)


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
    found = slab_traces([series], cases, start_c=start_c, steps_per_hour=steps_per_hour)
    return SlabTrace(surface_c=found.surface_c[0], top_c=found.top_c[0])


def slab_traces(
    weathers: Sequence[WeatherSeries],
    cases: Sequence[SlabCase],
    *,
    start_c: float | None = None,
    steps_per_hour: int = STEPS_PER_HOUR,
) -> SlabTrace:
    """Surface temperature of every case under each of many weather series.

    The same sum as :func:`slab_trace` for each series, worked out side by side: a few
    cases under many years then cost no more than as many cases under one.

    Parameters
    ----------
    weathers : sequence of WeatherSeries
        At least one; all of one length and one step.
    cases : sequence of SlabCase
        What to work out under each.
    start_c, steps_per_hour
        As for :func:`slab_trace`.

    Returns
    -------
    SlabTrace
        Temperatures at interval ends, ``[weather, case, interval]``.

    Raises
    ------
    InputError
        If there is no weather, or lengths or steps differ.
    """
    if len({(len(w), w.step_s) for w in weathers}) != 1:
        raise InputError(
            "weather worked out side by side must be of one length and one step.",
            do="Cut the series to the same intervals.",
        )
    hours, step_s = len(weathers[0]), weathers[0].step_s
    shape = len(weathers), len(cases), hours
    surface, top = np.empty(shape), np.empty(shape)
    if 0 in shape:
        return SlabTrace(surface_c=surface, top_c=top)
    columns = [_columns(w) for w in weathers]
    forcing = np.empty((len(COLUMNS), hours, len(weathers)))
    for i, of in enumerate(columns):
        for j, name in enumerate(COLUMNS):
            forcing[j, :, i] = _hold(of[name])
    mean_air = [float(m) for m in forcing[0].mean(axis=0)]
    steps = max(1, round(steps_per_hour * step_s / 3600))
    for cells in sorted({c.cells for c in cases}):
        rows = [i for i, c in enumerate(cases) if c.cells == cells]
        table = np.array(
            [_numbers(cases[i], air, start_c, j) for j, air in enumerate(mean_air) for i in rows]
        )
        first_of = {cases[i].thickness_m: cases[i] for i in rows}
        kept = {thickness: _top_weights(case) for thickness, case in first_of.items()}
        weights = np.array([kept[cases[i].thickness_m] for i in rows] * len(weathers)).T.copy()
        found = march.march(forcing, table, weights, cells, step_s / steps, steps)
        part = len(weathers), len(rows), hours
        if part == shape:
            surface, top = (f.reshape(shape) for f in found)
        else:
            surface[:, rows], top[:, rows] = (f.reshape(part) for f in found)
    per_hour = 3600 / step_s
    by_needs: dict[tuple[str, ...], list[int]] = {}
    for i, case in enumerate(cases):
        by_needs.setdefault(_needs(case), []).append(i)
    for i, of in enumerate(columns):
        for needs, rows in by_needs.items():
            gaps = np.any([~np.isfinite(of[n]) for n in needs], axis=0)
            unknown = _spread_forward(gaps, round(UNKNOWN_AFTER_GAP_H * per_hour))
            if start_c is None:
                unknown[: round(SPIN_UP_H * per_hour)] = True
            if unknown.any():
                at = np.array(rows)[:, None], np.flatnonzero(unknown)[None, :]
                surface[i][at] = np.nan
                top[i][at] = np.nan
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


def _columns(series: WeatherSeries) -> dict[str, FloatArray]:
    """What the balance takes from the weather, by the names of ``COLUMNS``."""
    sky = series.longwave_w_m2
    measured = np.isfinite(sky)
    if not measured.all():
        built = sky_longwave_w_m2(series.air_c, series.dew_c, series.cloud)
        sky = np.where(measured, sky, built)
    columns = series.air_c, sky, series.ghi_w_m2, series.wind_m_s
    return dict(zip(COLUMNS, columns, strict=True))


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
    if known.all():
        return column
    if not known.any():
        return np.zeros_like(column)
    last = np.where(known, np.arange(len(column)), -1)
    last = np.maximum.accumulate(last)
    return np.asarray(column[np.where(last < 0, np.argmax(known), last)])


def _spread_forward(mask: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """The mask with ``count`` further intervals marked after each marked one."""
    last = np.maximum.accumulate(np.where(mask, np.arange(len(mask)), -count - 1))
    return np.asarray(np.arange(len(mask)) - last <= count)


def _numbers(case: SlabCase, mean_air_c: float, start_c: float | None, weather: int) -> list[float]:
    """A case under one weather as the row of floats that the kernel reads."""
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
        (mean_air_c + WARMER_K if start_c is None else start_c) + ZERO_C_K,
        float(weather),
    ]


def _top_weights(case: SlabCase) -> FloatArray:
    """Share of each node in the mean of the uppermost 1.5 in."""
    cell_m = case.thickness_m / case.cells
    lower = cell_m * (np.arange(case.cells + 1) + 0.5)
    depth = np.minimum(lower, min(TOP_DEPTH_M, case.thickness_m))
    part = np.diff(np.concatenate([[0.0], depth])).clip(0)
    return np.asarray(part / part.sum())
