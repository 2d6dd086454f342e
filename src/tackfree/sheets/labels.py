"""Where the words of a section stand, so that none lies on another.

The rule, in this order: id, order number and all lines inside the largest part,
level or else turned; fewer lines; the id alone; all of it outside the part with a
leader, then the id alone there; the order number alone;
nothing. Sections with a number come first, then small ones before large ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

from shapely import Polygon, prepare, unary_union
from shapely import box as shapely_box
from shapely.geometry.base import BaseGeometry

from tackfree.sheets import look
from tackfree.sheets.svg import CAP_HEIGHT, LINE_HEIGHT, Box, Pen, esc, num, text_width

STEPS = 13  # places tried across and down a part


@dataclass(frozen=True, kw_only=True)
class Label:
    """A section's words. ``box`` is None until placed, or where there is no room."""

    key: str
    parts: tuple[BaseGeometry, ...]  # px
    head: str
    lines: tuple[str, ...]
    number: int | None = None
    box: Box | None = None
    leader: tuple[float, float] | None = None
    turned: bool = False  # reads from below
    size: float = 16.0

    @property
    def centre(self) -> tuple[float, float]:
        if self.box is None:
            middle = max(self.parts, key=lambda p: p.area).representative_point()
            return middle.x, middle.y
        return self.box.x + self.box.w / 2, self.box.y + self.box.h / 2

    @property
    def extent(self) -> tuple[float, float]:
        """Width and height that the words take on the page. [px]"""
        w, h = self._level()
        return (h, w) if self.turned else (w, h)

    def _level(self) -> tuple[float, float]:
        badge = (2.0 if self.head else 1.5) * self.size if self.number is not None else 0.0
        lengths = [text_width(t, self.size) for t in self.lines]
        wide = max([text_width(self.head, 1.1 * self.size), *lengths])
        high = 1.1 * self.size * CAP_HEIGHT + len(self.lines) * self.size * LINE_HEIGHT
        return badge + wide, max(high, 1.5 * self.size if badge else 0.0)

    def draw(self, pen: Pen) -> list[str]:
        if self.box is None:
            return []
        size = self.size
        out = [f'<g class="label" data-section="{esc(self.key)}">']  # pages write their own
        cx, cy = self.centre
        w, h = self._level()
        x, y = cx - w / 2, cy - h / 2
        if self.leader is not None:
            tx, ty = self.leader
            out.append(pen.line(cx, cy, tx, ty, "ink", look.THIN))
            out.append(f'<circle cx="{num(tx)}" cy="{num(ty)}" r="2" {pen.fill("ink")}/>')
        if self.turned:
            out.append(f'<g transform="rotate(-90 {num(cx)} {num(cy)})">')
        out.append(
            pen.rect(Box(x=x, y=y, w=w, h=h).grown(3), f'{pen.fill("paper")} fill-opacity="0.86"')
        )
        if self.number is not None:
            r = 0.75 * size
            out.append(
                f'<circle cx="{num(x + r)}" cy="{num(y + r)}" r="{num(r)}" {pen.fill("ink")}/>'
            )
            out.append(
                pen.text(x + r, y + r + 0.36 * size, str(self.number), size, role="paper",
                         anchor="middle", bold=True)
            )  # fmt: skip
            x += 2.0 * size
        base = y + 1.1 * size * CAP_HEIGHT
        if self.number is not None and not self.lines:
            base = y + 0.75 * size + 0.55 * size * CAP_HEIGHT
        if self.head:
            out.append(pen.text(x, base, self.head, 1.1 * size, bold=True))
        for k, line in enumerate(self.lines, start=1):
            out.append(pen.text(x, base + k * size * LINE_HEIGHT, line, size))
        if self.turned:
            out.append("</g>")
        return [*out, "</g>"]


def place_labels(
    labels: Sequence[Label],
    *,
    obstacles: Sequence[BaseGeometry],
    page: Box,
    size: float,
    taken: Sequence[Box] = (),
) -> tuple[list[Label], list[Box]]:
    """Each label in its place, and all boxes taken (labels grown by 4 px)."""
    blocked = [_box_of(o) for o in obstacles]
    floors = unary_union([p for label in labels for p in label.parts]) if labels else None
    taken = list(taken)
    out: list[Label] = []
    # larger sections have more places to choose from, so small ones go first
    order = sorted(
        labels,
        key=lambda a: (a.number is None, max((p.area for p in a.parts), default=0), a.key),
    )
    for label in order:
        placed = replace(label, size=size)
        for keep, turned in product(range(len(label.lines), -1, -1), (False, True)):
            trial = replace(placed, lines=label.lines[:keep], turned=turned)
            spot = _inside(trial, taken, blocked)
            if spot is not None:
                placed = replace(trial, box=spot)
                break
        else:
            placed = _outside(placed, taken, floors, page)
            if placed.box is None:
                placed = _outside(replace(placed, lines=()), taken, floors, page)
            if placed.box is None and label.number is not None:
                badge = replace(placed, head="", lines=())
                w, h = badge.extent  # may stand over the outline of a narrow strip
                cx, cy = badge.centre
                spots = [Box(x=cx + dx - w / 2, y=cy - h / 2, w=w, h=h) for dx in (0, -w, w)]
                free = [b for b in spots if not any(b.meets(t) for t in taken)]
                placed = replace(badge, box=free[0] if free else None)
        if placed.box is not None:
            taken.append(placed.box.grown(4))
        out.append(placed)
    out += _ids_of_other_parts(labels, taken, blocked, size)
    return sorted(out, key=lambda a: a.key), taken


def _box_of(shape: BaseGeometry) -> Box:
    x0, y0, x1, y1 = shape.bounds
    return Box(x=x0, y=y0, w=x1 - x0, h=y1 - y0)


def _shared(a: Box, b: Box) -> float:
    """Area that two boxes have in common."""
    across = min(a.x + a.w, b.x + b.w) - max(a.x, b.x)
    down = min(a.y + a.h, b.y + b.h) - max(a.y, b.y)
    return max(0.0, across) * max(0.0, down)


def _ids_of_other_parts(
    labels: Sequence[Label], taken: list[Box], blocked: Sequence[Box], size: float
) -> list[Label]:
    """The id again in every further part of a section that has room for it."""
    out = []
    for label in labels:
        for part in sorted(label.parts, key=lambda p: -p.area)[1:]:
            for turned in (False, True):
                again = Label(
                    key=label.key, parts=(part,), head=label.head, lines=(), size=size,
                    turned=turned,
                )  # fmt: skip
                spot = _inside(again, taken, blocked)
                if spot is not None:
                    taken.append(spot.grown(4))
                    out.append(replace(again, box=spot))
                    break
    return out


def _inside(label: Label, taken: Sequence[Box], blocked: Sequence[Box]) -> Box | None:
    """The free place in the largest part that is nearest its middle and hides least."""
    w, h = label.extent
    part = max(label.parts, key=lambda p: p.area, default=None)
    if part is None:
        return None
    outline = Polygon(part.exterior) if isinstance(part, Polygon) else part
    x0, y0, x1, y1 = outline.bounds
    if x1 - x0 < w + 10 or y1 - y0 < h + 10:
        return None
    prepare(outline)
    middle = outline.centroid
    within = Box(x=x0, y=y0, w=x1 - x0, h=y1 - y0)
    near = [b for b in blocked if b.meets(within.grown(5))]
    full = [b for b in taken if b.meets(within)]
    spots = []
    for i in range(STEPS):
        for j in range(STEPS):
            cx = x0 + w / 2 + 5 + (x1 - x0 - w - 10) * i / (STEPS - 1)
            cy = y0 + h / 2 + 5 + (y1 - y0 - h - 10) * j / (STEPS - 1)
            off = ((cx - middle.x) ** 2 + (cy - middle.y) ** 2) ** 0.5
            spots.append((off, i, j, Box(x=cx - w / 2, y=cy - h / 2, w=w, h=h)))
    best: tuple[float, Box] | None = None
    for off, _, _, box in sorted(spots, key=lambda spot: spot[:3]):
        if best is not None and off >= best[0]:
            break  # farther ones cost more even where they hide nothing
        shape = shapely_box(box.x - 4, box.y - 4, box.x + w + 4, box.y + h + 4)
        if any(box.meets(t) for t in full) or not outline.covers(shape):
            continue
        grown = box.grown(5)
        cost = 40.0 * sum(_shared(grown, b) for b in near) / (w * h) * (x1 - x0) + off
        if best is None or cost < best[0] - 1e-9:
            best = (cost, box)
    return best[1] if best else None


def _outside(label: Label, taken: Sequence[Box], floors: BaseGeometry | None, page: Box) -> Label:
    w, h = label.extent
    part = max(label.parts, key=lambda p: p.area)
    x0, y0, x1, y1 = part.bounds
    point = part.representative_point()
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    for gap in (10.0, 24.0, 44.0):
        for x, y in (
            (cx - w / 2, y1 + gap),
            (cx - w / 2, y0 - gap - h),
            (x1 + gap, cy - h / 2),
            (x0 - gap - w, cy - h / 2),
        ):
            box = Box(x=x, y=y, w=w, h=h)
            within = (
                box.x >= page.x
                and box.y >= page.y
                and box.x + w <= page.x + page.w
                and box.y + h <= page.y + page.h
            )
            if not within or any(box.meets(t) for t in taken):
                continue
            if floors is not None and floors.intersects(box.grown(3).polygon()):
                continue
            return replace(label, box=box, leader=(point.x, point.y))
    return label
