"""Decks as declared in a bundle, before the drawing is read."""

from __future__ import annotations

from dataclasses import dataclass, field

from tackfree.deck.types import Duty, Exposure, FeatureKind, PostTensioned, Substrate


@dataclass(frozen=True, kw_only=True)
class ZoneDoc:
    """A zone as declared: which outline on the drawing, and what it is.

    ``layer`` names the drawing layer; ``at_m`` picks the closed outline around a
    point (None: every outline of the layer). ``geojson_id`` picks a polygon of the
    deck's own GeoJSON instead.
    """

    id: str
    name: str
    duty: Duty
    exposure: Exposure
    build_up_id: str
    layer: str | None = None
    at_m: tuple[float, float] | None = None
    geojson_id: str | None = None
    slope_x: float = 0.0
    slope_y: float = 0.0
    substrate: Substrate = field(default_factory=Substrate)


@dataclass(frozen=True, kw_only=True)
class FeatureDoc:
    """A layer whose entities are features of one kind."""

    layer: str
    kind: FeatureKind
    width_m: float | None = None
    depth_m: float | None = None
    height_m: float | None = None
    connects: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class DeckDoc:
    """One deck's declaration: drawing, confirmed unit, zones, feature layers."""

    id: str
    name: str
    drawing: str | None  # file name inside the bundle's decks folder
    geojson: str | None
    unit_m: float  # metres per drawing unit, confirmed by the user
    post_tensioned: PostTensioned
    elevation_m: float
    zones: tuple[ZoneDoc, ...]
    features: tuple[FeatureDoc, ...]
