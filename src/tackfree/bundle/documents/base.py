"""What every document shares: strict reading, ids, schema version."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

ID_PATTERN = r"^[A-Z0-9-]+$"
HAZARD_PATTERN = r"^[a-z0-9-]+$"

Id = Annotated[
    str,
    Field(
        pattern=ID_PATTERN,
        description="An id: capitals, digits and hyphens; unique among its kind, never reused.",
        examples=["P1-STALL-A"],
    ),
]
Text = Annotated[str, Field(min_length=1)]
Version = Annotated[Literal[1], Field(description="The document's format; 1 is the only one.")]

E = TypeVar("E", bound=StrEnum)
# TOML has no enums: a word is looked up in the enum, in an otherwise strict model.
Word = Annotated[E, Field(strict=False)]


class Document(BaseModel):
    """Unknown keys are refused, and no value is quietly turned into another type."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, use_attribute_docstrings=True
    )
