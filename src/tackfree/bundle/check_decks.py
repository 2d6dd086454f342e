"""Zones, features and groups of zones."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from tackfree.bundle.check_job import file_fault
from tackfree.bundle.faults import place
from tackfree.bundle.items import Parts, word
from tackfree.deck.types import FeatureKind
from tackfree.errors import Fault

STREET = "street"
NEEDS: dict[FeatureKind, tuple[tuple[str, str], ...]] = {
    FeatureKind.CRACK: (("width", "1/16 in"),),
    FeatureKind.JOINT: (("width", "1/2 in"), ("depth", "1/2 in")),
    FeatureKind.UPTURN: (("height", "4 in"),),
}


def deck_faults(parts: Parts) -> Iterator[Fault]:
    """Everything the deck documents name must exist, and be complete."""
    yield from _drawings(parts)
    yield from _zones(parts)
    yield from _shades(parts)
    yield from _features(parts)
    yield from _groups(parts)


def _drawings(parts: Parts) -> Iterator[Fault]:
    for deck in parts.docs.decks:
        named = {k: deck.raw.get(k) for k in ("drawing", "geojson")}
        for key, name in named.items():
            if isinstance(name, str) and name:
                where = place(deck.file, key)
                yield from file_fault(parts.docs.root / "decks", name, where, key)
        if named["drawing"] and not deck.raw.get("unit") and not deck.raw.get("calibration"):
            yield Fault(
                where=place(deck.file, "unit"),
                what="Neither the unit of the drawing nor a measured length is given.",
                do="Run `tackfree deck read` on it: that tells which unit it speaks for. Then add "
                'unit = "ft", "in", "m", "mm" or "cm", or a calibration: two points and a length.',
            )
        if not any(named.values()) and not _all_taped(deck.raw):
            yield Fault(
                where=place(deck.file, "drawing"),
                what="The deck has neither a drawing nor a GeoJSON file.",
                do='Name one in decks/, such as drawing = "P1.dxf".',
            )


def _all_taped(raw: Mapping[str, Any]) -> bool:
    zones = raw.get("zones")
    return isinstance(zones, list) and all(isinstance(z, dict) and z.get("taped") for z in zones)


def _zones(parts: Parts) -> Iterator[Fault]:
    build_ups = [b.id for b in parts.build_ups]
    decks = {d.file: d.raw for d in parts.docs.decks}
    for item in parts.zones:
        zone = item.doc
        named = item.raw.get("build_up")
        if isinstance(named, str) and named not in build_ups:
            yield Fault(
                where=item.where("build_up"),
                what=f"Zone {item.id}: there is no build-up {named}.",
                do=f"Name one of {', '.join(build_ups) or 'those in buildups.toml'}.",
            )
        if zone is None:
            continue
        deck = decks[item.file]
        slopes = [k for k in ("slope", "ramp", "helix", "steps") if getattr(zone, k) is not None]
        if len(slopes) > 1:
            yield Fault(
                where=item.where(slopes[1]),
                what=f"Zone {item.id} has both {slopes[0]} and {slopes[1]}.",
                do="Keep the one that it is.",
            )
        if zone.helix is not None and zone.helix.inner >= zone.helix.outer:
            yield Fault(
                where=item.where("helix"),
                what=f"Zone {item.id}: the inner radius is not below the outer.",
                do="Measure both from the middle of the ramp.",
            )
        if zone.taped is not None and (zone.layer is not None or zone.geojson_id is not None):
            yield Fault(
                where=item.where("taped"),
                what=f"Zone {item.id} is taped and drawn.",
                do="Keep the one that holds its outline.",
            )
        elif zone.taped is not None:
            continue
        if zone.layer is not None and zone.geojson_id is not None:
            yield Fault(
                where=item.where("geojson_id"),
                what=f"Zone {item.id} has both a layer and a geojson_id.",
                do="Keep the one that holds its outline.",
            )
        elif zone.layer is not None and not deck.get("drawing"):
            yield Fault(
                where=item.where("layer"),
                what=f"Zone {item.id} names a layer, but the deck has no drawing.",
                do="Name the drawing, or use geojson_id.",
            )
        elif zone.layer is None and not deck.get("geojson"):
            yield Fault(
                where=item.where("layer"),
                what=f"Zone {item.id} does not say where its outline is.",
                do='Name the drawing\'s layer, such as layer = "ZONE-STALL".',
            )
        if zone.at is not None and zone.layer is None:
            yield Fault(
                where=item.where("at"),
                what=f"Zone {item.id}: a point without a layer picks nothing.",
                do="Name the layer, or take the point out.",
            )


def _shades(parts: Parts) -> Iterator[Fault]:
    """A facade's heights mean something only with its depth and the way it faces."""
    for item in parts.zones:
        shade = item.doc.shade if item.doc else None
        if shade is None:
            continue
        named = [k for k in ("clear_height", "parapet") if getattr(shade, k) is not None]
        for key, example in (("faces", '"S"'), ("depth", '"5 ft"')):
            if named and getattr(shade, key) is None:
                yield Fault(
                    where=item.where("shade", key),
                    what=f"Zone {item.id}: {named[0]} needs {key}.",
                    do=f"Add {key} = {example}.",
                )
        rail, roof = shade.parapet, shade.clear_height
        if rail is not None and roof is not None and rail >= roof:
            yield Fault(
                where=item.where("shade", "parapet"),
                what=f"Zone {item.id}: the parapet reaches the slab above; no sky is left.",
                do="Call the zone enclosed, or mend one of the two heights.",
            )


def _features(parts: Parts) -> Iterator[Fault]:
    places = {z.id for z in parts.zones} | {word(d.raw, "id") for d in parts.docs.decks} | {STREET}
    for item in parts.features:
        feature = item.doc
        if feature is None:
            continue
        for key, example in NEEDS.get(feature.kind, ()):
            if getattr(feature, key) is None:
                yield Fault(
                    where=item.where(key),
                    what=f"Layer {feature.layer}: a {feature.kind.value} needs its {key}.",
                    do=f'Add it as on the deck: {key} = "{example}".',
                )
        for i, name in enumerate(feature.connects):
            if name not in places:
                yield Fault(
                    where=item.where("connects", i),
                    what=f"Layer {feature.layer}: there is no deck or zone {name}.",
                    do=f'Name a deck, a zone or "{STREET}".',
                )


def _groups(parts: Parts) -> Iterator[Fault]:
    if parts.cutting is None:
        return
    zones = {z.id: z for z in parts.zones}
    taken: set[str] = set()
    for i, group in enumerate(parts.cutting.group_zones):
        kinds = set()
        for j, name in enumerate(group):
            where = place("job.toml", "cutting", "group_zones", i, j)
            if name not in zones:
                do = "Name zones as the deck documents do."
                yield Fault(where=where, what=f"There is no zone {name}.", do=do)
                continue
            if name in taken:
                do = "Keep it in one group."
                yield Fault(where=where, what=f"The zone {name} is in a group already.", do=do)
            taken.add(name)
            zone = zones[name]
            if zone.doc:
                shade = zone.doc.shade
                seen = None if shade is None else shade.model_dump_json()
                kinds.add((zone.file, zone.doc.build_up, zone.doc.exposure, seen))
        if len(kinds) > 1:
            yield Fault(
                where=place("job.toml", "cutting", "group_zones", i),
                what="The zones of the group differ in deck, build-up, exposure or shade.",
                do="Group only zones that one coat can cover in one go.",
            )
