"""A stored deck drawing made ready for a page: safe, tappable, hatched by state."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from tackfree.errors import NotFound
from tackfree.sheets import look
from tackfree.sheets.svg import Pen

SVG = "http://www.w3.org/2000/svg"
ET.register_namespace("", SVG)

SHAPES = {f"{{{SVG}}}{n}" for n in ("path", "polygon", "rect")}
KEPT = {
    f"{{{SVG}}}{n}"
    for n in (
        "svg", "g", "path", "polygon", "polyline", "rect", "line", "circle", "ellipse", "text",
        "tspan", "title", "desc", "defs", "pattern", "marker", "clipPath", "use", "symbol",
    )
}  # fmt: skip
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE]-?\d+)?")

# The hatch of sheets.look that tells a section's state; no hatch for the rest.
HATCHES = {
    "working": "tonight", "closed": "wet", "open": "done", "no-start": "wait", "cut-off": "unknown",
}  # fmt: skip
PEN = Pen(look.DAY, "page")
GRID = 24  # cells a side that a tag's room is sought in
FILLS = 0.85  # of its box: a part whose tag stands in the box's middle


@dataclass(frozen=True, kw_only=True)
class Mark:
    """What a section's outline says: a state, the word drawn on it, the full title."""

    state: str
    word: str
    title: str


def drawing(path: Path, marks: Mapping[str, Mark], *, deck_id: str, label: str) -> str:
    """The drawing as inline SVG.

    Elements and attributes that could act (scripts, handlers, inline styles, links
    out of the page) are left out, each section becomes a link to its lines on the
    page, and its outline is hatched by its state. The file is untouched.

    Raises
    ------
    NotFound
        If the file is absent or is not a drawing.
    """
    try:
        root = ET.fromstring(path.read_text("utf-8"))
    except (OSError, ET.ParseError) as e:
        raise NotFound(
            "the drawing cannot be read.", where=path.name, do="Build the job again."
        ) from e
    _clean(root)
    for name in ("width", "height", "x", "y"):
        root.attrib.pop(name, None)
    root.attrib.pop("aria-labelledby", None)
    root.set("role", "group")
    root.set("aria-label", label)
    for title in root.findall(f"{{{SVG}}}title"):
        root.remove(title)
    title = ET.Element(f"{{{SVG}}}title")
    title.text = label
    root.insert(0, title)
    root.insert(1, _patterns())
    for group in list(root.iter(f"{{{SVG}}}g")):
        name = group.get("id", "")
        if name.startswith("sec-") and name[4:] in marks:
            mark = marks[name[4:]]
            _mark(group, name[4:], mark)
            _unlabel(root, name[4:])
            _tag(root, group, name[4:].removeprefix(f"{deck_id}-"), mark.word)
    return ET.tostring(root, encoding="unicode")


def _clean(element: ET.Element) -> None:
    for child in list(element):
        if child.tag not in KEPT:
            element.remove(child)
        else:
            _clean(child)
    for key in list(element.attrib):
        name = key.rsplit("}", 1)[-1].lower()
        value = element.attrib[key].strip()
        outward = name == "href" and not value.startswith("#")
        fetched = "url(" in value.replace("url(#", "")
        if name.startswith("on") or name == "style" or outward or fetched:
            del element.attrib[key]


def _patterns() -> ET.Element:
    """The hatches of every state; the page's colour variables redraw them at night."""
    body = "".join(PEN.hatches(HATCHES.values()))
    return ET.fromstring(f'<defs xmlns="{SVG}">{body}</defs>')


def _mark(group: ET.Element, section_id: str, mark: Mark) -> None:
    """Turn a section's group into a link with title and hatch."""
    children = [c for c in group if c.tag != f"{{{SVG}}}title"]
    for child in list(group):
        group.remove(child)
    for name in ("tabindex", "role", "aria-label"):
        group.attrib.pop(name, None)
    group.set("class", f"sec state-{mark.state}")
    link = ET.SubElement(
        group,
        f"{{{SVG}}}a",
        {"href": f"#s-{section_id}", "data-section": section_id, "aria-label": mark.title},
    )
    ET.SubElement(link, f"{{{SVG}}}title").text = mark.title
    outline = _outline(children)
    if outline is not None:
        ground = _over(outline, "ground-of")
        link.append(ground)
        if mark.state in HATCHES:
            hatch = _over(outline, "hatch")
            hatch.set("fill", f"url(#{PEN.hatch_id(HATCHES[mark.state])})")
            link.append(hatch)
    link.extend(children)


def _outline(children: list[ET.Element]) -> ET.Element | None:
    return next((c for c in children if c.tag in SHAPES), None)


def _over(outline: ET.Element, kind: str) -> ET.Element:
    """The outline again, without its own ink."""
    again = copy.deepcopy(outline)
    for name in ("id", "fill", "stroke", "stroke-width", "pointer-events"):
        again.attrib.pop(name, None)
    again.set("class", kind)
    return again


def _unlabel(root: ET.Element, section_id: str) -> None:
    """Take out the sheet's own labels of a section."""
    for child in list(root):
        if child.get("class") == "label" and child.get("data-section") == section_id:
            root.remove(child)


def _tag(root: ET.Element, group: ET.Element, short: str, word: str) -> None:
    """The section's id and state word in the middle of its first part.

    The page keeps this type at one size on the screen at any zoom. In a part that is
    much higher than wide it is turned, on one line.
    """
    outline = next((c for c in group.iter() if c.tag in SHAPES), None)
    room = _room(outline) if outline is not None else None
    if room is None:
        return
    x, y, wide, high = room
    turned = high > 1.5 * wide
    tag = ET.SubElement(
        root, f"{{{SVG}}}text",
        {"class": "tag turned" if turned else "tag", "x": f"{x:.1f}", "y": f"{y:.1f}",
         "font-size": "16", "text-anchor": "middle", "aria-hidden": "true",
         "data-wide": f"{wide:.1f}", "data-high": f"{high:.1f}"},
    )  # fmt: skip
    if turned:
        tag.set("transform", f"rotate(-90 {x:.1f} {y:.1f})")
    head = ET.SubElement(tag, f"{{{SVG}}}tspan", {"class": "tag-id"})
    head.text = short
    place = {"dx": ".5em"} if turned else {"x": f"{x:.1f}", "dy": "1.25em"}
    if word:
        ET.SubElement(tag, f"{{{SVG}}}tspan", {"class": "tag-word", **place}).text = word


def _numbers(text: str | None) -> list[float]:
    return [float(n) for n in NUMBER.findall(text or "")]


def _room(outline: ET.Element) -> tuple[float, float, float, float] | None:
    """Where the first part of an outline has most room for a tag: middle, width, height.

    The middle of its box where it fills the box. An angled part, such as a lane with an
    aisle at its foot, has it in the largest rectangle of a grid laid over it.
    """
    ring = _ring(outline)
    if len(ring) < 3:
        return None
    shape = Polygon(ring).buffer(0)
    x0, y0, x1, y1 = (float(v) for v in LineString(ring).bounds)
    if shape.area >= FILLS * (x1 - x0) * (y1 - y0):
        return (x0 + x1) / 2, (y0 + y1) / 2, x1 - x0, y1 - y0
    dx, dy = (x1 - x0) / GRID, (y1 - y0) / GRID
    middles = (np.arange(GRID) + 0.5)[None, :] * dx + x0, (np.arange(GRID) + 0.5)[:, None] * dy + y0
    inside = shapely.contains_xy(shape, *np.broadcast_arrays(*middles))
    left, top, wide, high = _rectangle(inside)
    return x0 + (left + wide / 2) * dx, y0 + (top + high / 2) * dy, wide * dx, high * dy


def _rectangle(inside: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """The largest rectangle of cells inside: left, top, width, height."""
    best = (0, 0, 1, 1)
    for top in range(len(inside)):
        whole = np.ones(inside.shape[1], dtype=bool)
        for foot in range(top, len(inside)):
            whole &= inside[foot]
            edges = np.flatnonzero(np.diff(np.concatenate(([0], whole.astype(np.int8), [0]))))
            for a, b in zip(edges[::2], edges[1::2], strict=True):
                if (b - a) * (foot - top + 1) > best[2] * best[3]:
                    best = (int(a), top, int(b - a), foot - top + 1)
    return best


def _ring(outline: ET.Element) -> list[tuple[float, float]]:
    """The first ring of an outline written in absolute coordinates."""
    if outline.tag.endswith("rect"):
        x, y, w, h = ((_numbers(outline.get(n)) or [0.0])[0] for n in ("x", "y", "width", "height"))
        return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    ring = re.split("[Zz]", outline.get("d") or outline.get("points") or "")[0]
    found = _numbers(ring)
    return list(zip(found[0::2], found[1::2], strict=False))
