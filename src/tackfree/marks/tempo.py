"""A layout against the crew: does the wet edge wait too long, does a pail outlive its kit?"""

from __future__ import annotations

import math

from tackfree.marks.cell_types import Layout
from tackfree.words import Message


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
