"""Bond, moisture, flood and slip over a deck: what was tested, what fails, where to test next.

Sections are links to their lines. A dot is a result, a triangle on its point one that is
too low, a numbered ring a place to test. Hatch and word tell the state, as on the film's map.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from tackfree.sheets import look
from tackfree.sheets.evidence_map import paint, patterns, ring, thin_mark
from tackfree.sheets.film_deck import EDGE, PREFIX, SCREEN_PX, name_of, outline_of, steady, word
from tackfree.sheets.svg import Box, Frame, Pen, document, esc, num, path_d

HATCH = {True: "clear", False: "dense", None: "doubt"}


@dataclass(frozen=True, kw_only=True)
class TestedPart:
    """A section and whether all that is asked of it holds (None: not shown yet)."""

    __test__ = False

    id: str
    short: str
    floor: BaseGeometry
    word: str
    holds: bool | None


@dataclass(frozen=True, kw_only=True)
class TestMark:
    """A result, or with a ``number`` a place to test next. [m]"""

    __test__ = False

    x_m: float
    y_m: float
    text: str
    low: bool = False
    number: int | None = None


def deck_of_tests_svg(
    parts: Sequence[TestedPart], marks: Sequence[TestMark], *, title: str, width: float = 960.0
) -> str:
    """The deck as SVG for a page; the same bytes for the same arguments."""
    pen = Pen(look.DAY, PREFIX)
    x0, y0, x1, y1 = shapely.total_bounds([p.floor for p in parts]).tolist()
    px = (width - 2 * EDGE) / max(x1 - x0, 1e-6)
    height = (y1 - y0) * px + 2 * EDGE
    frame = Frame(x0_m=x0, y1_m=y1, px_per_m=px, left=EDGE, top=EDGE)
    body = [pen.rect(Box(x=0, y=0, w=width, h=height), pen.fill("paper"))]
    for p in parts:
        outline, said = path_d(p.floor, frame), esc(f"{p.id}: {p.word}")
        inside = [f'<path class="ground-of" d="{outline}"/>', '<g class="hatch">']
        inside += [f'<path d="{outline}" {one}/>' for one in paint(pen, HATCH[p.holds])]
        inside.append(f'</g><path class="hatch" d="{outline}" {outline_of(pen, look.MEDIUM)}/>')
        body.append(
            f'<g class="sec" id="sec-{esc(p.id)}"><a href="#s-{esc(p.id)}" '
            f'aria-label="{said}"><title>{said}</title>{"".join(inside)}</a></g>'
        )
    for m in marks:
        if m.number is None:
            shape = thin_mark(pen, 0, 0, 0.5 * SCREEN_PX) if m.low else _dot(pen)
            body.append(steady(m.x_m, m.y_m, frame, shape, "dot"))
        else:
            shape = ring(pen, 0, 0, str(m.number), SCREEN_PX)
            body.append(steady(m.x_m, m.y_m, frame, shape, "ring"))
    body += [name_of(p.floor, f"{p.short} {p.word}", frame, pen) for p in parts]
    for m in sorted(marks, key=lambda m: (not m.low, m.number is not None)):
        kind = "thin" if m.low else "ringed" if m.number is not None else "reading"
        body.append(word(m.x_m, m.y_m, m.text, kind, frame, pen))
    desc = "; ".join(f"{p.id}: {p.word}" for p in parts)
    return document(
        body, width=width, height=height, title=title, desc=desc, prefix=PREFIX,
        defs=patterns(pen),
    )  # fmt: skip


def _dot(pen: Pen) -> str:
    return f'<circle cx="0" cy="0" r="{num(3.5)}" {pen.fill("ink")}/>'
