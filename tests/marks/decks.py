"""Decks for the tests of kit cells, given in feet and returned in metres."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Point, Polygon, box
from shapely.affinity import scale

FT = 0.3048
KIT_FT2 = 270.0  # 4.5 gal at 60 ft²/gal
KIT_M2 = KIT_FT2 * FT * FT


def metres(shape):
    return scale(shape, FT, FT, origin=(0, 0))


def columns(xs, ys, side=2.0):
    half = side / 2
    return [box(x - half, y - half, x + half, y + half) for x in xs for y in ys]


def without(floor, *holes):
    return floor.difference(shapely.union_all(list(holes)))


TURN = np.linspace(0, 2 * np.pi, 401)[:-1]
NECK = shapely.union_all([box(0, 0, 90, 60), box(90, 28.5, 110, 31.5), box(110, 0, 200, 60)])
U_DECK = without(box(0, 0, 150, 150), box(30, 30, 120, 150))
GRID = columns(np.linspace(20, 380, 12), np.linspace(25, 225, 5))
# name: (floor in feet, exit in feet)
DECKS = {
    "rectangle": (box(0, 0, 100, 50), (100, 50)),
    "twelve columns": (
        without(box(0, 0, 250, 80), *columns(np.linspace(40, 210, 6), [27, 53])), (250, 80)
    ),
    "L": (
        without(
            Polygon([(0, 0), (250, 0), (250, 120), (100, 120), (100, 250), (0, 250)]),
            *columns(range(25, 250, 45), range(25, 250, 45)),
        ),
        (0, 250),
    ),
    "100k": (without(box(0, 0, 400, 250), *GRID), (400, 250)),
    "exit mid-side": (without(box(0, 0, 400, 250), *GRID), (400, 125)),
    "ramps and stair": (
        without(
            box(0, 0, 400, 250),
            box(100, 90, 180, 115), box(240, 140, 330, 165), box(180, 230, 210, 250), *GRID,
        ),
        (400, 0),
    ),
    "ellipse of 400 corners": (
        Polygon(np.c_[220 * np.cos(TURN), 110 * np.sin(TURN)]), (220, 0)
    ),
    "200k": (
        without(
            box(0, 0, 500, 400),
            *[Point(x, y).buffer(1) for x in np.linspace(20, 480, 12)
              for y in np.linspace(20, 380, 10)],
            box(120, 150, 200, 190), box(300, 220, 380, 260),
        ),
        (500, 400),
    ),
    "comb": (
        shapely.union_all([box(0, 0, 300, 60), *[box(x, 60, x + 60, 300) for x in (0, 120, 240)]]),
        (300, 0),
    ),
    "ring": (
        Point(0, 0).buffer(80, quad_segs=32).difference(Point(0, 0).buffer(40, quad_segs=32)),
        (80, 0),
    ),
    "three walls": (
        without(
            box(0, 0, 300, 200),
            box(40, 50, 200, 51), box(100, 100, 260, 101), box(40, 150, 200, 151),
            *columns(np.linspace(20, 280, 8), np.linspace(25, 175, 5)),
        ),
        (300, 200),
    ),
    "two rooms": (NECK, (200, 30)),
}  # fmt: skip
