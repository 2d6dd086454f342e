"""``decks/NAME.toml``: what the drawing of one deck means."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tackfree.bundle.documents.base import Document, Id, Text, Version, Word
from tackfree.bundle.quantities import Coordinate, Elevation, Film, Length, Slope
from tackfree.deck.types import Duty, Exposure, FeatureKind, PostTensioned

UNIT_M = {"ft": 0.3048, "in": 0.0254, "m": 1.0, "mm": 0.001, "cm": 0.01}


class SubstrateDoc(Document):
    """What the coating is put on."""

    kind: Literal["bare-concrete", "old-film"] = "bare-concrete"
    csp: Annotated[int, Field(ge=1, le=10)] | None = None
    """Concrete surface profile class."""
    texture: Film | None = None
    """Mean texture depth by sand patch, where it was measured."""


class DiagonalDoc(Document):
    """A diagonal of a taped figure; corners count from 1, in the order of the sides."""

    corners: Annotated[list[Annotated[int, Field(ge=1)]], Field(min_length=2, max_length=2)]
    length: Length


class TapedSideDoc(Document):
    """One side as taped, walked counter-clockwise."""

    length: Length
    bearing: Annotated[float, Field(ge=-360, le=360)] | None = None
    """Degrees clockwise from the top of the plan: 90 is to the right."""


class OffsetDoc(Document):
    """A point taped from a base line."""

    along: Coordinate
    off: Coordinate
    """To the left of the base line."""


class TapedDoc(Document):
    """A figure taped on the deck: sides with directions, sides with diagonals, or
    offsets from a base line."""

    corner: Annotated[list[Coordinate], Field(min_length=2, max_length=2)] | None = None
    """Where its first corner lies in the deck's frame. Left out: at 0, 0."""
    sides: list[TapedSideDoc] = Field(default_factory=list)
    diagonals: list[DiagonalDoc] = Field(default_factory=list)
    offsets: list[OffsetDoc] = Field(default_factory=list)


class CalibrationDoc(Document):
    """A length measured between two points of the drawing."""

    start: Annotated[list[float | int], Field(min_length=2, max_length=2)]
    """In drawing units; on a PDF page in points from its lower left corner."""
    end: Annotated[list[float | int], Field(min_length=2, max_length=2)]
    length: Length


class RampDoc(Document):
    """A straight ramp by its rise over its length in plan."""

    rise: Length
    run: Length
    bearing: Annotated[float, Field(ge=-360, le=360)] = 0.0
    """Which way is up, degrees clockwise from the top of the plan. Left out: up."""


class HelixDoc(Document):
    """A helical ramp; the inner edge is steeper."""

    inner: Length
    outer: Length
    rise: Length
    """In one full turn."""


class StepsDoc(Document):
    """Treads and risers of stairs or tiers."""

    tread: Length
    riser: Length


Compass = Literal["N", "NE", "E", "SE", "S", "SW", "W", "NW"]
COMPASS: tuple[Compass, ...] = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


class ShadeDoc(Document):
    """What keeps sun and sky off a zone: its facade, the slab above, a solid parapet, the
    skyline. Left out, an open deck sees the whole sky."""

    faces: Compass | Annotated[float | int, Field(ge=0, lt=360)] | None = None
    """Where its open side looks, as a point of the compass or in degrees clockwise from
    true north. A balcony has one; an open deck has none."""
    depth: Length | None = None
    """From the open edge to the wall behind; the middle of it is judged."""
    clear_height: Length | None = None
    """From the floor to the slab above. Left out: nothing above."""
    parapet: Length | None = None
    """Height of a solid parapet at the open edge. An open railing is none."""
    skyline: list[Annotated[float | int, Field(ge=0, lt=90)]] = Field(default_factory=list)
    """Heights in degrees of walls and buildings around, at equal steps clockwise from
    true north: four values are north, east, south, west."""


class CracksExpectedDoc(Document):
    """Cracks allowed for before the deck was walked: this length for 1,000 ft² of floor."""

    length_per_1000_ft2: Length
    width: Length


class DeckZoneDoc(Document):
    """An area with one duty class, exposure and build-up.

    ``layer`` finds its outline on the drawing (``at`` picks the closed outline
    around a point), ``geojson_id`` a polygon of the deck's own GeoJSON."""

    id: Id
    name: Text
    layer: Text | None = None
    at: Annotated[list[Coordinate], Field(min_length=2, max_length=2)] | None = None
    """A point inside the outline, in the drawing's frame: x, then y."""
    geojson_id: Text | None = None
    """Left out, and without a layer, it is the polygon that has the zone's own id."""
    taped: TapedDoc | None = None
    """The zone as taped on the deck, in place of a layer or a polygon."""
    duty: Word[Duty]
    exposure: Word[Exposure]
    build_up: Id
    slope: Annotated[list[Slope], Field(min_length=2, max_length=2)] | None = None
    """Rise over run along x and along y. Left out: level."""
    ramp: RampDoc | None = None
    """In place of a slope: a ramp by rise and run."""
    helix: HelixDoc | None = None
    steps: StepsDoc | None = None
    cracks_expected: CracksExpectedDoc | None = None
    substrate: SubstrateDoc = SubstrateDoc()
    shade: ShadeDoc | None = None


class DeckFeatureDoc(Document):
    """A drawing layer whose entities are features of one kind."""

    layer: Text
    kind: Word[FeatureKind]
    width: Length | None = None
    """Cracks and joints: the width on the deck."""
    depth: Length | None = None
    height: Length | None = None
    """Upturns: how far up."""
    connects: list[Text] = Field(default_factory=list)
    """What a lane, ramp, entrance or exit joins: deck ids, zone ids or "street"."""
    accessible: bool = False
    """Stalls for people with disabilities; each outline takes in the aisle beside it."""


class DeckDocument(Document):
    """One deck: its drawing, the confirmed unit, zones and feature layers."""

    schema_version: Version
    id: Id
    name: Text
    drawing: Text | None = None
    """A file in decks/."""
    geojson: Text | None = None
    """A file in decks/, planar metres in the deck's frame."""
    page: Annotated[int, Field(ge=1)] = 1
    """Which page of a PDF."""
    unit: Literal["ft", "in", "m", "mm", "cm"] | None = None
    """One unit of the drawing, confirmed by somebody who knows the deck. Left out where
    a calibration gives it."""
    calibration: Annotated[list[CalibrationDoc], Field(max_length=2)] = Field(default_factory=list)
    """Lengths measured on the drawing: the first gives the scale, a second at right
    angles checks it."""
    stretched: bool = False
    """True gives each direction the scale of its own measured length."""
    part_at: Annotated[list[float | int], Field(min_length=2, max_length=2)] | None = None
    """A point on a line of the drawing that is meant, where a sheet holds several; in
    drawing units."""
    post_tensioned: Word[PostTensioned]
    """Whether the slab holds stressed tendons: yes, no or unknown."""
    elevation: Elevation | None = None
    """Left out: 0."""
    zones: Annotated[list[DeckZoneDoc], Field(min_length=1)]
    features: list[DeckFeatureDoc] = Field(default_factory=list)
