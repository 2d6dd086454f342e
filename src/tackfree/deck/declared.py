"""Decks as declared in a bundle, before the drawing is read."""

from __future__ import annotations

from dataclasses import dataclass, field

from shapely import MultiPolygon, Polygon

from tackfree.deck.types import (
    CracksExpected,
    Duty,
    Exposure,
    FeatureKind,
    Helix,
    PostTensioned,
    Shade,
    Steps,
    Substrate,
    Zone,
)


@dataclass(frozen=True, kw_only=True)
class TapedLeg:
    """One side of a figure taped on the deck. ``bearing_deg`` runs clockwise from north
    (the frame's +y); None where only lengths were taped."""

    length_m: float
    bearing_deg: float | None = None


@dataclass(frozen=True, kw_only=True)
class Taped:
    """A figure taped on the deck: sides in order, diagonals, or offsets from a line.

    ``diagonals_m`` are (corner, corner, length), corners counted from 1.
    ``offsets_m`` are (distance along the base line, distance to its left); the base
    line runs along +x from ``corner_m`` and closes the figure.
    """

    sides: tuple[TapedLeg, ...] = ()
    diagonals_m: tuple[tuple[int, int, float], ...] = ()
    offsets_m: tuple[tuple[float, float], ...] = ()
    corner_m: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A length measured on the deck between two points of its drawing [drawing units]."""

    start: tuple[float, float]
    end: tuple[float, float]
    length_m: float


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
    taped: Taped | None = None
    form: Helix | Steps | None = None
    cracks_expected: CracksExpected | None = None
    shade: Shade | None = None

    def zone(self, deck_id: str, outline: Polygon | MultiPolygon, *, source: str = "drawn") -> Zone:
        """The zone, once its outline is known. [m]"""
        return Zone(
            id=self.id,
            deck_id=deck_id,
            name=self.name,
            outline=outline,
            duty=self.duty,
            exposure=self.exposure,
            build_up_id=self.build_up_id,
            slope_x=self.slope_x,
            slope_y=self.slope_y,
            substrate=self.substrate,
            form=self.form,
            cracks_expected=self.cracks_expected,
            source=source,
        )


@dataclass(frozen=True, kw_only=True)
class FeatureDoc:
    """A layer whose entities are features of one kind."""

    layer: str
    kind: FeatureKind
    width_m: float | None = None
    depth_m: float | None = None
    height_m: float | None = None
    connects: tuple[str, ...] = ()
    accessible: bool = False  # stalls for people with disabilities


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
    page: int = 1  # of a PDF, from 1
    calibration: tuple[Measured, ...] = ()  # lengths on the drawing; they give the unit
    stretched: bool = False  # use a second length for its own direction
    part_at: tuple[float, float] | None = None  # a point of the drawing meant [drawing units]
