"""Small pieces of SVG text: rounded, escaped, in fixed order.

Units are px. Nothing here knows decks; :mod:`tackfree.sheets.deck_svg` and
:mod:`tackfree.sheets.day_strip` do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from shapely import LinearRing, LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry, BaseMultipartGeometry

from tackfree.sheets import look

# Advance widths of the packaged font, thousandths of an em; regular and bold agree.
_WIDTHS = {
    200: "'|", 250: ",;·", 300: ".:Iij°²íÍ", 350: " !l¡", 400: '"frt', 450: "()-J[s",
    500: "=]cz↑", 525: "a", 550: "$*/?FLS\\_`ekvxy–áé¿−",
    600: "+CEKPTYZbdghnopqu}ñóúüÉ", 649: "{", 650: "0123456789<>ABDGRVX≥≤Áµ",
    700: "&HUÚ", 750: "N^w~→½¼Ñ…", 800: "OQ×Ó", 850: "#", 900: "%Mm", 950: "W",
    1000: "@", 1050: "—",
}  # fmt: skip
_WIDTH = {ch: w for w, chars in _WIDTHS.items() for ch in chars}
CAP_HEIGHT = 0.75  # of an em
LINE_HEIGHT = 1.25


def text_width(text: str, size: float) -> float:
    """Length of a line of text in the packaged font. [px]"""
    return sum(_WIDTH.get(ch, 800) for ch in text) / 1000.0 * size


def num(value: float) -> str:
    """A coordinate to 0.01 px, without trailing zeros or a minus zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def nice_step(span: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that divides a span into about five."""
    rough = max(span / 5, 1e-9)
    power = 10.0 ** math.floor(math.log10(rough))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))


def esc(text: str) -> str:
    """Text made safe inside an element or a quoted attribute."""
    for a, b in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(a, b)
    return "".join(ch for ch in text if ch >= " " or ch in "\t\n")


@dataclass(frozen=True, kw_only=True)
class Box:
    """An axis-parallel rectangle in px."""

    x: float
    y: float
    w: float
    h: float

    def meets(self, other: Box) -> bool:
        return (
            self.x < other.x + other.w
            and other.x < self.x + self.w
            and self.y < other.y + other.h
            and other.y < self.y + self.h
        )

    def grown(self, by: float) -> Box:
        return Box(x=self.x - by, y=self.y - by, w=self.w + 2 * by, h=self.h + 2 * by)

    def polygon(self) -> Polygon:
        x, y, w, h = self.x, self.y, self.w, self.h
        return Polygon([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Text in lines no wider than a width; a longer word stands alone."""
    out: list[str] = [""]
    for word in text.split(" "):
        longer = f"{out[-1]} {word}".strip()
        if out[-1] and text_width(longer, size) * 1.1 > width:
            out.append(word)
        else:
            out[-1] = longer
    return out


def word_box(text: str, x: float, y: float, size: float, anchor: str = "start") -> Box:
    """The rectangle that a line of text with its baseline at ``y`` takes."""
    w = text_width(text, size)
    left = x - {"start": 0.0, "middle": w / 2, "end": w}[anchor]
    return Box(x=left, y=y - 0.76 * size, w=w, h=0.8 * size)


@dataclass(frozen=True, kw_only=True)
class Frame:
    """Metres of the deck to px of the page; y is turned over.

    ``x0_m``, ``y1_m`` is the deck's upper left corner, placed at ``left``, ``top``.
    """

    x0_m: float
    y1_m: float
    px_per_m: float
    left: float
    top: float

    def at(self, x_m: float, y_m: float) -> tuple[float, float]:
        return (
            self.left + (x_m - self.x0_m) * self.px_per_m,
            self.top + (self.y1_m - y_m) * self.px_per_m,
        )


class Pen:
    """Draws with one palette: every colour is a role of the look."""

    def __init__(self, palette: Mapping[str, str], prefix: str) -> None:
        self.palette = palette
        self.prefix = prefix

    def fill(self, role: str) -> str:
        if role == "none":
            return 'fill="none"'
        return f'class="f-{role}" fill="{self.palette[role]}"'

    def stroke(self, role: str, width: float, dash: str = "", fill: str = "none") -> str:
        """Stroke and fill as attributes with their classes."""
        classes = f"s-{role}" if fill == "none" else f"s-{role} f-{fill}"
        filled = "none" if fill == "none" else self.palette[fill]
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        return (
            f'class="{classes}" fill="{filled}" stroke="{self.palette[role]}" '
            f'stroke-width="{num(width)}"{dashed}'
        )

    def line(
        self, x1: float, y1: float, x2: float, y2: float, role: str, width: float, dash: str = ""
    ) -> str:
        return (
            f'<line x1="{num(x1)}" y1="{num(y1)}" x2="{num(x2)}" y2="{num(y2)}" '
            f"{self.stroke(role, width, dash)}/>"
        )

    def rect(self, box: Box, attributes: str) -> str:
        return (
            f'<rect x="{num(box.x)}" y="{num(box.y)}" width="{num(box.w)}" '
            f'height="{num(box.h)}" {attributes}/>'
        )

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        role: str = "ink",
        anchor: str = "start",
        bold: bool = False,
        turn: float = 0.0,
        halo: bool = False,
    ) -> str:
        """One line of text with its baseline at ``y``; ``halo`` clears what lies below."""
        more = ""
        if anchor != "start":
            more += f' text-anchor="{anchor}"'
        if bold:
            more += ' font-weight="bold"'
        if turn:
            more += f' transform="rotate({num(turn)} {num(x)} {num(y)})"'
        place = f'x="{num(x)}" y="{num(y)}" font-size="{num(size)}"{more}'
        if halo:
            paint = self.stroke("paper", 3.5, fill=role) + (
                ' paint-order="stroke" stroke-linejoin="round"'
            )
        else:
            paint = self.fill(role)
        return f"<text {place} {paint}>{esc(text)}</text>"

    def hatch_id(self, word: str) -> str:
        return f"{self.prefix}-hatch-{word}"

    def hatches(self, words: Iterable[str]) -> list[str]:
        """Pattern definitions of the given state words."""
        out = []
        for word in sorted(set(words)):
            gap = look.HATCH.get(word, 0)
            if not gap:
                continue
            role = "accent" if word in ("tonight", "done") else "ink-2"
            width = 1.6 if word == "tonight" else 0.9
            mark = self.line(0, 0, 0, gap, role, width)
            if word in look.HATCH_CROSSED:
                mark += self.line(0, 0, gap, 0, role, width)
            out.append(
                f'<pattern id="{self.hatch_id(word)}" width="{gap}" height="{gap}" '
                f'patternUnits="userSpaceOnUse" '
                f'patternTransform="rotate({look.HATCH_ANGLE[word]})">{mark}</pattern>'
            )
        return out

    def hatched(self, word: str) -> str:
        """A fill with the hatch of a state word; plain where it has none."""
        if not look.HATCH.get(word, 0):
            return 'fill="none"'
        return f'fill="url(#{self.hatch_id(word)})"'


def line_d(points: Sequence[tuple[float, float]]) -> str:
    """Path data of a line through points of the page."""
    return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in points)


@lru_cache(maxsize=8192)  # sixty sheets draw the same three decks
def path_d(geometry: BaseGeometry, frame: Frame) -> str:
    """Path data of any geometry but points, rings closed, holes included."""
    parts: list[str] = []
    for piece in _pieces(geometry):
        coords = [frame.at(x, y) for x, y, *_ in piece[1]]
        closed = piece[0]
        if closed:
            coords = coords[:-1]
        parts.append("M" + "L".join(f"{num(x)} {num(y)}" for x, y in coords))
        if closed:
            parts.append("Z")
    return "".join(parts)


def _pieces(geometry: BaseGeometry) -> list[tuple[bool, Sequence[tuple[float, ...]]]]:
    if geometry.is_empty or isinstance(geometry, Point):
        return []
    if isinstance(geometry, Polygon):
        rings = [geometry.exterior, *geometry.interiors]
        return [(True, list(r.coords)) for r in rings]
    if isinstance(geometry, LineString):
        return [(isinstance(geometry, LinearRing), list(geometry.coords))]
    if isinstance(geometry, BaseMultipartGeometry):
        return [piece for part in geometry.geoms for piece in _pieces(part)]
    return []


def document(
    body: Sequence[str],
    *,
    width: float,
    height: float,
    title: str,
    desc: str,
    prefix: str,
    defs: Sequence[str] = (),
    data: Mapping[str, str] | None = None,
) -> str:
    """A whole drawing: an image with a title and a description, undated.

    One with parts to press is a group: inside an image nobody could reach them.
    """
    pressed = any("<a " in part or "tabindex=" in part for part in body)
    more = "".join(f' data-{k}="{esc(v)}"' for k, v in sorted((data or {}).items()))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="tf" '
        f'viewBox="0 0 {num(width)} {num(height)}" width="{num(width)}" height="{num(height)}" '
        f'role="{"group" if pressed else "img"}" '
        f'aria-labelledby="{prefix}-title {prefix}-desc" '
        f'font-family="{look.FONT_FALLBACK}"{more}>'
    )
    return "\n".join(
        [
            head,
            f'<title id="{prefix}-title">{esc(title)}</title>',
            f'<desc id="{prefix}-desc">{esc(desc)}</desc>',
            *([f"<defs>{''.join(defs)}</defs>"] if defs else []),
            *body,
            "</svg>",
            "",
        ]
    )


def fit(text: str, size: float, width: float) -> str:
    """Text cut to a width, with an ellipsis where it was cut.

    The fallback font runs wider than the packaged one, so a tenth is kept free.
    """
    width /= 1.1
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return text.rstrip() + "…"
