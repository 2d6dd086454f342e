"""The table ``[plan]`` of ``job.toml``: what owner, site and stores ask of the plan."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field

from tackfree.bundle.documents.base import Document, Id, Text
from tackfree.bundle.quantities import Hours

Count = Annotated[int, Field(ge=0, le=100_000)]
Zones = Annotated[list[Id], Field(min_length=1)]
Goal = Literal["finish", "stall-slots", "crew-shifts", "slack"]
GOALS: tuple[Goal, ...] = ("finish", "stall-slots", "crew-shifts", "slack")
Kind = Literal[
    "prep", "details", "primer", "tie", "scratch", "base", "intermediate", "top", "lock",
    "sweep", "stripe",
]  # fmt: skip


class EventDoc(Document):
    """A time at which the deck is needed."""

    name: Text
    begins: datetime
    ends: datetime
    rule: Literal["all-open", "no-work"]
    """all-open: nothing may be closed; no-work: crews are away, closures may stay."""
    zones: list[Id] = Field(default_factory=list)
    """Left out: all of them."""


class StopDoc(Document):
    """Days without work, both included: winter, a strike, a holiday week."""

    name: Text
    first: date
    last: date


class PromiseDoc(Document):
    """Zones that are open to cars by a moment. It is kept, or there is no plan."""

    name: Text
    by: datetime
    zones: Zones


class KeepOpenDoc(Document):
    """Of these zones' sections some stay open at any time, such as exits."""

    name: Text
    zones: Zones
    at_least: Annotated[int, Field(ge=1, le=100)]


class EquipmentDoc(Document):
    """Machines that kinds of steps share."""

    id: Id
    count: Annotated[int, Field(ge=1, le=100)]
    steps: Annotated[list[Kind], Field(min_length=1)]


class DeliveryDoc(Document):
    """Kits that come to the site."""

    product: Id
    kits: Count
    at: datetime


class RepairDoc(Document):
    """Concrete patches in a zone: work before all else, then their cure."""

    zones: Zones
    work: Hours
    cure: Hours


class FloodDoc(Document):
    """Times of a flood test on the base coat, where the specification asks for it."""

    cure: Hours = 48.0
    """From the base coat to the filling."""
    stand: Hours = 24.0
    dry: Hours = 24.0
    """From draining to abrading."""


class PlanDoc(Document):
    """What owner, site and stores ask of the plan."""

    order: Annotated[list[Goal], Field(min_length=1, max_length=4)] = Field(
        default_factory=lambda: list(GOALS)
    )
    """Objectives, the one that matters most first."""
    accessible_stalls: list[Text] = Field(default_factory=list)
    """Painted numbers of stalls for people who cannot walk far."""
    accessible_open_min: Count = 0
    """How many of them stay open at any time."""
    agreed_closures: list[Id] = Field(default_factory=list)
    """Zones whose closing may cut off more stalls than the contract lets, as the owner agreed."""
    events: list[EventDoc] = Field(default_factory=list)
    stops: list[StopDoc] = Field(default_factory=list)
    promises: list[PromiseDoc] = Field(default_factory=list)
    keep_open: list[KeepOpenDoc] = Field(default_factory=list)
    equipment: list[EquipmentDoc] = Field(default_factory=list)
    on_hand: dict[Id, Count] = Field(default_factory=dict)
    """Kits in store on the first day, by product. Products without any are unlimited."""
    deliveries: list[DeliveryDoc] = Field(default_factory=list)
    repairs: list[RepairDoc] = Field(default_factory=list)
    flood: FloodDoc = FloodDoc()
    years: list[Text] = Field(default_factory=list)
    """Weather files of other years for the stress test, of the same format as the job's."""
