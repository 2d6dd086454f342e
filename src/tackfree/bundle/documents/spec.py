"""``spec.toml``: what the contract demands."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Literal

from pydantic import Field

from tackfree.bundle.documents.base import Document, Id, Text, Version
from tackfree.bundle.documents.job import Weekday
from tackfree.bundle.quantities import (
    Area,
    Film,
    Hours,
    PositiveFraction,
    Quantity,
    Slope,
    Speed,
    Temperature,
    TemperatureStep,
)

WORKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri")
Pressure = Annotated[
    float,
    Quantity(kind="pressure", noun="a strength", examples=("200 psi", "1.5 N/mm²"), above=0),
]
MoistureLimit = Annotated[float, Field(ge=0, le=1000)]
SlipLimit = Annotated[float, Field(ge=0, le=150)]


class LimitsDoc(Document):
    """Placing limits; what is left out is not limited here."""

    surface_min: Temperature | None = None
    surface_max: Temperature | None = None
    air_min: Temperature | None = None
    air_max: Temperature | None = None
    spread_min: TemperatureStep | None = None
    """Least slab temperature above the dew point."""
    rh_max: PositiveFraction | None = None
    """Highest relative humidity of the air."""
    rain_free: Hours | None = None
    """Time without rain that must follow placing."""
    wind_max: Speed | None = None


class BuildUpLimitsDoc(Document):
    """What the contract asks of build-ups, in place of the usual limits of the trade."""

    dry_film_min: dict[Literal["pedestrian", "light", "heavy", "extra-heavy"], Film] = Field(
        default_factory=dict
    )
    """Least total dry film by duty, sand not counted."""
    profile: Annotated[
        list[Annotated[int, Field(ge=1, le=10)]] | None, Field(min_length=2, max_length=2)
    ] = None
    """Lowest and highest surface profile class."""
    slope_non_flow: Slope | None = None
    """Slope from which a non-flow grade is asked for."""


class FilmRuleDoc(Document):
    """How the contract accepts wet film; what is left out is the usual of the trade."""

    floor: PositiveFraction | None = None
    """Share of the specified film that no reading may be under."""
    area_per_reading: Area | None = None
    """One reading is asked for on each such area."""
    readings_at_specified: PositiveFraction | None = None
    """Share of the readings that must have the specified film."""
    area_at_floor: PositiveFraction | None = None
    """Share of a patch that must have the floor film for the verdict shown."""
    sure: PositiveFraction | None = None
    """Chance from which a patch counts as shown."""
    spots: Literal["SSPC-PA-2-level-3", "SSPC-PA-9-level-3"] | None = None
    """A standard's counting rule that is told beside the contract's."""


class BondRuleDoc(Document):
    """Least pull-off strength of a set, and of a single pull."""

    mean: Pressure | None = None
    single: Pressure | None = None
    tests: Annotated[int, Field(ge=1, le=100)] = 3
    """Pulls of one set."""
    area_per_set: Area | None = None
    """One set is asked for on each such area."""


class ProofDoc(Document):
    """Other tests of acceptance; what is left out is not asked for."""

    bond: BondRuleDoc | None = None
    moisture: dict[Literal["probe-rh", "meter", "chloride", "sheet"], MoistureLimit] = Field(
        default_factory=dict
    )
    """Most moisture of the slab by method: shares of 1; chloride in g/m² a day; sheet 0."""
    moisture_area: Area | None = None
    """One moisture test is asked for on each such area."""
    flood: Hours | None = None
    """How long water must stand without a drop coming through."""
    slip: dict[Literal["pendulum", "tribometer"], SlipLimit] = Field(default_factory=dict)
    """Least grip of the wet surface by method."""
    slip_area: Area | None = None
    """One slip test is asked for on each such area."""


class HoldPointDoc(Document):
    """A point at which work waits until somebody has looked, such as the inspector at the
    prepared deck. They come on no holiday."""

    id: Id
    after: Id
    """The step that is looked at: DETAILS, PREP, a coat's id, SWEEP or STRIPE. The next
    step of the section waits; after the last one cars do."""
    who: Text
    """Who is told, and comes."""
    sees: Text
    """What they look at."""
    notice: Hours
    """How long before the visit they must be told, on the clock."""
    takes: Hours = 1.0
    """Left out: 1 h."""
    zones: list[Id] = Field(default_factory=list)
    """Left out: all of them."""
    build_ups: list[Id] = Field(default_factory=list)
    """Left out: all of them."""
    days: Annotated[list[Weekday], Field(min_length=1)] = Field(
        default_factory=lambda: list(WORKDAYS)
    )
    """Weekdays on which they come. Left out: Monday to Friday."""
    begins: time = time(7)
    """Left out: 07:00."""
    ends: time = time(17)
    """When a visit is over at the latest. Left out: 17:00."""


class SpecDoc(Document):
    """The contract's limits and acceptance; what it states wins over the product sheet,
    and for a safety limit the stricter of the two holds."""

    schema_version: Version
    spread_modelled: TemperatureStep | None = None
    """Below this spread a modelled value is not trusted and a reading decides."""
    flood_test: bool = False
    """Whether areas over occupied space are flood tested."""
    limits: LimitsDoc = LimitsDoc()
    build_up: BuildUpLimitsDoc = BuildUpLimitsDoc()
    film: FilmRuleDoc = FilmRuleDoc()
    tests: ProofDoc = ProofDoc()
    hold_points: list[HoldPointDoc] = Field(default_factory=list)
