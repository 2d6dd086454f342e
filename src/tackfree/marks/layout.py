"""A floor cut into kit cells in walking order; the best of several layouts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.errors import Fault, InputError, Refused
from tackfree.marks.carry import Share, cut_along
from tackfree.marks.cell_types import Cell, Frame, Layout, Wishes
from tackfree.marks.checking import check_cells
from tackfree.marks.contacts import touching
from tackfree.marks.cutting import long_direction_rad
from tackfree.marks.lanes import (
    EQUAL_WITHIN,
    Piece,
    all_out_of,
    frame_of,
    into,
    lane_lines,
    pieces_of,
)
from tackfree.marks.mending import mend
from tackfree.marks.order import never_trapped, order_pieces
from tackfree.marks.sweep import only_areas, sweep
from tackfree.words import Message

ROUNDS = 3  # of splitting where a kit came out as two strands
OFF_FLOOR_M = 1.0  # an exit farther from the floor than this is a mistake
BEST = 3
NARROWEST_M, WIDEST_M = 1.8, 4.6  # practice: what is pulled and rolled from one stand
_STRAIGHT = 0.96  # of its box that a plain cell fills

Floor = Polygon | MultiPolygon


def lay(
    floor: Floor, *, target_m2: float, wishes: Wishes, direction_rad: float, equal: bool = True
) -> Layout:
    """One connected floor cut along one direction.

    Parameters
    ----------
    floor : Polygon
        Obstacles taken out. [m]
    target_m2 : float
        Plan area of one kit. [m²]
    wishes : Wishes
        Exits, passage and what else is fixed.
    direction_rad : float
        Of the lanes. [rad]
    equal : bool
        Lanes by kits; False for lanes of equal width.

    Returns
    -------
    Layout
        Cells in order, checked.

    Raises
    ------
    Refused
        If the target is not above 0 or an exit is off the floor.
    """
    floor = _sound(floor, target_m2, wishes)
    frame = frame_of(floor, direction_rad, wishes.exits[0])
    turned = only_areas(into(floor, frame))
    exits = [into(e, frame) for e in wishes.exits]
    barriers = _barriers(wishes, frame)
    lines = lane_lines(turned, target_m2=target_m2, lane_m=wishes.lane_m, equal=equal,
                       tape_m=wishes.tape_m)  # fmt: skip
    bad: list[BaseGeometry] = []
    best: list[Share] | None = None
    for _ in range(ROUNDS):
        pieces = pieces_of(
            turned, lines, target_m2=target_m2, passage_m=wishes.passage_m, split_at=bad
        )
        shares = _share(pieces, exits, barriers, wishes, frame, target_m2)
        torn = [s.outline for s in shares if len(shapely.get_parts(s.outline)) > 1]
        if best is None or len(torn) < _torn(best):
            best = shares
        if not torn:
            break
        bad += torn
    assert best is not None
    shares = mend(_apart(best), target_m2, wishes.passage_m)
    numbered = _ordered(shares, exits, barriers, wishes, target_m2)
    back = all_out_of([c.outline for c in numbered], frame)
    cells = tuple(replace(c, outline=only_areas(g)) for c, g in zip(numbered, back, strict=True))
    check = check_cells(
        cells,
        floor,
        target_m2=target_m2,
        exits=wishes.exits,
        passage_m=wishes.passage_m,
        no_go=wishes.no_go,
        stop_lines=wishes.stop_lines,
    )
    return Layout(
        cells=cells,
        target_m2=target_m2,
        direction_rad=direction_rad,
        equal_lanes=equal,
        lane_m=wishes.lane_m,
        lines_m=tuple(lines),
        frame=frame,
        exits=wishes.exits,
        check=check,
        messages=_told(check.unreachable, check.disconnected),
        tape_m=wishes.tape_m,
        bent=_bent([c.outline for c in numbered]),
    )


def best_layouts(
    floor: Floor, *, target_m2: float, wishes: Wishes, count: int = BEST
) -> tuple[Layout, ...]:
    """The best layouts over directions and both kinds of lanes, best first.

    Ranked by faults, slivers, number of kits, wet-edge age with cells that are hard to
    mark, and steps to cells that do not touch. First the best of each direction; where
    those are fewer than ``count``, the next best with other lanes.
    """
    floor = _sound(floor, target_m2, wishes)
    firsts: list[tuple[tuple[float, ...], Layout]] = []
    others: list[tuple[tuple[float, ...], Layout]] = []
    for k, direction in enumerate(directions(floor, wishes.direction_rad)):
        modes = [(wishes, False)] if wishes.module else [(wishes, True), (wishes, False)]
        width = whole_width_m(floor, target_m2, wishes, direction)
        if width is not None:
            modes.append((replace(wishes, lane_m=width), True))
        tried = []
        for n, (wish, equal) in enumerate(modes):
            one = lay(floor, target_m2=target_m2, wishes=wish, direction_rad=direction, equal=equal)
            tried.append(((*rank(one), k, n), one))
        first, *rest = sorted(tried, key=lambda t: t[0])
        firsts.append(first)
        others += [t for t in rest if t[1].lines_m != first[1].lines_m]
    ranked = [one for some in (firsts, others) for _, one in sorted(some, key=lambda t: t[0])]
    return tuple(ranked[:count])


def rank(layout: Layout) -> tuple[float, ...]:
    """Smaller is better."""
    check = layout.check
    return (
        check.faults + (check.overlap_m2 > 1e-3),
        max(len(check.slivers) - 1, 0),
        len(layout.cells),
        layout.part_kits,
        check.age_kits + layout.bent,
        check.jumps,
    )


def whole_width_m(
    floor: Floor, target_m2: float, wishes: Wishes, direction_rad: float
) -> float | None:
    """A lane width other than the nominal one at which a lane holds whole kits. [m]

    None where the nominal width does already, where the width is fixed, or where none
    lies between ``NARROWEST_M`` and ``WIDEST_M``.
    """
    if wishes.module or not wishes.any_width:
        return None
    across = sweep(floor, direction_rad=direction_rad + math.pi / 2)
    one = target_m2 / (across.total_m2 / float(across.x_m[-1] - across.x_m[0]))
    kits = wishes.lane_m / one
    if kits > 0.5 and abs(round(kits) / kits - 1) <= EQUAL_WITHIN:
        return None
    widths = [k * one for k in (math.floor(kits), math.ceil(kits))]
    fit = [w for w in widths if NARROWEST_M <= w <= WIDEST_M]
    return min(fit, key=lambda w: abs(w - wishes.lane_m), default=None)


def directions(floor: Floor, fixed: float | None = None) -> list[float]:
    """Directions worth trying: of the longest edges, across them, and at 45°. [rad]"""
    if fixed is not None:
        return [fixed]
    xy = [shapely.get_coordinates(p.exterior) for p in shapely.get_parts(floor)]
    steps = np.concatenate([np.diff(c, axis=0) for c in xy])
    length = np.hypot(steps[:, 0], steps[:, 1])
    turn = np.arctan2(steps[:, 1], steps[:, 0]) % (math.pi / 2)
    bins: list[list[float]] = []  # direction, total length
    for k in np.argsort(-length, kind="stable"):
        for b in bins:
            gap = abs(b[0] - turn[k])
            if min(gap, math.pi / 2 - gap) < math.radians(2):
                b[1] += length[k]
                break
        else:
            bins.append([float(turn[k]), float(length[k])])
    bins.sort(key=lambda b: (-round(b[1], 6), b[0]))
    main = bins[0][0]
    hull = floor.convex_hull
    assert isinstance(hull, Polygon)
    if abs(math.cos(main - long_direction_rad(hull))) < math.sqrt(0.5):
        main += math.pi / 2  # along the long side first
    if bins[0][1] >= 0.8 * length.sum():
        return [main, main + math.pi / 2]
    out = [main, main + math.pi / 2, main + math.pi / 4, main + 3 * math.pi / 4]
    for b in bins[1:3]:
        if b[1] >= 0.15 * length.sum():
            out += [b[0], b[0] + math.pi / 2]
    return out


def _share(
    pieces: Sequence[Piece],
    exits: Sequence[BaseGeometry],
    barriers: BaseGeometry | None,
    wishes: Wishes,
    frame: Frame,
    target_m2: float,
) -> list[Share]:
    """Order the pieces and cut along them."""
    floors = [p.floor for p in pieces]
    touch = touching(floors, barriers)
    near = [list(beside) for beside in touch.values()]
    passage = wishes.passage_m - 1e-3
    graph = [{k for k, run in beside.items() if run >= passage} for beside in touch.values()]
    doors = _doors(floors, exits, wishes.passage_m)
    start = None if wishes.start is None else into(wishes.start, frame).centroid
    order = order_pieces(pieces, graph, doors, start)
    return cut_along(pieces, order, near, target_m2)


def _ordered(
    shares: Sequence[Share],
    exits: Sequence[BaseGeometry],
    barriers: BaseGeometry | None,
    wishes: Wishes,
    target_m2: float,
) -> list[Cell]:
    """Cells with their numbers; the way out stays bare."""
    shapes = [s.outline for s in shares]
    touch = touching(shapes, barriers)
    doors = _doors(shapes, exits, wishes.passage_m)
    order = never_trapped(len(shares), touch, doors, wishes.passage_m)
    return [
        Cell(
            number=n,
            outline=only_areas(shares[k].outline),
            plan_m2=shares[k].outline.area,
            kits=shares[k].outline.area / target_m2,
            full=shares[k].full,
            lane=shares[k].lane,
        )
        for n, k in enumerate(order, 1)
    ]


def _doors(
    shapes: Sequence[BaseGeometry], exits: Sequence[BaseGeometry], passage_m: float
) -> list[int]:
    """Shapes at an exit."""
    array = np.array(shapes, dtype=object)
    out: set[int] = set()
    for e in exits:
        gap = shapely.distance(array, e)
        out |= {int(k) for k in np.flatnonzero(gap <= max(passage_m / 2, gap.min() + 1e-6))}
    return sorted(out)


def _bent(shapes: Sequence[BaseGeometry]) -> int:
    """Outlines that do not fill their box along the lanes; columns do not count."""
    array = np.array(shapes, dtype=object)
    filled = shapely.area(shapely.polygons(shapely.get_exterior_ring(array)))
    return int(np.sum(filled < _STRAIGHT * shapely.area(shapely.envelope(array))))


def _torn(shares: Sequence[Share]) -> int:
    return sum(len(shapely.get_parts(s.outline)) > 1 for s in shares)


def _apart(shares: Sequence[Share]) -> list[Share]:
    """A kit that still is two strands becomes part kits."""
    out = []
    for s in shares:
        parts = shapely.get_parts(s.outline)
        if len(parts) == 1:
            out.append(s)
        else:
            out += [Share(outline=p, area_m2=p.area, full=False, lane=s.lane) for p in parts]
    return out


def _barriers(wishes: Wishes, frame: Frame) -> BaseGeometry | None:
    if not wishes.no_go:
        return None
    return shapely.union_all([into(g, frame).buffer(0.05) for g in wishes.no_go])


def _sound(floor: Floor, target_m2: float, wishes: Wishes) -> Floor:
    if not (math.isfinite(target_m2) and target_m2 > 0):
        raise InputError(
            f"one kit covers {target_m2:g} m²; it must cover more than 0.",
            do="Check film, solids and kit size of the coat.",
        )
    if not wishes.exits:
        raise InputError("no exit is given.", do="Say where the crew leaves the floor.")
    if not floor.is_valid:
        floor = only_areas(shapely.make_valid(floor))
    off = [e for e in wishes.exits if floor.distance(e) > OFF_FLOOR_M]
    if off:
        raise Refused([
            Fault(
                what=f"the exit lies {floor.distance(e):.1f} m off the floor.",
                where=f"exit at ({e.x:g}, {e.y:g})",
                do="Put it on the edge of the floor.",
            )
            for e in off
        ])  # fmt: skip
    return floor


def _told(unreachable: Sequence[int], disconnected: Sequence[int]) -> tuple[Message, ...]:
    out = []
    if unreachable:
        out.append(Message(id="marks.cells.unreachable", values={"cells": list(unreachable)}))
    if disconnected:
        out.append(Message(id="marks.cells.disconnected", values={"cells": list(disconnected)}))
    return tuple(out)
