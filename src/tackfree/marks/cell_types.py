"""Kit cells, their layouts and what a check says of them."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import LineString, MultiPolygon, Point, Polygon

from tackfree.words import Message

EIGHTH_INCH_M = 0.0254 / 8


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What the user may fix of a layout; lengths in m.

    ``lane_m`` is the nominal lane width; ``module`` forces exactly that width,
    ``any_width`` lets the search take another one that holds whole kits.
    ``exits`` are where the crew leaves the floor, ``start`` where it would rather begin.
    ``passage_m`` is the narrowest way a person walks. Nobody steps over a ``no_go``
    line; ``stop_lines`` are where a wet edge may be left for the night. Lane lines lie
    on whole divisions ``tape_m`` of the tape, so that they can be marked exactly.
    """

    exits: tuple[Point, ...]
    start: Point | None = None
    direction_rad: float | None = None
    lane_m: float = 3.048
    module: bool = False
    any_width: bool = True
    passage_m: float = 0.6096
    no_go: tuple[LineString, ...] = ()
    stop_lines: tuple[LineString, ...] = ()
    tape_m: float = EIGHTH_INCH_M


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What one kit covers; ``number`` is its place in the order and on the pail lid.

    ``plan_m2`` is the area on the drawing, ``kits`` the share of a kit it takes.
    ``lane`` counts from the side away from the exit, from 1.
    """

    number: int
    outline: Polygon | MultiPolygon
    plan_m2: float
    kits: float
    full: bool
    lane: int


@dataclass(frozen=True, kw_only=True)
class Check:
    """What code of its own finds in the cells of one layout.

    ``worst_error`` is the largest departure of a full cell from its target, as a
    fraction. ``age_kits`` is the largest difference in order between two cells that
    touch, ``age_pair`` the two cells, ``seams`` all such pairs; stop lines do not count.
    """

    worst_error: float
    sum_error: float
    overlap_m2: float
    trapped: tuple[int, ...]
    unreachable: tuple[int, ...]
    disconnected: tuple[int, ...]
    slivers: tuple[int, ...]
    jumps: int
    age_kits: int
    age_pair: tuple[int, int]
    seams: tuple[tuple[int, int], ...] = ()

    @property
    def faults(self) -> int:
        return len(self.trapped) + len(self.unreachable) + len(self.disconnected)


@dataclass(frozen=True, kw_only=True)
class Layout:
    """The cells of one floor for one coat, in walking order."""

    cells: tuple[Cell, ...]
    target_m2: float  # plan area of one kit
    direction_rad: float
    equal_lanes: bool
    lane_m: float
    lines_m: tuple[float, ...]  # lane lines across the direction, in the frame
    frame: Frame
    exits: tuple[Point, ...]
    check: Check
    messages: tuple[Message, ...] = ()
    tape_m: float = EIGHTH_INCH_M
    bent: int = 0  # cells that are no plain rectangles, so more marks than one line

    @property
    def ideal_kits(self) -> float:
        return sum(c.kits for c in self.cells)

    @property
    def part_kits(self) -> int:
        return sum(not c.full for c in self.cells)

    @property
    def excess_kits(self) -> int:
        """Kits over the least possible number."""
        return len(self.cells) - max(1, _least(self.ideal_kits))


@dataclass(frozen=True, kw_only=True)
class Frame:
    """The layout's own axes: x along the lanes, y across, the exit up and to the right.

    Lanes count up to the exit, so that a turned or mirrored floor gives the same cells.
    """

    x0_m: float
    y0_m: float
    direction_rad: float
    flip_x: bool
    flip_y: bool


def _least(kits: float) -> int:
    # Full cells may hold 0.1 % more than a kit is asked for; those do not add a kit.
    return -int(-(kits - 1e-3) // 1)
