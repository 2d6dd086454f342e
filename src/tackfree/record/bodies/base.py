"""What every body of an entry shares: strict types, and the links between entries."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError


def _aware(text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise PydanticCustomError("moment", "write a date and time with its offset from UTC")
    return text


Number = Annotated[float, Field(allow_inf_nan=False)]
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200)]
Point = Annotated[list[Number], Field(min_length=2, max_length=2)]
Sha = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Moment = Annotated[str, Field(max_length=40), AfterValidator(_aware)]  # ISO 8601 with offset
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\d$")]
Temperature = Annotated[Number, Field(ge=-50, le=100)]
Fraction = Annotated[Number, Field(ge=0, le=1)]
Length = Annotated[Number, Field(gt=0, le=10_000)]
Area = Annotated[Number, Field(gt=0, le=1_000_000)]
Count = Annotated[int, Field(ge=0, le=100_000)]


class Body(BaseModel):
    """``corrects`` names the entry that this one takes the place of, ``mends`` the held one.

    ``photos`` are hashes of pictures kept beside the record.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    corrects: Short | None = None
    mends: Short | None = None
    photos: Annotated[list[Sha], Field(max_length=20, default_factory=list)]


class Spot(Body):
    """A body that may say where on the deck it happened. Position in the deck's frame. [m]"""

    deck: Short | None = None
    section: Short | None = None
    x_m: Number | None = None
    y_m: Number | None = None


def rising(start: str | None, stop: str | None) -> None:
    """Raise when a span ends before it begins."""
    if start and stop and datetime.fromisoformat(stop) < datetime.fromisoformat(start):
        raise PydanticCustomError("span", "the end is before the start")
