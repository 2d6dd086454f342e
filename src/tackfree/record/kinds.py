"""What an entry may say: a model for each kind and version of its body."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from tackfree.errors import InputError

Number = Annotated[float, Field(allow_inf_nan=False)]
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200)]
Point = Annotated[list[Number], Field(min_length=2, max_length=2)]


class Body(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class NoteV1(Body):
    """Anything worth keeping, in words."""

    text: Text
    section: Short | None = None


class ConditionsV1(Body):
    """Weather as read on the deck, before and during placing."""

    slab_c: Annotated[Number, Field(ge=-50, le=100)]
    air_c: Annotated[Number, Field(ge=-60, le=60)]
    rh: Annotated[Number, Field(ge=0, le=1)]
    wind_m_s: Annotated[Number, Field(ge=0, le=100)] | None = None
    section: Short | None = None
    place: Short | None = None
    instrument: Short | None = None


class PartV1(Body):
    """One vessel of a kit and its lot."""

    name: Short
    lot: Short


class BatchV1(Body):
    """One mixed kit. ``kit`` is its own id; ``volume_l`` where it is not the sheet's."""

    kit: Short
    product: Short
    section: Short
    coat: Short
    parts: Annotated[list[PartV1], Field(max_length=10)] = []
    temperature_c: Annotated[Number, Field(ge=-30, le=80)] | None = None
    volume_l: Annotated[Number, Field(gt=0, le=2000)] | None = None
    corrects: Short | None = None


class PlacementV1(Body):
    """Where a kit was spread: a cell of a layout, or an outline in the deck's frame. [m]

    ``leftover_l`` is what was weighed back or dropped at the end of a shift.
    """

    kit: Short
    section: Short
    coat: Short
    layout: Short | None = None
    cell: Short | None = None
    outline: Annotated[list[Point], Field(min_length=3, max_length=500)] | None = None
    leftover_l: Annotated[Number, Field(ge=0, le=2000)] = 0.0
    corrects: Short | None = None


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
    corrects: Short | None = None

    @model_validator(mode="after")
    def _teeth(self) -> FilmReadingV1:
        if self.wet_tooth is None and self.dry_tooth is None:
            raise ValueError("give the last wetted tooth, the next dry one, or both")
        if None not in (self.wet_tooth, self.dry_tooth) and not self._rising():
            raise ValueError("the next dry tooth must be higher than the last wetted one")
        return self

    def _rising(self) -> bool:
        return (self.wet_tooth or 0.0) < (self.dry_tooth or 0.0)


KINDS: dict[tuple[str, int], type[Body]] = {
    ("note", 1): NoteV1,
    ("conditions", 1): ConditionsV1,
    ("batch", 1): BatchV1,
    ("placement", 1): PlacementV1,
    ("film-reading", 1): FilmReadingV1,
}


def read_body(kind: str, version: int, body: Any) -> Body:
    """A stored body as its model; it was checked when it was stored."""
    return KINDS[kind, version].model_validate(body)


def check_body(kind: Any, version: Any, body: Any) -> None:
    """Raise InputError with every fault of a body in one sentence."""
    try:
        model = KINDS.get((kind, version))
    except TypeError:  # a list or table where a word belongs
        model = None
    if model is None:
        known = ", ".join(f"{k} {v}" for k, v in KINDS)
        raise InputError(f"the kind {kind} in version {version} is not known ({known}).")
    try:
        model.model_validate(body)
    except ValidationError as error:
        told = [
            f"{'.'.join(map(str, one['loc'])) or 'body'}: {one['msg']}"
            for one in error.errors(include_url=False)
        ]
        raise InputError("; ".join(told)) from error
