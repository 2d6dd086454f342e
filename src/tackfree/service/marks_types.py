"""What a layout is asked for, and what it is: nouns of the kit marks."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import Cell, Layout
from tackfree.marks.pace import KIT_TEMP_C
from tackfree.words import Message

TWO_MM_M = 0.002  # the smallest division of a metric tape


@dataclass(frozen=True, kw_only=True)
class Ask:
    """What a foreman fixes of a layout; what is left out is found. Lengths in m.

    ``kits`` is how many are at hand, ``lane_end`` ends them at the end of a lane,
    ``placed`` how many cells are already down. ``kept_out`` is floor that cannot be
    coated now (cars left in, rain). ``open_minutes`` is how long an edge stays open;
    without it the product sheet says it for a slab of ``slab_c``. ``passage_m`` is the
    narrowest way a person walks. ``truck_min`` is when more kits are promised and
    ``down_by_min`` when the last kit must be down, in minutes of the day.
    """

    direction_rad: float | None = None
    lane_m: float | None = None
    module: bool = False
    exits: tuple[Point, ...] = ()
    start: Point | None = None
    stop_lines: tuple[LineString, ...] = ()
    no_go: tuple[LineString, ...] = ()
    kept_out: BaseGeometry | None = None
    kits: int | None = None
    lane_end: bool = False
    placed: int = 0
    open_minutes: float | None = None
    slab_c: float = KIT_TEMP_C
    passage_m: float | None = None
    truck_min: int | None = None
    down_by_min: int | None = None


@dataclass(frozen=True, kw_only=True)
class Marks:
    """The cells of one section for one coat; ``id`` is a hash of what is marked.

    ``parts`` are the layouts of its separate floors and stretches, with the number of
    their first cell less 1; numbers run through all. ``cells`` are those to be coated
    now, ``bare_m2`` what stays uncoated, ``lines`` where a stretch ends on purpose.
    """

    id: str
    section_id: str
    deck_id: str
    coat_id: str
    product_id: str
    kit_l: float
    reach_m2: float
    detail_l: float
    cells: tuple[Cell, ...]
    parts: tuple[tuple[int, Layout], ...]
    bare_m2: float
    messages: tuple[Message, ...]
    lines: tuple[BaseGeometry, ...] = ()

    @property
    def layouts(self) -> tuple[Layout, ...]:
        return tuple(one for _, one in self.parts)


def figures(m: Marks) -> dict[str, int]:
    """What tells one layout from another."""
    return {
        "part_kits": sum(not c.full for c in m.cells),
        "age_kits": max((p.check.age_kits for p in m.layouts), default=0),
        "jumps": sum(p.check.jumps for p in m.layouts),
        "unreachable": sum(len(p.check.unreachable) for p in m.layouts),
    }


def content_id(section_id: str, coat_id: str, target_m2: float, cells: Sequence[Cell]) -> str:
    """The id of what is marked: the same cells have the same id on any machine."""
    what = [section_id, coat_id, round(target_m2, 9), [[c.number, rings(c.outline)] for c in cells]]
    return "MK-" + hashlib.sha256(json.dumps(what).encode()).hexdigest()[:12].upper()


def rings(outline: Polygon | MultiPolygon) -> list[list[list[list[float]]]]:
    """Coordinates of a multipolygon as GeoJSON has them, rounded to 1e-6 m."""
    return [
        [
            [[round(x, 6) + 0.0, round(y, 6) + 0.0] for x, y in ring.coords]
            for ring in (p.exterior, *p.interiors)
        ]
        for p in shapely.get_parts(shapely.orient_polygons(outline))
    ]


def frame_data(shift: int, layout: Layout) -> dict[str, Any]:
    """Axes and lane lines of a layout, to measure its cells out again."""
    f = layout.frame
    return {
        "first": shift + 1, "count": len(layout.cells), "x0_m": f.x0_m, "y0_m": f.y0_m,
        "direction_rad": f.direction_rad, "flip_x": f.flip_x, "flip_y": f.flip_y,
        "lines_m": [round(y, 9) for y in layout.lines_m],
    }  # fmt: skip
