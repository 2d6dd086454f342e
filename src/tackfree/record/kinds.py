"""What an entry may say: a model for each kind and version of its body."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tackfree.errors import InputError

Number = Annotated[float, Field(allow_inf_nan=False)]
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200)]


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


KINDS: dict[tuple[str, int], type[Body]] = {
    ("note", 1): NoteV1,
    ("conditions", 1): ConditionsV1,
}


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
