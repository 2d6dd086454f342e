"""Several drawings on one sheet, told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from tackfree.intake.dxf.outlines import chain
from tackfree.intake.dxf.strokes import Drawn

FloatArray = NDArray[np.float64]

RASTER = 240  # cells along the longer side of the sheet
BORDER_LINES = 10  # a border of the sheet has fewer lines, and drawings inside have more
SMALL_PART = 0.05  # shorter parts are lettering, not drawings; of the sheet's longer side


@dataclass(frozen=True, kw_only=True)
class SheetPart:
    """One of several drawings on a sheet. ``box`` is left, bottom, right, top, and
    ``at`` a point of it, both in drawing units."""

    number: int
    box: tuple[float, float, float, float]
    at: tuple[float, float]
    strokes: int


def size_of(drawn: Drawn) -> tuple[float, float]:
    """Width and height of everything drawn."""
    shapes = [s.points for s in drawn.strokes] + [p for h in drawn.hatches for p in h.loops]
    if not shapes:
        return (0.0, 0.0)
    wide, high = np.ptp(np.concatenate(shapes), axis=0)
    return (float(wide), float(high))


def parts_of(drawn: Drawn) -> tuple[SheetPart, ...]:
    """Drawings on one sheet that lie apart, from the left, then upward.

    Lines are laid on a raster; marks that touch, or nearly, are one drawing. Lettering
    and other small things are left to the drawing around them.
    """
    labelled = _labels(drawn)
    if labelled is None:
        return ()
    of_stroke, count = labelled
    found = []
    joined = _joined(drawn)
    boxes = np.hstack([joined.low, joined.high])
    longer = max(size_of(drawn))
    for label in range(1, count + 1):
        mine = np.flatnonzero(of_stroke == label)
        if not len(mine):
            continue
        low, high = boxes[mine, :2].min(axis=0), boxes[mine, 2:].max(axis=0)
        if max(high - low) < SMALL_PART * longer:
            continue
        spot = drawn.strokes[int(mine[0])].points[0]
        found.append(
            (tuple(map(float, (*low, *high))), (float(spot[0]), float(spot[1])), len(mine))
        )
    found.sort()
    return tuple(
        SheetPart(number=i, box=(b[0], b[1], b[2], b[3]), at=at, strokes=n)
        for i, (b, at, n) in enumerate(found, 1)
    )


def part_around(drawn: Drawn, at: tuple[float, float]) -> Drawn:
    """Only the strokes of the drawing that has a line nearest to a point."""
    labelled = _labels(drawn)
    if labelled is None:
        return drawn
    of_stroke, _ = labelled
    here = shapely.Point(at)
    lines = [shapely.LineString(chain(s)) for s in drawn.strokes]
    nearest = int(np.argmin(shapely.distance(np.array(lines, dtype=object), here)))
    keep = of_stroke == of_stroke[nearest]
    strokes = [s for s, k in zip(drawn.strokes, keep, strict=True) if k]
    low = np.min([s.points.min(axis=0) for s in strokes], axis=0)
    high = np.max([s.points.max(axis=0) for s in strokes], axis=0)

    def inside(x: float, y: float) -> bool:
        return bool(low[0] <= x <= high[0] and low[1] <= y <= high[1])

    return Drawn(
        strokes=strokes,
        marks=[m for m in drawn.marks if inside(*m.at)],
        letterings=[t for t in drawn.letterings if inside(*t.at)],
        hatches=[h for h in drawn.hatches if inside(*h.loops[0][0])],
        hidden=drawn.hidden,
        unread=drawn.unread,
        broken=drawn.broken,
        absent=drawn.absent,
        too_deep=drawn.too_deep,
        layers=drawn.layers,
    )


def _labels(drawn: Drawn) -> tuple[NDArray[np.int64], int] | None:
    """For each stroke the number of its drawing, and how many there are."""
    longer = max(size_of(drawn))
    if not drawn.strokes or longer <= 0:
        return None
    joined = _joined(drawn)
    low, legs = joined.low.min(axis=0), joined.legs
    cell = longer / RASTER
    steps = np.maximum(1, np.ceil(np.hypot(*(legs[:, 2:] - legs[:, :2]).T) / cell * 2)).astype(int)
    at = np.arange(int(steps.sum())) - np.repeat(np.cumsum(steps) - steps, steps)
    part = (at / np.repeat(steps, steps))[:, None]
    spots = np.repeat(legs[:, :2], steps, axis=0) * (1 - part) + part * np.repeat(
        legs[:, 2:], steps, axis=0
    )
    spots = np.concatenate([spots, legs[:, 2:]])
    grid = np.zeros((RASTER + 3, RASTER + 3), dtype=bool)
    grid[tuple(((spots - low) / cell).astype(int).T + 1)] = True
    wide = ndimage.binary_dilation(grid, structure=np.ones((3, 3)))
    labels, count = ndimage.label(wide, structure=np.ones((3, 3)))
    of_stroke = labels[tuple(((joined.first - low) / cell).astype(int).T + 1)].astype(np.int64)
    return _inner_joined(of_stroke, joined, int(count), longer), int(count)


@dataclass(frozen=True, kw_only=True)
class _Joined:
    """All strokes as arrays: boxes and first point of each, and every leg (x, y, x, y)."""

    low: FloatArray
    high: FloatArray
    first: FloatArray
    legs: FloatArray


def _joined(drawn: Drawn) -> _Joined:
    points = np.concatenate([s.points for s in drawn.strokes])
    count = np.array([len(s.points) for s in drawn.strokes])
    closed = np.array([s.closed for s in drawn.strokes])
    begin = np.cumsum(count) - count
    goes_on = np.ones(len(points), dtype=bool)
    goes_on[begin + count - 1] = False
    along = np.flatnonzero(goes_on)
    ends, starts = (begin + count - 1)[closed], begin[closed]
    return _Joined(
        low=np.minimum.reduceat(points, begin),
        high=np.maximum.reduceat(points, begin),
        first=points[begin],
        legs=np.concatenate(
            [
                np.hstack([points[along], points[along + 1]]),
                np.hstack([points[ends], points[starts]]),
            ]
        ),
    )


def _inner_joined(
    of_stroke: NDArray[np.int64], joined: _Joined, count: int, longer: float
) -> NDArray[np.int64]:
    """What lies inside a drawing belongs to it, unless that is the sheet's border."""
    low = np.full((count + 1, 2), np.inf)
    high = np.full((count + 1, 2), -np.inf)
    np.minimum.at(low, of_stroke, joined.low)
    np.maximum.at(high, of_stroke, joined.high)
    strokes = np.bincount(of_stroke, minlength=count + 1)
    size = (high - low).max(axis=1)
    rich = (size >= SMALL_PART * longer) & (strokes >= BORDER_LINES)
    target = np.arange(count + 1)
    for outer in sorted(range(1, count + 1), key=lambda k: (size[k], k)):
        if not strokes[outer]:
            continue
        inside = (low >= low[outer]).all(axis=1) & (high <= high[outer]).all(axis=1)
        inside[outer] = False
        border = strokes[outer] < BORDER_LINES and (inside & rich).sum() > 1
        if not border:
            target[np.isin(target, np.flatnonzero(inside))] = outer
    return target[of_stroke]
