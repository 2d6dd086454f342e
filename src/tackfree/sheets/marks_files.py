"""Kit cells as DXF and GeoJSON, for a total station or a tablet."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from typing import Any

import ezdxf
import shapely

from tackfree.marks.cell_types import Cell


def marks_geojson(cells: Sequence[Cell], about: dict[str, Any]) -> str:
    """Cells as features, planar metres in the deck's frame, in walking order."""
    features = [
        {
            "type": "Feature",
            "properties": {
                **about,
                "cell": c.number,
                "lane": c.lane,
                "plan_m2": round(c.plan_m2, 6),
                "kits": round(c.kits, 6),
                "full": c.full,
            },
            "geometry": json.loads(
                shapely.to_geojson(shapely.orient_polygons(shapely.transform(c.outline, _tidy)))
            ),
        }
        for c in cells
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n"


def _tidy(xy: Any) -> Any:
    return xy.round(6) + 0.0


def marks_dxf(cells: Sequence[Cell], *, feet: bool) -> str:
    """Cells as closed polylines on KIT-CELL with their numbers on KIT-NUMBER.

    Parameters
    ----------
    cells : sequence of Cell
    feet : bool
        Drawing units are feet; otherwise metres. The header says which.

    Returns
    -------
    str
        R2010 text, the same for the same cells.
    """
    unit_m = 0.3048 if feet else 1.0
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no clock, no random ids
    try:
        drawing = ezdxf.new("R2010")
        drawing.header["$INSUNITS"] = 2 if feet else 6
        drawing.header["$MEASUREMENT"] = 0 if feet else 1
        for name, colour in (("KIT-CELL", 5), ("KIT-NUMBER", 7)):
            drawing.layers.add(name, color=colour)
        space = drawing.modelspace()
        for c in cells:
            for part in shapely.get_parts(c.outline):
                for ring in (part.exterior, *part.interiors):
                    points = [(x / unit_m, y / unit_m) for x, y in list(ring.coords)[:-1]]
                    space.add_lwpolyline(points, close=True, dxfattribs={"layer": "KIT-CELL"})
            p = c.outline.representative_point()
            text = space.add_text(
                str(c.number), height=0.4 / unit_m, dxfattribs={"layer": "KIT-NUMBER"}
            )
            text.set_placement((p.x / unit_m, p.y / unit_m))
        out = io.StringIO()
        # The library walks a set here, whose order changes from run to run.
        for kind in sorted(drawing.entitydb.dxf_types_in_use()):
            drawing.classes.add_class(kind)
        drawing.write(out)
        return out.getvalue()
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
