"""A plan to scale on sheets that any printer takes: tiles with match lines and a check bar."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tackfree.sheets.marks_svg import MarkedFloor, framed
from tackfree.units import System

PT_PER_M = 72.0 / 0.0254
# Printable width and height under the tile's own head and foot. [pt]
ROOM = {"us-letter": (558.0, 640.0), "a4": (541.0, 690.0), "a3": (788.0, 1040.0)}
SCALES = {"us": (48, 96, 120, 192, 240, 480, 960), "si": (50, 100, 200, 250, 500, 1000)}
_US_NAMES = {
    48: "1/4\" = 1'-0\"", 96: "1/8\" = 1'-0\"", 120: "1\" = 10'-0\"", 192: "1/16\" = 1'-0\"",
    240: "1\" = 20'-0\"", 480: "1\" = 40'-0\"", 960: "1\" = 80'-0\"",
}  # fmt: skip
MOST = 6  # sheets that somebody still tapes together


@dataclass(frozen=True, kw_only=True)
class Tile:
    """One sheet: its name, the corner of its window, and its neighbours' names. [pt]"""

    name: str
    x: float
    y: float
    w: float
    h: float
    left: str = ""
    right: str = ""
    up: str = ""
    down: str = ""


@dataclass(frozen=True, kw_only=True)
class Tiling:
    """A plan at 1:``scale`` of ``width`` by ``height`` cut into tiles. [pt]

    ``bar_m`` on the deck is ``bar_pt`` on paper when printed at 100 %.
    """

    scale: int
    name: str
    px_per_m: float
    width: float
    height: float
    bar_m: float
    bar_pt: float
    tiles: tuple[Tile, ...]


def tiling(floors: Sequence[MarkedFloor], paper: str, system: System) -> Tiling:
    """The largest usual scale that needs at most ``MOST`` sheets of a paper.

    Parameters
    ----------
    floors : sequence of MarkedFloor
    paper : str
        us-letter, a4 or a3.
    system : us or si
        Scales and the bar's length.
    """
    wide, high = ROOM[paper]
    scale = SCALES[system][-1]
    for k, scale in enumerate(SCALES[system]):
        _, w, h = framed(floors, px_per_m=PT_PER_M / scale)
        # The largest scale is for floors that fit one sheet.
        if _count(w, wide) * _count(h, high) <= (MOST if k else 1):
            break
    _, w, h = framed(floors, px_per_m=PT_PER_M / scale)
    bar_m = 3.048 if system == "us" else 2.0
    if scale > 240:
        bar_m *= 5
    return Tiling(
        scale=scale,
        name=f"{_US_NAMES[scale]} (1:{scale})" if system == "us" else f"1:{scale}",
        px_per_m=PT_PER_M / scale,
        width=w,
        height=h,
        bar_m=bar_m,
        bar_pt=bar_m * PT_PER_M / scale,
        tiles=tuple(_tiles(w, h, wide, high)),
    )


def _count(size: float, room: float) -> int:
    return max(1, math.ceil(size / room - 1e-6))


def _tiles(w: float, h: float, wide: float, high: float) -> list[Tile]:
    """Tiles of one size, row by row from the top; rows are letters, columns numbers."""
    nx, ny = _count(w, wide), _count(h, high)
    tw, th = w / nx, h / ny

    def name(i: int, j: int) -> str:
        return f"{chr(65 + j)}{i + 1}" if 0 <= i < nx and 0 <= j < ny else ""

    return [
        Tile(name=name(i, j), x=i * tw, y=j * th, w=tw, h=th, left=name(i - 1, j),
             right=name(i + 1, j), up=name(i, j - 1), down=name(i, j + 1))
        for j in range(ny)
        for i in range(nx)
    ]  # fmt: skip
