"""``price.toml``: a contractor's own prices. Nothing is priced without them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from tackfree.bundle.documents.base import Document, Id, Text, Version
from tackfree.bundle.quantities import Area, Fraction, PositiveFraction, fault

_MONEY = re.compile(r"^\s*(\d{1,9}(?:[.,]\d{1,2})?)\s*([A-Z]{3})\s*$")


@dataclass(frozen=True)
class Money:
    """An amount and its currency: "240.00 USD"."""

    amount: Decimal
    currency: str

    @classmethod
    def read(cls, given: Any) -> Money:
        """Money from the text of a document."""
        found = _MONEY.match(given) if isinstance(given, str) else None
        if found is None:
            raise fault(
                f"{given!r} is no amount of money.", 'Write it with its currency: "240.00 USD".'
            )
        return cls(Decimal(found[1].replace(",", ".")), found[2])

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(cls.read)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "type": "string",
            "pattern": _MONEY.pattern,
            "description": "Money with its currency.",
            "examples": ["240.00 USD"],
        }


class MaterialPriceDoc(Document):
    """One package of a product: kit, bag or pack."""

    product: Id
    each: Money
    lead_days: Annotated[int, Field(ge=0, le=365)] | None = None
    """Days from order to delivery."""
    returns: Fraction | None = None
    """Share of the price that an unopened package brings back. Left out: no return."""
    pallet: Annotated[int, Field(ge=1, le=500)] = 1
    """Spare packages are bought in multiples of this."""
    room: Annotated[int, Field(ge=1, le=100_000)] | None = None
    """Most packages that the site can keep; more come in further deliveries."""


class SundryDoc(Document):
    """One piece for so much work; an id of the usual table replaces its row."""

    id: Id
    name: str = ""
    each: Money
    per: Literal["area", "kits", "person-days", "people"] | None = None
    one_for_area: Area | None = None
    """What one lasts, where ``per`` is area."""
    one_for: Annotated[float, Field(gt=0)] | None = None
    """What one lasts in kits, person-days or people."""
    roles: list[Text] = Field(default_factory=list)
    """Coats that wear it; none is all."""


class EquipmentDoc(Document):
    """Charged by day while any of its steps is worked."""

    id: Id
    name: Text
    per_day: Money
    steps: Annotated[list[Text], Field(min_length=1)]
    """Kinds of crew rates: prep, details, primer, base, sweep, stripe."""


class LumpDoc(Document):
    """Priced by the piece: mobilisations, closures, waste."""

    id: Id
    name: Text
    each: Money
    count: Annotated[int, Field(ge=0, le=1000)] = 1


class UnitItemDoc(Document):
    """Work of unknown extent, by the foot, metre, square foot, square metre or piece."""

    id: Id
    name: Text
    by: Literal["ft", "m", "ft²", "m²", "piece"]
    each: Money
    """Cost of one of these units."""
    allowance: Annotated[float, Field(ge=0)] = 0.0
    """Quantity that is part of the price."""


class BidItemDoc(Document):
    """One line of the owner's bid form."""

    item: Text
    text: Text
    build_ups: list[Id] = Field(default_factory=list)
    lumps: list[Id] = Field(default_factory=list)


class AlternateDoc(Document):
    """The job with other build-ups: ``swaps = { BU-STALL = "BU-LANE" }``."""

    id: Id
    name: Text
    swaps: Annotated[dict[str, Id], Field(min_length=1)]


class WorkScatterDoc(Document):
    """How far work strays from what is worked out, each as one standard deviation: the
    contractor's own record. Left out: usual values, shown as ours."""

    all_work: Fraction
    """Hours of everything together."""
    kind: Fraction
    """Hours of one kind of step."""
    allowance: Fraction
    """Quantities of which only an allowance is known."""


class PriceDoc(Document):
    """What this contractor pays and charges. All money is in one currency."""

    schema_version: Version
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    invented: bool = False
    person_hour: Money
    """Cost of an hour of one person, all charges included."""
    overhead: Fraction
    """On direct cost."""
    margin: Fraction
    """As a share of the price: 20 % is a mark-up of 25 % on cost."""
    freight: Money | None = None
    """One more delivery."""
    lost_days: Annotated[float, Field(ge=0, le=200)] = 0.0
    """Crew days expected to be lost to weather; they widen the range."""
    scatter: WorkScatterDoc | None = None
    learning: PositiveFraction | None = None
    """Hours of a section over those of the one half as far in the row. Left out: 100 %."""
    materials: Annotated[list[MaterialPriceDoc], Field(min_length=1)]
    sundries: list[SundryDoc] = Field(default_factory=list)
    equipment: list[EquipmentDoc] = Field(default_factory=list)
    lumps: list[LumpDoc] = Field(default_factory=list)
    unit_items: list[UnitItemDoc] = Field(default_factory=list)
    bid: list[BidItemDoc] = Field(default_factory=list)
    alternates: list[AlternateDoc] = Field(default_factory=list)
