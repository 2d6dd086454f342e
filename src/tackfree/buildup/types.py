"""Product sheets and build-ups, in SI. Ranges stay ranges: (low, high)."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from tackfree.deck.types import Duty, Exposure

Range = tuple[float, float]

# practice: a one-part sealant in a small joint, firm to its full depth
ONE_PART_FIRM_H: Range = (48.0, 72.0)


class Role(StrEnum):
    """What a product is for; a coat has one of the liquid roles."""

    PRIMER = "primer"
    TIE = "tie"
    SCRATCH = "scratch"
    DETAIL = "detail"
    BASE = "base"
    INTERMEDIATE = "intermediate"
    TOP = "top"
    LOCK = "lock"
    SEALANT = "sealant"
    AGGREGATE = "aggregate"


@dataclass(frozen=True, kw_only=True)
class KitPart:
    """One vessel of a kit."""

    name: str
    volume_l: float


@dataclass(frozen=True, kw_only=True)
class Kit:
    """One unit of a liquid, mixed whole. ``volume_l`` is the mixed volume."""

    volume_l: float
    parts: tuple[KitPart, ...]


@dataclass(frozen=True, kw_only=True)
class PotLife:
    """Working time in the pail at one material temperature."""

    temp_c: float
    minutes: float


@dataclass(frozen=True, kw_only=True)
class CurePoint:
    """Times of a product sheet at one temperature; each a range in hours.

    ``recoat_before_h`` is the sheet's maximum on the wall clock (None: no limit
    stated); a hot-weather maximum is its own field on :class:`ProductSheet`.
    """

    temp_c: float
    tack_free_h: Range
    recoat_after_h: Range
    feet_after_h: Range | None = None
    cars_after_h: Range | None = None


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Placing limits of a sheet or a specification; None is not limited there."""

    surface_min_c: float | None = None
    surface_max_c: float | None = None
    air_min_c: float | None = None
    air_max_c: float | None = None
    spread_min_k: float | None = None
    rh_max: float | None = None  # fraction
    rain_free_h: float | None = None
    wind_max_m_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Errors:
    """How far consumption strays from what is worked out: standard deviations of its ln.

    ``job`` is shared by everything of a product, ``zone`` by a product in a zone,
    ``shift`` by a product in a zone in one shift.
    """

    job: float
    zone: float
    shift: float


@dataclass(frozen=True, kw_only=True)
class ProductSheet:
    """The numbers of one product.

    Liquids carry kit, solids, density, pot life, cure; sealants a package volume;
    aggregate a bag mass and grain size. ``rate_law`` is "arrhenius" (with
    ``activation_kj_mol`` or the prior) or "doubling-18F".
    """

    id: str
    name: str
    family: str
    role: Role
    invented: bool = False
    volume_solids: float | None = None
    density_kg_per_l: float | None = None
    kit: Kit | None = None
    pot_life: tuple[PotLife, ...] = ()
    cure: tuple[CurePoint, ...] = ()
    recoat_before_h: float | None = None
    recoat_before_hot_h: float | None = None
    hot_from_c: float | None = None
    rate_law: str = "arrhenius"
    activation_kj_mol: float | None = None
    limits: Limits = field(default_factory=Limits)
    wft_min_um: float | None = None
    wft_max_um: float | None = None
    uv_stable: bool | None = None
    non_flow: bool = False
    solar_absorptance: float | None = None
    voc_g_per_l: float | None = None
    shelf_life_months: float | None = None
    mix_minutes: float | None = None
    mix_steps: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()  # keys of words/cautions.toml
    package_l: float | None = None  # sealant
    firm_after_h: Range | None = None  # sealant: firm to full depth
    bag_kg: float | None = None  # aggregate
    grain_mm: Range | None = None  # aggregate
    bulk_kg_per_l: float | None = None  # aggregate
    dry: bool | None = None  # aggregate: kiln-dried and bagged, as its sheet says
    csp: tuple[int, int] | None = None  # profile classes the sheet asks for
    primer_needed: bool | None = None  # on bare concrete
    compatible: tuple[str, ...] = ()  # sealant: families it may lie under or against
    metered: bool = False  # the sheet allows metering by ratio from drums
    firm_by_default: bool = False  # sealant: ``firm_after_h`` is ours, not the sheet's
    open_time: tuple[PotLife, ...] = ()  # how long a wet edge takes fresh material, by slab
    errors: Errors | None = None  # None: ours, by role
    stored_min_c: float | None = None
    stored_max_c: float | None = None
    one_part: bool = False  # cures with the moisture of the air
    cure_air: tuple[float, float] | None = None  # one-part liquid: air [°C], humidity, of its times


@dataclass(frozen=True, kw_only=True)
class Broadcast:
    """Aggregate thrown into a coat.

    ``method`` is "seeded-backrolled", "covered-swept" or "to-refusal";
    ``retained`` the fraction that stays.
    """

    product_id: str
    rate_kg_per_m2: float
    method: str
    retained: float


@dataclass(frozen=True, kw_only=True)
class Coat:
    """One layer as specified, in placing order.

    ``wft_um`` is film over the peaks. ``fill_um`` overrides the texture fill of
    the surface under this coat; ``surcharge_um`` does so as the roughness surcharge of a
    specification by least thickness; ``loss`` the loss on net need.
    """

    id: str  # unique in the build-up, e.g. "BASE"
    role: Role
    product_id: str
    wft_um: float
    method: str = "squeegee-backroll"
    fill_um: float | None = None
    loss: float | None = None
    aggregate: Broadcast | None = None
    surcharge_um: float | None = None


@dataclass(frozen=True, kw_only=True)
class Details:
    """How cracks, joints, edges and upturns are treated. Widths are total widths."""

    detail_product_id: str
    sealant_product_id: str
    strip_width_m: float
    strip_wft_um: float
    upturn_coats: int = 2
    upturn_wft_um: float = 500.0
    rout_width_m: float = 0.00635
    rout_depth_m: float = 0.00635
    rout_from_m: float = 0.0015875  # cracks from 1/16 in are routed
    cove_leg_m: float = 0.0
    termination_width_m: float = 0.0  # detail coat along terminations; 0: none


@dataclass(frozen=True, kw_only=True)
class BuildUp:
    """The ordered coats for a duty class and exposure.

    ``loss`` is on net need; ``loss_by`` splits it by place and adds up to it.
    ``system_class`` is the class of a surface protection system the contract asks for.
    """

    id: str
    name: str
    duties: tuple[Duty, ...]
    exposures: tuple[Exposure, ...]
    coats: tuple[Coat, ...]
    details: Details
    loss: float = 0.08
    loss_by: tuple[tuple[str, float], ...] = ()  # (pails | rollers | edges, share)
    system_class: str | None = None  # OS 8, OS 10, OS 11a, OS 11b, OS 13
