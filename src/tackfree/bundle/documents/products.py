"""``products.toml``: the product sheets."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tackfree.buildup.types import Role
from tackfree.bundle.documents.base import HAZARD_PATTERN, Document, Id, Text, Version, Word
from tackfree.bundle.documents.spec import LimitsDoc
from tackfree.bundle.quantities import (
    Density,
    Film,
    Fraction,
    HourRange,
    Hours,
    LengthRange,
    Mass,
    PositiveFraction,
    Temperature,
    Volume,
)


class KitPartDoc(Document):
    """One vessel of a kit."""

    name: Text
    volume: Volume


class KitDoc(Document):
    """One unit of a liquid, mixed whole."""

    volume: Volume
    """Mixed volume; the parts must add up to it."""
    parts: Annotated[list[KitPartDoc], Field(min_length=1)]


class PotLifeDoc(Document):
    """Working time in the pail at one temperature of the material."""

    at: Temperature
    lasts: Hours


class CureDoc(Document):
    """What the sheet says of one temperature; ranges stay ranges."""

    at: Temperature
    tack_free: HourRange
    recoat_after: HourRange
    feet_after: HourRange | None = None
    cars_after: HourRange | None = None


class ScatterDoc(Document):
    """How far consumption strays from what is worked out, each as one standard deviation:
    the contractor's own record. Left out of a product: usual values by role, shown as ours."""

    job: Fraction
    """Shared by the whole job: the crew, the batch, the sheet."""
    zone: Fraction
    """Shared by one zone: the surface."""
    shift: Fraction
    """Of one section and coat: the day."""


class CureAirDoc(Document):
    """The air at which the sheet of a one-part product states its times."""

    air: Temperature
    humidity: PositiveFraction


class ProductDoc(Document):
    """One product. Liquids carry kit, solids, density, pot life and cure; sealants a
    package and the time to firm; aggregate a bag and its grain."""

    id: Id
    name: Text
    family: Text
    """Products that the maker means to be used together share a family."""
    role: Word[Role]
    invented: bool = False
    volume_solids: PositiveFraction | None = None
    """Share of the wet volume that stays: 0.62 or "62 %"."""
    density: Density | None = None
    kit: KitDoc | None = None
    pot_life: list[PotLifeDoc] = Field(default_factory=list)
    open_time: list[PotLifeDoc] = Field(default_factory=list)
    """How long a wet edge on the floor takes fresh material, by slab temperature."""
    cure: list[CureDoc] = Field(default_factory=list)
    recoat_before: Hours | None = None
    """The next coat must be down before this, on the wall clock."""
    recoat_before_hot: Hours | None = None
    """The shorter maximum that the sheet gives for hot weather."""
    hot_from: Temperature | None = None
    """Slab temperature from which the hot-weather maximum counts."""
    rate_law: Literal["arrhenius", "doubling-18F"] = "arrhenius"
    """How cure follows temperature between and beyond the sheet's points."""
    activation_kj_mol: Annotated[float, Field(gt=0, le=200)] | None = None
    """Activation energy, where it is known. [kJ/mol]"""
    limits: LimitsDoc = LimitsDoc()
    wet_film_min: Film | None = None
    wet_film_max: Film | None = None
    uv_stable: bool | None = None
    non_flow: bool = False
    """A grade that stays on a slope or an upturn."""
    solar_absorptance: Fraction | None = None
    voc_g_per_l: Annotated[float, Field(ge=0)] | None = None
    shelf_life_months: Annotated[float, Field(gt=0)] | None = None
    mix_time: Hours | None = None
    mix_steps: list[Text] = Field(default_factory=list)
    hazards: list[Annotated[str, Field(pattern=HAZARD_PATTERN)]] = Field(default_factory=list)
    """Keys of the cautions to be shown."""
    package: Volume | None = None
    """Sealant: one package."""
    firm_after: HourRange | None = None
    """Sealant: firm to its full depth."""
    bag: Mass | None = None
    """Aggregate: one bag."""
    grain: LengthRange | None = None
    """Aggregate: grain size."""
    sieves: Annotated[str, Field(pattern=r"^\d{1,3}/\d{1,3}$")] | None = None
    """Aggregate: grain by the sieves it passes and stays on, such as 16/30."""
    bulk_density: Density | None = None
    """Aggregate: loose, as poured."""
    dry: bool | None = None
    """Aggregate: kiln-dried and bagged."""
    profile: Annotated[
        list[Annotated[int, Field(ge=1, le=10)]] | None, Field(min_length=2, max_length=2)
    ] = None
    """Lowest and highest surface profile class that the sheet allows."""
    primer_needed: bool | None = None
    """Whether bare concrete needs a primer under this coat."""
    compatible: list[Text] = Field(default_factory=list)
    """Sealant: families that may lie over or against it."""
    metered: bool = False
    """The sheet allows metering both parts by ratio from drums: packages are then whole
    for the job, not for each section and coat."""
    scatter: ScatterDoc | None = None
    stored_from: Temperature | None = None
    """Coldest place of storage that the sheet allows."""
    stored_to: Temperature | None = None
    """Warmest place of storage that the sheet allows."""
    one_part: bool = False
    """Cures with moisture of the air. A sealant's time to firm may then be left out:
    48 to 72 h are counted. A liquid's clocks then follow the water in the air."""
    cure_air: CureAirDoc | None = None
    """One-part liquid: the air of the sheet's times. Left out: 75 °F and 50 %."""


class ProductsDoc(Document):
    """All product sheets of the job."""

    schema_version: Version
    products: Annotated[list[ProductDoc], Field(min_length=1)]
