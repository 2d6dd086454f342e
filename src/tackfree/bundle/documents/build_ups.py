"""``buildups.toml``: the ordered coats for each duty."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tackfree.buildup.types import Role
from tackfree.bundle.documents.base import Document, Id, Text, Version, Word
from tackfree.bundle.quantities import (
    ArealMass,
    Coverage,
    Film,
    FilmFromZero,
    Fraction,
    Length,
    LengthFromZero,
    PositiveFraction,
)
from tackfree.deck.types import Duty, Exposure


class BroadcastDoc(Document):
    """Aggregate thrown into a coat."""

    product: Id
    rate: ArealMass
    """What is thrown, not what stays."""
    method: Literal["seeded-backrolled", "covered-swept", "to-refusal"]
    retained: PositiveFraction
    """Share of the thrown aggregate that stays."""


class CoatDoc(Document):
    """One layer, in placing order. Give one of ``wet_film``, ``coverage``, ``mass`` and
    ``least_dry``."""

    id: Id
    role: Word[Role]
    product: Id
    wet_film: Film | None = None
    """Wet film over the peaks of the surface."""
    coverage: Coverage | None = None
    """Area by volume instead of a film; the film is then worked out without loss and texture."""
    mass: ArealMass | None = None
    """Mass by area instead of a film; the film follows from the density of the sheet."""
    least_dry: Film | None = None
    """Dry film under which at most 5 % of readings may lie; the wet film to aim at follows
    from solids and ``film_scatter``."""
    film_scatter: Fraction | None = None
    """Standard deviation of the film over its mean, with ``least_dry``. Left out: 15 %."""
    surcharge: Film | None = None
    """Roughness surcharge on a least thickness, in place of ``fill``."""
    method: Text = "squeegee-backroll"
    fill: FilmFromZero | None = None
    """Texture fill of the surface under this coat, where it is known."""
    loss: Fraction | None = None
    """Loss on the net need of this coat."""
    aggregate: BroadcastDoc | None = None


class DetailsDoc(Document):
    """How cracks, joints, edges and upturns are treated. Widths are total widths."""

    detail_product: Id
    sealant_product: Id
    strip_width: Length
    strip_wet_film: Film
    upturn_coats: Annotated[int, Field(ge=1, le=6)] | None = None
    """Left out: 2."""
    upturn_wet_film: Film | None = None
    """Each coat on an upturn. Left out: 500 µm."""
    rout_width: Length | None = None
    """Left out: 1/4 in."""
    rout_depth: Length | None = None
    """Left out: 1/4 in."""
    rout_from: Length | None = None
    """Cracks this wide and wider are routed. Left out: 1/16 in."""
    cove_leg: LengthFromZero | None = None
    """Leg of the sealant cove at upturns. Left out: none."""
    termination_width: LengthFromZero | None = None
    """Total width of the detail coat along terminations. Left out: none."""


class LossDoc(Document):
    """Where material is lost, each on net need; together they are the loss."""

    pails: Fraction = 0.0
    """What stays in pails and on tools for mixing."""
    rollers: Fraction = 0.0
    """What rollers, squeegees and brushes take away."""
    edges: Fraction = 0.0
    """What runs over edges, into drains and under tape."""


class BuildUpDoc(Document):
    """The ordered coats for a duty class and exposure."""

    id: Id
    name: Text
    duties: Annotated[list[Word[Duty]], Field(min_length=1)]
    exposures: Annotated[list[Word[Exposure]], Field(min_length=1)]
    loss: Fraction | None = None
    """Loss on net need, for coats that give none. Left out: 8 %."""
    loss_by: LossDoc | None = None
    """The same by place, instead of ``loss``."""
    system_class: Literal["OS 8", "OS 10", "OS 11a", "OS 11b", "OS 13"] | None = None
    """Class of a surface protection system, where the contract names one."""
    coats: Annotated[list[CoatDoc], Field(min_length=1)]
    details: DetailsDoc


class BuildUpsDoc(Document):
    """All build-ups of the job."""

    schema_version: Version
    build_ups: Annotated[list[BuildUpDoc], Field(min_length=1)]
