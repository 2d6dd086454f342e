"""A drawing and its declaration into a deck in metres."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.deck.check import overlap_faults
from tackfree.deck.declared import DeckDoc, ZoneDoc
from tackfree.deck.types import Deck, Zone
from tackfree.errors import Fault, Refused
from tackfree.intake.calibrate import Scale, scale_from
from tackfree.intake.dxf import unit
from tackfree.intake.dxf.features import features_of
from tackfree.intake.dxf.load import load
from tackfree.intake.dxf.outlines import Outlines, around, outlines_of, polygons_in
from tackfree.intake.dxf.strokes import Drawn, by_layer, collect
from tackfree.intake.parts import part_around
from tackfree.words import Message

Shape = TypeVar("Shape", bound=BaseGeometry)

ARC_M = 0.001 * 0.3048  # no chord is further from its arc
GAP_M = 0.1 * 0.3048  # gaps up to this are closed, and listed
SCRAP = 0.1  # loose lines that enclose less of their own hull are no outline
FAR_M = 10_000.0  # beyond this a deck gets an origin of its own


@dataclass(kw_only=True)
class Reading:
    """A drawing being read for one deck."""

    file: str
    doc: DeckDoc
    drawn: Drawn
    messages: list[Message] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    used: set[tuple[str, str]] = field(default_factory=set)  # group of things, layer

    @property
    def gap(self) -> float:
        """Largest gap to close. [drawing units]"""
        return GAP_M / self.doc.unit_m

    def say(self, name: str, **values: object) -> None:
        self.messages.append(Message(id=f"intake.{name}", values={"file": self.file, **values}))

    def fault(self, where: str, what: str, do: str) -> None:
        self.faults.append(Fault(where=f"{self.file}, {where}", what=what, do=do))

    def layer(self, wanted: str, where: str) -> str | None:
        """The drawing's spelling of a layer, or a fault that lists the layers."""
        names = self.drawn.layers
        small = wanted.lower()
        for found in (
            [n for n in names if n == wanted],
            [n for n in names if n.lower() == small],
            [n for n in names if n.rsplit("$0$", 1)[-1].lower() == small],  # bound drawings
        ):
            if len(found) == 1:
                return found[0]
        known = ", ".join(names) or "none"
        self.fault(where, f"there is no layer {wanted}.", f"Name one of its layers: {known}.")
        return None

    def outlines(self, layer: str, *, all_lines: bool, where: str) -> Outlines:
        """Closed outlines of a layer, with what was mended and what cannot be used."""
        self.used |= {("strokes", layer), ("hatches", layer)}
        found = outlines_of(self.drawn, layer, gap=self.gap, all_lines=all_lines)
        for gap in found.closed_gaps:
            x, y = gap.at
            self.say("gap-closed", layer=layer, x=round(x, 3), y=round(y, 3),
                     size=round(gap.size, 4))  # fmt: skip
        if found.doubled:
            self.say("doubled", layer=layer, count=found.doubled)
        if found.pinched:
            self.say("pinched", layer=layer, count=found.pinched)
        for why in found.crossed:
            self.fault(
                where,
                f"an outline on layer {layer} crosses itself ({why}).",
                "Draw its corners in order, so that no side crosses another.",
            )
        for x, y in found.empty:
            self.fault(
                where,
                f"an outline on layer {layer} at ({x:.2f}, {y:.2f}) encloses no area.",
                "Delete it or draw it with three corners or more.",
            )
        return found


def read_deck(path: Path, doc: DeckDoc) -> tuple[Deck, tuple[Message, ...]]:
    """Read one deck from its drawing.

    Geometry comes back in metres in the drawing's own axes. A drawing far from its
    origin (state-plane coordinates) is moved by ``Deck.offset_m``, a whole number of
    metres. ``at_m`` counts from the drawing's own origin.

    Parameters
    ----------
    path : Path
        A DXF file.
    doc : DeckDoc
        Which layers hold which zones and features, and the confirmed unit.

    Returns
    -------
    deck, messages
        The messages list what was mended, doubted and ignored.

    Raises
    ------
    NotFound, InputError
        If there is no such drawing, or it is not one.
    Refused
        With every fault of layers, outlines and zones.
    """
    doc, scale = scaled(doc, path.name)
    document, opened = load(path)
    wanted = {z.layer for z in doc.zones if z.layer} | {f.layer for f in doc.features}
    whole = None if doc.part_at is not None else wanted  # a part is found among all lines
    drawn = collect(document, tolerance=ARC_M / doc.unit_m, layers=whole)
    said = [*opened, *scale.messages, *unit.doubts(document, doc.unit_m, file=path.name)]
    return deck_from(drawn, doc, scale, file=path.name, messages=said)


def scaled(doc: DeckDoc, file: str) -> tuple[DeckDoc, Scale]:
    """The declaration with the unit its measured lengths give, where it has any."""
    if not doc.calibration:
        return doc, Scale(x_m=doc.unit_m, y_m=doc.unit_m)
    scale = scale_from(doc.calibration, stretched=doc.stretched, file=file)
    return replace(doc, unit_m=scale.x_m), scale


def deck_from(
    drawn: Drawn, doc: DeckDoc, scale: Scale, *, file: str, messages: list[Message]
) -> tuple[Deck, tuple[Message, ...]]:
    """A deck from what is drawn, whatever file it came from.

    Parameters
    ----------
    drawn : Drawn
        In drawing units.
    doc : DeckDoc
        ``unit_m`` is metres per drawing unit along x.
    scale : Scale
        Where the sheet is stretched, y is first brought to the unit of x.

    Raises
    ------
    Refused
        With every fault of layers, outlines and zones.
    """
    if doc.part_at is not None:
        drawn = part_around(drawn, doc.part_at)
    if scale.y_m != scale.x_m:
        drawn = stretched(drawn, scale.y_m / scale.x_m)
    reading = Reading(file=file, doc=doc, drawn=drawn, messages=messages)
    zones = [_zone(reading, z) for z in doc.zones if z.layer is not None]
    features = features_of(reading)
    _broken(reading)
    if reading.faults:
        raise Refused(reading.faults)
    shift = _offset([z.outline for z in zones if z] + [f.geometry for f in features], doc.unit_m)

    deck = Deck(
        id=doc.id,
        name=doc.name,
        zones=tuple(
            replace(z, outline=_to_metres(z.outline, doc.unit_m, shift)) for z in zones if z
        ),
        features=tuple(
            replace(f, geometry=_to_metres(f.geometry, doc.unit_m, shift)) for f in features
        ),
        post_tensioned=doc.post_tensioned,
        elevation_m=doc.elevation_m,
        offset_m=shift,
    )
    clashes = overlap_faults(deck.zones, where=file)
    if clashes:
        raise Refused(clashes)
    _left_out(reading)
    return deck, tuple(reading.messages)


def stretched(drawn: Drawn, up: float) -> Drawn:
    """What is drawn with every y times a factor."""
    by = np.array([1.0, up])
    return replace(
        drawn,
        strokes=[replace(s, points=s.points * by) for s in drawn.strokes],
        marks=[replace(m, at=(m.at[0], m.at[1] * up)) for m in drawn.marks],
        letterings=[replace(t, at=(t.at[0], t.at[1] * up)) for t in drawn.letterings],
        hatches=[replace(h, loops=tuple(p * by for p in h.loops)) for h in drawn.hatches],
    )


def _zone(reading: Reading, z: ZoneDoc) -> Zone | None:
    """A zone in drawing units, or None with its faults noted."""
    where = f"zone {z.id}"
    layer = reading.layer(z.layer or "", where)
    if layer is None:
        return None
    found = reading.outlines(layer, all_lines=z.at_m is not None, where=where)
    if z.at_m is None:
        polygons = found.polygons
        place = ""
    else:
        at = (z.at_m[0] / reading.doc.unit_m, z.at_m[1] / reading.doc.unit_m)
        picked = around(found.polygons, at)
        polygons = [] if picked is None else [picked]
        place = f" around ({at[0]:.2f}, {at[1]:.2f})"
    if not polygons:
        if not (found.crossed or found.empty):
            reading.fault(
                where,
                f"layer {layer} has no closed outline{place}.{_open_ends(found)}",
                "Close the outline in the drawing, or name another layer or point.",
            )
        return None
    whole = shapely.union_all(polygons)
    if z.at_m is None and found.open_ends and not _all_there(reading, z, layer, found, whole):
        return None
    if whole.area < math.fsum(p.area for p in polygons) * (1 - 1e-9):
        reading.say("nested", layer=layer, zone=z.id)
    parts = polygons_in(whole)
    return z.zone(
        reading.doc.id,
        parts[0] if len(parts) == 1 else MultiPolygon(_in_order(parts)),
    )


def _all_there(
    reading: Reading, z: ZoneDoc, layer: str, found: Outlines, whole: BaseGeometry
) -> bool:
    """Whether what a layer encloses can be the zone although some of its lines end loose.

    Walls with door openings enclose their jambs only: such scraps are refused, where they
    are less than `SCRAP` of what the layer's lines lie around. Else the ends are listed.
    """
    points = [s.points for s in reading.drawn.strokes if s.origin.layer == layer]
    around_all = shapely.MultiPoint(np.concatenate(points)).convex_hull.area
    if whole.area >= SCRAP * around_all:
        x, y = found.open_ends[0].at
        reading.say("left-open", layer=layer, zone=z.id, count=len(found.open_ends),
                    x=round(x, 3), y=round(y, 3))  # fmt: skip
        return True
    share = 100 * whole.area / around_all
    reading.fault(
        f"zone {z.id}",
        f"layer {layer} encloses only scraps, {share:.1f} % of what its lines lie "
        f"around.{_open_ends(found)}",
        "Close the outline in the drawing, or name another layer or a point inside.",
    )
    return False


def _in_order(parts: list[Polygon]) -> list[Polygon]:
    """Left to right, then upward; so the same drawing gives the same bytes."""
    return sorted((_normal(p) for p in parts), key=lambda p: (p.bounds, p.wkb))


def _normal(polygon: Polygon) -> Polygon:
    same = polygon.normalize()
    return same if isinstance(same, Polygon) else polygon


def _open_ends(found: Outlines) -> str:
    if not found.open_ends:
        return ""
    ends = [f"({g.at[0]:.2f}, {g.at[1]:.2f}), {g.size:.3f} short" for g in found.open_ends[:5]]
    more = len(found.open_ends) - len(ends)
    return f" It is open at {'; '.join(ends)}{f' and {more} more places' if more > 0 else ''}."


def _broken(reading: Reading) -> None:
    """Entities that could not be read refuse the drawing where their layer is used."""
    used = {layer for _, layer in reading.used}
    for origin, why in reading.drawn.broken:
        if origin.layer in used:
            reading.fault(
                f"layer {origin.layer}",
                f"{origin.entity} {origin.handle} cannot be read: {why}.",
                "Delete it in the drawing and draw it again.",
            )
        else:
            reading.drawn.unread[origin.layer, origin.entity] += 1


def _left_out(reading: Reading) -> None:
    """Everything that was not used, by layer and kind of entity."""
    drawn = reading.drawn
    ignored: Counter[tuple[str, str]] = Counter(drawn.unread)
    for group, layer, entity in by_layer(drawn):
        if (group, layer) not in reading.used:
            ignored[layer, entity] += 1
    for (layer, entity), count in sorted(ignored.items()):
        reading.say("ignored", layer=layer, entity=entity, count=count)
    for (layer, entity), count in sorted(drawn.hidden.items()):
        reading.say("hidden", layer=layer, entity=entity, count=count)
    for name in sorted(set(drawn.absent)):
        reading.say("absent", drawing=name)
    if drawn.too_deep:
        reading.say("too-deep", count=drawn.too_deep)


def _offset(shapes: list[BaseGeometry], unit_m: float) -> tuple[float, float]:
    """Whole metres to move a far drawing by; (0, 0) near its origin."""
    if not shapes:
        return (0.0, 0.0)
    low = shapely.total_bounds(np.array(shapes, dtype=object)) * unit_m
    if np.abs(low).max() < FAR_M:
        return (0.0, 0.0)
    return (float(math.floor(low[0])), float(math.floor(low[1])))


def _to_metres(shape: Shape, unit_m: float, shift: tuple[float, float]) -> Shape:
    move = np.array(shift)
    moved: Shape = shapely.transform(shape, lambda xy: xy * unit_m - move)
    return moved
