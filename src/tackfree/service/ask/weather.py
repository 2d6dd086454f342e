"""Answers about dew, pot life and cold: the air and the cure rooms asked once."""

from __future__ import annotations

from collections.abc import Mapping

from tackfree import units
from tackfree.because import Figure, Given, Source
from tackfree.service.ask.film_life import cold_night
from tackfree.service.ask.parts import degrees, given, message, shown, working
from tackfree.service.ask.types import Amount, Answer, Told
from tackfree.units import System
from tackfree.words import Message

LEAST_SPREAD_K = 5 * units.K_PER_F  # practice; the sheet or the specification wins
RULE_FROM_C = units.c_from_f(40)  # below, cold cure does not follow the doubling rule
RULE_TO_C = units.c_from_f(105)
_LEAST = Given(
    name="least_spread",
    value=LEAST_SPREAD_K,
    unit="K",
    source=Source(kind="default", text="5 °F in common practice; the sheet wins"),
)
_LEAST_AMOUNT = Amount(value=LEAST_SPREAD_K, kind="temperature_step")
_DOUBLING = Source(kind="practice", text="twice as fast for every 18 °F (10 K) warmer")


def dewpoint(*, air: float, rh: float) -> Answer:
    """Dew point from air temperature [°C] and relative humidity [fraction]."""
    dew, figure = _dew(air, rh)
    least = dew + LEAST_SPREAD_K
    slab = Figure(
        value=least,
        unit="°C",
        formula="dew_point + least_spread",
        inputs=(_found(dew, figure), _LEAST),
        source=_LEAST.source,
    )
    return Answer(
        question="dewpoint",
        answer=(
            Told(name="dew_point", kind="temperature", figure=figure, digits=1),
            Told(name="slab_least", kind="temperature", figure=slab, digits=1),
        ),
        message=message("dewpoint", dew=degrees(dew)),
        working=working(lambda s: _dew_line(air, rh, dew, s)),
        source=figure.source,
        notes=(message("dewpoint_slab", slab=degrees(least), least=_LEAST_AMOUNT),),
    )


def spread(*, slab: float, air: float, rh: float) -> Answer:
    """Slab temperature minus dew point [K]; the air is only asked for the dew point."""
    from tackfree.climate.air import spread_k

    dew, dew_figure = _dew(air, rh)
    gap = spread_k(slab, dew)
    figure = Figure(
        value=gap,
        unit="K",
        formula="slab - dew_point",
        inputs=(given("slab", slab, "temperature"), _found(dew, dew_figure)),
        source=dew_figure.source,
    )
    if gap <= 0:
        verdict = "spread_wet"
    elif gap < LEAST_SPREAD_K - 1e-9:
        verdict = "spread_short"
    else:
        verdict = "spread_enough"
    amount = Amount(value=gap, kind="temperature_step")

    def line(s: System) -> str:
        return (
            f"{_dew_line(air, rh, dew, s)}; {degrees(slab).shown(s)} − {degrees(dew).shown(s)} = "
            f"{amount.shown(s)}"
        )

    return Answer(
        question="spread",
        answer=(
            Told(name="spread", kind="temperature_step", figure=figure),
            Told(name="dew_point", kind="temperature", figure=dew_figure, digits=1),
        ),
        message=message("spread", spread=amount, dew=degrees(dew)),
        working=working(line),
        source=dew_figure.source,
        notes=(message(verdict, least=_LEAST_AMOUNT),),
    )


def potlife(*, minutes: float, at: float, now: float) -> Answer:
    """Pot life [h] at the kit's temperature now, from the sheet's at another [°C]."""
    hours = _by_doubling(minutes, at, now)
    notes = [message("potlife_pail")]
    if not RULE_FROM_C - 1e-9 <= now <= RULE_TO_C + 1e-9:
        notes.insert(0, message("rule_outside", low=degrees(RULE_FROM_C), high=degrees(RULE_TO_C)))
    return _doubled("potlife", "pot_life", minutes, at, now, hours, tuple(notes))


def cold(
    *, hours: float, at: float, now: float, hourly: str = "", before: float | None = None
) -> Answer:
    """A least waiting time [h] of the sheet at the slab's temperature now [°C].

    Below 40 °F the answer is missing: there the doubling rule is too kind. With
    ``hourly`` temperatures of the slab the time is summed over them.
    """
    if hourly:
        return cold_night(hours=hours, at=at, now=now, hourly=hourly, before=before)
    found = None if now < RULE_FROM_C - 1e-9 else _by_doubling(hours, at, now)
    notes = [message("cold_maximum")]
    if found is None:
        notes.insert(0, message("cold_stalled", low=degrees(RULE_FROM_C)))
    elif now > RULE_TO_C + 1e-9:
        notes.insert(0, message("rule_outside", low=degrees(RULE_FROM_C), high=degrees(RULE_TO_C)))
    return _doubled("cold", "wait", hours, at, now, found, tuple(notes))


def _dew(air: float, rh: float) -> tuple[float, Figure]:
    from tackfree.climate.air import dew_point_c

    dew = dew_point_c(air, rh)
    return dew, Figure(
        value=dew,
        unit="°C",
        formula="saturation_pressure(dew_point) = rh * saturation_pressure(air)",
        inputs=(given("air", air, "temperature"), given("rh", rh, "fraction")),
        source=Source(
            kind="published", text="Hyland and Wexler 1983, in ASHRAE Fundamentals 2017 ch. 1"
        ),
    )


def _found(dew: float, figure: Figure) -> Given:
    return Given(name="dew_point", value=dew, unit=figure.unit, source=figure.source)


def _dew_line(air: float, rh: float, dew: float, system: System) -> str:
    return (
        f"{shown(rh, 'fraction', system)} × p({degrees(air).shown(system)}) = "
        f"p({degrees(dew).shown(system)})"
    )


def _by_doubling(hours: float, at: float, now: float) -> float:
    from tackfree.cure.rates import doubling_factor

    return hours / doubling_factor(now, at)


def _doubled(
    question: str,
    name: str,
    hours: float,
    at: float,
    now: float,
    found: float | None,
    notes: tuple[Message, ...],
) -> Answer:
    figure = Figure(
        value=found,
        unit="h",
        formula="time / 2 ** ((now - at) / 10)",
        inputs=(
            given("time", hours, "time"),
            given("at", at, "temperature"),
            given("now", now, "temperature"),
        ),
        source=_DOUBLING,
    )
    amount = Amount(value=found, kind="time")
    step: Mapping[System, str] = {"us": units.show(10, "temperature_step", "us"),
                                  "si": units.show(10, "temperature_step", "si")}  # fmt: skip

    def line(s: System) -> str:
        gap = f"({degrees(now).shown(s)} − {degrees(at).shown(s)}) ÷ {step[s]}"
        return f"{shown(hours, 'time', s)} ÷ 2^({gap}) = {amount.shown(s)}"

    return Answer(
        question=question,
        answer=(Told(name=name, kind="time", figure=figure),),
        message=message(
            question if found is not None else f"{question}_missing", time=amount, now=degrees(now)
        ),
        working=working(line),
        source=_DOUBLING,
        notes=notes,
    )
