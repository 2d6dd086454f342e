"""What a takeoff says, zone by zone."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import MultiPolygon

from tackfree.because import Figure
from tackfree.words import Message


@dataclass(frozen=True, kw_only=True)
class JointRun:
    """Total length of joints of one cross-section. [m]"""

    width_m: float
    depth_m: float
    length_m: float


@dataclass(frozen=True, kw_only=True)
class CrackRun:
    """Total length of cracks of one width class. ``width_m`` is the class's width."""

    width_m: float
    length_m: float
    rout: bool
    basis: str = "drawn"  # or inferred, from an allowance


@dataclass(frozen=True, kw_only=True)
class ZoneTakeoff:
    """Quantities of one zone; areas in m², lengths in m.

    ``floor`` is the outline less the union of obstacles; ``plan_m2`` its plan area;
    ``field_m2`` its developed area (slope included, upturns not).
    ``figures`` holds the same numbers with their reasons, by the same names.
    """

    zone_id: str
    deck_id: str
    floor: MultiPolygon
    outline_m2: float
    obstacles_m2: float
    plan_m2: float
    slope_factor: float
    field_m2: float
    upturn_m: float
    upturn_m2: float
    obstacle_edge_m: float
    cracks: tuple[CrackRun, ...]
    joints: tuple[JointRun, ...]
    termination_m: float
    drains: int
    penetrations: int
    stalls: int
    figures: dict[str, Figure]
    cove_m: float = 0.0
    saw_cut_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Takeoff:
    """All zones of a job, and what was doubted on the way."""

    zones: tuple[ZoneTakeoff, ...]
    messages: tuple[Message, ...] = ()
