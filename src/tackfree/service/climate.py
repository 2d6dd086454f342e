"""The climate of a job: weather in, slab and windows out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tackfree.buildup.types import BuildUp, Coat, Limits, ProductSheet
from tackfree.bundle.limits import combine
from tackfree.bundle.types import Job
from tackfree.climate.air import standard_pressure_pa
from tackfree.climate.sky import Opening, fill_sun, shaded
from tackfree.climate.slab import BARE_ABSORPTANCE, DARK_ABSORPTANCE, SlabCase, slab_trace
from tackfree.climate.stage import (
    ClimateStage,
    Setting,
    Where,
    daylight_slots,
    exposure_of,
    slot_weather,
)
from tackfree.climate.types import WeatherSeries
from tackfree.climate.typical import FORECAST, TYPICAL_YEAR, cut, lay_typical, reach
from tackfree.climate.window_types import StartStates
from tackfree.climate.windows import (
    SPREAD_MEASURE_K,
    PlacingLimits,
    SlotWeather,
    rise_k,
    start_states,
)
from tackfree.cure.moisture import GRAINS_PER_LB, LEAST_GRAINS
from tackfree.deck.types import Exposure, Section, Shade
from tackfree.errors import InputError, NotFound
from tackfree.intake import weather as files
from tackfree.service.curing import absorptance_of, product_of, tack_free_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SPIN_UP_DAYS = 5
CURE_TAIL_DAYS = 14
FORECAST_GOOD_FOR_S = 6 * 3600
LEGAL_PLACING_H = 4
BALCONY_M = 0.1524  # 6 in


def read_weather(job: Job) -> WeatherSeries:
    """The job's weather over its dates, five days before and fourteen after.

    A typical year is laid on the dates; a measured series is cut and must cover
    them; outside a forecast the weather is unknown. Sun that the file lacks is built
    from its cloud.

    Raises
    ------
    NotFound
        If the file is not there.
    InputError
        If it cannot be read, or ends before it is needed.
    """
    series = files.read_weather(job.weather.file, job.weather.format)
    if not np.isfinite(series.ghi_w_m2).all():
        series = fill_sun(
            series,
            latitude_deg=job.place.latitude_deg,
            longitude_deg=job.place.longitude_deg,
        )
    begins = _midnight_utc_s(job) - SPIN_UP_DAYS * 86400
    days = SPIN_UP_DAYS + job.horizon_days + CURE_TAIL_DAYS
    off = (begins - series.start_utc_s) % series.step_s
    begins -= off
    if job.weather.kind == TYPICAL_YEAR:
        return lay_typical(series, start_utc_s=begins, intervals=days * 24 + 1)
    over = reach if job.weather.kind == FORECAST else cut
    try:
        return over(series, start_utc_s=begins, end_utc_s=begins + days * 86400)
    except InputError as fault:
        where = f"job.toml, weather.file {job.weather.file.name}"
        raise InputError(fault.what, where=where, do=fault.do) from fault


def climate_stage(job: Job, series: WeatherSeries) -> ClimateStage:
    """Slab, light and weather for every exposure and surface the job has.

    Parameters
    ----------
    job : Job
        The whole job.
    series : WeatherSeries
        From :func:`read_weather`.

    Returns
    -------
    ClimateStage
        Slots run on the UTC grid from the local midnight of ``starts_on`` to the
        end of the weather.
    """
    slot_s = job.slot_minutes * 60
    slot0 = _midnight_utc_s(job) // slot_s * slot_s
    slots = (series.start_utc_s + len(series) * series.step_s - slot0) // slot_s
    exposures = {z.exposure for d in job.decks for z in d.zones}
    exposures |= {e for b in job.build_ups.values() for e in b.exposures}
    coats = [c for b in job.build_ups.values() for c in b.coats]
    surfaces = {BARE_ABSORPTANCE, DARK_ABSORPTANCE} | {absorptance_of(job, c) for c in coats}
    places: list[Where] = [*sorted(exposures), *dict.fromkeys(settings_of(job).values())]
    keys = [(there, a) for there in places for a in sorted(surfaces)]
    surface, top = _traces(job, series, keys)
    day = daylight_slots(
        slot0, slot_s, slots,
        latitude_deg=job.place.latitude_deg, longitude_deg=job.place.longitude_deg,
    )  # fmt: skip
    lit = day | _lights(job, slot0, slot_s, slots)
    age_s = None if series.issued_utc_s is None else job.as_of.timestamp() - series.issued_utc_s
    return ClimateStage(
        series=series,
        slot0_utc_s=slot0,
        slot_s=slot_s,
        slots=slots,
        surface_c=dict(zip(keys, surface, strict=True)),
        on_slots={
            k: slot_weather(
                series,
                surface[i],
                top[i],
                exposure=exposure_of(k[0]),
                slot0_utc_s=slot0,
                slot_s=slot_s,
                slots=slots,
                lit=lit,
                pressure_pa=standard_pressure_pa(job.place.altitude_m),
            )
            for i, k in enumerate(keys)
        },
        daylight=day,
        stale=age_s is not None and age_s > FORECAST_GOOD_FOR_S,
    )


def _traces(
    job: Job, series: WeatherSeries, keys: Sequence[tuple[Where, float]]
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Surface and top of the slab for each place and surface.

    Places that see the whole sky march together; each shaded one under its own sun.
    """
    by_sky: dict[Where | None, list[int]] = {}
    for i, (there, _) in enumerate(keys):
        by_sky.setdefault(there if isinstance(there, Setting) else None, []).append(i)
    surface, top = [np.empty(0)] * len(keys), [np.empty(0)] * len(keys)
    for sky, rows in by_sky.items():
        weather = series
        if isinstance(sky, Setting):
            weather = shaded(
                series, sky.opening, latitude_deg=job.place.latitude_deg,
                longitude_deg=job.place.longitude_deg,
            )  # fmt: skip
        found = slab_trace(weather, [slab_case(job, *keys[i]) for i in rows])
        for k, i in enumerate(rows):
            surface[i], top[i] = found.surface_c[k], found.top_c[k]
    return surface, top


def slab_case(job: Job, there: Where, absorptance: float = BARE_ABSORPTANCE) -> SlabCase:
    """The slab of one place: the job's own figures where it has some, else the defaults.

    ``absorptance`` names the surface; for the bare one the job's fitted figure stands
    in, where there is one. A zone with a facade is taken 6 in thick unless the job
    says otherwise.
    """
    exposure = exposure_of(there)
    case = SlabCase.of(exposure, absorptance)
    own = job.slabs.get(exposure)
    if isinstance(there, Setting):
        case = replace(case, sun_factor=1.0, sky_view=there.opening.sky_view())
        if there.opening.faces_deg is not None:
            case = replace(case, thickness_m=BALCONY_M)
    if own is None:
        return case
    bare = absorptance == BARE_ABSORPTANCE
    return replace(
        case,
        absorptance=own.absorptance if bare and own.absorptance else case.absorptance,
        wind_factor=own.wind_factor or case.wind_factor,
        thickness_m=own.thickness_m or case.thickness_m,
    )


def dark_spans(stage: ClimateStage) -> tuple[tuple[float, float], ...]:
    """From dusk to dawn, night by night. [Unix s]"""
    dark = np.concatenate([[False], ~stage.daylight, [False]])
    edges = np.flatnonzero(dark[1:] != dark[:-1])
    times = stage.slot0_utc_s + stage.slot_s * edges.astype(np.float64)
    return tuple(zip(times[0::2].tolist(), times[1::2].tolist(), strict=True))


def slab_source(job: Job, there: Where) -> str:
    """Where the slab's figures come from: the job's source, or "default"."""
    own = job.slabs.get(exposure_of(there))
    return "default" if own is None else own.source


def settings_of(job: Job) -> dict[str, Setting]:
    """The setting of each shaded zone, by zone id; zones shaded alike share one."""
    named: dict[tuple[Exposure, Shade], Setting] = {}
    out: dict[str, Setting] = {}
    for zone in (z for d in job.decks for z in d.zones):
        if zone.shade is None:
            continue
        key = zone.exposure, zone.shade
        if key not in named:
            faces = zone.shade.faces_deg
            name = f"{zone.exposure.value}-" + ("shade" if faces is None else f"{faces:.0f}")
            alike = sum(s.name.startswith(name) for s in named.values())
            named[key] = Setting(
                name=name if not alike else f"{name}-{alike + 1}",
                exposure=zone.exposure,
                opening=Opening(
                    faces_deg=faces,
                    roof_deg=zone.shade.roof_deg,
                    rail_deg=zone.shade.rail_deg,
                    horizon_deg=zone.shade.skyline_deg,
                ),
            )
        out[zone.id] = named[key]
    return out


def where_of(job: Job, section: Section) -> Where:
    """What a section sees of the sky: its zones' setting, or its exposure alone.

    A section never joins zones that are shaded differently: the job is refused then.
    """
    return settings_of(job).get(section.zone_ids[0], section.exposure)


def allowed_starts(
    stage: ClimateStage,
    job: Job,
    exposure: Where,
    build_up: BuildUp,
    coat: Coat,
    duration_slots: int,
    first_liquid: bool | None = None,
) -> StartStates:
    """State of every start of one coat.

    The slab under the coat (bare, or the coat before it) is judged; the film's
    tack-free time runs on the coat's own surface, which a dark coat makes hotter.
    ``first_liquid`` None: the build-up's first coat is.
    """
    if first_liquid is None:
        first_liquid = build_up.coats[0].id == coat.id
    return start_states(
        stage.on_slots[exposure, surface_under(job, build_up, coat)],
        limits_for(job, product_of(job, coat.product_id)),
        duration_slots=duration_slots,
        tack_free=tack_free_table(stage, job, exposure, coat),
        first_liquid=first_liquid,
        stale=stage.stale,
    )


def under_and_tack_free(
    stage: ClimateStage, job: Job, exposure: Where, build_up: BuildUp, coat: Coat
) -> tuple[SlotWeather, IntArray | None]:
    """Weather over what the coat is placed on, and the edge it is tack-free at."""
    under = stage.on_slots[exposure, surface_under(job, build_up, coat)]
    return under, tack_free_table(stage, job, exposure, coat)


def outgassing_rise_k(
    stage: ClimateStage,
    job: Job,
    exposure: Where,
    build_up: BuildUp,
    coat: Coat,
    duration_slots: int,
) -> NDArray[np.float64]:
    """Warming of the slab's top while the film is wet, for every start. [K]"""
    return rise_k(
        stage.on_slots[exposure, surface_under(job, build_up, coat)],
        duration_slots=duration_slots,
        tack_free=tack_free_table(stage, job, exposure, coat),
    )


def limits_for(job: Job, product: ProductSheet) -> PlacingLimits:
    """The limits in force: the stricter of specification and sheet, then the default."""
    limits, origin = combine(job.spec.limits, product.limits)
    near = job.spec.spread_modelled_k
    return PlacingLimits(
        **{f.name: getattr(limits, f.name) for f in fields(Limits)},
        spread_measure_k=SPREAD_MEASURE_K if near is None else near,
        water_min_kg_kg=LEAST_GRAINS / GRAINS_PER_LB if product.one_part else None,
        came_from=(
            *origin.items(),
            ("spread_measure_k", "default" if near is None else "specification"),
        ),
    )


def surface_under(job: Job, build_up: BuildUp, coat: Coat) -> float:
    """Solar absorptance of what a coat is placed on: bare concrete, or the coat before."""
    ids = [c.id for c in build_up.coats]
    if coat.id not in ids:
        raise NotFound(
            f"there is no coat {coat.id}.", where=build_up.id, do="Name a coat of the build-up."
        )
    at = ids.index(coat.id)
    return BARE_ABSORPTANCE if at == 0 else absorptance_of(job, build_up.coats[at - 1])


def _midnight_utc_s(job: Job) -> int:
    zone = ZoneInfo(job.place.time_zone)
    return int(datetime.combine(job.starts_on, time(), zone).timestamp())


def _lights(job: Job, slot0: int, slot_s: int, slots: int) -> NDArray[np.bool_]:
    """Slots that lie wholly inside a shift with working lights."""
    zone = ZoneInfo(job.place.time_zone)
    lit = np.zeros(slots, dtype=np.bool_)
    first = datetime.fromtimestamp(slot0, UTC).astimezone(zone).date() - timedelta(days=1)
    for i in range(slots * slot_s // 86400 + 3):
        on = first + timedelta(days=i)
        for shift in job.shifts:
            if not shift.lights or on.weekday() not in shift.weekdays:
                continue
            next_day = timedelta(days=0 if shift.ends > shift.begins else 1)
            begins = datetime.combine(on, shift.begins, zone).timestamp()
            ends = datetime.combine(on + next_day, shift.ends, zone).timestamp()
            a = max(0, -int(-(begins - slot0) // slot_s))
            b = max(0, int((ends - slot0) // slot_s))
            lit[a:b] = True
    return lit
