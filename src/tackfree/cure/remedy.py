"""What can be done about a missed or an impossible recoat window, with its price."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tackfree import units
from tackfree.cure.clock import CAREFUL, CureSheet, Trace, dose, reached_utc_s
from tackfree.errors import InputError
from tackfree.words import Message

# Practice, editable: two people with a screen or grinder, three with rollers.
ABRADE_M2_PER_H = 800 * units.M2_PER_FT2  # memory: 800 ft² an hour
ROLL_M2_PER_H = 2000 * units.M2_PER_FT2  # practice: 2,000 to 3,500 ft² an hour primed
TIE_M2_PER_L = 400 * units.M2_PER_L_PER_FT2_PER_GAL  # practice: tie coat at 200 to 500 ft²/gal
PRIME_M2_PER_L = 300 * units.M2_PER_L_PER_FT2_PER_GAL  # practice: primer at 300 ft²/gal
HOTTEST_C = 290 / 9  # 90 °F: no heater is asked for more
# Under a tent, still air above and below takes about 8 W/m²K from each face; a slab of
# 8 in (2.07 MJ/m³K) has to be warmed through. Ours: good to a factor of two.
BTU_H_PER_W = 3.412141633  # exact to ten digits: the international table Btu
TENT_W_M2K, SLAB_J_M2K = 16.0, 2.07e6 * 0.2032


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """One way out. ``hours`` and ``volume_l`` are None where no figure can be given."""

    id: str  # heat, accelerator, smaller, abrade_tie, abrade_reprime, moisture_test, ...
    message: Message
    hours: float | None = None
    volume_l: float | None = None
    power_kw: float | None = None  # of heaters


def least_slab_c(
    sheet: CureSheet,
    *,
    placed_to_utc_s: float,
    now_utc_s: float,
    done_h: float,
    before_utc_s: float,
) -> float | None:
    """Lowest steady slab temperature that opens the coat before a moment; None: none does.

    Parameters
    ----------
    sheet : CureSheet
    placed_to_utc_s, now_utc_s : float
        Last kit, and when heating can begin. [Unix s]
    done_h : float
        Hours of the sheet's time already earned by then. [h]
    before_utc_s : float
        Recoat before. [Unix s]
    """
    begins = max(now_utc_s, placed_to_utc_s)
    if before_utc_s <= begins or not sheet.recoat_after:
        return None
    low = -5.0 if sheet.stall_below_c is None else sheet.stall_below_c
    for celsius in np.arange(np.ceil(low), HOTTEST_C + 0.5, 0.5):
        found = _ready(sheet, float(celsius), begins, done_h)
        if found is not None and found <= before_utc_s:
            return float(celsius)
    return None


def _ready(sheet: CureSheet, temp_c: float, begins: float, done_h: float) -> float | None:
    hours = 240
    trace = Trace(start_utc_s=int(begins), step_s=3600, temp_c=np.full(hours, temp_c))
    toward = dose(trace, sheet, sheet.recoat_after)
    width = toward.high_h - toward.low_h
    gained = toward.summed_h + done_h
    share = (
        np.clip((gained - toward.low_h) / width, 0, 1).mean(axis=0)
        if width > 1e-9
        else (gained >= toward.low_h - 1e-9).mean(axis=0)
    )
    enough = np.flatnonzero(share >= CAREFUL - 1e-9)
    return None if not enough.size else float(begins + 3600 * int(enough[0]))


def earned_h(trace: Trace, sheet: CureSheet, *, since_utc_s: float, until_utc_s: float) -> float:
    """Hours of the sheet's own time earned between two moments, mean over the rate law. [h]

    Raises
    ------
    InputError
        If the sheet has no recoat time, or the span leaves the trace.
    """
    if not sheet.recoat_after:
        raise InputError("no recoat time is given.", do="Add recoat_after_h to the sheet.")
    toward = dose(trace, sheet, sheet.recoat_after)
    edges = trace.start_utc_s + trace.step_s * np.arange(toward.summed_h.shape[1])
    if not edges[0] <= since_utc_s <= until_utc_s <= edges[-1]:
        raise InputError("the span leaves the slab's trace.", do="Give moments inside it.")
    mean = toward.summed_h.mean(axis=0)
    return float(np.interp(until_utc_s, edges, mean) - np.interp(since_utc_s, edges, mean))


def last_safe_placing_utc_s(trace: Trace, sheet: CureSheet, *, by_utc_s: float) -> float | None:
    """Latest moment to place so that the film is tack-free, careful, by a given moment.

    The row laid then is where to stop before rain; None where the trace's start is
    already too late.

    Raises
    ------
    InputError
        If the sheet has no tack-free time.
    """
    if not sheet.tack_free:
        raise InputError("no tack-free time is given.", do="Add tack_free_h to the sheet.")
    toward = dose(trace, sheet, sheet.tack_free)

    def safe(since: float) -> bool:
        found = float(reached_utc_s(toward, np.array([since]), CAREFUL)[0])
        return bool(found <= by_utc_s + 1e-3)

    low, high = float(trace.start_utc_s), by_utc_s
    if not safe(low):
        return None
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (middle, high) if safe(middle) else (low, middle)
    return low


def ways_out(
    trace: Trace,
    sheet: CureSheet,
    *,
    area_m2: float,
    primer: bool,
    placed_from_utc_s: float,
    placed_to_utc_s: float,
    now_utc_s: float,
    before_utc_s: float,
    wet: bool = False,
) -> tuple[Remedy, ...]:
    """What can be done where recoat after falls after recoat before, or the window is past.

    Heat while the window is open; the maker's accelerator, without a figure; a
    smaller section, by the hours that recoat after has to move; abrading with a tie
    coat, or with primer on a primed deck. After rain a moisture test comes first.

    Parameters
    ----------
    trace : Trace
        Surface with the coat on it.
    sheet : CureSheet
    area_m2 : float
        Area of the section. [m²]
    primer : bool
        The coat that waits is a primer.
    placed_from_utc_s, placed_to_utc_s, now_utc_s, before_utc_s : float
        First kit, last kit, now, recoat before. [Unix s]
    wet : bool
        Rain or dew has been on it.

    Source
    ------
    Practice; hours and coverages are defaults for planning, the sheets win.
    """
    if area_m2 <= 0:
        raise InputError(f"the area is {area_m2:g} m².", do="Give it above 0.")
    found: list[Remedy] = []
    if wet:
        found.append(Remedy(id="moisture_test", message=Message(id="cure.remedy.moisture_test")))
    if now_utc_s < before_utc_s:
        found += _while_open(
            trace, sheet, area_m2, placed_from_utc_s, placed_to_utc_s, now_utc_s, before_utc_s
        )
    return (*found, abraded(area_m2=area_m2, primer=primer))


def abraded(*, area_m2: float, primer: bool) -> Remedy:
    """Abrading a coat whose window is missed, then a tie coat, or primer on a primed deck.

    Parameters
    ----------
    area_m2 : float
        Area of the section. [m²]
    primer : bool
        The coat that waits is a primer.

    Source
    ------
    Practice; hours and coverages are defaults for planning, the sheets win.
    """
    if area_m2 <= 0:
        raise InputError(f"the area is {area_m2:g} m².", do="Give it above 0.")
    rate = PRIME_M2_PER_L if primer else TIE_M2_PER_L
    hours = area_m2 / ABRADE_M2_PER_H + area_m2 / ROLL_M2_PER_H
    litres = area_m2 / rate
    name = "abrade_reprime" if primer else "abrade_tie"
    values = {
        "hours": round(hours, 1),
        "gal": round(litres / units.L_PER_GAL, 1),
        "l": round(litres, 1),
        "ft2_per_gal": round(rate / units.M2_PER_L_PER_FT2_PER_GAL),
    }
    return Remedy(
        id=name, message=Message(id=f"cure.remedy.{name}", values=values), hours=hours,
        volume_l=litres,
    )  # fmt: skip


def heater_kw(
    trace: Trace, *, area_m2: float, slab_c: float, from_utc_s: float, to_utc_s: float
) -> float | None:
    """Heat into a section under a tent that holds its slab at a temperature. [kW]

    What keeps it there against still air on both faces, and what warms it through in a
    third of the time. None where the slab's own temperature is not known.

    Source
    ------
    Ours: a rough figure to call a hire shop with, good to a factor of two.
    """
    begins = trace.start_utc_s + trace.step_s * np.arange(len(trace.temp_c))
    inside = (begins < to_utc_s) & (begins + trace.step_s > from_utc_s)
    own = trace.temp_c[inside]
    if not own.size or not np.isfinite(own).all():
        return None
    short = max(0.0, slab_c - float(own.mean()))
    warming = SLAB_J_M2K * max(0.0, slab_c - float(own[0])) / ((to_utc_s - from_utc_s) / 3.0)
    return area_m2 * (TENT_W_M2K * short + warming) / 1000.0


def _while_open(
    trace: Trace,
    sheet: CureSheet,
    area_m2: float,
    first: float,
    last: float,
    now: float,
    before: float,
) -> list[Remedy]:
    found: list[Remedy] = []
    begins = max(now, last)
    end = trace.start_utc_s + trace.step_s * len(trace.temp_c)
    done = earned_h(trace, sheet, since_utc_s=last, until_utc_s=min(begins, end))
    needed = least_slab_c(
        sheet, placed_to_utc_s=last, now_utc_s=now, done_h=done, before_utc_s=before
    )
    if needed is not None:
        hours = (before - begins) / 3600
        values = {
            "temp_f": round(needed * 1.8 + 32), "temp_c": round(needed, 1),
            "hours": round(hours, 1),
        }  # fmt: skip
        found.append(
            Remedy(id="heat", message=Message(id="cure.remedy.heat", values=values), hours=hours)
        )
        power = heater_kw(trace, area_m2=area_m2, slab_c=needed, from_utc_s=begins, to_utc_s=before)
        if power:
            rough = {"kw": float(f"{power:.2g}"), "kbtu": float(f"{power * BTU_H_PER_W:.2g}")}
            message = Message(id="cure.remedy.heaters", values=rough)
            found.append(Remedy(id="heaters", message=message, hours=hours, power_kw=power))
    found.append(Remedy(id="accelerator", message=Message(id="cure.remedy.accelerator")))
    toward = dose(trace, sheet, sheet.recoat_after)
    ready = float(reached_utc_s(toward, np.array([last]), CAREFUL)[0])
    if np.isfinite(ready) and now < last and last > first:
        over = max(0.0, ready - before) / 3600
        if over < (last - first) / 3600:
            values = {"hours": round(over, 1)}
            message = Message(id="cure.remedy.smaller", values=values)
            found.append(Remedy(id="smaller", message=message, hours=over))
    return found
