"""``ask air``: dilution air for solvent in an enclosed deck."""

from __future__ import annotations

import math

from tackfree.because import Figure, Given, Source
from tackfree.errors import InputError
from tackfree.service.ask.parts import given, message, working
from tackfree.service.ask.types import Amount, Answer, Told
from tackfree.units import System

M3_PER_FT3 = 0.3048**3
_HEALTH = Source(
    kind="published",
    text="ACGIH, Industrial Ventilation: Q = 403e6 SG ER K / (MW C); 1910.94(c)(6)(ii) for fire",
)


def air(
    *,
    solvent: float,
    density: float,
    weight: str,
    limit: str,
    mixing: str = "",
    lfl: float | None = None,
) -> Answer:
    """Fresh air [m³/h] for solvent evaporated in an hour [L], its density [kg/L],
    molecular weight [g/mol], exposure limit [ppm], mixing factor and flammable limit."""
    from tackfree.climate import dilution

    molar = _number(weight, "molecular weight", "92.1")
    ppm = _number(limit, "exposure limit", "50")
    k = _number(mixing, "mixing factor", "5") if mixing else dilution.USUAL_K
    vapour = dilution.vapour_m3_s(
        evaporated_l_per_h=solvent, density_kg_per_l=density, molar_g=molar
    )
    health = dilution.air_for_health_m3_s(vapour, limit_ppm=ppm, mixing_k=k)
    fire = None if lfl is None else dilution.air_for_fire_m3_s(vapour, lfl=lfl)
    needed = max(health, fire or 0.0)
    cfm, m3_h = _cfm(needed), math.ceil(needed * 3600 - 1e-9)
    typed = (
        given("solvent", solvent, "volume"),
        given("density", density, "density"),
        *(_given(n, v) for n, v in (("weight", molar), ("limit_ppm", ppm), ("mixing", k))),
    )
    told = [_told("airflow_cfm", cfm, typed), _told("airflow_m3_h", m3_h, typed)]
    notes = [message("air_hygienist"), message("air_isocyanate"), message("air_fans")]
    if not mixing:
        notes.insert(0, message("air_mixing", k=f"{k:g}"))
    if fire is None:
        notes.insert(0, message("air_no_lfl"))
    else:
        told.append(_told("for_fire_cfm", _cfm(fire), typed))
        notes.insert(0, message("air_fire", cfm=_cfm(fire), confined=_cfm(2.5 * fire)))
    volume = Amount(value=solvent, kind="volume")
    weighs = Amount(value=density, kind="density")

    def line(s: System) -> str:
        return (
            f"{volume.shown(s)}/h × {weighs.shown(s)} ÷ {molar:g} g/mol × 24.15 L/mol × "
            f"{k:g} ÷ {ppm:g} ppm = {_cfm(health):,} ft³/min ({math.ceil(health * 3600):,} m³/h)"
        )

    return Answer(
        question="air",
        answer=tuple(told),
        message=message("air", cfm=f"{cfm:,}", m3_h=f"{m3_h:,}"),
        working=working(line),
        source=_HEALTH,
        notes=tuple(notes),
    )


def _cfm(m3_s: float) -> int:
    return math.ceil(m3_s * 60 / M3_PER_FT3 - 1e-9)


def _given(name: str, value: float) -> Given:
    return given(name, value, "fraction")


def _told(name: str, value: int, inputs: tuple[Given, ...]) -> Told:
    figure = Figure(
        value=value,
        unit=name.rpartition("_")[2],
        formula="solvent * density / weight * molar_volume * mixing / limit",
        inputs=inputs,
        source=_HEALTH,
    )
    return Told(name=name, kind=None, figure=figure)


def _number(text: str, what: str, example: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{what} is {text!r}, which is no number.", do=f"Write it as {example}.")
    return value
