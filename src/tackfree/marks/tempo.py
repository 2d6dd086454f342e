"""A layout against the crew: does the wet edge wait too long, does the truck come in time?"""

from __future__ import annotations

import math

from tackfree.marks.cell_types import Layout
from tackfree.words import Message

DAY_MIN = 24 * 60


def minutes_per_kit(*, reach_m2: float, rate_m2_per_h: float) -> float:
    """Time from kit to kit at the crew's rate. [min]

    >>> round(minutes_per_kit(reach_m2=295.0, rate_m2_per_h=1500.0), 1)
    11.8
    """
    return reach_m2 / rate_m2_per_h * 60.0


def kits_within(open_minutes: float, kit_minutes: float) -> int:
    """How many kits later the second side of a seam may still come.

    >>> kits_within(50.0, 10.0)
    5
    """
    return math.floor(open_minutes / kit_minutes + 1e-9)


def truck_clock(
    *,
    section_id: str,
    coat_id: str,
    first_m2: float,
    rest_m2: float,
    rate_m2_per_h: float,
    down_by_min: float,
    truck_min: float,
) -> tuple[Message, ...]:
    """When a late truck has to be unloaded, and when the floor before it is begun.

    Parameters
    ----------
    section_id, coat_id : str
        Named in the sentence.
    first_m2, rest_m2 : float
        What the kits at hand cover, and what waits for the truck. [m²]
    rate_m2_per_h : float
        What the crew places. [m²/h]
    down_by_min : float
        When the last kit must be down. [min of the day]
    truck_min : float
        When the truck is promised. [min of the day]

    Returns
    -------
    tuple of Message
        ``marks.truck.float`` or ``marks.truck.late``, then ``marks.truck.begin``: the first
        floor ends as the truck is unloaded, so one edge stays wet. Moments are rounded
        down to 5 min.

    Source
    ------
    Exact: time = area / rate, counted back from the last kit.
    """
    rest_min, first_min = (60.0 * m2 / rate_m2_per_h for m2 in (rest_m2, first_m2))
    end = down_by_min if down_by_min >= truck_min else down_by_min + DAY_MIN
    unload = _five(end - rest_min)
    spare = unload - truck_min
    values = {
        "section": section_id, "coat": coat_id, "hours": f"{rest_min / 60:.1f}",
        "down_by": _clock(end), "unload": _clock(unload), "truck": _clock(truck_min),
    }  # fmt: skip
    if spare >= 0:
        told = Message(id="marks.truck.float", values={**values, "minutes": round(spare)})
    else:
        told = Message(id="marks.truck.late", values={**values, "minutes": round(-spare)})
    begin = {
        "section": section_id, "coat": coat_id, "hours": f"{first_min / 60:.1f}",
        "begin": _clock(_five(end - rest_min - first_min)), "unload": _clock(unload),
    }  # fmt: skip
    return told, Message(id="marks.truck.begin", values=begin)


def _five(minutes: float) -> float:
    return math.floor(minutes / 5 + 1e-9) * 5


def _clock(minutes: float) -> str:
    hours, rest = divmod(round(minutes) % DAY_MIN, 60)
    return f"{hours:02}:{rest:02}"


def keeps_wet_edge(
    layout: Layout,
    *,
    section_id: str,
    coat_id: str,
    kit_minutes: float,
    open_minutes: float,
    people: int,
) -> Message:
    """Whether every seam is closed while its first side is still open.

    Parameters
    ----------
    layout : Layout
    section_id, coat_id : str
        Named in the sentence.
    kit_minutes : float
        From kit to kit. [min]
    open_minutes : float
        How long an edge takes fresh material without a mark. [min]
    people : int
        Hands in the crew.

    Returns
    -------
    Message
        ``marks.wet-edge.holds``, or ``marks.wet-edge.late`` with the hands that are
        missing and the longest lane that would do.

    Source
    ------
    Exact for lanes walked to and fro: with k kits in a lane the last cell beside a seam
    comes 2k - 1 kits after the first. That more hands place in proportion is practice.
    """
    age = layout.check.age_kits
    waits = age * kit_minutes
    values = {
        "section": section_id,
        "coat": coat_id,
        "cell": layout.check.age_pair[0],
        "other": layout.check.age_pair[1],
        "minutes": math.ceil(waits - 1e-9),
        "open_min": math.floor(open_minutes + 1e-9),
    }
    if waits <= open_minutes:
        return Message(id="marks.wet-edge.holds", values=values)
    more = math.ceil(people * waits / open_minutes - 1e-9) - people
    kits = max(math.floor((open_minutes / kit_minutes + 1) / 2 + 1e-9), 0)
    lane_m = kits * layout.target_m2 / layout.lane_m
    values |= {"more": more, "lane_ft": math.floor(lane_m / 0.3048), "lane_m": math.floor(lane_m)}
    return Message(id="marks.wet-edge.late" if kits else "marks.wet-edge.never", values=values)
