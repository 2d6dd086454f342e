"""How much a crew places: the size of a section, and a kit against its pot life."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from tackfree.because import Figure, Given, Source
from tackfree.buildup.types import BuildUp, Coat, PotLife, ProductSheet
from tackfree.marks.types import SizeLimit
from tackfree.units import in_system
from tackfree.words import Message

SETTING_UP_H = 2.0  # practice: setting up, chalking and cleaning up take this from a shift
KIT_TEMP_C = (75.0 - 32.0) / 1.8  # practice: 75 °F, for which sheets give their times


def rate_of(coat: Coat, rates_m2_per_h: Mapping[str, float]) -> float | None:
    """A crew's rate for a coat, by its role. [m²/h]"""
    return rates_m2_per_h.get(coat.role.value)


def size_limit(
    build_up: BuildUp,
    *,
    rates_m2_per_h: Mapping[str, float],
    shift_h: float,
    section_max_m2: float | None = None,
) -> SizeLimit:
    """The largest section whose slowest coat fits into one shift.

    Parameters
    ----------
    build_up : BuildUp
    rates_m2_per_h : mapping
        What the crew places in an hour, by role. [m²/h]
    shift_h : float
        Length of the shift. [h]
    section_max_m2 : float, optional
        The user's own limit; the smaller of the two counts. [m²]

    Returns
    -------
    SizeLimit
        With ``area_m2`` None where neither a rate nor a limit is known.

    Source
    ------
    Practice: one section is coated in one go, two hours of a shift go into setting
    up and cleaning.
    """
    known = [(r, c.id) for c in build_up.coats if (r := rate_of(c, rates_m2_per_h))]
    usable_h = max(shift_h - SETTING_UP_H, 0.0)
    crew_m2 = min(known)[0] * usable_h if known and usable_h else None
    user = section_max_m2
    if crew_m2 is None and user is None:
        return SizeLimit(
            area_m2=None,
            figure=Figure(value=None, unit="m²", formula="rate × usable hours"),
            reason=Message(id="marks.limit.unknown", values={"build_up": build_up.id}),
        )
    if user is not None and (crew_m2 is None or user <= crew_m2):
        return SizeLimit(
            area_m2=user,
            figure=Figure(
                value=user,
                unit="m²",
                formula="section_max",
                inputs=(Given(name="section_max", value=user, unit="m²", source=_TYPED),),
                source=_TYPED,
            ),
            reason=Message(
                id="marks.limit.user", values={"build_up": build_up.id, **both_areas(user)}
            ),
        )
    assert crew_m2 is not None
    rate, slowest = min(known)
    return SizeLimit(
        area_m2=crew_m2,
        figure=Figure(
            value=crew_m2,
            unit="m²",
            formula="rate × (shift − setting up)",
            inputs=(
                Given(name="rate", value=rate, unit="m²/h", source=_TYPED),
                Given(name="shift", value=shift_h, unit="h", source=_TYPED),
                Given(
                    name="setting up",
                    value=SETTING_UP_H,
                    unit="h",
                    source=Source(kind="practice", text="setting up, chalking, cleaning up"),
                ),
            ),
        ),
        reason=Message(
            id="marks.limit.crew",
            values={
                "build_up": build_up.id,
                "coat": slowest,
                "hours": round(usable_h, 2),
                **both_areas(crew_m2),
            },
        ),
    )


def pot_life_minutes(points: Sequence[PotLife], temp_c: float) -> float | None:
    """Working time in the pail at a kit temperature. [min]

    Straight in the logarithm between the sheet's points; beyond them it halves for
    every 10 K warmer (practice). None without points.

    Examples
    --------
    >>> pot_life_minutes([PotLife(temp_c=24, minutes=30)], 34)
    15.0
    """
    known = sorted(points, key=lambda p: p.temp_c)
    if not known:
        return None
    below = [p for p in known if p.temp_c <= temp_c]
    above = [p for p in known if p.temp_c >= temp_c]
    if below and above:
        a, b = below[-1], above[0]
        if a.temp_c == b.temp_c:
            return a.minutes
        share = (temp_c - a.temp_c) / (b.temp_c - a.temp_c)
        return float(a.minutes * (b.minutes / a.minutes) ** share)
    end = below[-1] if below else above[0]
    return float(end.minutes * 2.0 ** ((end.temp_c - temp_c) / 10.0))


def kit_pace(
    *,
    section_id: str,
    coat: Coat,
    product: ProductSheet,
    reach_m2: float,
    rates_m2_per_h: Mapping[str, float],
    kit_temp_c: float = KIT_TEMP_C,
) -> Message | None:
    """A note where a kit cannot be placed inside its pot life at the crew's pace.

    Mixing counts: pot life runs from the moment both parts meet. None where the
    kit fits, or where rate or pot life is not known.
    """
    rate = rate_of(coat, rates_m2_per_h)
    life = pot_life_minutes(product.pot_life, kit_temp_c)
    if not rate or life is None or not reach_m2:
        return None
    minutes = reach_m2 / rate * 60.0 + (product.mix_minutes or 0.0)
    if minutes <= life:
        return None
    return Message(
        id="marks.pot-life.short",
        values={
            "section": section_id,
            "coat": coat.id,
            "product": product.id,
            "minutes": math.ceil(minutes),
            "pot_life_min": math.floor(life),
            "kits_per_h": round(rate / reach_m2, 1),
            "temp_c": round(kit_temp_c),
            "temp_f": round(kit_temp_c * 9 / 5 + 32),
        },
    )


def both_areas(area_m2: float) -> dict[str, int]:
    """An area for a sentence that gives both unit systems, rounded as on paper."""
    return {
        "area_m2": round(area_m2),
        "area_ft2": round(in_system(area_m2, "area", "us")[0]),
    }


_TYPED = Source(kind="typed")
