"""``job.toml``: place, dates, people, weather."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator, Field, WithJsonSchema
from pydantic_core import PydanticKnownError

from tackfree.bundle.documents.base import Document, Id, Text, Version, Word
from tackfree.bundle.documents.plan import PlanDoc
from tackfree.bundle.quantities import (
    Area,
    AreaRate,
    Elevation,
    Fraction,
    Length,
    LengthRate,
    fault,
)
from tackfree.deck.types import Exposure
from tackfree.words import LANGUAGES

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Skill = Literal["prep", "details", "coating"]


YEARS = range(2000, 2200)
D = TypeVar("D", bound=date)


def _in_our_time(moment: D) -> D:
    if moment.year not in YEARS:
        raise fault(f"the year {moment.year} is not one of a job.", "Check the date.")
    return moment


Day = Annotated[date, AfterValidator(_in_our_time)]
Moment = Annotated[datetime, AfterValidator(_in_our_time)]


class PlaceDoc(Document):
    """Where the deck stands: for the sun, the air pressure and the clock."""

    latitude_deg: Annotated[float, Field(ge=-90, le=90)]
    """North is positive."""
    longitude_deg: Annotated[float, Field(ge=-180, le=180)]
    """East is positive."""
    altitude: Elevation
    time_zone: Text
    """An IANA name, such as America/New_York."""


class WeatherDoc(Document):
    """The weather file of the job."""

    file: Text
    """Path inside the bundle, such as weather/year.csv."""
    kind: Literal["typical-year", "forecast", "measured"]
    format: Annotated[str, Field(pattern=r"^[a-z0-9-]+$")]
    """The file's format, such as tmy3 or epw."""


class SlabDoc(Document):
    """What is known of the slab under one exposure; what is left out is a default.

    ``weather calibrate --write`` puts it here."""

    exposure: Word[Exposure]
    absorptance: Annotated[float, Field(gt=0, lt=1)] | None = None
    """Share of the sun that the bare surface takes up. Coats have their own on the sheet."""
    wind_factor: Annotated[float, Field(gt=0, le=1)] | None = None
    """Wind at the deck over the wind of the weather file."""
    thickness: Length | None = None
    source: Text
    """Where the figures come from: a file of readings, a drawing, a person."""


class ShiftDoc(Document):
    """A span of wall time on some weekdays."""

    id: Id
    days: Annotated[list[Weekday], Field(min_length=1)]
    """The weekdays on which the shift begins."""
    begins: time
    ends: time
    """At or before ``begins`` is the next day."""
    lights: bool = False
    """Whether there is light to work by after dark."""
    overtime: bool = False
    """Whether its hours are paid above the usual rate."""


class RatesDoc(Document):
    """What the whole crew gets done in an hour, by kind of step."""

    prep: AreaRate | None = None
    abrade: AreaRate | None = None
    """Abrading a coat whose recoat window was missed. Left out: two fifths of prep."""
    details: LengthRate | None = None
    """Strips, sealant and upturns, by their length."""
    primer: AreaRate | None = None
    tie: AreaRate | None = None
    scratch: AreaRate | None = None
    base: AreaRate | None = None
    intermediate: AreaRate | None = None
    top: AreaRate | None = None
    lock: AreaRate | None = None
    sweep: AreaRate | None = None
    """Picking up loose sand after a coat broadcast to refusal."""
    stripe: AreaRate | None = None
    """Repainting stalls and lanes, by the deck area they stand on."""


class CrewDoc(Document):
    """People who work together."""

    id: Id
    people: Annotated[int, Field(ge=1, le=200)]
    skills: Annotated[list[Skill], Field(min_length=1)]
    shifts: Annotated[list[Id], Field(min_length=1)]
    """Ids of the shifts that the crew works."""
    rates: RatesDoc = RatesDoc()


class CuttingDoc(Document):
    """How the decks are cut into sections."""

    section_max: Area | None = None
    """The largest section; left out, it is worked out from crew and pot life."""
    group_zones: list[Annotated[list[Id], Field(min_length=2)]] = Field(default_factory=list)
    """Zones that are coated together, such as balconies on one kit."""


def _language(text: str) -> str:
    if text not in LANGUAGES:
        *others, last = map(repr, LANGUAGES)
        expected = f"{', '.join(others)} or {last}"  # as a choice of fixed words is told
        raise PydanticKnownError("literal_error", {"expected": expected})
    return text


# A folder of catalogues is a language; this document follows the folders.
Language = Annotated[
    str,
    AfterValidator(_language),
    WithJsonSchema({"type": "string", "enum": list(LANGUAGES)}),
]


class JobDoc(Document):
    """The job: place, dates, people, weather."""

    schema_version: Version
    id: Id
    name: Text
    invented: bool = False
    """True for a demonstration; its sheets then say so."""
    units: Literal["us", "si"]
    """What people read; files of the tool keep SI."""
    languages: Annotated[list[Language], Field(min_length=1)]
    """Languages of the field sheets, in order."""
    as_of: Moment
    """The moment the job is looked at. Without an offset it is the job's own time."""
    starts_on: Day
    """First day on which the crew may work."""
    ends_by: Day | None = None
    """Last day of the contract."""
    stalls_open_min: Fraction = 0.0
    """Share of the stalls that must stay open at any time."""
    slot_minutes: Literal[15, 30] = 30
    """Grid of the plan."""
    horizon_days: Annotated[int, Field(ge=1, le=730)] = 90
    """How far the plan looks ahead."""
    holidays: list[Day] = Field(default_factory=list)
    """Days without work."""
    place: PlaceDoc
    weather: WeatherDoc
    slabs: list[SlabDoc] = Field(default_factory=list)
    """Slabs fitted to readings, or known; one for an exposure."""
    shifts: Annotated[list[ShiftDoc], Field(min_length=1)]
    crews: Annotated[list[CrewDoc], Field(min_length=1)]
    cutting: CuttingDoc = CuttingDoc()
    plan: PlanDoc = PlanDoc()
