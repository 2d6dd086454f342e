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
    duty: Word[Duty]
    exposure: Word[Exposure]
    build_up: Id
    slope: Annotated[list[Slope], Field(min_length=2, max_length=2)] | None = None
    """Rise over run along x and along y. Left out: level."""
    substrate: SubstrateDoc = SubstrateDoc()


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


class DeckDocument(Document):
    """One deck: its drawing, the confirmed unit, zones and feature layers."""

    schema_version: Version
    id: Id
    name: Text
    drawing: Text | None = None
    """A file in decks/."""
    geojson: Text | None = None
    """A file in decks/, planar metres in the deck's frame."""
    unit: Literal["ft", "in", "m", "mm", "cm"]
    """One unit of the drawing, confirmed by somebody who knows the deck."""
    post_tensioned: Word[PostTensioned]
    """Whether the slab holds stressed tendons: yes, no or unknown."""
    elevation: Elevation | None = None
    """Left out: 0."""
    zones: Annotated[list[DeckZoneDoc], Field(min_length=1)]
    features: list[DeckFeatureDoc] = Field(default_factory=list)
