"""Who may do what with a record: people, their devices, and those who only look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tackfree.record.checking import Sender
from tackfree.service.record import this_person

Role = Literal["office", "foreman", "crew", "inspector", "owner"]


@dataclass(frozen=True, kw_only=True)
class Caller:
    """Who sent a request. ``device`` is a phone with a token of its own, or None."""

    person: str
    role: Role
    mode: Literal["single", "team"]
    device: str | None = None

    @property
    def sender(self) -> Sender | None:
        """What the entries of this caller must name; None where they may name anybody."""
        return Sender(device=self.device, person=self.person) if self.device else None


def alone() -> Caller:
    """The one person who uses this machine; no account is asked for."""
    return Caller(person=this_person(), role="office", mode="single")
