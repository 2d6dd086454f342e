"""What is left of a layout cut anew at the end of a lane: a new layout, old cells stay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from shapely import Point, Polygon
from shapely.ops import nearest_points

from tackfree.errors import InputError
from tackfree.marks.cell_types import EIGHTH_INCH_M, Cell, Wishes
from tackfree.marks.layout import best_layouts
from tackfree.marks.sweep import only_areas
from tackfree.service.marks_live import Live, shape_of
from tackfree.service.marks_types import TWO_MM_M, content_id, frame_data, rings

Json = Mapping[str, Any]


def recut(layout: Json, live: Live, *, left_out: Sequence[int] = (), us: bool = True) -> Json:
    """A layout whose cells after the lanes begun are cut anew.

    Parameters
    ----------
    layout : mapping
        As in the marks stage.
    live : Live
        What is placed of it.
    left_out : sequence of int
        Cells that stay bare for now: cars left in, a wet corner.
    us : bool
        Lane lines on eighths of an inch; otherwise on 2 mm.

    Returns
    -------
    mapping
        In the form of the marks stage, with its own id; ``replaces`` is the old one.
        Cells kept carry the layout they were cut in; new numbers follow theirs.

    Raises
    ------
    InputError
        If a cell left out is placed or does not exist, or nothing is left to cut.
    """
    wrong = [n for n in left_out if live.cell(n).state == "in"]
    if wrong:
        raise InputError(f"cell {wrong[0]} has its kit.", where=live.layout,
                         do="Leave out only bare cells.")  # fmt: skip
    end = live.lane_end
    kept = [c for c in layout["cells"] if c["number"] <= end and c["number"] not in left_out]
    shapes = [shape_of(c["outline"]) for c in layout["cells"]
              if c["number"] > end and c["number"] not in left_out]  # fmt: skip
    if not shapes:
        raise InputError("no lane is left that is not begun.", where=live.layout,
                         do="Finish the lane.")  # fmt: skip
    full = next((c for c in layout["cells"] if c["kits"] > 0), layout["cells"][0])
    target = full["plan_m2"] / full["kits"]
    floor = only_areas(shapely.union_all(shapes, grid_size=1e-7))
    exits = [Point(*xy) for xy in layout["exits"]]
    cells: list[dict[str, Any]] = [{**c, "layout": c.get("layout", layout["id"])} for c in kept]
    at = max((c["number"] for c in layout["cells"] if c["number"] <= end), default=0)
    at = max(at, max((c["number"] for c in kept), default=0))
    laid, made = [], []
    for part in shapely.get_parts(floor):
        if not isinstance(part, Polygon) or part.area < 1e-6:
            continue
        near = sorted(exits, key=lambda e: (part.distance(e), e.x, e.y))[:1]
        ways = near or [Point(part.bounds[:2])]
        wishes = Wishes(
            exits=tuple(nearest_points(part, e)[0] for e in ways),
            tape_m=EIGHTH_INCH_M if us else TWO_MM_M,
        )
        one = best_layouts(part, target_m2=target, wishes=wishes, count=1)[0]
        laid.append((at, one))
        for c in one.cells:
            made.append(Cell(number=at + c.number, outline=c.outline, plan_m2=c.plan_m2,
                             kits=c.kits, full=c.full, lane=c.lane))  # fmt: skip
        at += len(one.cells)
    lanes = max((c["lane"] for c in kept), default=0)
    cells += [
        {"number": c.number, "lane": c.lane + lanes, "plan_m2": round(c.plan_m2, 6),
         "kits": round(c.kits, 6), "full": c.full, "outline": rings(c.outline)}
        for c in made
    ]  # fmt: skip
    return {
        **layout,
        "id": content_id(layout["section_id"], layout["coat_id"], target, made),
        "replaces": layout["id"],
        "from_cell": made[0].number,
        "exits": [[round(e.x, 6), round(e.y, 6)] for _, one in laid for e in one.exits],
        "part_kits": sum(not c["full"] for c in cells),
        "age_kits": max(one.check.age_kits for _, one in laid),
        "jumps": sum(one.check.jumps for _, one in laid),
        "unreachable": sum(len(one.check.unreachable) for _, one in laid),
        "direction_rad": [round(one.direction_rad, 9) for _, one in laid],
        "frames": [frame_data(shift, one) for shift, one in laid],
        "notes": [],
        "cells": cells,
    }
