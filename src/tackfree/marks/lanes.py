"""Lanes: the frame they lie in, their lines, and the pieces of floor between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from tackfree.marks.cell_types import EIGHTH_INCH_M, Frame
from tackfree.marks.sweep import Sweep, area_left_of, only_areas, place_of, strips, sweep

Floor = Polygon | MultiPolygon

# Two strips side by side for longer than this share of a cell would make a kit of
# two strands.
STRANDS = 0.6
EQUAL_WITHIN = 0.2  # share by which a lane may grow or shrink to hold whole kits
WIDEST = 1.3  # share of the nominal width a last lane may take
LAST = 0.5  # share below which it takes half of what is left instead
_NECK_END = 1.001  # of the passage, so that rooms grow back to their own edges
_NECK_END_M = 0.005
_INSIDE_M = 1e-5


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A connected stretch of a lane, swept from end to end."""

    floor: Polygon
    lane: int
    swept: Sweep


def frame_of(floor: Floor, direction_rad: float, exit: Point) -> Frame:
    """Axes along the lanes with the exit up and to the right."""
    centre = shapely.envelope(floor).centroid if floor.is_empty else floor.centroid
    c, s = math.cos(direction_rad), math.sin(direction_rad)
    dx, dy = exit.x - centre.x, exit.y - centre.y
    along, across = c * dx + s * dy, -s * dx + c * dy
    return Frame(
        x0_m=centre.x,
        y0_m=centre.y,
        direction_rad=direction_rad,
        flip_x=along < -1e-6,
        flip_y=across < -1e-6,
    )


def into(geometry: BaseGeometry, frame: Frame) -> BaseGeometry:
    """From the deck's axes into the frame."""
    c, s = math.cos(frame.direction_rad), math.sin(frame.direction_rad)
    fx, fy = (-1.0 if frame.flip_x else 1.0), (-1.0 if frame.flip_y else 1.0)
    a, b, d, e = c * fx, s * fx, -s * fy, c * fy
    x0, y0 = frame.x0_m, frame.y0_m
    return affine_transform(geometry, [a, b, d, e, -(a * x0 + b * y0), -(d * x0 + e * y0)])


def out_of(geometry: BaseGeometry, frame: Frame) -> BaseGeometry:
    """From the frame back to the deck's axes."""
    return all_out_of([geometry], frame)[0]


def all_out_of(geometries: Sequence[BaseGeometry], frame: Frame) -> list[BaseGeometry]:
    """Like `out_of` for many outlines in one go."""
    c, s = math.cos(frame.direction_rad), math.sin(frame.direction_rad)
    fx, fy = (-1.0 if frame.flip_x else 1.0), (-1.0 if frame.flip_y else 1.0)
    turn = np.array([[c * fx, s * fx], [-s * fy, c * fy]])
    array = np.array(geometries, dtype=object)
    moved = shapely.transform(array, lambda xy: xy @ turn + (frame.x0_m, frame.y0_m))
    return list(moved)


def lane_lines(
    floor: Floor, *, target_m2: float, lane_m: float, equal: bool, tape_m: float = EIGHTH_INCH_M
) -> list[float]:
    """Lines between lanes, rising, with both edges of the floor.

    Parameters
    ----------
    floor : Polygon or MultiPolygon
        In the frame. [m]
    target_m2 : float
        Plan area of one kit. [m²]
    lane_m : float
        Nominal width. [m]
    equal : bool
        Move lines by up to ``EQUAL_WITHIN`` so that a lane holds whole kits.
    tape_m : float
        Smallest division of the tape. [m]

    Returns
    -------
    list of float
        One more than there are lanes; inner ones on whole divisions from the first. [m]
    """
    across = sweep(floor, direction_rad=math.pi / 2)
    base, top = float(across.x_m[0]), float(across.x_m[-1])
    y = base
    lines = [y]
    done = 0.0
    while top - y > WIDEST * lane_m or (not equal and top - y > lane_m * (1 + 1e-6)):
        whole = top - y >= (1 + LAST) * lane_m or not equal
        step = lane_m if whole else (top - y) / 2
        area = float(area_left_of(across, y + step)) - done
        kits = area / target_m2
        if equal and kits > 0.5 and abs(round(kits) / kits - 1) <= EQUAL_WITHIN:
            wanted = done + round(kits) * target_m2
            if wanted >= across.total_m2:
                break
            step = float(place_of(across, wanted)) - y
        # What rounding takes from a lane is not made good by the next one: its own
        # kits share the difference.
        y = base + on_tape(y + step - base, tape_m)
        done = float(area_left_of(across, y))
        lines.append(y)
    return [*lines, top]


def on_tape(length_m: float, tape_m: float) -> float:
    """The nearest whole division; a half goes down whatever the last digits say."""
    return math.floor(length_m / tape_m + 0.5 - 1e-4) * tape_m


def pieces_of(
    floor: Floor,
    lines: Sequence[float],
    *,
    target_m2: float,
    passage_m: float,
    split_at: Sequence[BaseGeometry] = (),
) -> list[Piece]:
    """The floor cut along its lanes, walls and necks.

    ``split_at`` are places where a kit came out as two strands before: pieces there
    are cut at the ends of every run of two strands.
    """
    necks = necks_of(floor, passage_m)
    rest: Floor = floor
    if necks:
        rest = only_areas(shapely.difference(floor, shapely.union_all(necks)))
    across = sweep(rest, direction_rad=math.pi / 2)
    inner = [y for y in lines[1:-1] if across.x_m[0] < y < across.x_m[-1]]
    pieces = []
    marks = np.array([lines[0] - 1.0, *inner])
    for i, strip in enumerate(strips(rest, across, inner)):
        lane = int(np.searchsorted(lines[1:-1], marks[i] + 1e-9)) + 1
        for part in shapely.get_parts(strip):
            if isinstance(part, Polygon) and part.area > 1e-7:
                pieces += [
                    Piece(floor=p, lane=lane, swept=swept)
                    for p, swept in _unstrand(part, target_m2, split_at)
                ]
    for neck in necks:
        lane = int(np.searchsorted(lines[1:-1], neck.centroid.y)) + 1
        pieces.append(Piece(floor=neck, lane=lane, swept=sweep(neck)))
    return sorted(pieces, key=lambda p: (p.lane, p.floor.bounds))


def _unstrand(
    part: Polygon, target_m2: float, split_at: Sequence[BaseGeometry], depth: int = 0
) -> list[tuple[Polygon, Sweep]]:
    """Cut at both ends of every long run of two or more strands."""
    swept = sweep(part)
    many = swept.strands >= 2
    if not many.any() or depth > 4:
        return [(part, swept)]
    x = swept.x_m
    begins = np.flatnonzero(many & ~np.concatenate([[False], many[:-1]]))
    ends = np.flatnonzero(many & ~np.concatenate([many[1:], [False]])) + 1
    length = swept.total_m2 / (x[-1] - x[0])
    limit = STRANDS * target_m2 / length
    near = [g.bounds for g in split_at if g.intersects(part)]
    cuts: set[float] = set()
    for a, b in zip(x[begins], x[ends], strict=True):
        # The floor beside the run sets how long a cell is there.
        beside = float(area_left_of(swept, b) - area_left_of(swept, a)) / (b - a)
        long = b - a > max(limit, STRANDS * target_m2 / beside * 0.999)
        if b - a > 2 * _INSIDE_M and (long or any(bb[0] <= b and a <= bb[2] for bb in near)):
            # A little inside, or a hair of floor past the wall's end would join the strands.
            cuts |= {float(a) + _INSIDE_M, float(b) - _INSIDE_M}
    cuts = {c for c in cuts if x[0] + 2 * _INSIDE_M < c < x[-1] - 2 * _INSIDE_M}
    if not cuts:
        return [(part, swept)]
    out = []
    for strip in strips(part, swept, sorted(cuts)):
        for q in shapely.get_parts(strip):
            if isinstance(q, Polygon) and q.area > 1e-7:
                out += _unstrand(q, target_m2, split_at, depth + 1)
    return out


def necks_of(floor: Floor, passage_m: float) -> list[Polygon]:
    """Parts narrower than two passages that lead from one stretch of floor to another.

    A line along such a neck would leave two ways too narrow to walk; it stays whole.
    """
    wide = shapely.get_parts(floor.buffer(-passage_m, join_style="mitre"))
    if len(wide) < 2:
        return []
    rooms = [w.buffer(passage_m * _NECK_END, join_style="mitre") for w in wide]
    left = shapely.difference(floor, shapely.union_all(rooms))
    necks = []
    for part in shapely.get_parts(only_areas(left)):
        touched = sum(part.distance(r) < 1e-6 for r in rooms)
        if touched >= 2 and part.area > 0.05:
            # A little of both rooms, so that no crumb is left at a lane line beside it.
            grown = only_areas(part.buffer(_NECK_END_M, join_style="mitre").intersection(floor))
            if isinstance(grown, Polygon):
                necks.append(grown)
    return sorted(necks, key=lambda p: p.bounds)
