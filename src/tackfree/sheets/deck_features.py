"""What is drawn on a deck: zones, stalls, ramps, obstacles, lines, gates."""

from __future__ import annotations

import math
from collections.abc import Sequence

from shapely import LineString, Polygon, unary_union
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Deck, Feature, FeatureKind
from tackfree.sheets import look
from tackfree.sheets.deck_frame import DeckWords, arrow, blocks, to_px
from tackfree.sheets.svg import Box, Frame, Pen, esc, num, path_d, text_width, word_box

ROUTED_FROM_M = 0.0015875  # 1/16 in: a wider crack is drawn solid


def zones_drawn(deck: Deck, frame: Frame, pen: Pen) -> list[str]:
    return [
        f'<path id="zone-{esc(z.id)}" d="{path_d(z.outline, frame)}" fill-rule="evenodd" '
        f"{pen.stroke('line', look.MEDIUM, fill='paper')}/>"
        for z in deck.zones
    ]


def under(
    deck: Deck, frame: Frame, pen: Pen, say: DeckWords, type_px: float, reserved: list[Box]
) -> list[str]:
    """What lies under the sections' outlines: stalls, lanes, ramps."""
    out = []
    for f in deck.features:
        if f.kind in (FeatureKind.STALL, FeatureKind.LANE):
            dash = "" if f.kind is FeatureKind.STALL else "14 8"
            out.append(
                f'<path d="{path_d(f.geometry, frame)}" {pen.stroke("line", look.THIN, dash)}/>'
            )
        elif f.kind is FeatureKind.RAMP:
            out += _ramp(f, deck, frame, pen, say, type_px, reserved)
    return out


def _ramp(
    feature: Feature,
    deck: Deck,
    frame: Frame,
    pen: Pen,
    say: DeckWords,
    type_px: float,
    reserved: list[Box],
) -> list[str]:
    """A ramp: thin lines across the fall and an arrow that points up."""
    shape = to_px(feature.geometry, frame)
    up = _uphill(feature, deck)
    box = shape.bounds
    cx, cy = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    reach = math.hypot(box[2] - box[0], box[3] - box[1])
    ux, uy = up
    out = []
    step = max(0.5 * type_px, reach / 60)
    count = int(reach / 2 / step)
    for k in range(-count, count + 1):
        mx, my = cx + ux * k * step, cy + uy * k * step
        rung = LineString(
            [(mx - uy * reach, my + ux * reach), (mx + uy * reach, my - ux * reach)]
        ).intersection(shape)
        for part in getattr(rung, "geoms", [rung]):
            if part.geom_type == "LineString" and not part.is_empty:
                (xa, ya), (xb, yb) = part.coords[0], part.coords[-1]
                out.append(pen.line(xa, ya, xb, yb, "line", look.THIN))
    out.append(f'<path d="{path_d(feature.geometry, frame)}" {pen.stroke("ink", look.MEDIUM)}/>')
    run = shape.intersection(
        LineString([(cx - ux * reach, cy - uy * reach), (cx + ux * reach, cy + uy * reach)])
    ).length
    tail, tip = -0.38 * run, 0.38 * run
    out += arrow(
        pen, cx + ux * tail, cy + uy * tail, cx + ux * tip, cy + uy * tip, "ink", look.MEDIUM
    )
    x, y = cx + ux * tail + 0.5 * type_px, cy + uy * tail - 0.4 * type_px
    reserved.append(word_box(say.up, x, y, type_px))
    out.append(pen.text(x, y, say.up, type_px, halo=True))
    return out


def _uphill(feature: Feature, deck: Deck) -> tuple[float, float]:
    """Unit vector up the slope on the page, from the zone that holds the ramp."""
    centre = feature.geometry.representative_point()
    for zone in deck.zones:
        if zone.outline.covers(centre) and (zone.slope_x or zone.slope_y):
            size = math.hypot(zone.slope_x, zone.slope_y)
            return zone.slope_x / size, -zone.slope_y / size
    x0, y0, x1, y1 = feature.geometry.bounds
    return (1.0, 0.0) if x1 - x0 > y1 - y0 else (0.0, -1.0)


def over(deck: Deck, frame: Frame, pen: Pen) -> list[str]:
    """Features that stand above the sections' hatch."""
    out: list[str] = []
    for f in deck.features:
        d = path_d(f.geometry, frame)
        if f.kind is FeatureKind.COLUMN:
            out.append(f'<path d="{d}" {pen.fill("ink")}/>')
        elif f.kind is FeatureKind.OPENING:
            out.append(f'<path d="{d}" {pen.stroke("ink", look.MEDIUM, fill="paper")}/>')
            out += _crossed(f.geometry, frame, pen)
        elif f.kind is FeatureKind.CRACK:
            wide = f.width_m is not None and f.width_m >= ROUTED_FROM_M
            dash = "" if wide else "2 4" if f.width_m is not None else "8 3 2 3"
            weight = 1.6 if wide else 1.2
            out.append(f'<path d="{d}" {pen.stroke("ink", weight, dash)} stroke-linejoin="round"/>')
        elif f.kind is FeatureKind.JOINT:
            out.append(f'<path d="{d}" {pen.stroke("ink", 4)}/>')
            out.append(f'<path d="{d}" {pen.stroke("paper", 2)}/>')
        elif f.kind is FeatureKind.UPTURN:
            out.append(f'<path d="{d}" {pen.stroke("ink", 3.4, "1.2 5")}/>')
        elif f.kind is FeatureKind.TERMINATION:
            out.append(f'<path d="{d}" {pen.stroke("ink", look.MEDIUM, "10 3 2 3")}/>')
        elif f.kind is FeatureKind.STOP_LINE:
            out.append(f'<path d="{d}" {pen.stroke("accent", look.HEAVY, "12 5")}/>')
        elif f.kind in (FeatureKind.DRAIN, FeatureKind.PENETRATION):
            out += [_round(f, x, y, pen) for x, y in _points(f.geometry, frame)]
    return out


def _crossed(geometry: BaseGeometry, frame: Frame, pen: Pen) -> list[str]:
    """The crossed lines by which drawings mark an opening."""
    out = []
    for part in getattr(geometry, "geoms", [geometry]):
        if not isinstance(part, Polygon):
            continue
        box = part.minimum_rotated_rectangle
        if not isinstance(box, Polygon):
            continue
        c = [frame.at(x, y) for x, y, *_ in box.exterior.coords]
        out.append(pen.line(*c[0], *c[2], "ink", look.THIN))
        out.append(pen.line(*c[1], *c[3], "ink", look.THIN))
    return out


def _points(geometry: BaseGeometry, frame: Frame) -> list[tuple[float, float]]:
    return [frame.at(p.centroid.x, p.centroid.y) for p in getattr(geometry, "geoms", [geometry])]


def _round(feature: Feature, x: float, y: float, pen: Pen) -> str:
    at = f'cx="{num(x)}" cy="{num(y)}"'
    if feature.kind is FeatureKind.PENETRATION:
        return f'<circle {at} r="3" {pen.stroke("ink", look.MEDIUM, fill="paper")}/>'
    r = 5.5
    cross = f"M{num(x - r)} {num(y)}h{num(2 * r)}M{num(x)} {num(y - r)}v{num(2 * r)}"
    return (
        f'<circle {at} r="{num(r)}" {pen.stroke("ink", look.MEDIUM, fill="paper")}/>'
        f'<path d="{cross}" {pen.stroke("ink", look.THIN)}/>'
    )


def stall_numbers(deck: Deck, frame: Frame, pen: Pen, size: float, room: list[Box]) -> list[str]:
    """Painted numbers: across the stall, else along it, else not at all."""
    out = []
    solid = unary_union([to_px(f.geometry, frame) for f in deck.features if blocks(f)])
    for f in deck.features:
        if f.kind is not FeatureKind.STALL or not f.label or not f.geometry.area:
            continue
        x0, y0, x1, y1 = to_px(f.geometry, frame).bounds
        w, h = text_width(f.label, size), size * 0.75
        cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
        if w + 4 <= x1 - x0 and h + 4 <= y1 - y0:
            box = Box(x=cx - w / 2, y=cy - h / 2, w=w, h=h)
            turn, x, y = 0.0, cx, cy + h / 2
        elif w + 4 <= y1 - y0 and h + 4 <= x1 - x0:
            box = Box(x=cx - h / 2, y=cy - w / 2, w=h, h=w)
            turn, x, y = -90.0, cx + h / 2, cy
        else:
            continue
        if any(box.meets(b) for b in room):
            continue
        if solid.intersects(box.polygon()):
            continue
        out.append(
            pen.text(x, y, f.label, size, role="ink-2", anchor="middle", turn=turn, halo=True)
        )
    return out


def gates_drawn(
    deck: Deck, frame: Frame, pen: Pen, say: DeckWords, type_px: float, reserved: list[Box]
) -> list[str]:
    """Entrances and exits: a solid triangle at the edge, and its word."""
    out = []
    gates = [f for f in deck.features if f.kind in (FeatureKind.ENTRANCE, FeatureKind.EXIT)]
    taken = [
        Box(x=x - 0.55 * type_px, y=y - 0.55 * type_px, w=1.1 * type_px, h=1.1 * type_px)
        for x, y in (frame.at(f.geometry.centroid.x, f.geometry.centroid.y) for f in gates)
    ]
    whole = unary_union([z.outline for z in deck.zones])
    for f in gates if deck.zones else ():
        spot = f.geometry.centroid
        centre = whole.centroid
        size = 0.55 * type_px
        x, y = frame.at(spot.x, spot.y)
        x0, y0, x1, y1 = whole.bounds
        # the side of the deck the gate is on gives the way in
        west, east = spot.x - x0, x1 - spot.x
        north, south = y1 - spot.y, spot.y - y0
        gaps = {(1, 0): west, (-1, 0): east, (0, -1): south, (0, 1): north}
        ux, uy = min(gaps, key=lambda k: (abs(gaps[k]), k))
        if f.kind is FeatureKind.EXIT:
            ux, uy = -ux, -uy
        bx, by = x - ux * size, y - uy * size
        points = [
            (x + ux * size, y + uy * size),
            (bx - uy * size, by + ux * size),
            (bx + uy * size, by - ux * size),
        ]
        out.append(
            f'<polygon points="{" ".join(f"{num(a)},{num(b)}" for a, b in points)}" '
            f"{pen.fill('accent')}/>"
        )
        word = say.entrance if f.kind is FeatureKind.ENTRANCE else say.exit
        at, base, anchor, box = _gate_word(word, x, y, type_px, spot.x <= centre.x, taken)
        taken.append(box)
        reserved.append(box.grown(3))
        out.append(
            pen.text(at, base, word, type_px, role="accent", anchor=anchor, bold=True, halo=True)
        )
    return out


def _gate_word(
    word: str, x: float, y: float, type_px: float, right: bool, taken: Sequence[Box]
) -> tuple[float, float, str, Box]:
    """Place of a gate's word: beside it toward the deck, else on its other side, else a
    line higher or lower; two gates close together keep their words apart."""
    found = []
    for lines in (0.0, -1.2, 1.2):
        for inward in (right, not right):
            at = x + (1.1 if inward else -1.1) * type_px
            base = y + (0.35 + lines) * type_px
            anchor = "start" if inward else "end"
            box = word_box(word, at, base, type_px, anchor)
            found.append((at, base, anchor, box))
    free = [f for f in found if not any(f[3].grown(2).meets(b) for b in taken)]
    return (free or found)[0]


def changes_drawn(
    came: Sequence[BaseGeometry], went: Sequence[BaseGeometry], frame: Frame, pen: Pen, size: float
) -> list[str]:
    """What one revision added, heavy with a plus, and removed, dashed with a minus."""
    out = []
    for shapes, sign, dash in ((went, "−", "6 4"), (came, "+", "")):
        for shape in shapes:
            flat = shape.geom_type in ("Point", "MultiPoint")
            shape = shape.buffer(0.7 * size / frame.px_per_m) if flat else shape
            d = path_d(shape, frame)
            out.append(f'<path d="{d}" {pen.stroke("accent", look.HEAVY, dash)}/>')
            x, y = frame.at(shape.bounds[2], shape.bounds[3])
            out.append(pen.text(x + 3, y - 3, sign, size, role="accent", bold=True, halo=True))
    return out
