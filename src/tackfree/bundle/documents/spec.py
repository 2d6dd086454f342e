"""``spec.toml``: what the contract demands."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tackfree.bundle.documents.base import Document, Version
from tackfree.bundle.quantities import (
    Film,
    Hours,
    PositiveFraction,
    Slope,
    Speed,
    Temperature,
    TemperatureStep,
)


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
