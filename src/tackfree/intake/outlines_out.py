"""Outlines of a drawing as a deck's own GeoJSON, to start zones from."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import shapely

from tackfree.intake.dxf.outlines import outlines_of
from tackfree.intake.dxf.strokes import Drawn

DIGITS = 6  # a micrometre
SMALLEST_M2 = 0.01  # smaller faces are lettering


def outlines_geojson(drawn: Drawn, layers: Sequence[str], *, unit_m: float) -> str:
    """Every closed outline of some layers, in metres, largest first on each layer.

    Returns
    -------
    str
        A feature collection; each feature has ``id``, ``kind`` zone and its ``layer``.
    """
    rows: list[dict[str, Any]] = []
    for layer in layers:
        found = outlines_of(drawn, layer, gap=0.0, all_lines=True).polygons
        kept = [p for p in found if p.area * unit_m**2 >= SMALLEST_M2]
        for polygon in sorted(kept, key=lambda p: (-p.area, p.bounds)):
            moved = shapely.transform(polygon, lambda xy: xy * unit_m)
            raw = json.loads(shapely.to_geojson(shapely.set_precision(moved, 10.0**-DIGITS)))
            about = {"id": f"ZONE-{len(rows) + 1:03d}", "kind": "zone", "layer": layer}
            rows.append({"type": "Feature", "properties": about, "geometry": raw})
    lines = ",\n".join(json.dumps(r, ensure_ascii=False, allow_nan=False) for r in rows)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'
