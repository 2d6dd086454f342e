"""The film over a whole deck: every section in its outline, hatched where it was judged.

A section is a link to its own map. Names, dots and rings keep their size on the screen at
any zoom (``steady``); of the words of one section ``film.js`` shows those that find room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from tackfree.sheets import look
from tackfree.sheets.evidence_map import (
    FilmMap,
    ground,
    paint,
    patterns,
    plan_body,
    reading_mark,
    ring,
    thin_mark,
)
from tackfree.sheets.svg import Box, Frame, Pen, document, esc, num, path_d

PREFIX = "tf-film"
EDGE = 12.0
SCREEN_PX = 16.0  # type on a page


@dataclass(frozen=True, kw_only=True)
class DeckPart:
    """A section of the deck; ``picture`` is None where nothing is judged."""

    id: str
    short: str
    floor: BaseGeometry
    word: str
    href: str
    picture: FilmMap | None = None


def film_deck_svg(
    parts: Sequence[DeckPart], *, title: str, palette: str = "day", width: float = 960.0
) -> str:
    """The deck as SVG for a page; the same bytes for the same arguments."""
    pen = Pen(look.PALETTES[palette], PREFIX)
    x0, y0, x1, y1 = shapely.total_bounds([p.floor for p in parts]).tolist()
    px = (width - 2 * EDGE) / max(x1 - x0, 1e-6)
    height = (y1 - y0) * px + 2 * EDGE
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=px, left=EDGE, top=EDGE)
    body = [pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))]
    tags = []
    for p in parts:
        outline = path_d(p.floor, frame)
        inside = [f'<path class="ground-of" d="{outline}"/>']
        if p.picture is not None:
            inside += [f'<g class="hatch">{"".join(ground(p.picture, frame, pen))}']
            inside += [
                f'<path d="{path_d(c.shape, frame)}" {pen.stroke("line", look.THIN)}/>'
                for c in p.picture.cells
            ]
            inside += [
                steady(r.x_m, r.y_m, frame, reading_mark(r, 0, 0, pen, 1.2), "dot")
                for r in p.picture.readings
            ]
            inside.append("</g>")
        weight = look.HEAVY if p.picture is not None else look.MEDIUM
        inside.append(f'<path class="hatch" d="{outline}" {outline_of(pen, weight)}/>')
        said = f"{p.id}: {p.word}"
        body.append(
            f'<g class="sec" id="sec-{esc(p.id)}"><a href="{esc(p.href)}" '
            f'aria-label="{esc(said)}"><title>{esc(said)}</title>{"".join(inside)}</a></g>'
        )
        tags.append(tag(p.floor, p.short, p.word, frame))
    desc = "; ".join(f"{p.id}: {p.word}" for p in parts)
    return document(
        [*body, *tags], width=width, height=height, title=title, desc=desc, prefix=PREFIX,
        defs=patterns(pen),
    )  # fmt: skip


def outline_of(pen: Pen, weight: float) -> str:
    """A stroke of ink beside a class of the page's own."""
    return f'fill="none" stroke="{pen.palette["ink"]}" stroke-width="{num(weight)}"'


def tag(floor: BaseGeometry, name: str, word: str, frame: Frame) -> str:
    """Name and word in the middle of the section's first part; turned where it is narrow."""
    first = max(getattr(floor, "geoms", [floor]), key=lambda g: g.area)
    x0, y0, x1, y1 = first.bounds
    wide, high = (x1 - x0) * frame.px_per_m, (y1 - y0) * frame.px_per_m
    spot = first.centroid
    if not first.buffer(-0.5).contains(spot):
        spot = first.representative_point()
    x, y = map(num, frame.at(spot.x, spot.y))
    turned = high > 1.5 * wide
    place = 'dx=".5em"' if turned else f'x="{x}" dy="1.25em"'
    turn = f' transform="rotate(-90 {x} {y})"' if turned else ""
    return (
        f'<text class="{"tag turned" if turned else "tag"}" x="{x}" y="{y}" '
        f'font-size="{SCREEN_PX:g}" text-anchor="middle" aria-hidden="true" '
        f'data-wide="{num(wide)}" data-high="{num(high)}"{turn}>'
        f'<tspan class="tag-id">{esc(name)}</tspan>'
        f'<tspan class="tag-word" {place}>{esc(word)}</tspan></text>'
    )


def section_svg(m: FilmMap, *, title: str, palette: str = "print", width: float = 460.0) -> str:
    """One section alone on paper: cells, readings, patches and rings where to read next."""
    pen = Pen(look.PALETTES[palette], PREFIX)
    frame, size = _framed(m, width)
    return _section(plan_body(m, frame, pen, 14.0), m, pen, size, title)


def section_page_svg(m: FilmMap, *, title: str, width: float = 460.0) -> str:
    """The same for a page; its words are all there, and placed by the room on the screen."""
    pen = Pen(look.DAY, PREFIX)
    frame, size = _framed(m, width)
    body = [
        *ground(m, frame, pen),
        *(f'<path d="{path_d(c.shape, frame)}" {pen.stroke("line", look.THIN)}/>' for c in m.cells),
        *(
            f'<path d="{path_d(p.shape, frame)}" {pen.stroke("ink", look.MEDIUM)}/>'
            for p in m.patches
        ),
        f'<path d="{path_d(m.floor, frame)}" {pen.stroke("ink", look.HEAVY)}/>',
        *(steady(r.x_m, r.y_m, frame, reading_mark(r, 0, 0, pen, 3.5), "dot") for r in m.readings),
    ]
    body += [
        steady(r.x_m, r.y_m, frame, thin_mark(pen, 0, 0, 0.5 * SCREEN_PX), "dot") for r in m.thin
    ]
    for p in m.patches[:-1] or m.patches:  # the last is the whole
        body.append(name_of(p.shape, f"{p.id} {p.word}", frame, pen))
    body += [word(r.x_m, r.y_m, r.text, "thin", frame, pen) for r in m.thin]
    body += [word(r.x_m, r.y_m, r.text, "reading", frame, pen) for r in m.readings]
    for c in m.cells:
        at = c.shape.representative_point()
        body.append(word(at.x, at.y, c.text, "cell", frame, pen))
    for k, (x, y) in enumerate(m.next_m, 1):
        body.append(steady(x, y, frame, ring(pen, 0, 0, str(k), SCREEN_PX), "ring"))
    return _section(body, m, pen, size, title)


def _framed(m: FilmMap, width: float) -> tuple[Frame, tuple[float, float]]:
    """Frame, width and height of one section's drawing."""
    t = 14.0
    x0, y0, x1, y1 = m.floor.bounds
    px = min((width - 4 * t) / max(x1 - x0, 1e-6), 1100.0 / max(y1 - y0, 1e-6))
    across, down = (x1 - x0) * px, (y1 - y0) * px
    width = max(across + 10 * t, 0.4 * down)
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=px, left=(width - across) / 2, top=t)
    return frame, (width, down + 2 * t)


def _section(
    body: Sequence[str], m: FilmMap, pen: Pen, size: tuple[float, float], title: str
) -> str:
    desc = "; ".join(f"{p.id}: {p.word}" for p in m.patches)
    sheet = pen.rect(Box(x=0, y=0, w=size[0], h=size[1]), pen.fill("paper"))
    return document(
        [sheet, *body], width=size[0], height=size[1], title=title, desc=desc, prefix=PREFIX,
        defs=patterns(pen),
    )  # fmt: skip


def steady(x_m: float, y_m: float, frame: Frame, inside: str, kind: str) -> str:
    """A mark around a place; it keeps its size on the screen."""
    x, y = map(num, frame.at(x_m, y_m))
    return f'<g class="{kind}" transform="translate({x} {y})"><g class="steady">{inside}</g></g>'


def name_of(shape: BaseGeometry, text: str, frame: Frame, pen: Pen) -> str:
    """The name of a part, to stand inside it or beside its top; ``data-high`` is its height."""
    _, y0, _, y1 = shape.bounds
    group = word(*_top_left(shape), text, "patch", frame, pen)
    return group.replace("<g ", f'<g data-high="{num((y1 - y0) * frame.px_per_m)}" ', 1)


def _top_left(shape: BaseGeometry) -> tuple[float, float]:
    """The highest corner of a shape, of those the leftmost. [m]"""
    corners = shapely.get_coordinates(shape).round(3)
    x, y = min(corners.tolist(), key=lambda c: (-c[1], c[0]))
    return x, y


def word(x_m: float, y_m: float, text: str, kind: str, frame: Frame, pen: Pen) -> str:
    role = "ink-2" if kind == "cell" else "ink"
    inside = pen.text(0, 0, text, SCREEN_PX, role=role, bold=kind in ("patch", "thin"), halo=True)
    return steady(x_m, y_m, frame, inside, f"lab {kind}")


def key_svg(name: str, *, palette: str = "day") -> str:
    """One square of the key: the hatch of a class of chance, on the drawing's paper."""
    pen = Pen(look.PALETTES[palette], PREFIX)
    square = Box(x=1, y=1, w=34, h=20)
    inside = [pen.rect(square, one) for one in (pen.fill("paper"), *paint(pen, name))]
    inside.append(pen.rect(square, pen.stroke("ink", look.MEDIUM)))
    return (
        f'<svg class="swatch" viewBox="0 0 36 22" width="36" height="22" aria-hidden="true">'
        f"{''.join(inside)}</svg>"
    )
