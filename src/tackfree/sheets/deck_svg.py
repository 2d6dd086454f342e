"""A deck as a site drawing: outlines, features, sections, words and hatch.

The drawing is in px with y down; ``data-x0-m``, ``data-y1-m``, ``data-px-per-m``,
``data-left`` and ``data-top`` on the root tell a page how to place metres on it.
Section groups have the id ``sec-<id>``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from shapely import LineString, Point, unary_union
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Deck, Section
from tackfree.sheets import look
from tackfree.sheets.deck_features import (
    changes_drawn,
    gates_drawn,
    over,
    stall_numbers,
    under,
    zones_drawn,
)
from tackfree.sheets.deck_foot import corner_block, corner_lines, dimensions, scale_and_north
from tackfree.sheets.deck_frame import Corner, DeckWords, arrow, blocks, frame_of, skirt, to_px
from tackfree.sheets.labels import Label, place_labels
from tackfree.sheets.svg import Box, Frame, Pen, document, esc, num, path_d

__all__ = ["Corner", "DeckWords", "deck_height", "deck_svg", "plan_svg"]


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
    came: Sequence[BaseGeometry] = (),
    went: Sequence[BaseGeometry] = (),
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
    came, went : shapes that a revision added or removed, drawn over the rest [m]
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
    lines = len(corner_lines(deck, corner, say)) if foot == "block" else 0
    frame, page, bounds = frame_of(deck, mine, width, type_px, lines)

    body = [pen.rect(Box(x=0, y=0, w=width, h=page.h), pen.fill("paper"))]
    body += zones_drawn(deck, frame, pen)
    reserved: list[Box] = []
    body += under(deck, frame, pen, say, type_px, reserved)
    for section in mine:
        body += _section(
            section, frame, pen, shade.get(section.id, "go"), section.id in highlight, tappable
        )
    body += over(deck, frame, pen)

    gates = gates_drawn(deck, frame, pen, say, type_px, reserved)
    placed, room = place_labels(
        [
            Label(
                key=s.id,
                parts=tuple(to_px(p, frame) for p in s.floor.geoms),
                head=s.id,
                lines=tuple((labels or {}).get(s.id, ())),
                number=(numbers or {}).get(s.id),
            )
            for s in mine
        ],
        obstacles=[to_px(f.geometry.buffer(0.01), frame) for f in deck.features if blocks(f)],
        page=Box(
            x=bounds.x,
            y=bounds.y,
            w=bounds.w,
            h=bounds.h + (1.0 + skirt(bounds, type_px)) * type_px,
        ),
        size=type_px,
        taken=reserved,
    )
    body += stall_numbers(deck, frame, pen, type_px, room)
    if arrows:
        body += _order([p for p in placed if p.number is not None], pen)
    for label in placed:
        body += label.draw(pen)
    body += changes_drawn(came, went, frame, pen, type_px)
    body += dimensions(frame, pen, bounds, type_px)
    body += gates
    body += scale_and_north(frame, pen, say, page, bounds, type_px, north_deg)
    if foot == "block":
        body += corner_block(deck, corner, pen, say, page, bounds, type_px)
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
    return frame_of(deck, mine, width, type_px, 0)[1].h


def _slug(name: str) -> str:
    return "".join(ch.lower() if ch.isalnum() else "-" for ch in name) or "deck"


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
                out += arrow(pen, x1, y1, x2, y2, "accent", 1.8)
            else:
                out.append(pen.line(x1, y1, x2, y2, "accent", 1.8))
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
