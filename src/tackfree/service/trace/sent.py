"""A deck as the editor sends it: read strictly, then turned into the bundle's own files."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Annotated, Any, Literal

import shapely
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from shapely.geometry import shape as to_shape
from shapely.geometry.base import BaseGeometry

from tackfree.bundle.documents.base import ID_PATTERN
from tackfree.deck.types import Deck, Duty, Exposure, Feature, FeatureKind, PostTensioned, Zone
from tackfree.errors import Fault, Refused
from tackfree.intake.geojson import write_geojson

MOST_ITEMS = 20_000
LARGEST_BYTES = 20_000_000
Point = Annotated[list[float], Field(min_length=2, max_length=2)]
Ident = Annotated[str, Field(pattern=ID_PATTERN, max_length=60)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Size = Annotated[float, Field(gt=0, le=1000)] | None


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class SentLength(_Strict):
    """A length measured between two points of the drawing, as typed."""

    start: Point
    end: Point
    length: Annotated[str, Field(min_length=1, max_length=60)]


class SentShape(_Strict):
    """A geometry as GeoJSON writes it, in metres of the deck's frame."""

    type: Literal["Point", "LineString", "MultiLineString", "Polygon", "MultiPolygon"]
    coordinates: list[Any]

    def geometry(self) -> BaseGeometry:
        """Raises ValueError and its kin where the numbers make no shape."""
        found: BaseGeometry = to_shape({"type": self.type, "coordinates": self.coordinates})
        if found.is_empty or not all(map(math.isfinite, found.bounds)):
            raise ValueError("it has no place")
        return shapely.force_2d(found)


class SentZone(_Strict):
    """A zone; without a shape its outline is found by its layer or tape as before."""

    id: Ident
    name: Name
    duty: Duty
    exposure: Exposure
    build_up: Ident
    slope: (
        Annotated[list[Annotated[str, Field(max_length=30)]], Field(min_length=2, max_length=2)]
        | None
    ) = None
    shape: SentShape | None = None


class SentFeature(_Strict):
    """A feature of the deck's own GeoJSON."""

    id: Ident
    kind: FeatureKind
    shape: SentShape
    width_m: Size = None
    depth_m: Size = None
    height_m: Size = None
    count: Annotated[int, Field(ge=1, le=10_000)] = 1
    label: Annotated[str, Field(max_length=60)] = ""
    connects: Annotated[list[Annotated[str, Field(max_length=60)]], Field(max_length=60)] = Field(
        default_factory=list
    )
    source: Literal["drawn", "inferred", "typed"] = "drawn"


class SentDeck(_Strict):
    """One deck whole. ``base`` names what the editor opened, "" for a new deck;
    ``released`` the kinds of drawn features that are traced from now on."""

    base: Annotated[str, Field(max_length=40)] = ""
    id: Ident
    name: Name
    post_tensioned: PostTensioned
    drawing: Annotated[str, Field(max_length=120)] | None = None
    page: Annotated[int, Field(ge=1, le=10_000)] = 1
    calibration: Annotated[list[SentLength], Field(max_length=2)] = Field(default_factory=list)
    stretched: bool = False
    zones: Annotated[list[SentZone], Field(max_length=MOST_ITEMS)]
    features: Annotated[list[SentFeature], Field(max_length=MOST_ITEMS)]
    released: Annotated[list[FeatureKind], Field(max_length=40)] = Field(default_factory=list)


def read_sent(body: bytes) -> SentDeck:
    """What the editor sent.

    Raises
    ------
    Refused
        With every place that cannot be read.
    """
    try:
        return SentDeck.model_validate_json(body)
    except ValidationError as error:
        raise Refused(
            Fault(
                where=".".join(map(str, one["loc"])) or "body",
                what=f"{one['msg']}.",
                do="Open the deck again.",
            )
            for one in error.errors(include_url=False, include_input=False)[:50]
        ) from None


def raw_deck(sent: SentDeck, former: dict[str, Any]) -> dict[str, Any]:
    """The deck document as the editor wants it, on top of what it was.

    Whatever the editor knows nothing of (substrate, form, allowances) is kept.
    """
    raw: dict[str, Any] = {"schema_version": 1, "id": sent.id, "name": sent.name}
    raw |= {k: v for k, v in former.items() if k not in ("calibration", "zones", "features")}
    raw["name"] = sent.name
    traced = any(z.shape for z in sent.zones) or bool(sent.features)
    settings: dict[str, Any] = {
        "drawing": sent.drawing,
        "page": sent.page if sent.page != 1 else None,
        "geojson": former.get("geojson") or (f"{sent.id}.geojson" if traced else None),
        "stretched": True if sent.stretched else None,
        "post_tensioned": sent.post_tensioned.value,
    }
    for key, value in settings.items():
        if value is None:
            raw.pop(key, None)
        else:
            raw[key] = value
    if sent.calibration:
        raw["calibration"] = [
            {"start": c.start, "end": c.end, "length": c.length} for c in sent.calibration
        ]
    known = {str(z.get("id")): z for z in former.get("zones", ()) if isinstance(z, dict)}
    raw["zones"] = [_raw_zone(z, known.get(z.id, {})) for z in sent.zones]
    gone = {k.value for k in sent.released}
    features = [f for f in former.get("features", ()) if f.get("kind") not in gone]
    if features:
        raw["features"] = features
    return raw


def _raw_zone(sent: SentZone, former: dict[str, Any]) -> dict[str, Any]:
    raw = {"id": sent.id, "name": sent.name} | former
    raw["name"] = sent.name
    if sent.shape is not None:
        for key in ("layer", "at", "taped"):
            raw.pop(key, None)
    raw["duty"] = sent.duty.value
    raw["exposure"] = sent.exposure.value
    raw["build_up"] = sent.build_up
    if sent.slope is not None:
        for key in ("ramp", "helix", "steps"):
            raw.pop(key, None)
        raw["slope"] = list(sent.slope)
    else:
        raw.pop("slope", None)
    return raw


def geojson_text(sent: SentDeck, raw: dict[str, Any], carried: list[dict[str, Any]]) -> str | None:
    """The deck's own GeoJSON, or None where nothing is traced.

    ``carried`` are rows of the former file that are no zone or feature of ours; they
    stay.

    Raises
    ------
    Refused
        With every shape that is none.
    """
    if not raw.get("geojson"):
        return None
    faults: list[Fault] = []
    named = {z["id"]: str(z.get("geojson_id") or z["id"]) for z in raw["zones"]}
    zones = tuple(
        Zone(
            id=named[z.id],
            deck_id=sent.id,
            name=z.name,
            outline=found,  # type: ignore[arg-type]  # the reader says what is no area
            duty=z.duty,
            exposure=z.exposure,
            build_up_id=z.build_up,
        )
        for z in sent.zones
        if z.shape is not None
        for found in _shapes(z.shape, f"zone {z.id}", faults)
    )
    features = tuple(
        Feature(
            id=f.id,
            kind=f.kind,
            geometry=found,
            width_m=f.width_m,
            depth_m=f.depth_m,
            height_m=f.height_m,
            count=f.count,
            label=f.label,
            connects=tuple(f.connects),
            source=f.source,
        )
        for f in sent.features
        for found in _shapes(f.shape, f"{f.kind.value} {f.id}", faults)
    )
    if faults:
        raise Refused(faults)
    text = write_geojson(Deck(id=sent.id, name=sent.name, zones=zones, features=features))
    if not carried:
        return text
    rows = [json.dumps(r, ensure_ascii=False, allow_nan=False) for r in carried]
    ours = text.removesuffix("\n]}\n")
    joint = ",\n" if zones or features else ""
    return ours + joint + ",\n".join(rows) + "\n]}\n"


def _shapes(sent: SentShape, where: str, faults: list[Fault]) -> Iterator[BaseGeometry]:
    try:
        yield sent.geometry()
    except (TypeError, ValueError, IndexError, shapely.errors.ShapelyError) as fault:
        faults.append(
            Fault(
                where=where,
                what=f"its points make no shape ({fault}).",
                do="Draw it again.",
            )
        )
