"""Slab march and dew point against general-purpose libraries, same data, same run."""

from __future__ import annotations

import importlib.util
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any
from unittest import mock

import numpy as np
import psychrolib
from scipy.integrate import solve_ivp

from tackfree.climate import march, slab
from tackfree.climate.air import dew_point_c
from tackfree.climate.slab import (
    DARK_ABSORPTANCE,
    STEFAN_BOLTZMANN,
    ZERO_C_K,
    SlabCase,
    sky_longwave_w_m2,
    slab_trace,
    slab_traces,
)
from tackfree.climate.types import WeatherSeries
from tackfree.cure.batch import earliest_of_many
from tackfree.cure.clock import DOUBLING, CureSheet, Point
from tackfree.deck.types import Exposure

RUNS = 5
HOURS = 720
CASES = 64
HOURS_A_YEAR, YEARS, DIFFERENT_YEARS = 8760, 1000, 16
EXPOSURES = (Exposure.OPEN_SKY, Exposure.COVERED, Exposure.OVER_OCCUPIED, Exposure.ENCLOSED)
DEW_POINTS = 20_000


def run() -> list[dict[str, Any]]:
    """Rows of the bench table."""
    return [*_slab(), *_years(), *_dew()]


def _seconds(work: Callable[[], Any], runs: int = RUNS) -> float:
    taken = []
    for _ in range(runs):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return statistics.median(taken)


def _row(
    id_: str, value: float, unit: str, baseline: str, ratio: float | None, goal: str, holds: bool
) -> dict[str, Any]:
    return {
        "id": id_, "value": value, "unit": unit, "baseline": baseline, "ratio": ratio,
        "goal": goal, "holds": holds, "runs": RUNS,
    }  # fmt: skip


def _weather(hours: int = HOURS, seed: int = 0) -> WeatherSeries:
    rng = np.random.default_rng(seed)
    t = np.arange(1, hours + 1)
    day = np.sin((t % 24 - 8) * np.pi / 12)
    empty = np.full(hours, np.nan)
    cloud = rng.random(hours)
    sun = 900 * np.clip(np.sin((t % 24 - 6.5) * np.pi / 13), 0, None) * (1 - 0.8 * cloud)
    return WeatherSeries(
        start_utc_s=0, step_s=3600, air_c=25 + 6 * day, dew_c=np.full(hours, 15.0),
        rh=empty, wind_m_s=8 * rng.random(hours), ghi_w_m2=sun, dni_w_m2=empty, dhi_w_m2=empty,
        cloud=cloud, rain_mm=empty, pressure_pa=empty, longwave_w_m2=empty,
    )  # fmt: skip


def _slab() -> list[dict[str, Any]]:
    """64 cases x 30 days, the notes' task: whole call against a general solver."""
    weather = _weather()
    cases = [SlabCase(absorptance=a) for a in np.linspace(0.55, 0.95, CASES)]
    slab_trace(weather, cases, start_c=25.0)  # compiled before it is timed
    ours_s = _seconds(lambda: slab_trace(weather, cases, start_c=25.0), runs=15)
    found: list[np.ndarray] = []
    general_s = _seconds(lambda: found.append(_general(weather, cases[0])), runs=3)
    ours = slab_trace(weather, cases[:1], start_c=25.0).surface_c[0]
    apart_f = float(np.abs(ours - found[0]).max()) * 1.8
    ratio = (HOURS / ours_s * CASES) / (HOURS / general_s)
    library = "scipy solve_ivp LSODA, rtol 1e-4, same cells, one case, restarted each hour"
    speed = CASES * HOURS / _seconds(_kernel_of(weather, cases), runs=15)
    return [
        _row("climate-slab-ratio", CASES * HOURS / ours_s, "slab-hours/s, 64 x 30 days",
             library, ratio, "5000x", ratio >= 5000),
        _row("climate-slab-speed", speed, "slab-hours/s, kernel alone", "the goal", speed / 3e7,
             "3e7", speed >= 3e7),
        _row("climate-slab-difference", apart_f, "F at most", library, None, "0.5", apart_f <= 0.5),
    ]  # fmt: skip


def _kernel_of(weather: WeatherSeries, cases: list[SlabCase]) -> Callable[[], Any]:
    """The time march without what surrounds it, as the notes measured theirs."""
    sky = sky_longwave_w_m2(weather.air_c, weather.dew_c, weather.cloud)
    table = np.array([slab._numbers(c, 25.0, 25.0, 0) for c in cases])
    weights = np.array([slab._top_weights(c) for c in cases]).T.copy()
    columns = weather.air_c, sky, weather.ghi_w_m2, weather.wind_m_s
    forcing = np.stack(columns)[:, :, None]
    return lambda: march.march(forcing, table, weights, cases[0].cells, 900.0, 4)


def _years() -> list[dict[str, Any]]:
    """1,000 years x 4 exposures: slab, then 4 clocks from every hour, by the product's functions.

    Sixteen different weathers stand for the thousand; every year is worked out anew.
    """
    weathers = [_weather(HOURS_A_YEAR, seed) for seed in range(DIFFERENT_YEARS)]
    cases = [SlabCase.of(e, DARK_ABSORPTANCE) for e in EXPOSURES]
    point = 215 / 9  # 75 F
    hours = ((3.0, 5.0), (8.0, 12.0), (24.0, 24.0), (36.0, 48.0))
    clocks = [(Point(temp_c=point, low_h=a, high_h=b), a >= 24) for a, b in hours]

    def work(sheet: CureSheet, years: int) -> int:
        reached = 0
        for begin in range(0, years, DIFFERENT_YEARS):
            few = weathers[: min(DIFFERENT_YEARS, years - begin)]
            found = slab_traces(few, cases, start_c=25.0)
            surface = found.surface_c.reshape(-1, HOURS_A_YEAR)
            for one, traffic in clocks:
                edges = earliest_of_many(surface, 3600, sheet, (one,), traffic=traffic)
                reached += int((edges >= 0).sum())
        return reached

    rows = []
    for name, sheet, what in (
        ("climate-thousand-years", CureSheet(rate_law=DOUBLING, stall_below_c=40 / 9),
         "the doubling rule"),
        ("climate-thousand-years-band", CureSheet(stall_below_c=40 / 9),
         "the whole band of 11 rate laws"),
    ):  # fmt: skip
        work(sheet, 1)
        taken = _seconds(lambda sheet=sheet: work(sheet, YEARS), runs=1)
        rows.append(
            _row(name, taken, f"s for 35e6 slab-hours and 140e6 starts, {what}", "the goal",
                 6.0 / taken, "under 6 s", taken < 6.0)
        )  # fmt: skip
    return rows


def _general(weather: WeatherSeries, case: SlabCase) -> np.ndarray:
    """The same balance handed to a general solver, hour by hour so that it sees each step."""
    n = case.cells
    cell = case.thickness_m / n
    g = case.conductivity_w_mk / cell
    heat = np.full(n + 1, case.heat_j_m3k * cell)
    heat[[0, n]] /= 2
    sky = sky_longwave_w_m2(weather.air_c, weather.dew_c, weather.cloud)
    v = case.wind_factor * weather.wind_m_s
    h_all = np.where(v < 5, 5.6 + 4 * v, 7.2 * v**0.78)
    t = np.full(n + 1, 25.0 + ZERO_C_K)
    out = []
    for hour in range(HOURS):
        before = max(hour - 1, 0)
        sun = case.absorptance * case.sun_factor * weather.ghi_w_m2[hour]

        def balance(s: float, t: np.ndarray, before: int = before, hour: int = hour,
                    sun: float = sun) -> np.ndarray:  # fmt: skip
            w = s / 3600
            ta = (1 - w) * weather.air_c[before] + w * weather.air_c[hour] + ZERO_C_K
            lw = (1 - w) * sky[before] + w * sky[hour]
            h = (1 - w) * h_all[before] + w * h_all[hour]
            flow = g * np.diff(t)
            rate = np.zeros(n + 1)
            rate[:-1] += flow
            rate[1:] -= flow
            rate[0] += sun + h * (ta - t[0])
            rate[0] += case.emissivity * (lw - STEFAN_BOLTZMANN * t[0] ** 4)
            rate[n] += case.bottom_h_w_m2k * (ta - t[n])
            return np.asarray(rate / heat)

        t = solve_ivp(balance, (0, 3600), t, method="LSODA", rtol=1e-4).y[:, -1]
        out.append(t[0] - ZERO_C_K)
    return np.array(out)


def _dew() -> list[dict[str, Any]]:
    rng = np.random.default_rng(1)
    air, rh = rng.uniform(1, 45, DEW_POINTS), rng.uniform(0.2, 1.0, DEW_POINTS)
    ours_s = _seconds(lambda: dew_point_c(air, rh))
    few = 500
    pairs = list(zip(air[:few].tolist(), rh[:few].tolist(), strict=True))
    rows = []
    for name, library, goal in (
        ("loop", _plain_psychrolib(), 100.0),
        ("compiled-loop", psychrolib, None),
    ):
        library.SetUnitSystem(library.SI)
        loop = library.GetTDewPointFromRelHum
        [loop(t, h) for t, h in pairs[:2]]
        library_s = _seconds(lambda loop=loop: [loop(t, h) for t, h in pairs]) * DEW_POINTS / few
        theirs = np.array([loop(t, h) for t, h in pairs])
        above = theirs > 0  # below freezing the library gives the frost point
        apart = float(np.abs(dew_point_c(air[:few], rh[:few]) - theirs)[above].max())
        ratio = library_s / ours_s
        wanted = "none, within 0.01 C" if goal is None else f"{goal:g}x, within 0.01 C"
        holds = apart < 0.01 and (goal is None or ratio >= goal)
        rows.append(
            _row(f"climate-dewpoint-{name}", DEW_POINTS / ours_s, "dew points/s",
                 f"psychrolib, {name}, value by value", ratio, wanted, holds)
        )  # fmt: skip
    return rows


def _plain_psychrolib() -> Any:
    """The library as it runs where numba is not installed."""
    spec = importlib.util.find_spec("psychrolib")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    with mock.patch.dict(sys.modules, {"numba": None}):
        spec.loader.exec_module(module)
    return module
