"""Refusals of the tracing room, kept as ids so that a page says them in its language."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tackfree import words
from tackfree.errors import Fault, ToolError


class NotTaken(ToolError, ValueError):
    """Something a person brought or sent that is not taken.

    ``id`` is a pair of sentences of ``trace.toml``: ``refuse.<id>`` states the fault and
    ``refuse.<id>-do`` the remedy.
    """

    def __init__(self, id: str, *, where: str, **values: Any) -> None:
        self.id, self.values = id, values
        said = self._said("en")
        super().__init__(said.what, where=where, do=said.do)

    def _said(self, language: str) -> Fault:
        return Fault(
            where="",
            what=words.say(f"trace.refuse.{self.id}", language, **self.values),
            do=words.say(f"trace.refuse.{self.id}-do", language, **self.values),
        )

    def faults_in(self, language: str) -> tuple[Fault, ...]:
        """The refusal in one language."""
        said = self._said(language)
        return (Fault(where=self.where, what=said.what, do=said.do),)


class Changed(NotTaken):
    """The deck on disk is not the one that the editor opened."""

    def __init__(self, deck_id: str) -> None:
        super().__init__("changed", where=f"decks/{deck_id}.toml", deck=deck_id)


def rows_of(faults: Iterable[Fault]) -> list[dict[str, str]]:
    """Faults in the one shape of every refusal."""
    return [{"where": f.where, "what": f.what, "do": f.do} for f in faults]
