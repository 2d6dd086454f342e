"""Cut a job's zones into sections."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from tackfree.buildup.types import BuildUp
from tackfree.bundle.types import Job
from tackfree.deck.takeoff_types import Takeoff
from tackfree.deck.types import Deck
from tackfree.marks.pace import size_limit
from tackfree.marks.sections import cut_sections
from tackfree.marks.types import SectionStage, SizeLimit
from tackfree.plan.types import Crew, Shift


def cut_job(job: Job, decks: Sequence[Deck], takeoff: Takeoff) -> SectionStage:
    """Sections of a whole job, sized to what its crews place in a shift.

    Parameters
    ----------
    job : Job
        Its crews, shifts, build-ups and wishes about cutting.
    decks : sequence of Deck
        As read from the drawings.
    takeoff : Takeoff
        Of the same decks.

    Returns
    -------
    SectionStage

    Raises
    ------
    Refused
        If zones grouped by the job cannot be coated together.
    """
    limits = {b.id: _limit(job, b) for b in job.build_ups.values()}
    return cut_sections(decks, takeoff, limits=limits, groups=job.cutting.group_zones)


def _limit(job: Job, build_up: BuildUp) -> SizeLimit:
    """Of several crews the slowest counts, so that any of them can coat any section."""
    each = [
        size_limit(
            build_up,
            rates_m2_per_h=crew.rates,
            shift_h=_shift_h(crew, job.shifts),
            section_max_m2=job.cutting.section_max_m2,
        )
        for crew in job.crews
    ] or [
        size_limit(
            build_up,
            rates_m2_per_h={},
            shift_h=0.0,
            section_max_m2=job.cutting.section_max_m2,
        )
    ]
    known = [one for one in each if one.area_m2 is not None]
    return min(known, key=lambda one: one.area_m2 or 0.0) if known else each[0]


def _shift_h(crew: Crew, shifts: Sequence[Shift]) -> float:
    """The shortest shift of a crew, by the clock. [h]"""
    hours = [_length_h(s) for s in shifts if s.id in crew.shift_ids]
    return min(hours, default=0.0)


def _length_h(shift: Shift) -> float:
    day = date(2000, 1, 1)
    span = datetime.combine(day, shift.ends) - datetime.combine(day, shift.begins)
    return (span if span > timedelta(0) else span + timedelta(days=1)) / timedelta(hours=1)


shift_hours = _shift_h
