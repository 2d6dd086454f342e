"""Drawings made on the spot, and the declaration to read them with."""

from __future__ import annotations

from pathlib import Path

import ezdxf

from tackfree.deck.declared import DeckDoc, FeatureDoc, ZoneDoc
from tackfree.deck.types import Duty, Exposure, FeatureKind, PostTensioned
from tackfree.intake.dxf import read_deck

FT = 0.3048


def zone_doc(ident="Z", layer="A", **more):
    return ZoneDoc(
        id=ident,
        name=ident,
        duty=Duty.LIGHT,
        exposure=Exposure.OPEN_SKY,
        build_up_id="BU",
        layer=layer,
        **more,
    )


def deck_doc(*zones, features=(), unit_m=1.0):
    return DeckDoc(
        id="D",
        name="D",
        drawing="x.dxf",
        geojson=None,
        unit_m=unit_m,
        post_tensioned=PostTensioned.NO,
        elevation_m=0.0,
        zones=zones or (zone_doc(),),
        features=tuple(features),
    )


def feature_doc(layer, kind, **more):
    return FeatureDoc(layer=layer, kind=FeatureKind(kind), **more)


class Draft:
    """A drawing in the making; everything lands on layer A unless told otherwise."""

    def __init__(self):
        self.document = ezdxf.new("R2010")
        self.space = self.document.modelspace()

    def lines(self, *legs, layer="A"):
        for x0, y0, x1, y1 in legs:
            self.space.add_line((x0, y0), (x1, y1), dxfattribs={"layer": layer})
        return self

    def ring(self, points, *, layer="A", where=None, **attribs):
        (where or self.space).add_lwpolyline(
            points, format="xyb", close=True, dxfattribs={"layer": layer, **attribs}
        )
        return self

    def box(self, x0, y0, x1, y1, **more):
        return self.ring([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], **more)

    def block(self, name, base=(0, 0)):
        return self.document.blocks.new(name, base_point=base)

    def insert(self, name, at, *, layer="A", **attribs):
        self.space.add_blockref(name, at, dxfattribs={"layer": layer, **attribs})
        return self

    def read(self, folder: Path, doc=None, name="x.dxf"):
        path = folder / name
        self.document.saveas(path)
        return read_deck(path, doc or deck_doc())


def areas(deck, ident="Z"):
    """Areas of the parts of a zone, largest first."""
    (zone,) = [z for z in deck.zones if z.id == ident]
    parts = getattr(zone.outline, "geoms", [zone.outline])
    return sorted((p.area for p in parts), reverse=True)
