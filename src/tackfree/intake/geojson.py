"""A deck's own GeoJSON: planar metres in the deck's frame, read and written.

Longitude and latitude are read too, onto a plane about the middle of the site.

Each feature of the collection has ``id`` and ``kind``: ``zone``, or a kind of
feature with ``width_m``, ``depth_m``, ``height_m``, ``count``, ``label``,
``connects`` and ``accessible`` where they apply.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry import shape as to_shape
from shapely.geometry.base import BaseGeometry

from tackfree.deck.check import overlap_faults
from tackfree.deck.declared import DeckDoc, ZoneDoc
from tackfree.deck.types import Deck, Feature, FeatureKind, Zone
from tackfree.errors import Fault, InputError, NotFound, Refused
from tackfree.intake.degrees import centre_of, in_degrees, to_plane
from tackfree.words import Message

DIGITS = 6  # a micrometre
LARGEST_BYTES = 100_000_000
POLYGONS = {
    FeatureKind.COLUMN,
    FeatureKind.OPENING,
    FeatureKind.STALL,
    FeatureKind.LANE,
    FeatureKind.RAMP,
}


def read_geojson(path: Path, doc: DeckDoc) -> tuple[Deck, tuple[Message, ...]]:
    """Read one deck from its GeoJSON.

    Zones are found by ``geojson_id``, or by their own id where the document names
    neither that nor a layer. Features come with the file.

    Parameters
    ----------
    path : Path
    doc : DeckDoc
        Zones with a layer are left to the drawing.

    Returns
    -------
    deck, messages

    Raises
    ------
    NotFound, InputError
        If there is no such file, or it is not a feature collection.
    Refused
        With every fault of zones and features.
    """
    messages: list[Message] = []
    rows = planar(rows_of(path), path.name, messages)
    faults: list[Fault] = []
    shapes: dict[str, BaseGeometry] = {}
    features: list[Feature] = []
    for number, row in enumerate(rows, 1):
        properties = row.get("properties") or {}
        named = f"{path.name}, feature {properties.get('id') or number}"
        try:
            ident, kind = str(properties["id"]), str(properties["kind"])
            geometry = _geometry(row["geometry"], path.name, ident, messages)
        except (KeyError, TypeError, ValueError, shapely.errors.ShapelyError) as fault:
            faults.append(
                Fault(
                    where=named,
                    what=f"it cannot be read ({type(fault).__name__}: {fault}).",
                    do="Give it properties id and kind, and a geometry in metres.",
                )
            )
            continue
        if ident in shapes:
            faults.append(
                Fault(where=named, what="this id is used twice.", do="Give each its own id.")
            )
        shapes[ident] = geometry
        if kind == "zone":
            continue
        if kind not in set(FeatureKind):
            messages.append(
                Message(
                    id="intake.feature-kind",
                    values={"file": path.name, "feature": ident, "kind": kind},
                )
            )
            continue
        if kind in POLYGONS and not isinstance(geometry, Polygon | MultiPolygon):
            faults.append(
                Fault(where=named, what=f"a {kind} is an area.", do="Draw it as a polygon.")
            )
            continue
        if kind in POLYGONS and not geometry.is_valid:
            faults.append(_crossed(named, geometry))
            continue
        features.append(_feature(ident, FeatureKind(kind), geometry, properties))
    zones = _zones(doc, shapes, path.name, faults)
    if faults:
        raise Refused(faults)
    clashes = overlap_faults(zones, where=path.name)
    if clashes:
        raise Refused(clashes)
    deck = Deck(
        id=doc.id,
        name=doc.name,
        zones=zones,
        features=tuple(features),
        post_tensioned=doc.post_tensioned,
        elevation_m=doc.elevation_m,
    )
    return deck, tuple(messages)


def rows_of(path: Path) -> list[dict[str, Any]]:
    """The features of a collection, as written."""
    if not path.is_file():
        raise NotFound(
            "there is no such file.",
            where=path.name,
            do="Put it into the decks folder of the job, or correct its name.",
        )
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError(
            f"the file is larger than {LARGEST_BYTES // 1_000_000} MB.",
            where=path.name,
            do="Save the deck alone as a file of its own.",
        )
    try:
        data = json.loads(path.read_text("utf-8"))
        rows = data["features"]
        if data["type"] != "FeatureCollection" or not isinstance(rows, list):
            raise KeyError("features")
    except (ValueError, KeyError, TypeError, RecursionError) as fault:
        raise InputError(
            "this is not a GeoJSON feature collection.",
            where=path.name,
            do="Write one with type FeatureCollection and a list of features.",
        ) from fault
    return [r if isinstance(r, dict) else {} for r in rows]


def _geometry(raw: dict[str, Any], file: str, ident: str, messages: list[Message]) -> BaseGeometry:
    """A geometry in two dimensions; an open ring is closed and said so."""
    raw = dict(raw)
    if raw["type"] == "Polygon":
        raw["coordinates"], mended = _closed(raw["coordinates"])
        if mended:
            messages.append(
                Message(id="intake.ring-closed", values={"file": file, "feature": ident})
            )
    geometry = shapely.force_2d(to_shape(raw))
    if not all(map(math.isfinite, geometry.bounds)) or geometry.is_empty:
        raise ValueError("it has no place")
    if isinstance(geometry, Polygon) and shapely.make_valid(geometry).area == 0:
        raise ValueError("it encloses no area")
    return geometry


def planar(rows: list[dict[str, Any]], file: str, messages: list[Message]) -> list[dict[str, Any]]:
    """Rows with coordinates in a plane; degrees become metres about their middle."""
    shapes = [g for g in map(_shape_or_none, rows) if g is not None]
    if not shapes:
        return rows
    everything = shapely.box(*shapely.total_bounds(shapes))
    if not in_degrees(everything, file=file):
        return rows
    lon, lat = about = centre_of(everything)
    messages.append(
        Message(
            id="intake.degrees", values={"file": file, "lon": round(lon, 6), "lat": round(lat, 6)}
        )
    )
    return [_row_in_plane(r, about) for r in rows]


def _shape_or_none(row: dict[str, Any]) -> BaseGeometry | None:
    try:
        shape: BaseGeometry = to_shape(row["geometry"])
    except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError):
        return None
    return shape if all(map(math.isfinite, shape.bounds)) and not shape.is_empty else None


def _row_in_plane(row: dict[str, Any], about: tuple[float, float]) -> dict[str, Any]:
    if _shape_or_none(row) is None:
        return row

    def walk(value: Any) -> Any:
        if isinstance(value[0], list):
            return [walk(v) for v in value]
        moved = to_plane(shapely.Point(value[:2]), about)
        return [moved.bounds[0], moved.bounds[1]]

    geometry = {**row["geometry"], "coordinates": walk(row["geometry"]["coordinates"])}
    return {**row, "geometry": geometry}


def _closed(rings: Any) -> tuple[list[Any], bool]:
    mended = False
    out = []
    for ring in rings:
        if len(ring) and list(ring[0]) != list(ring[-1]):
            ring, mended = [*ring, ring[0]], True
        out.append(ring)
    return out, mended


def _feature(
    ident: str, kind: FeatureKind, geometry: BaseGeometry, properties: dict[str, Any]
) -> Feature:
    def number(key: str) -> float | None:
        value = properties.get(key)
        return None if value is None else float(value)

    return Feature(
        id=ident,
        kind=kind,
        geometry=geometry,
        width_m=number("width_m"),
        depth_m=number("depth_m"),
        height_m=number("height_m"),
        count=int(properties.get("count", 1)),
        label=str(properties.get("label", "")),
        connects=tuple(properties.get("connects", ())),
        source=str(properties.get("source", "drawn")),
        accessible=properties.get("accessible") is True,
    )


def _zones(
    doc: DeckDoc, shapes: dict[str, BaseGeometry], file: str, faults: list[Fault]
) -> tuple[Zone, ...]:
    zones = []
    for z in doc.zones:
        if z.layer is not None or z.taped is not None:
            continue
        wanted = z.geojson_id or z.id
        outline = shapes.get(wanted)
        fault = _outline_fault(z, wanted, outline, file)
        if fault is not None:
            faults.append(fault)
        elif isinstance(outline, Polygon | MultiPolygon):
            zones.append(z.zone(doc.id, outline))
    return tuple(zones)


def _outline_fault(
    z: ZoneDoc, wanted: str, outline: BaseGeometry | None, file: str
) -> Fault | None:
    where = f"{file}, zone {z.id}"
    if outline is None:
        return Fault(
            where=where,
            what=f"there is no feature {wanted}.",
            do="Draw its polygon with that id, or name another.",
        )
    if not isinstance(outline, Polygon | MultiPolygon):
        return Fault(where=where, what=f"feature {wanted} is no area.", do="Draw it as a polygon.")
    if not outline.is_valid:
        return _crossed(where, outline)
    if outline.area == 0:
        return Fault(where=where, what="its outline encloses no area.", do="Draw it again.")
    return None


def _crossed(where: str, outline: BaseGeometry) -> Fault:
    return Fault(
        where=where,
        what=f"its outline crosses itself ({shapely.is_valid_reason(outline)}).",
        do="Draw its corners in order, so that no side crosses another.",
    )


def write_geojson(deck: Deck) -> str:
    """Zones and features of a deck as GeoJSON text, the same bytes for the same deck."""
    rows = [
        _row(
            z.id,
            z.outline,
            {
                "kind": "zone",
                "name": z.name,
                "duty": z.duty.value,
                "exposure": z.exposure.value,
                "build_up": z.build_up_id,
            },
        )
        for z in deck.zones
    ]
    for f in deck.features:
        optional = {
            "width_m": f.width_m,
            "depth_m": f.depth_m,
            "height_m": f.height_m,
            "count": f.count if f.count != 1 else None,
            "label": f.label or None,
            "connects": list(f.connects) or None,
            "source": f.source if f.source != "drawn" else None,
            "accessible": f.accessible or None,
        }
        kept = {k: v for k, v in optional.items() if v is not None}
        rows.append(_row(f.id, f.geometry, {"kind": f.kind.value, **kept}))
    lines = ",\n".join(json.dumps(r, ensure_ascii=False, allow_nan=False) for r in rows)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def _row(ident: str, geometry: BaseGeometry, properties: dict[str, Any]) -> dict[str, Any]:
    raw = json.loads(shapely.to_geojson(geometry))
    raw["coordinates"] = _rounded(raw["coordinates"])
    return {"type": "Feature", "properties": {"id": ident, **properties}, "geometry": raw}


def _rounded(value: Any) -> Any:
    if isinstance(value, list):
        return [_rounded(v) for v in value]
    return round(value, DIGITS) + 0.0
