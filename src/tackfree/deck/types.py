"""Decks, zones, features and sections: the nouns of the drawing.

Geometry is planar, in metres, in the deck's own frame (x right, y up).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry


class Duty(StrEnum):
    PEDESTRIAN = "pedestrian"
    LIGHT = "light"
    HEAVY = "heavy"
    EXTRA_HEAVY = "extra-heavy"


class Exposure(StrEnum):
    OPEN_SKY = "open-sky"
    COVERED = "covered"
    OVER_OCCUPIED = "over-occupied"
    ENCLOSED = "enclosed"
    ON_GRADE = "on-grade"
    SPLIT_SLAB = "split-slab"


class FeatureKind(StrEnum):
    COLUMN = "column"  # polygon; an obstacle
    OPENING = "opening"  # polygon; an obstacle
    DRAIN = "drain"  # point, counted
    PENETRATION = "penetration"  # point, counted
    CRACK = "crack"  # line with width
    JOINT = "joint"  # line with width and depth; may be a stop line
    UPTURN = "upturn"  # line with height
    TERMINATION = "termination"  # line
    STALL = "stall"  # polygon or counted row, with its painted number as label
    LANE = "lane"  # polygon of a drive lane, connects
    RAMP = "ramp"  # polygon, connects
    ENTRANCE = "entrance"  # point or line, connects to the street
    EXIT = "exit"
    STOP_LINE = "stop-line"  # line at which a section may end


class PostTensioned(StrEnum):
    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, kw_only=True)
class Substrate:
    """What the coating is put on.

    ``csp`` is the concrete surface profile class 1-10 (None: not known);
    ``texture_um`` a mean texture depth measured by sand patch [µm].
    """

    kind: str = "bare-concrete"  # or "old-film"
    csp: int | None = None
    texture_um: float | None = None


@dataclass(frozen=True, kw_only=True)
class Helix:
    """A helical ramp: radii and the climb in one full turn. [m]"""

    inner_m: float
    outer_m: float
    rise_per_turn_m: float


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Treads and risers, as on stairs and tiers. [m]"""

    tread_m: float
    riser_m: float


@dataclass(frozen=True, kw_only=True)
class Shade:
    """What stands between the middle of a zone and the sky. Heights in degrees above level.

    ``faces_deg`` is where its open side looks, clockwise from true north (None: open all
    round); on that side the sky is seen from ``rail_deg`` up to ``roof_deg``.
    ``skyline_deg`` holds heights of what stands around, at equal azimuths from north.
    """

    faces_deg: float | None = None
    rail_deg: float = 0.0
    roof_deg: float = 90.0
    skyline_deg: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CracksExpected:
    """Cracks allowed for before anybody walked the deck: length for each m² of floor."""

    m_per_m2: float
    width_m: float


@dataclass(frozen=True, kw_only=True)
class Feature:
    """What interrupts or borders a zone."""

    id: str
    kind: FeatureKind
    geometry: BaseGeometry
    width_m: float | None = None
    depth_m: float | None = None
    height_m: float | None = None
    count: int = 1
    label: str = ""
    connects: tuple[str, ...] = ()
    source: str = "drawn"  # drawn, inferred, typed
    accessible: bool = False  # a stall for people with disabilities, its aisle included


@dataclass(frozen=True, kw_only=True)
class Zone:
    """An area of a deck with one duty class, exposure and substrate.

    ``outline`` is the drawn outline without obstacles taken out. ``slope_x`` and
    ``slope_y`` are rise over run (fractions); ``form`` stands for both where the floor
    is a helix or steps. ``source`` says where the outline comes from.
    """

    id: str
    deck_id: str
    name: str
    outline: Polygon | MultiPolygon
    duty: Duty
    exposure: Exposure
    build_up_id: str
    slope_x: float = 0.0
    slope_y: float = 0.0
    substrate: Substrate = field(default_factory=Substrate)
    form: Helix | Steps | None = None
    cracks_expected: CracksExpected | None = None
    source: str = "drawn"  # drawn, typed


@dataclass(frozen=True, kw_only=True)
class Deck:
    """One level or surface with its own drawing frame.

    ``offset_m`` is what was taken off the drawing's coordinates (0 unless they are
    far from their origin): drawing [m] = geometry + offset.
    """

    id: str
    name: str
    zones: tuple[Zone, ...]
    features: tuple[Feature, ...]
    post_tensioned: PostTensioned = PostTensioned.UNKNOWN
    elevation_m: float = 0.0
    offset_m: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Section:
    """What is coated in one go between stop lines.

    ``floor`` is the plan outline with obstacles taken out, possibly in several
    separate parts (five balconies, one kit). ``developed_m2`` is its true area,
    slope included, upturns not. A section has one build-up and one exposure; its
    parts may come from several zones.
    """

    id: str
    deck_id: str
    zone_ids: tuple[str, ...]
    build_up_id: str
    exposure: Exposure
    duty: Duty
    floor: MultiPolygon
    developed_m2: float
    upturn_m2: float = 0.0
    stalls: int = 0
