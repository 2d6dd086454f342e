"""The day around the work: weather, hours, delays, notices, words, pictures, corrections."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from tackfree.record.bodies.base import (
    Body,
    Day,
    Fraction,
    Moment,
    Number,
    Sha,
    Short,
    Spot,
    Temperature,
    Text,
    rising,
)


class NoteV1(Spot):
    """Anything worth keeping, in words."""

    text: Text


class ConditionsV1(Spot):
    """Weather as read on the deck, before and during placing."""

    slab_c: Temperature
    air_c: Annotated[Number, Field(ge=-60, le=60)]
    rh: Fraction
    wind_m_s: Annotated[Number, Field(ge=0, le=100)] | None = None
    sky: Literal["clear", "partly", "overcast", "rain", "snow", "fog", "covered"] | None = None
    place: Short | None = None
    instrument: Short | None = None
    called: Literal["go", "wait"] | None = None
    called_by: Short | None = None


class LoggedV1(Spot):
    """Samples of a logger over a part of a day, as many as its file holds.

    Each row is seconds after ``started`` and a value for each of ``columns``, or null.
    """

    instrument: Short
    started: Moment
    columns: Annotated[
        list[Literal["slab_c", "air_c", "rh", "wind_m_s"]], Field(min_length=1, max_length=4)
    ]
    rows: Annotated[list[list[Number | None]], Field(min_length=1, max_length=1500)]
    place: Short | None = None
    file: Short | None = None

    @model_validator(mode="after")
    def _even(self) -> LoggedV1:
        if any(len(row) != 1 + len(self.columns) or row[0] is None for row in self.rows):
            raise PydanticCustomError("rows", "every row holds a time and a value for each column")
        return self


class WeatherEventV1(Spot):
    """Rain, dew or wind that came: when it began and ended, what it touched. [mm]"""

    what: Literal["rain", "dew", "fog", "wind", "frost", "snow", "hail", "heat", "dust"]
    began: Moment
    ended: Moment | None = None
    amount_mm: Annotated[Number, Field(ge=0, le=1000)] | None = None
    on_wet_film: bool | None = None
    sections: Annotated[list[Short], Field(max_length=200, default_factory=list)]
    note: Text | None = None

    @model_validator(mode="after")
    def _span(self) -> WeatherEventV1:
        rising(self.began, self.ended)
        return self


class CrewHoursV1(Body):
    """People and hours of one crew and shift, by what they did. [h]"""

    crew: Short
    people: Annotated[int, Field(ge=1, le=500)]
    hours: Annotated[Number, Field(gt=0, le=24)]  # of each person
    day: Day | None = None
    shift: Short | None = None
    doing: Short | None = None
    section: Short | None = None


class DelayV1(Body):
    """Time lost, and to what. [h]"""

    cause: Literal[
        "weather", "access", "other-trade", "material", "plant", "surface", "inspection",
        "owner", "design", "crew", "safety", "other",
    ]  # fmt: skip
    hours: Annotated[Number, Field(gt=0, le=10_000)]
    people: Annotated[int, Field(ge=0, le=500)] | None = None
    began: Moment | None = None
    sections: Annotated[list[Short], Field(max_length=200, default_factory=list)]
    what: Text
    told: Short | None = None  # who was told of it
    told_at: Moment | None = None


class NoticeV1(Body):
    """Notice given that a hold point is near: to whom, for when."""

    point: Short
    to: Short
    ready_at: Moment
    section: Short | None = None
    coat: Short | None = None
    by: Literal["call", "message", "letter", "in-person"] | None = None
    note: Text | None = None


class NoticeAnswerV1(Body):
    """What came back on a notice."""

    notice: Short
    answer: Literal["comes", "waives", "refuses", "no-answer"]
    who: Short | None = None
    at: Moment | None = None
    note: Text | None = None


class PhotoV1(Spot):
    """A picture, by the hash of its bytes, and what it shows."""

    sha256: Sha
    shows: Text | None = None
    coat: Short | None = None


class CorrectionV1(Body):
    """An earlier entry is withdrawn; nothing takes its place but this."""

    reason: Text

    @model_validator(mode="after")
    def _names_one(self) -> CorrectionV1:
        if self.corrects is None:
            raise PydanticCustomError("corrects-none", "name the entry that is withdrawn")
        return self


class InspectorSpotsV1(Body):
    """Spots drawn by lot for the inspector, with the seed that draws them again."""

    section: Short
    coat: Short
    seed: Annotated[int, Field(ge=0, lt=2**31)]
    count: Annotated[int, Field(ge=1, le=1000)]
    drawn_for: Short
