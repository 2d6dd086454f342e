"""Kit cells: speed on two decks, and 500 jagged decks through the check."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import Point, Polygon, box
from shapely.affinity import rotate, scale

from tackfree.marks.cell_types import Layout, Wishes
from tackfree.marks.lanes import lane_lines
from tackfree.marks.layout import best_layouts, lay
from tackfree.service.marks import left_of

FT = 0.3048
KIT_M2 = 270 * FT * FT
RUNS = 5
DECKS = 500


def run() -> list[dict[str, Any]]:
    """Rows of the two speed goals and of the jagged decks."""
    small, large = deck_100k(), deck_200k()
    return [
        _speed("marks-100k-60-columns", small, 0.25),
        _speed("marks-200k-120-columns", large, 0.5),
        _recut(small),
        *_jagged(DECKS),
    ]


def deck_100k() -> tuple[Polygon, Point]:
    """400 by 250 ft with 60 square columns."""
    columns = [
        box(x - 1, y - 1, x + 1, y + 1)
        for x in np.linspace(20, 380, 12)
        for y in np.linspace(25, 225, 5)
    ]
    return _metres(box(0, 0, 400, 250).difference(shapely.union_all(columns)), Point(400, 250))


def deck_200k() -> tuple[Polygon, Point]:
    """500 by 400 ft with 120 round columns and two openings."""
    holes = [
        Point(x, y).buffer(1) for x in np.linspace(20, 480, 12) for y in np.linspace(20, 380, 10)
    ]
    holes += [box(120, 150, 200, 190), box(300, 220, 380, 260)]
    return _metres(box(0, 0, 500, 400).difference(shapely.union_all(holes)), Point(500, 400))


def jagged(seed: int) -> tuple[Polygon, Point]:
    """A jagged deck with up to 20 rectangular holes and an exit anywhere on its edge."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 24))
    radius = rng.uniform(95, 165, 24)
    floor: Any = Polygon(np.c_[radius * np.cos(angle), radius * np.sin(angle)]).buffer(0)
    holes = []
    for _ in range(rng.integers(5, 21)):
        x, y = rng.uniform(-120, 120, 2)
        w, h = rng.uniform(2, 30), rng.uniform(2, 12)
        if rng.random() < 0.5:
            w, h = h, w
        holes.append(box(x, y, x + w, y + h))
    floor = floor.difference(shapely.union_all(holes))
    one = max(shapely.get_parts(floor), key=lambda p: p.area)
    one = rotate(one, rng.uniform(0, 90), origin=(0, 0))
    return _metres(one, one.exterior.interpolate(rng.random(), normalized=True))


def clipped_areas(floor: Polygon) -> list[float]:
    """Cuts found by halving: clip, measure, halve, 40 times a cut; areas of the cells."""
    out = []
    lines = lane_lines(floor, target_m2=KIT_M2, lane_m=10 * FT, equal=True)
    x0, _, x1, _ = floor.bounds
    for low, high in pairwise(lines):
        lane = shapely.clip_by_rect(floor, x0, low, x1, high)
        begin, total = x0, lane.area
        for _ in range(math.floor(total / KIT_M2 + 1e-7)):
            a, b = begin, x1
            for _ in range(40):
                middle = (a + b) / 2
                if shapely.clip_by_rect(lane, begin, low, middle, high).area < KIT_M2:
                    a = middle
                else:
                    b = middle
            out.append(shapely.clip_by_rect(lane, begin, low, b, high).area)
            begin = b
    return out


def _metres(floor: Any, exit: Point) -> tuple[Polygon, Point]:
    return scale(floor, FT, FT, origin=(0, 0)), Point(exit.x * FT, exit.y * FT)


def _speed(id_: str, deck: tuple[Polygon, Point], goal_s: float) -> dict[str, Any]:
    floor, exit = deck
    wishes = Wishes(exits=(exit,))
    ours = _seconds(lambda: lay(floor, target_m2=KIT_M2, wishes=wishes, direction_rad=0.0))
    theirs = _seconds(lambda: clipped_areas(floor))
    return {
        "id": id_, "value": ours, "unit": "s", "baseline": "cuts alone by clipping and halving",
        "ratio": theirs / ours, "goal": f"at most {goal_s} s, planned and checked",
        "holds": ours <= goal_s, "runs": RUNS,
    }  # fmt: skip


def _recut(deck: tuple[Polygon, Point]) -> dict[str, Any]:
    """The second half of the cells laid anew, joined and checked."""
    floor, exit = deck
    wishes = Wishes(exits=(exit,))
    cells = lay(floor, target_m2=KIT_M2, wishes=wishes, direction_rad=0.0).cells

    def work() -> None:
        rest = left_of(cells, len(cells) // 2)
        lay(rest, target_m2=KIT_M2, wishes=wishes, direction_rad=0.0)

    ours = _seconds(work)
    whole_s = _seconds(lambda: lay(floor, target_m2=KIT_M2, wishes=wishes, direction_rad=0.0))
    return {
        "id": "marks-recut-half", "value": ours, "unit": "s", "baseline": "the whole deck laid",
        "ratio": whole_s / ours, "goal": "at most 0.1 s", "holds": ours <= 0.1, "runs": RUNS,
    }  # fmt: skip


def _seconds(work: Callable[[], object]) -> float:
    times = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


def whole(floor: Polygon, passage_m: float) -> bool:
    """Does the floor stay in one part for a person as wide as the passage?"""
    left = floor.buffer(-passage_m / 2, join_style="mitre")
    return len([p for p in shapely.get_parts(left) if p.area > 1e-3]) <= 1


def sound(layout: Layout, floor: Polygon) -> bool:
    """Every promise that a layout of one floor makes."""
    c = layout.check
    return (
        c.worst_error <= 1e-3
        and c.sum_error <= 1e-6
        and c.overlap_m2 <= 1e-6 * floor.area
        and not c.trapped
        and not c.disconnected
        and len(c.slivers) <= 1
        and (not c.unreachable or not whole(floor, 0.6096))
    )


def _jagged(count: int) -> list[dict[str, Any]]:
    laid = []
    for seed in range(count):
        floor, exit = jagged(seed)
        wishes = Wishes(exits=(exit,))
        one = lay(floor, target_m2=KIT_M2, wishes=wishes, direction_rad=0.0)
        if not sound(one, floor):  # then other directions are worth their time
            one = best_layouts(floor, target_m2=KIT_M2, wishes=wishes, count=1)[0]
        laid.append((one, floor))
    unsound = sum(not sound(one, floor) for one, floor in laid)
    parts = statistics.mean(one.part_kits for one, _ in laid)
    excess = statistics.mean(one.excess_kits for one, _ in laid)
    beside = statistics.mean(1 - one.check.jumps / len(one.cells) for one, _ in laid)

    def row(id_: str, value: float, unit: str, goal: str, holds: bool) -> dict[str, Any]:
        return {"id": id_, "value": value, "unit": unit, "baseline": f"{count} jagged decks",
                "ratio": None, "goal": goal, "holds": holds, "runs": count}  # fmt: skip

    return [
        row("marks-jagged-unsound", unsound, "decks", "0", unsound == 0),
        row("marks-jagged-part-kits", parts, "kits, mean", "at most 7.35", parts <= 7.35),
        row("marks-jagged-excess-kits", excess, "kits, mean", "at most 3.15", excess <= 3.15),
        row("marks-jagged-beside", beside, "share, mean", "at least 0.90", beside >= 0.9),
    ]
