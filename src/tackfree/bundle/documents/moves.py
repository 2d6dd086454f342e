"""``moves.toml``: steps that a person placed on the plan board, held by every later build."""

from __future__ import annotations

from typing import Annotated

from pydantic import AwareDatetime, Field

from tackfree.bundle.documents.base import Document, Id

Step = Annotated[
    str,
    Field(
        pattern=r"^[A-Z0-9-]+/[A-Z0-9-]+$",
        description="A section and its step or coat.",
        examples=["P1-STALL-A-1/TOP"],
    ),
]


class MoveDoc(Document):
    """One step at the start and with the crew that a person chose."""

    step: Step
    begins: AwareDatetime
    """With its offset, as 2027-05-12T11:00:00Z."""
    crew: Id
    searched: bool = False
    """Placed by a search whose plan a person took, not by hand."""


class MovesDoc(Document):
    """Steps placed by hand. A build holds them where they still fit."""

    moves: list[MoveDoc] = Field(default_factory=list)
