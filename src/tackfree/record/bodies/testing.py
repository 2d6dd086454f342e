"""Tests and the people who judge: bond, water, slip, hardness, hold points, defects."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from tackfree.record.bodies.base import (
    Area,
    Body,
    Day,
    Fraction,
    Length,
    Moment,
    Number,
    Short,
    Spot,
    Temperature,
    Text,
    rising,
)

Reader = Literal["crew", "inspector"]


class PullOffV1(Spot):
    """One fixture pulled: stress at failure [Pa], and where it broke, in shares of 1.

    The shares need not add up to 1, but never to more.
    """

    section: Short
    set: Short
    fixture: Short
    stress_pa: Annotated[Number, Field(ge=0, le=20e6)]
    in_concrete: Fraction
    at_bond: Fraction = 0.0  # between coating and concrete
    in_coating: Fraction = 0.0
    glue: Fraction = 0.0  # the glue failed: no test of the bond
    diameter_m: Annotated[Number, Field(gt=0, le=0.5)] | None = None
    instrument: Short | None = None
    reader: Reader = "crew"

    @model_validator(mode="after")
    def _shares(self) -> PullOffV1:
        if self.in_concrete + self.at_bond + self.in_coating + self.glue > 1.001:
            raise PydanticCustomError("shares", "the shares of the broken face are more than 1")
        return self


class MoistureV1(Spot):
    """Moisture of the slab by one method, in the unit of that method.

    ``probe-rh`` is relative humidity in the slab 0-1, ``meter`` the share of mass 0-1,
    ``chloride`` grams a day and square metre, ``sheet`` 1 for wet and 0 for dry.
    """

    method: Literal["probe-rh", "meter", "chloride", "sheet"]
    value: Annotated[Number, Field(ge=0, le=1000)]
    depth_m: Annotated[Number, Field(gt=0, le=1)] | None = None
    instrument: Short | None = None
    reader: Reader = "crew"

    @model_validator(mode="after")
    def _share(self) -> MoistureV1:
        if self.method != "chloride" and self.value > 1:
            raise PydanticCustomError("share", "write a share of 1: for 75 % write 0.75")
        return self


class FloodV1(Spot):
    """Water held over a section: depth [m], hours, and whether a drop came through."""

    section: Short
    depth_m: Annotated[Number, Field(gt=0, le=0.3)] | None = None
    by_flow: bool = False  # a ramp is tested by running water
    started: Moment
    stopped: Moment | None = None
    leaked: bool | None = None
    attended_by: Short | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _span(self) -> FloodV1:
        rising(self.started, self.stopped)
        return self


class SlipV1(Spot):
    """Grip of the finished surface by one method: pendulum value, or a coefficient."""

    section: Short
    method: Literal["pendulum", "tribometer"]
    value: Annotated[Number, Field(ge=0, le=150)]
    wet: bool = True
    instrument: Short | None = None
    reader: Reader = "crew"


class HardnessV1(Spot):
    """Hardness of a cured coat on the Shore A scale."""

    section: Short
    coat: Short
    shore_a: Annotated[Number, Field(ge=0, le=100)]
    instrument: Short | None = None
    reader: Reader = "crew"


class HoldV1(Spot):
    """Work stops here until someone has looked. ``until`` says what would end it."""

    reason: Text
    point: Short | None = None  # of a hold point: its name in the specification
    until: Text | None = None


class ReleaseV1(Body):
    """A named person says a section may be used. ``ends_hold`` names the hold it ends."""

    section: Short
    of: Literal["recoat", "feet", "cars", "hold", "striping"]
    coat: Short | None = None
    by: Short
    on_behalf_of: Short | None = None
    at: Moment | None = None
    ends_hold: Short | None = None
    conditions: Text | None = None


class DefectV1(Spot):
    """Something that must be put right: what, how much, and why if it is known."""

    what: Literal[
        "thin", "pinholes", "blisters", "soft", "debonded", "exposed", "lap", "puddle",
        "missed-window", "wet", "dirt", "texture", "leak", "other",
    ]  # fmt: skip
    coat: Short | None = None
    area_m2: Area | None = None
    length_m: Length | None = None
    cause: Text | None = None
    note: Text | None = None


class RepairV1(Spot):
    """What was done about a defect, and who took it."""

    defect: Short
    action: Text
    product: Short | None = None
    lot: Short | None = None
    area_m2: Area | None = None
    accepted_by: Short | None = None
    closed: bool = False


class InstrumentCheckV1(Body):
    """A gauge or meter compared with something known. ``due`` is the next check."""

    instrument: Short
    what: Literal[
        "notch-gauge", "thermometer", "hygrometer", "surface-probe", "moisture-meter",
        "pull-tester", "slip-tester", "hardness-tester", "scale", "other",
    ]  # fmt: skip
    against: Short
    passed: bool
    read: Number | None = None
    known: Number | None = None
    certificate: Short | None = None
    due: Day | None = None
    top_tooth: Annotated[Number, Field(gt=0, le=10000)] | None = None
    top_tooth_unit: Literal["mil", "um"] | None = None


class VisitV1(Body):
    """Somebody came to look: who, for whom, what they saw, and whether they sign."""

    who: Short
    of: Literal["inspector", "engineer", "owner", "maker", "authority", "other"]
    arrived: Moment | None = None
    left: Moment | None = None
    saw: Text
    sections: Annotated[list[Short], Field(max_length=200, default_factory=list)]
    signed: bool = False
    signed_temperature_c: Temperature | None = None

    @model_validator(mode="after")
    def _span(self) -> VisitV1:
        rising(self.arrived, self.left)
        return self
