"""The film over a whole deck: every section in its outline, hatched where it was judged.

A section is a link to its own map. Its name keeps its size on the screen at any zoom, as
on the other deck drawings of the pages.
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
)
from tackfree.sheets.svg import Box, Frame, Pen, document, esc, num, path_d

PREFIX = "tf-film"
EDGE = 12.0


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
            for r in p.picture.readings:
                inside.append(reading_mark(r, *frame.at(r.x_m, r.y_m), pen, 2.0))
            inside.append("</g>")
        weight = look.HEAVY if p.picture is not None else look.MEDIUM
        inside.append(f'<path class="hatch" d="{outline}" {_line(pen, weight)}/>')
        said = f"{p.id}: {p.word}"
        body.append(
            f'<g class="sec" id="sec-{esc(p.id)}"><a href="{esc(p.href)}" '
            f'aria-label="{esc(said)}"><title>{esc(said)}</title>{"".join(inside)}</a></g>'
        )
        tags.append(_tag(p, frame))
    desc = "; ".join(f"{p.id}: {p.word}" for p in parts)
    return document(
        [*body, *tags], width=width, height=height, title=title, desc=desc, prefix=PREFIX,
        defs=patterns(pen),
    )  # fmt: skip


def _line(pen: Pen, weight: float) -> str:
    """A stroke of ink beside a class of the page's own."""
    return f'fill="none" stroke="{pen.palette["ink"]}" stroke-width="{num(weight)}"'


def _tag(p: DeckPart, frame: Frame) -> str:
    """Name and word in the middle of the section's first part; turned where it is narrow."""
    first = max(getattr(p.floor, "geoms", [p.floor]), key=lambda g: g.area)
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
        f'<text class="{"tag turned" if turned else "tag"}" x="{x}" y="{y}" font-size="16" '
        f'text-anchor="middle" aria-hidden="true" data-wide="{num(wide)}" '
        f'data-high="{num(high)}"{turn}><tspan class="tag-id">{esc(p.short)}</tspan>'
        f'<tspan class="tag-word" {place}>{esc(p.word)}</tspan></text>'
    )


def section_svg(m: FilmMap, *, title: str, palette: str = "day", width: float = 460.0) -> str:
    """One section alone, with cells, readings, patches and rings where to read next."""
    pen = Pen(look.PALETTES[palette], PREFIX)
    t = 14.0
    x0, y0, x1, y1 = m.floor.bounds
    px = min((width - 4 * t) / max(x1 - x0, 1e-6), 1100.0 / max(y1 - y0, 1e-6))
    across, down = (x1 - x0) * px, (y1 - y0) * px
    width = max(across + 10 * t, 0.4 * down)
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=px, left=(width - across) / 2, top=t)
    height = down + 2 * t
    body = [pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))]
    body += plan_body(m, frame, pen, t)
    desc = "; ".join(f"{p.id}: {p.word}" for p in m.patches)
    return document(
        body, width=width, height=height, title=title, desc=desc, prefix=PREFIX,
        defs=patterns(pen),
    )  # fmt: skip


def key_svg(name: str, *, palette: str = "day") -> str:
    """One square of the key: the hatch of a class of chance."""
    pen = Pen(look.PALETTES[palette], PREFIX)
    square = Box(x=1, y=1, w=34, h=20)
    inside = [pen.rect(square, one) for one in paint(pen, name)]
    inside.append(pen.rect(square, pen.stroke("ink", look.MEDIUM)))
    return (
        f'<svg class="swatch" viewBox="0 0 36 22" width="36" height="22" aria-hidden="true">'
        f"{''.join(inside)}</svg>"
    )
