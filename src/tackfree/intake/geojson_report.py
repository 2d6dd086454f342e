"""A look at a GeoJSON file: each polygon with its area."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry import shape as to_shape
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import FeatureKind
from tackfree.intake.degrees import centre_of, in_degrees, to_plane
from tackfree.intake.geojson import rows_of
from tackfree.intake.report import DrawingReport, LayerReport, candidates
from tackfree.words import Message

NAMES = ("id", "name", "Name", "NAME", "title", "location")


def report_geojson(path: Path) -> DrawingReport:
    """Look at a feature collection; every feature is reported as a layer of its own.

    In degrees, each polygon is measured on a plane about its own middle, in m². In a
    plane, areas are in square units and the unit is not known, unless the file is one
    of ours (features with a ``kind``), which is in metres.

    Raises
    ------
    NotFound, InputError
        As `read_geojson`.
    """
    rows = rows_of(path)
    messages: list[Message] = []
    shapes: list[tuple[str, str, BaseGeometry]] = []
    ours = bool(rows)
    for number, row in enumerate(rows, 1):
        properties = row.get("properties")
        properties = properties if isinstance(properties, dict) else {}
        name = named(row, number)
        ours = ours and str(properties.get("kind")) in {"zone", *FeatureKind}
        try:
            shape = shapely.force_2d(to_shape(row["geometry"]))
        except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError):
            shape = Polygon()
        if shape.is_empty or not all(map(_finite, shape.bounds)):
            messages.append(
                Message(id="intake.feature-unread", values={"file": path.name, "feature": name})
            )
            continue
        if not _closed(row["geometry"]):
            messages.append(
                Message(id="intake.ring-closed", values={"file": path.name, "feature": name})
            )
        shapes.append((name, str(row["geometry"]["type"]), shape))
    degrees = False
    if shapes:
        everything: BaseGeometry = shapely.box(*shapely.total_bounds([s for _, _, s in shapes]))
        degrees = in_degrees(everything, file=path.name)
        if degrees:
            lon, lat = centre_of(everything)
            messages.append(
                Message(
                    id="intake.degrees",
                    values={"file": path.name, "lon": round(lon, 6), "lat": round(lat, 6)},
                )
            )
            everything = to_plane(everything, (lon, lat))
        low_x, low_y, high_x, high_y = everything.bounds
        size = (high_x - low_x, high_y - low_y)
    else:
        size = (0.0, 0.0)
    layers = tuple(_layer(*s, degrees, messages, path.name) for s in shapes)
    return DrawingReport(
        file=path.name,
        kind="geojson",
        layers=layers,
        size=size,
        units=(),
        messages=tuple(messages),
        proposed="m" if degrees or ours else None,
        unit_m=1.0 if degrees or ours else None,
        candidates=candidates(layers),
    )


def named(row: dict[str, Any], number: int) -> str:
    """What a feature is called; its place in the file where it has no name."""
    properties = row.get("properties")
    properties = properties if isinstance(properties, dict) else {}
    return next((str(properties[n]) for n in NAMES if properties.get(n)), f"feature {number}")


def _layer(
    name: str,
    kind: str,
    shape: BaseGeometry,
    degrees: bool,
    messages: list[Message],
    file: str,
) -> LayerReport:
    if degrees:
        shape = to_plane(shape, centre_of(shape))
    area = 0.0
    if isinstance(shape, Polygon | MultiPolygon):
        if not shape.is_valid:
            why = shapely.is_valid_reason(shape)
            messages.append(
                Message(id="intake.crossed", values={"file": file, "feature": name, "why": why})
            )
        else:
            area = shape.area
    count = int(area > 0)
    return LayerReport(
        name=name,
        entities=((kind, 1),),
        closed_outlines=count,
        closed_area=area,
        largest_area=area,
        open_lines=int(not isinstance(shape, Polygon | MultiPolygon)),
        faces=count,
        face_area=area,
        largest_faces=(area,) if area else (),
    )


def _closed(raw: dict[str, Any]) -> bool:
    if raw["type"] != "Polygon":
        return True
    return all(list(ring[0]) == list(ring[-1]) for ring in raw["coordinates"] if ring)


def _finite(value: float) -> bool:
    return abs(value) < float("inf")
