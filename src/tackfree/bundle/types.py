"""A job as read from its bundle, in SI and core types, ready for the services."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from tackfree.buildup.case import Defaults
from tackfree.buildup.types import BuildUp, Limits, ProductSheet
from tackfree.deck.declared import DeckDoc
from tackfree.deck.types import Exposure
from tackfree.evidence.bond import BondRule
from tackfree.evidence.rules import ContractRule
from tackfree.plan.types import Crew, Shift
from tackfree.supply.price_types import PriceBook


@dataclass(frozen=True, kw_only=True)
class Place:
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    time_zone: str


@dataclass(frozen=True, kw_only=True)
class WeatherRef:
    """The job's weather: a file in ``weather/`` and what it is."""

    file: Path
    kind: str  # typical-year, forecast, measured
    format: str  # tmy3, epw, …


@dataclass(frozen=True, kw_only=True)
class SlabFigures:
    """What is known of the slab under one exposure; None is a default of ours."""

    absorptance: float | None  # of the bare surface
    wind_factor: float | None
    thickness_m: float | None
    source: str


@dataclass(frozen=True, kw_only=True)
class SpecTests:
    """Tests the contract asks for; what is None or left out is not asked for.

    ``moisture`` and ``slip`` hold a limit by method, ``flood_h`` hours of standing water.
    """

    bond: BondRule | None = None
    bond_m2: float | None = None  # area of one set of pulls
    moisture: Mapping[str, float] = field(default_factory=dict)
    moisture_m2: float | None = None
    flood_h: float | None = None
    slip: Mapping[str, float] = field(default_factory=dict)
    slip_m2: float | None = None


@dataclass(frozen=True, kw_only=True)
class HoldPoint:
    """``who`` looks at the step ``after`` before the work goes on; told ``notice_h`` ahead.

    ``hours`` are those in which they come; ``zones`` or ``build_ups`` empty: all of them.
    """

    id: str
    after: str
    who: str
    sees: str
    notice_h: float
    takes_h: float
    hours: Shift
    zones: tuple[str, ...] = ()
    build_ups: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Spec:
    """The contract's limits and acceptance; what it states wins."""

    limits: Limits = field(default_factory=Limits)
    spread_modelled_k: float | None = None
    flood_test: bool = False
    build_up: Defaults = field(default_factory=Defaults)
    film: ContractRule = field(default_factory=ContractRule)
    tests: SpecTests = field(default_factory=SpecTests)
    hold_points: tuple[HoldPoint, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Cutting:
    """How sections are cut; None is worked out from crew and pot life."""

    section_max_m2: float | None = None
    group_zones: tuple[tuple[str, ...], ...] = ()  # zones coated together (balconies)


@dataclass(frozen=True, kw_only=True)
class Event:
    """A time at which the deck is needed; ``zones`` empty: all of it."""

    name: str
    begins: datetime
    ends: datetime
    rule: str  # all-open, no-work
    zones: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Promised:
    """Zones that are open to cars by a moment."""

    name: str
    by: datetime
    zones: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class KeepOpen:
    """Of these zones' sections ``at_least`` stay open at any time."""

    name: str
    zones: tuple[str, ...]
    at_least: int


@dataclass(frozen=True, kw_only=True)
class Machine:
    """Machines that kinds of steps share."""

    id: str
    count: int
    steps: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """Kits that come to the site."""

    product_id: str
    kits: int
    at: datetime


@dataclass(frozen=True, kw_only=True)
class Repair:
    """Concrete patches in zones: work before all else, then their cure."""

    zones: tuple[str, ...]
    work_h: float
    cure_h: float


@dataclass(frozen=True, kw_only=True)
class PlanRules:
    """What owner, site and stores ask of the plan."""

    order: tuple[str, ...] = ("finish", "stall-slots", "crew-shifts", "slack")
    accessible_stalls: tuple[str, ...] = ()
    accessible_open_min: int = 0
    agreed_closures: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()
    stops: tuple[tuple[str, date, date], ...] = ()
    promises: tuple[Promised, ...] = ()
    keep_open: tuple[KeepOpen, ...] = ()
    equipment: tuple[Machine, ...] = ()
    on_hand: Mapping[str, int] = field(default_factory=dict)
    deliveries: tuple[Delivery, ...] = ()
    repairs: tuple[Repair, ...] = ()
    flood_h: tuple[float, float, float] = (48.0, 24.0, 24.0)  # cure, stand, dry
    years: tuple[Path, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Job:
    """The whole job document."""

    root: Path
    id: str
    name: str
    invented: bool
    units: str  # us or si
    languages: tuple[str, ...]
    place: Place
    as_of: datetime  # aware, job zone
    starts_on: date
    ends_by: date | None
    shifts: tuple[Shift, ...]
    crews: tuple[Crew, ...]
    holidays: tuple[date, ...]
    stalls_open_min: float  # fraction of stalls kept open
    weather: WeatherRef
    products: Mapping[str, ProductSheet]
    build_ups: Mapping[str, BuildUp]
    decks: tuple[DeckDoc, ...]
    spec: Spec
    cutting: Cutting
    price: PriceBook | None = None
    slabs: Mapping[Exposure, SlabFigures] = field(default_factory=dict)
    slot_minutes: int = 30
    horizon_days: int = 90
    plan: PlanRules = field(default_factory=PlanRules)
    # "key path" -> specification, sheet, build-up, coverage, default
    came_from: Mapping[str, str] = field(default_factory=dict)
