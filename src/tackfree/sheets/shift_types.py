"""The shift sheet as its reader sees it: text already rounded, unit beside number.

``Said`` is one sentence in each language of the sheet, in the sheet's order.
An empty text is shown as a dash: a missing value is shown as missing.
"""

from __future__ import annotations

from dataclasses import dataclass

Said = tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ShiftRow:
    """One section × step of the shift, in the order of work."""

    number: int
    section_id: str
    step_id: str
    step: Said
    area: str
    planned: str
    start_not_before: str
    start_why: Said
    finish_by: str
    finish_why: Said
    product: str = ""
    kits: str = ""
    reach: str = ""  # area one kit covers
    wet_film: str = ""
    sand: str = ""
    kit_minutes: str = ""
    pot_life: str = ""
    next_coat: Said = ()


@dataclass(frozen=True, kw_only=True)
class MixCard:
    """How one product is mixed, as its sheet says it (in the sheet's language)."""

    product: str
    parts: str
    steps: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ShiftSheet:
    """The foreman's one page for one shift, one deck, one crew."""

    job_id: str
    job_name: str
    deck_id: str
    deck_name: str
    date_iso: str
    date: Said
    shift_id: str
    shift_hours: str
    crew_id: str
    people: int
    revision: str
    weather: Said
    stop: str
    stop_why: Said
    rows: tuple[ShiftRow, ...]
    checks: tuple[Said, ...]
    mixing: tuple[MixCard, ...]
    cautions: tuple[Said, ...]
    notes: tuple[Said, ...]
    drawing_svg: str
    drawing_alt: str
    strip_svg: str
    strip_alt: str
    languages: tuple[str, ...]
    made_utc_s: int  # the job's as_of, never the clock of the machine
    invented: bool = False

    @property
    def name(self) -> str:
        """File name without ending: ``2027-04-23-EVE-P1-CREW-1``."""
        return f"{self.date_iso}-{self.shift_id}-{self.deck_id}-{self.crew_id}"
