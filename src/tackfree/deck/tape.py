"""Figures taped on the deck: traverses, sides with diagonals, offsets from a line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from shapely import Polygon

from tackfree.deck.declared import Taped
from tackfree.errors import InputError
from tackfree.words import Message

WORST_CLOSURE = 1 / 200  # of the length walked; worse is a blunder, not tape
DIAGONAL_OFF = 0.005  # a further diagonal may be off by this part of its length


@dataclass(frozen=True, kw_only=True)
class TapedOutline:
    """The outline of a taped figure, and by how much its legs failed to close. [m]"""

    outline: Polygon
    misclosure_m: float
    walked_m: float
    messages: tuple[Message, ...] = ()


def outline_of(taped: Taped, *, name: str) -> TapedOutline:
    """The outline of whatever was taped.

    Sides with bearings are a traverse, adjusted by the compass rule. Sides without
    are put together from triangles and need diagonals; such a figure is taken to bulge
    outward at every corner. Offsets close on their base.

    Parameters
    ----------
    taped : Taped
    name : str
        The zone, for messages.

    Raises
    ------
    InputError
        If what was taped does not fix a figure, or closes worse than 1:200.

    Source
    ------
    published: compass (Bowditch) rule, any surveying text: each leg takes its share of
    the misclosure by its length.
    """
    if taped.offsets_m:
        found = _by_offsets(taped, name)
    elif taped.sides and all(s.bearing_deg is not None for s in taped.sides):
        found = _traverse(taped, name)
    elif any(s.bearing_deg is not None for s in taped.sides):
        raise InputError(
            "some sides have a direction and some have none.",
            where=name,
            do="Give all of them a direction, or none and the diagonals.",
        )
    else:
        found = _by_diagonals(taped, name)
    if not found.outline.is_valid or found.outline.area == 0:
        raise InputError(
            "the sides cross or enclose nothing.",
            where=name,
            do="Check the order of the sides, and walk them once round.",
        )
    return found


def _traverse(taped: Taped, name: str) -> TapedOutline:
    if len(taped.sides) < 3:
        raise InputError("a traverse needs three sides or more.", where=name, do="Add the others.")
    steps = []
    for side in taped.sides:
        bearing = math.radians(side.bearing_deg or 0.0)
        steps.append((side.length_m * math.sin(bearing), side.length_m * math.cos(bearing)))
    off_x, off_y = math.fsum(s[0] for s in steps), math.fsum(s[1] for s in steps)
    walked = math.fsum(s.length_m for s in taped.sides)
    off = math.hypot(off_x, off_y)
    if off > WORST_CLOSURE * walked:
        raise InputError(
            f"the legs miss their start by {off:.2f} m in {walked:.1f} m walked.",
            where=name,
            do="Tape the longest leg again; a whole leg or its direction is wrong.",
        )
    x, y = taped.corner_m
    points = [(x, y)]
    for (dx, dy), side in zip(steps[:-1], taped.sides[:-1], strict=True):
        share = side.length_m / walked
        x, y = x + dx - off_x * share, y + dy - off_y * share
        points.append((x, y))
    said: tuple[Message, ...] = ()
    if off > 1e-4:
        said = (
            Message(
                id="deck.misclosure",
                values={
                    "zone": name,
                    "off_m": round(off, 4),
                    "off_ft": round(off / 0.3048, 3),
                    "ratio": round(walked / off),
                },
            ),
        )
    return TapedOutline(outline=Polygon(points), misclosure_m=off, walked_m=walked, messages=said)


def _by_diagonals(taped: Taped, name: str) -> TapedOutline:
    sides = [s.length_m for s in taped.sides]
    count = len(sides)
    if count < 3:
        raise InputError("a figure needs three sides or more.", where=name, do="Add the others.")
    known = {(i, (i + 1) % count): sides[i] for i in range(count)}
    known |= {(j, i): d for (i, j), d in known.items()}
    for a, b, length in taped.diagonals_m:
        if not (1 <= a <= count and 1 <= b <= count and a != b):
            raise InputError(
                f"there is no diagonal from corner {a} to {b} in {count} corners.",
                where=name,
                do="Count the corners from 1, in the order of the sides.",
            )
        known[a - 1, b - 1] = known[b - 1, a - 1] = length
    places: dict[int, tuple[float, float]] = {0: (0.0, 0.0), 1: (sides[0], 0.0)}
    left = set(range(2, count))
    while left:
        for k in sorted(left):
            seen = [i for i in sorted(places) if (i, k) in known]
            if len(seen) >= 2:
                a, b = seen[0], seen[-1]
                places[k] = _corner(
                    places[a],
                    places[b],
                    known[a, k],
                    known[b, k],
                    side=-1.0 if a < k < b else 1.0,  # corners run counter-clockwise
                    name=name,
                )
                left.remove(k)
                break
        else:
            need = count - 3
            raise InputError(
                f"{count} sides with {len(taped.diagonals_m)} diagonals do not fix a figure.",
                where=name,
                do=f"Tape {need} diagonal{'s' if need > 1 else ''} from the first corner.",
            )
    said = []
    for a, b, length in taped.diagonals_m:
        drawn = math.dist(places[a - 1], places[b - 1])
        if abs(drawn / length - 1) > DIAGONAL_OFF:
            said.append(
                Message(
                    id="deck.diagonal-off",
                    values={
                        "zone": name,
                        "from": a,
                        "to": b,
                        "taped_m": round(length, 3),
                        "follows_m": round(drawn, 3),
                    },
                )
            )
    x0, y0 = taped.corner_m
    outline = Polygon([(x0 + places[i][0], y0 + places[i][1]) for i in range(count)])
    return TapedOutline(
        outline=outline, misclosure_m=0.0, walked_m=math.fsum(sides), messages=tuple(said)
    )


def _corner(
    a: tuple[float, float],
    b: tuple[float, float],
    from_a: float,
    from_b: float,
    *,
    side: float,
    name: str,
) -> tuple[float, float]:
    """The corner at given distances from two others; ``side`` above 0 is to the left of
    the way from a to b."""
    base = math.dist(a, b)
    along = (from_a**2 - from_b**2 + base**2) / (2 * base)
    square = from_a**2 - along**2
    if square <= 0:
        raise InputError(
            f"{base:.3f}, {from_a:.3f} and {from_b:.3f} m do not close a triangle.",
            where=name,
            do="Measure the longest of them again.",
        )
    up = math.copysign(math.sqrt(square), side)
    ex, ey = (b[0] - a[0]) / base, (b[1] - a[1]) / base
    return (a[0] + along * ex - up * ey, a[1] + along * ey + up * ex)


def _by_offsets(taped: Taped, name: str) -> TapedOutline:
    rows = taped.offsets_m
    if len(rows) < 2 or any(b[0] < a[0] for a, b in pairwise(rows)):
        raise InputError(
            "offsets need two or more places in order along the base line.",
            where=name,
            do="Walk the base line once, from its start.",
        )
    if not any(y for _, y in rows):
        raise InputError(
            "offsets of nothing enclose nothing.", where=name, do="Tape to the far edge."
        )
    x0, y0 = taped.corner_m
    points = [(x0 + x, y0 + y) for x, y in rows]
    feet = [(x0 + rows[-1][0], y0), (x0 + rows[0][0], y0)]
    ring = [*points, *(f for f, p in zip(feet, (rows[-1], rows[0]), strict=True) if p[1] != 0)]
    return TapedOutline(
        outline=Polygon(ring),
        misclosure_m=0.0,
        walked_m=math.fsum(math.dist(p, q) for p, q in pairwise(points)),
    )
