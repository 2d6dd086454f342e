"""Answers about a night hour by hour, and about a wet edge in slab and sun."""

from __future__ import annotations

import math
from typing import Any

from tackfree import units
from tackfree.because import Figure, Source
from tackfree.errors import InputError
from tackfree.service.ask.parts import degrees, given, message, shown, working
from tackfree.service.ask.types import Amount, Answer, Told
from tackfree.units import System

STALL_C = units.c_from_f(40)  # below, cold cure does not follow the doubling rule
LONGEST_H = 240
DOUBLING = Source(kind="practice", text="twice as fast for every 18 °F (10 K) warmer")
# A dark film takes up a quarter more of the sun than the bare slab beside it; in light
# wind a horizontal surface gives off about 20 W/m² for each kelvin. Ours, unmeasured.
SUN_W_M2 = {"none": 0.0, "hazy": 450.0, "full": 900.0}
DARKER, LOSS_W_M2K = 0.25, 20.0
EDGE = Source(
    kind="practice", text="doubling rule at the film's temperature; the sun's share is ours"
)


def hourly_c(text: str) -> list[float]:
    """Temperatures as "62F 60 58", one for each hour: the unit may stand at any of them.

    Raises
    ------
    InputError
        If an item cannot be read, or no unit stands anywhere.
    """
    items = text.replace(";", " ").split()
    letters = {i[-1].upper() for i in items if i[-1:].upper() in ("F", "C")}
    if len(letters) != 1:
        raise InputError(
            "the hourly temperatures have no unit, or two.", where="hourly",
            do='Write "62F 60 58 55".',
        )  # fmt: skip
    unit = letters.pop()
    return [units.parse(i.upper().rstrip("FC°") + f" °{unit}", "temperature") for i in items]


def cold_night(
    *, hours: float, at: float, now: float, hourly: str, before: float | None = None
) -> Answer:
    """When a least time of the sheet [h] is up over slab temperatures hour by hour [°C].

    The first hour has ``now``; past the end of ``hourly`` its last temperature stays.
    ``before`` is the sheet's longest time to the next coat, on the wall clock. [h]
    """
    from tackfree.cure.rates import doubling_factor

    trace = [now, *hourly_c(hourly)]
    earned, stalled = 0.0, 0
    found: float | None = None
    for hour in range(LONGEST_H):
        temp = trace[min(hour, len(trace) - 1)]
        speed = 0.0 if temp < STALL_C - 1e-9 else doubling_factor(temp, at)
        stalled += speed == 0.0
        if earned + speed >= hours - 1e-9:
            found = hour + (hours - earned) / speed
            break
        earned += speed
    late = found is None or (before is not None and found > before + 1e-9)
    figure = Figure(
        value=found,
        unit="h",
        formula="first t with sum of 2 ** ((slab - at) / 10) over the hours = time",
        inputs=(
            given("time", hours, "time"), given("at", at, "temperature"),
            given("first_hour", now, "temperature"),
        ),
        source=DOUBLING,
    )  # fmt: skip
    told = [Told(name="wait", kind="time", figure=figure)]
    amount = Amount(value=found, kind="time")
    if found is None:
        head = message("cold_never", days=LONGEST_H // 24)
    elif before is not None and late:
        head = message("cold_late", time=amount, before=Amount(value=before, kind="time"))
    else:
        head = message("cold_night", time=amount)
    notes = [message("cold_maximum")]
    if late and before is not None:
        notes.insert(0, message("cold_ways"))
    if stalled:
        notes.insert(0, message("cold_stall_hours", hours=stalled, low=degrees(STALL_C)))

    def line(s: System) -> str:
        low = min(trace)
        return (
            f"Σ 2^((slab − {degrees(at).shown(s)}) ÷ {units.show(10, 'temperature_step', s)}) "
            f"= {shown(hours, 'time', s)} after {amount.shown(s)}; "
            f"coldest {degrees(low).shown(s)}"
        )

    return Answer(
        question="cold", answer=tuple(told), message=head, working=working(line), source=DOUBLING,
        notes=tuple(notes),
    )  # fmt: skip


def wetedge(
    *,
    minutes: float,
    at: float,
    slab: float,
    sun: str = "none",
    width: float | None = None,
    reach: float | None = None,
    rate: float | None = None,
    lane: float | None = None,
) -> Answer:
    """How long an edge stays open on the slab [h], and whether a crew keeps it.

    ``minutes`` is the sheet's pot life [h] at ``at`` [°C]; ``width`` is how far across
    the edge runs [m], ``reach`` what a kit covers [m²], ``rate`` the crew's [m²/h] and
    ``lane`` the width it is walked in [m].
    """
    from tackfree.cure.rates import doubling_factor

    if sun not in SUN_W_M2:
        raise InputError(f"the sun is {sun!r}.", where="sun", do=f"Write {' or '.join(SUN_W_M2)}.")
    warmer = DARKER * SUN_W_M2[sun] / LOSS_W_M2K
    film = slab + warmer
    open_h = minutes / doubling_factor(film, at)
    figure = Figure(
        value=open_h,
        unit="h",
        formula="time / 2 ** ((film - at) / 10); film = slab + 0.25 * sun / 20",
        inputs=(
            given("time", minutes, "time"), given("at", at, "temperature"),
            given("slab", slab, "temperature"),
        ),
        source=EDGE,
    )  # fmt: skip
    told = [Told(name="wet_edge", kind="time", figure=figure)]
    amount = Amount(value=open_h, kind="time")
    notes = [message("wetedge_pail")]
    crew: dict[str, Any] = {}
    if reach is not None and rate is not None:
        every = reach / rate
        told.append(Told(name="kit_every", kind="time", figure=_simple(every, "reach / rate")))
        notes.insert(0, message("wetedge_kit", every=Amount(value=every, kind="time")))
        if width is not None:
            crew = _across(width, reach, lane or 2.4384, every, open_h)
            told.append(
                Told(name="width_most", kind="length", figure=_simple(crew["most"], "kits", "m"))
            )
            name = "wetedge_keeps" if crew["waits"] <= open_h + 1e-9 else "wetedge_breaks"
            notes.insert(0, message(
                name, width=Amount(value=width, kind="length"),
                waits=Amount(value=crew["waits"], kind="time"),
                most=Amount(value=crew["most"], kind="length"),
                lane=Amount(value=lane or 2.4384, kind="length"),
            ))  # fmt: skip

    def line(s: System) -> str:
        gap = units.show(10, "temperature_step", s)
        text = (
            f"film {degrees(film).shown(s)} = slab {degrees(slab).shown(s)} + "
            f"{units.show(warmer, 'temperature_step', s)} of sun; {shown(minutes, 'time', s)} ÷ "
            f"2^(({degrees(film).shown(s)} − {degrees(at).shown(s)}) ÷ {gap}) = {amount.shown(s)}"
        )
        if crew:
            text += f"; (2 × {crew['kits']:.3g} − 1) kits × {shown(every, 'time', s)} = "
            text += shown(crew["waits"], "time", s)
        return text

    return Answer(
        question="wetedge",
        answer=tuple(told),
        message=message("wetedge", time=amount, film=degrees(film)),
        working=working(line),
        source=EDGE,
        notes=tuple(notes),
    )


def _across(width: float, reach: float, lane: float, every: float, open_h: float) -> dict[str, Any]:
    """Kits in a lane across the width, how long its seam waits, and the widest that holds.

    Lanes are walked to and fro: with k kits in a lane the last stretch beside a seam
    comes 2k - 1 kits after the first.
    """
    kits = max(width * lane / reach, 1.0)
    most = max((open_h / every + 1.0) / 2.0, 0.0) * reach / lane
    return {"kits": kits, "waits": (2.0 * kits - 1.0) * every, "most": most}


def _simple(value: float, formula: str, unit: str = "h") -> Figure:
    if not math.isfinite(value):
        raise InputError("a figure is not above 0.", do="Check area and rate.")
    return Figure(value=value, unit=unit, formula=formula, inputs=(), source=EDGE)
