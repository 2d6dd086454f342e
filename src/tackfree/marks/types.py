"""What cutting a job into sections says."""

from __future__ import annotations

from dataclasses import dataclass

from tackfree.because import Figure
from tackfree.deck.takeoff_types import CrackRun, JointRun
from tackfree.deck.types import Section
from tackfree.words import Message


@dataclass(frozen=True, kw_only=True)
class SizeLimit:
    """The largest section a build-up allows; None where nothing limits it. [m²]"""

    area_m2: float | None
    figure: Figure
    reason: Message


@dataclass(frozen=True, kw_only=True)
class SectionDetails:
    """Edges, cracks, joints and drains of one section; lengths in m, areas in m².

    Over the sections of a zone they add up to the zone's takeoff.
    """

    section_id: str
    upturn_m: float = 0.0
    upturn_m2: float = 0.0
    obstacle_edge_m: float = 0.0
    cracks: tuple[CrackRun, ...] = ()
    joints: tuple[JointRun, ...] = ()
    termination_m: float = 0.0
    drains: int = 0
    penetrations: int = 0


@dataclass(frozen=True, kw_only=True)
class SectionStage:
    """The sections of a job in working order, their details, and why they are so.

    ``limits`` are by build-up id.
    """

    sections: tuple[Section, ...]
    details: tuple[SectionDetails, ...]
    limits: dict[str, SizeLimit]
    messages: tuple[Message, ...] = ()

    def details_of(self, section_id: str) -> SectionDetails:
        """The details of one section."""
        return next(d for d in self.details if d.section_id == section_id)
