"""``spec.toml``: what the contract demands."""

from __future__ import annotations

from tackfree.bundle.documents.base import Document, Version
from tackfree.bundle.quantities import (
    Hours,
    PositiveFraction,
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


class SpecDoc(Document):
    """The contract's limits and acceptance; what it states wins over the product sheet,
    and for a safety limit the stricter of the two holds."""

    schema_version: Version
    spread_modelled: TemperatureStep | None = None
    """Below this spread a modelled value is not trusted and a reading decides."""
    flood_test: bool = False
    """Whether areas over occupied space are flood tested."""
    limits: LimitsDoc = LimitsDoc()
