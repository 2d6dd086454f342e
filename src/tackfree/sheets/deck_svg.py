"""A deck as a site drawing: outlines, features, sections, words and hatch.

The drawing is in px with y down; ``data-x0-m``, ``data-y1-m``, ``data-px-per-m``,
``data-left`` and ``data-top`` on the root tell a page how to place metres on it.
Section groups have the id ``sec-<id>``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from shapely import LineString, Point, Polygon, unary_union
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Deck, Feature, FeatureKind, PostTensioned, Section
from tackfree.sheets import look
from tackfree.sheets.labels import Label, place_labels
from tackfree.sheets.svg import (
    Box,
    Frame,
    Pen,
    document,
    esc,
    fit,
    num,
    path_d,
    text_width,
    word_box,
)

FT = 0.3048
ROUTED_FROM_M = 0.0015875  # 1/16 in: a wider crack is drawn solid
SHALLOW = 8.0  # ems; below a shallower deck there is room left for words
STACK_BELOW = 36.0  # ems; a narrower drawing puts its corner block under the scale bar


@dataclass(frozen=True, kw_only=True)
class Corner:
    """The corner block of a drawing: what, which revision, for whom."""

    title: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class DeckWords:
    """The words a drawing carries; a caller gives them in its language."""

    post_tensioned: str = ""
    up: str = "up"
    entrance: str = "in"
    exit: str = "out"
    north: str = "N"


def deck_svg(
    deck: Deck,
    sections: Sequence[Section] = (),
    *,
    corner: Corner | None = None,
    shade: Mapping[str, str] | None = None,
    labels: Mapping[str, Sequence[str]] | None = None,
    numbers: Mapping[str, int] | None = None,
    arrows: bool = True,
    highlight: Sequence[str] = (),
    tappable: bool = False,
    palette: str = "day",
    width: float = 960.0,
    type_px: float = 16.0,
    north_deg: float | None = None,
    foot: str = "block",
    words: DeckWords | None = None,
) -> str:
    """One deck in its drawing frame, as SVG text.

    Parameters
    ----------
    deck : Deck
        Zones and features. [m]
    sections : sequence of Section
        Drawn with heavy outline and id; those of other decks are left out.
    corner : Corner, optional
        Corner block; without one the deck's name stands there.
    shade : mapping section id -> word of ``look.HATCH``
    labels : mapping section id -> lines under the id
    numbers : mapping section id -> order
    arrows : join 1, 2, 3 … by arrows
    highlight : section ids with the accent's ground
    tappable : give section groups ``tabindex`` and ``role="button"``
    palette : "day", "night" or "print"
    width : drawing width [px]; the height follows from the deck
    type_px : size of type [px]; text that finds no room is dropped, never
        shrunk
    north_deg : where north lies, degrees clockwise from the drawing's up; no
        arrow is drawn where it is not known
    foot : "block" for scale bar and corner block, "scale" for the bar alone
        (the sheet around the drawing says the rest)

    Returns
    -------
    str
        The same bytes for the same arguments.
    """
    say = words or DeckWords()
    prefix = f"tf-{_slug(deck.id)}"
    pen = Pen(look.PALETTES[palette], prefix)
    mine = [s for s in sections if s.deck_id == deck.id]
    shade = shade or {}
    lines = len(_corner_lines(deck, corner, say)) if foot == "block" else 0
    frame, page, bounds = _frame(deck, mine, width, type_px, lines)

    body = [pen.rect(Box(x=0, y=0, w=width, h=page.h), pen.fill("paper"))]
    body += _zones(deck, frame, pen)
    reserved: list[Box] = []
    body += _under(deck, frame, pen, say, type_px, reserved)
    for section in mine:
        body += _section(
            section, frame, pen, shade.get(section.id, "go"), section.id in highlight, tappable
        )
    body += _over(deck, frame, pen)

    gates = _gates(deck, frame, pen, say, type_px, reserved)
    placed, room = place_labels(
        [
            Label(
                key=s.id,
                parts=tuple(_to_px(p, frame) for p in s.floor.geoms),
                head=s.id,
                lines=tuple((labels or {}).get(s.id, ())),
                number=(numbers or {}).get(s.id),
            )
            for s in mine
        ],
        obstacles=[_to_px(f.geometry.buffer(0.01), frame) for f in deck.features if _blocks(f)],
        page=Box(
            x=bounds.x,
            y=bounds.y,
            w=bounds.w,
            h=bounds.h + (1.0 + _skirt(bounds, type_px)) * type_px,
        ),
        size=type_px,
        taken=reserved,
    )
    body += _stall_numbers(deck, frame, pen, type_px, room)
    if arrows:
        body += _order([p for p in placed if p.number is not None], pen)
    for label in placed:
        body += label.draw(pen)
    body += _dimensions(frame, pen, bounds, type_px)
    body += gates
    body += _scale_and_north(frame, pen, say, page, bounds, type_px, north_deg)
    if foot == "block":
        body += _corner_block(deck, corner, pen, say, page, bounds, type_px)
    return document(
        body,
        width=width,
        height=page.h,
        title=f"{deck.id} {deck.name}".strip(),
        desc=_describe(deck, mine, shade),
        prefix=prefix,
        defs=pen.hatches(shade.get(s.id, "go") for s in mine),
        data={
            "x0-m": num(frame.x0_m),
            "y1-m": num(frame.y1_m),
            "px-per-m": f"{frame.px_per_m:.5f}",
            "left": num(frame.left),
            "top": num(frame.top),
        },
    )


def plan_svg(
    deck: Deck,
    sections: Sequence[Section],
    *,
    order: Sequence[str],
    dates: Mapping[str, Sequence[str]],
    corner: Corner | None = None,
    palette: str = "day",
    width: float = 960.0,
    type_px: float = 16.0,
) -> str:
    """The deck with the order of sections and the dates of each.

    ``order`` lists section ids as the plan starts them (ids of other decks are
    passed over); ``dates`` gives the lines under each id, "closed … to …".
    """
    mine = {s.id for s in sections if s.deck_id == deck.id}
    ordered = [i for i in order if i in mine]
    return deck_svg(
        deck,
        sections,
        corner=corner,
        labels=dates,
        numbers={name: k for k, name in enumerate(ordered, start=1)},
        arrows=False,  # weeks apart: they would cross the whole deck
        palette=palette,
        width=width,
        type_px=type_px,
    )


def deck_height(
    deck: Deck, sections: Sequence[Section] = (), *, width: float, type_px: float = 16.0
) -> float:
    """Height that :func:`deck_svg` takes with ``foot="scale"``, without drawing. [px]"""
    mine = [s for s in sections if s.deck_id == deck.id]
    return _frame(deck, mine, width, type_px, 0)[1].h


def _slug(name: str) -> str:
    return "".join(ch.lower() if ch.isalnum() else "-" for ch in name) or "deck"


def _frame(
    deck: Deck, sections: Sequence[Section], width: float, type_px: float, lines: int
) -> tuple[Frame, Box, Box]:
    """Scale, page and where the deck lies on it."""
    shapes: list[BaseGeometry] = [z.outline for z in deck.zones] or [s.floor for s in sections]
    if not shapes:
        shapes = [f.geometry for f in deck.features]
    whole = unary_union(shapes)
    if whole.is_empty:
        x0, y0, x1, y1 = 0.0, 0.0, 1.0, 1.0
    else:
        x0, y0, x1, y1 = whole.bounds
    left, right, top = 3.2 * type_px, 1.6 * type_px, 2.9 * type_px
    scale = (width - left - right) / max(x1 - x0, 1e-6)
    bounds = Box(x=left, y=top, w=(x1 - x0) * scale, h=(y1 - y0) * scale)
    foot = max(5.0, 2.6 + 1.25 * lines)
    if not lines:
        foot = 4.2
    elif width < STACK_BELOW * type_px:
        foot = 6.8 + 1.25 * lines
    page = Box(x=0, y=0, w=width, h=top + bounds.h + (foot + _skirt(bounds, type_px)) * type_px)
    return Frame(x0_m=x0, y1_m=y1, px_per_m=scale, left=left, top=top), page, bounds


def _skirt(bounds: Box, type_px: float) -> float:
    """Room below a shallow deck for the words of its sections. [em]"""
    return 3.4 if bounds.h < SHALLOW * type_px else 0.0


def _below(bounds: Box, type_px: float) -> float:
    return bounds.y + bounds.h + _skirt(bounds, type_px) * type_px


@lru_cache(maxsize=8192)
def _to_px(geometry: BaseGeometry, frame: Frame) -> BaseGeometry:
    k = frame.px_per_m
    dx, dy = frame.left - frame.x0_m * k, frame.top + frame.y1_m * k
    return affine_transform(geometry, [k, 0.0, 0.0, -k, dx, dy])


def _blocks(feature: Feature) -> bool:
    return feature.kind in (FeatureKind.COLUMN, FeatureKind.OPENING, FeatureKind.DRAIN)


def _zones(deck: Deck, frame: Frame, pen: Pen) -> list[str]:
    return [
        f'<path id="zone-{esc(z.id)}" d="{path_d(z.outline, frame)}" fill-rule="evenodd" '
        f"{pen.stroke('line', look.MEDIUM, fill='paper')}/>"
        for z in deck.zones
    ]


def _under(
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
    shape = _to_px(feature.geometry, frame)
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
    out += _arrow(
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


def _arrow(
    pen: Pen, x1: float, y1: float, x2: float, y2: float, role: str, width: float
) -> list[str]:
    size = 6.0 * max(width, 1.4)
    length = math.hypot(x2 - x1, y2 - y1)
    if length < size:
        return []
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    bx, by = x2 - ux * size, y2 - uy * size
    points = [(x2, y2), (bx - uy * size * 0.45, by + ux * size * 0.45),
              (bx + uy * size * 0.45, by - ux * size * 0.45)]  # fmt: skip
    head = " ".join(f"{num(x)},{num(y)}" for x, y in points)
    return [
        pen.line(x1, y1, bx, by, role, width),
        f'<polygon points="{head}" {pen.fill(role)}/>',
    ]


def _section(
    section: Section, frame: Frame, pen: Pen, word: str, highlighted: bool, tappable: bool
) -> list[str]:
    d = path_d(section.floor, frame)
    tap = f' tabindex="0" role="button" aria-label="{esc(section.id)}"' if tappable else ""
    out = [f'<g id="sec-{esc(section.id)}" class="sec state-{word}"{tap}>']
    if highlighted:
        out.append(f'<path d="{d}" fill-rule="evenodd" {pen.fill("accent-ground")}/>')
    if look.HATCH.get(word, 0):
        out.append(f'<path d="{d}" fill-rule="evenodd" {pen.hatched(word)}/>')
    catch = "" if not tappable else ' pointer-events="all"'
    out.append(
        f'<path d="{d}" fill-rule="evenodd" {pen.stroke("ink", look.HEAVY)} '
        f'stroke-linejoin="miter"{catch}/>'
    )
    out.append("</g>")
    return out


def _over(deck: Deck, frame: Frame, pen: Pen) -> list[str]:
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


def _stall_numbers(deck: Deck, frame: Frame, pen: Pen, size: float, room: list[Box]) -> list[str]:
    """Painted numbers: across the stall, else along it, else not at all."""
    out = []
    solid = unary_union([_to_px(f.geometry, frame) for f in deck.features if _blocks(f)])
    for f in deck.features:
        if f.kind is not FeatureKind.STALL or not f.label or not f.geometry.area:
            continue
        x0, y0, x1, y1 = _to_px(f.geometry, frame).bounds
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


def _order(placed: Sequence[Label], pen: Pen) -> list[str]:
    """Arrows from each numbered section to the next."""
    steps = sorted(placed, key=lambda p: p.number or 0)
    out = []
    for a, b in pairwise(steps):
        (xa, ya), (xb, yb) = a.centre, b.centre
        way = LineString([(xa, ya), (xb, yb)])
        clear = way.difference(
            unary_union([p.box.grown(5).polygon() for p in placed if p.box is not None])
        )
        pieces = [g for g in getattr(clear, "geoms", [clear]) if g.length > 12]
        for k, piece in enumerate(pieces):
            (x1, y1), (x2, y2) = piece.coords[0], piece.coords[-1]
            if Point(x1, y1).distance(Point(xa, ya)) > Point(x2, y2).distance(Point(xa, ya)):
                x1, y1, x2, y2 = x2, y2, x1, y1
            if k == len(pieces) - 1:
                out += _arrow(pen, x1, y1, x2, y2, "accent", 1.8)
            else:
                out.append(pen.line(x1, y1, x2, y2, "accent", 1.8))
    return out


def _dimensions(frame: Frame, pen: Pen, bounds: Box, type_px: float) -> list[str]:
    """Overall width above and height at the left, in feet and metres."""
    out = []
    x0, x1, y0, y1 = bounds.x, bounds.x + bounds.w, bounds.y, bounds.y + bounds.h
    y, x, tick = y0 - 0.9 * type_px, x0 - 0.9 * type_px, 0.3 * type_px
    out += [
        pen.line(x0, y, x1, y, "ink-2", look.THIN),
        pen.line(x, y0, x, y1, "ink-2", look.THIN),
    ]
    for a, b in ((x0, y), (x1, y), (x, y0), (x, y1)):
        out.append(pen.line(a - tick, b + tick, a + tick, b - tick, "ink", look.MEDIUM))
    across, down = (_both(v / frame.px_per_m) for v in (bounds.w, bounds.h))
    if text_width(across, type_px) <= bounds.w:
        out.append(pen.text((x0 + x1) / 2, y - 0.4 * type_px, across, type_px, anchor="middle"))
    if text_width(down, type_px) <= bounds.h:
        out.append(
            pen.text(x - 0.4 * type_px, (y0 + y1) / 2, down, type_px, anchor="middle", turn=-90)
        )
    return out


def _both(metres: float) -> str:
    return f"{metres / FT:.0f} ft · {metres:.1f} m"


def _gates(
    deck: Deck, frame: Frame, pen: Pen, say: DeckWords, type_px: float, reserved: list[Box]
) -> list[str]:
    """Entrances and exits: a solid triangle at the edge, and its word."""
    out = []
    whole = unary_union([z.outline for z in deck.zones]) if deck.zones else None
    for f in deck.features:
        if f.kind not in (FeatureKind.ENTRANCE, FeatureKind.EXIT) or whole is None:
            continue
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
        right = spot.x <= centre.x
        at, base = x + (1.1 if right else -1.1) * type_px, y + 0.35 * type_px
        anchor = "start" if right else "end"
        reserved.append(word_box(word, at, base, type_px, anchor).grown(3))
        out.append(
            pen.text(at, base, word, type_px, role="accent", anchor=anchor, bold=True, halo=True)
        )
    return out


def _stacked(page: Box, type_px: float) -> bool:
    return page.w < STACK_BELOW * type_px


def _scale_and_north(
    frame: Frame,
    pen: Pen,
    say: DeckWords,
    page: Box,
    bounds: Box,
    type_px: float,
    north_deg: float | None,
) -> list[str]:
    """Scale bar at the left below the deck, north beside it where it is known."""
    y = _below(bounds, type_px) + 2.4 * type_px
    stacked = _stacked(page, type_px)
    out = _scale_bar(frame, pen, bounds.x, y, (0.62 if stacked else 0.34) * page.w, type_px)
    if north_deg is not None:
        x = page.w - 3.2 * type_px if stacked else bounds.x + 0.40 * page.w
        out += _north(pen, x, y + 0.3 * type_px, type_px, north_deg, say)
    return out


def _corner_block(
    deck: Deck,
    corner: Corner | None,
    pen: Pen,
    say: DeckWords,
    page: Box,
    bounds: Box,
    type_px: float,
) -> list[str]:
    """Title and lines under a heavy rule, at the right or below the scale bar."""
    title, *lines = _corner_lines(deck, corner, say)
    top = _below(bounds, type_px) + 1.4 * type_px
    left, right = bounds.x + 0.46 * page.w, page.w - 0.6 * type_px
    if _stacked(page, type_px):
        left, top = 0.6 * type_px, top + 4.2 * type_px
    big = 1.15 * type_px
    out = [pen.line(left, top, right, top, "ink", look.HEAVY)]
    out.append(pen.text(left, top + 1.35 * type_px, fit(title, big, right - left), big, bold=True))
    for k, line in enumerate(lines):
        base = top + (2.65 + 1.22 * k) * type_px
        out.append(pen.text(left, base, fit(line, type_px, right - left), type_px))
    return out


def _corner_lines(deck: Deck, corner: Corner | None, say: DeckWords) -> list[str]:
    """Title and up to three lines; tendons are always named unless there are none."""
    corner = corner or Corner(title=f"{deck.id} {deck.name}".strip())
    lines = [corner.title, *corner.lines]
    if say.post_tensioned:
        lines.append(say.post_tensioned)
    elif deck.post_tensioned is not PostTensioned.NO:
        lines.append(f"post-tensioned: {deck.post_tensioned.value}")
    return lines[:4]


def _scale_bar(
    frame: Frame, pen: Pen, x: float, y: float, room: float, type_px: float
) -> list[str]:
    """Feet above the line, metres below it, in round steps that fit ``room`` px."""
    out = []
    for unit, metres, above in (("ft", FT, True), ("m", 1.0, False)):
        per = frame.px_per_m * metres
        steps = [s for n in range(0, 4) for s in (1 * 10**n, 2 * 10**n, 5 * 10**n)]
        end = text_width(f" {unit}", type_px) + 4
        fits = [s for s in steps if 2 * s * per + end <= room] or [steps[0]]
        step = fits[-1]
        side = -1 if above else 1
        out.append(pen.line(x, y, x + 2 * step * per, y, "ink", look.MEDIUM))
        solid = Box(x=x, y=y - 5 if above else y, w=step * per, h=5)
        out.append(pen.rect(solid, pen.fill("ink" if above else "ink-2")))
        for k in range(3):
            at = x + k * step * per
            out.append(pen.line(at, y, at, y + side * 8, "ink", look.MEDIUM))
            label = f"{k * step}" + (f" {unit}" if k == 2 else "")
            base = y - 11 if above else y + 11 + 0.75 * type_px
            first = text_width(f"{2 * step}", type_px) / 2
            out.append(
                pen.text(
                    at - (first if k == 2 else 0), base, label, type_px,
                    anchor="start" if k == 2 else "middle" if k else "start",
                )
            )  # fmt: skip
    return out


def _north(
    pen: Pen, x: float, y: float, type_px: float, north_deg: float, say: DeckWords
) -> list[str]:
    a = math.radians(north_deg)
    ux, uy = math.sin(a), -math.cos(a)
    r = 1.5 * type_px
    out = _arrow(pen, x - ux * r, y - uy * r, x + ux * r, y + uy * r, "ink", look.MEDIUM)
    out.append(
        pen.text(x + ux * (r + 0.6 * type_px), y + uy * (r + 0.6 * type_px) + 0.375 * type_px,
                 say.north, type_px, anchor="middle", bold=True)
    )  # fmt: skip
    return out


def _describe(deck: Deck, sections: Sequence[Section], shade: Mapping[str, str]) -> str:
    """What the picture shows, for those who hear it."""
    zones = ", ".join(z.id for z in deck.zones)
    parts = [f"Deck {deck.id} seen from above."]
    if zones:
        parts.append(f"Zones {zones}.")
    if sections:
        told = [
            f"{s.id} ({shade[s.id]})" if shade.get(s.id, "go") != "go" else s.id for s in sections
        ]
        parts.append(f"Sections {', '.join(told)}.")
    return " ".join(parts)
