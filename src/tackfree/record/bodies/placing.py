"""Getting the surface ready, kits in, kits mixed and spread, film looked at, sand thrown."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from tackfree.record.bodies.base import (
    Area,
    Body,
    Count,
    Day,
    Fraction,
    Length,
    Moment,
    Number,
    Point,
    Short,
    Spot,
    Temperature,
    Text,
    rising,
)

Litres = Annotated[Number, Field(gt=0, le=2000)]


class ReadinessV1(Spot):
    """Whether a surface is ready for a step: profile, sound, dry, clean, age of patches.

    ``profile`` is the number of the replica chip it was compared with, 1 to 10.
    """

    step: Short
    profile: Annotated[int, Field(ge=1, le=10)] | None = None
    sound: bool | None = None
    dry: bool | None = None
    clean: bool | None = None
    patch_age_h: Annotated[Number, Field(ge=0, le=100_000)] | None = None
    ready: bool
    note: Text | None = None


class AreaPreparedV1(Spot):
    """Ground prepared by one method since the last such entry. [m²]"""

    method: Literal["shot-blast", "grind", "scarify", "water-blast", "hand", "other"]
    area_m2: Area
    edges_m: Annotated[Number, Field(ge=0, le=10_000)] | None = None
    started: Moment | None = None
    stopped: Moment | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _span(self) -> AreaPreparedV1:
        rising(self.started, self.stopped)
        return self


class ArrivedV1(Body):
    """Vessels of one part and lot in a delivery, and how many of them cannot be used."""

    part: Short
    lot: Short
    count: Count
    damaged: Count = 0
    use_by: Day | None = None


class DeliveryV1(Body):
    """What came: product, its parts by lot, whole kits, and the slip it came with."""

    product: Short
    kits: Count
    parts: Annotated[list[ArrivedV1], Field(max_length=40, default_factory=list)]
    slip: Short | None = None
    stored_at: Short | None = None
    temperature_c: Temperature | None = None
    note: Text | None = None


class PartV1(Body):
    """One vessel of a kit and its lot."""

    name: Short
    lot: Short


class BatchV1(Body):
    """One mixed kit. ``kit`` is its own id; ``volume_l`` where it is not the sheet's.

    ``b_in`` ticks that the second part went in; ``mixed_from`` and ``mixed_to`` are the
    start and the end of mixing.
    """

    kit: Short
    product: Short
    section: Short
    coat: Short
    parts: Annotated[list[PartV1], Field(max_length=10, default_factory=list)]
    temperature_c: Annotated[Number, Field(ge=-30, le=80)] | None = None
    volume_l: Litres | None = None
    b_in: bool | None = None
    mixed_from: Moment | None = None
    mixed_to: Moment | None = None
    mixer: Short | None = None

    @model_validator(mode="after")
    def _span(self) -> BatchV1:
        rising(self.mixed_from, self.mixed_to)
        return self


class PlacementV1(Body):
    """Where a kit was spread: a cell of a layout, or an outline in the deck's frame. [m]

    ``leftover_l`` is what was weighed back or dropped at the end of a shift. ``started``
    and ``stopped`` bound the spreading; without a stop it goes on.
    """

    kit: Short
    section: Short
    coat: Short
    layout: Short | None = None
    cell: Short | None = None
    outline: Annotated[list[Point], Field(min_length=3, max_length=500)] | None = None
    area_m2: Area | None = None
    leftover_l: Annotated[Number, Field(ge=0, le=2000)] = 0.0
    started: Moment | None = None
    stopped: Moment | None = None

    @model_validator(mode="after")
    def _span(self) -> PlacementV1:
        rising(self.started, self.stopped)
        return self


class FilmReadingV1(Body):
    """One look through a notch gauge: last wetted tooth and next dry one.

    ``wet_tooth`` is left out where the first tooth stayed dry, ``dry_tooth`` where the
    last was wet. Position in the deck's frame. [m]
    """

    section: Short
    coat: Short
    x_m: Number
    y_m: Number
    unit: Literal["mil", "um"]
    wet_tooth: Annotated[Number, Field(ge=0, le=10000)] | None = None
    dry_tooth: Annotated[Number, Field(gt=0, le=10000)] | None = None
    gauge: Short
    gauge_checked: bool = False  # against a known pour or a master, since it was last used
    feet: Literal["peaks", "valleys"] = "peaks"
    after_sand: bool = False
    cell: Short | None = None
    reader: Literal["crew", "inspector"] = "crew"

    @model_validator(mode="after")
    def _teeth(self) -> FilmReadingV1:
        low, high = self.wet_tooth, self.dry_tooth
        if low is None and high is None:
            raise PydanticCustomError(
                "no-tooth", "give the last wetted tooth, the next dry one, or both"
            )
        if low is not None and high is not None and low >= high:
            raise PydanticCustomError(
                "teeth", "the next dry tooth must be higher than the last wetted one"
            )
        return self


class AggregateV1(Body):
    """Sand thrown on a coat of a section: bags by lot, and what was swept back. [kg]"""

    section: Short
    coat: Short
    product: Short
    bags: Annotated[Number, Field(ge=0, le=10_000)]
    bag_kg: Annotated[Number, Field(gt=0, le=2000)] | None = None
    lot: Short | None = None
    dry: bool | None = None
    swept_back_kg: Annotated[Number, Field(ge=0, le=1_000_000)] | None = None
    cell: Short | None = None


class DetailLengthV1(Spot):
    """Length of a detail made since the last such entry. [m]"""

    detail: Literal["crack", "joint", "cove", "upturn", "termination", "drain", "penetration"]
    length_m: Length
    width_m: Annotated[Number, Field(gt=0, le=5)] | None = None
    product: Short | None = None
    lot: Short | None = None
    note: Text | None = None


class CureSeenV1(Spot):
    """How a coat feels: thumb test, blush looked for, soft spots. ``ready`` for the next."""

    section: Short
    coat: Short
    tack_free: bool
    blush: bool | None = None
    soft_share: Fraction | None = None
    ready: bool | None = None
    note: Text | None = None
