"""Where a deck lies on its drawing: scale, page, and the words it carries."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from shapely import unary_union
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Deck, Feature, FeatureKind, Section
from tackfree.sheets.svg import Box, Frame, Pen, num

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


def frame_of(
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
    page = Box(x=0, y=0, w=width, h=top + bounds.h + (foot + skirt(bounds, type_px)) * type_px)
    return Frame(x0_m=x0, y1_m=y1, px_per_m=scale, left=left, top=top), page, bounds


def skirt(bounds: Box, type_px: float) -> float:
    """Room below a shallow deck for the words of its sections. [em]"""
    return 3.4 if bounds.h < SHALLOW * type_px else 0.0


def below(bounds: Box, type_px: float) -> float:
    return bounds.y + bounds.h + skirt(bounds, type_px) * type_px


@lru_cache(maxsize=8192)
def to_px(geometry: BaseGeometry, frame: Frame) -> BaseGeometry:
    k = frame.px_per_m
    dx, dy = frame.left - frame.x0_m * k, frame.top + frame.y1_m * k
    return affine_transform(geometry, [k, 0.0, 0.0, -k, dx, dy])


def blocks(feature: Feature) -> bool:
    return feature.kind in (FeatureKind.COLUMN, FeatureKind.OPENING, FeatureKind.DRAIN)


def arrow(
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


def stacked(page: Box, type_px: float) -> bool:
    return page.w < STACK_BELOW * type_px
