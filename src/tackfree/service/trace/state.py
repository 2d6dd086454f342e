"""What the editor opens: a deck's drawing, scale, zones and features, and the job's build-ups."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from tackfree import units
from tackfree.bundle.documents.build_ups import BuildUpsDoc
from tackfree.bundle.documents.deck import UNIT_M
from tackfree.bundle.read import Documents, read
from tackfree.deck.declared import DeckDoc, Measured
from tackfree.deck.tape import outline_of
from tackfree.deck.types import Feature, FeatureKind
from tackfree.errors import Fault, NotFound, ToolError
from tackfree.intake.calibrate import scale_from
from tackfree.intake.dxf import read_deck
from tackfree.intake.geojson import planar, rows_of
from tackfree.intake.pdf import read_pdf_deck
from tackfree.intake.picture_view import PDFIUM
from tackfree.service.save import to_json
from tackfree.service.trace.ground import etag_of, kind_by_name, readable
from tackfree.service.trace.judge import bench_of, other_ids
from tackfree.words import Message

DIGITS = 9


@dataclass(frozen=True, kw_only=True)
class DeckFile:
    """A deck document's place and what it says; ``raw`` is empty where it cannot be read."""

    id: str
    name: str
    file: str  # decks/NAME.toml
    raw: Mapping[str, Any]

    @property
    def geojson(self) -> str | None:
        """Its GeoJSON, as a path in the bundle."""
        named = self.raw.get("geojson")
        return f"decks/{named}" if isinstance(named, str) and "/" not in named else None


def deck_files(docs: Documents) -> tuple[DeckFile, ...]:
    """Every deck document that says its id, in the order of their files."""
    return tuple(
        DeckFile(
            id=str(d.raw["id"]),
            name=str(d.raw.get("name") or d.raw["id"]),
            file=d.file,
            raw=d.raw,
        )
        for d in docs.decks
        if isinstance(d.raw.get("id"), str)
    )


def find_deck(docs: Documents, deck_id: str) -> DeckFile:
    """One deck document by its id.

    Raises
    ------
    NotFound
        If the job has none.
    """
    found = {d.id: d for d in deck_files(docs)}
    if deck_id not in found:
        raise NotFound(
            f"the job has no deck {deck_id!r}.",
            where="deck",
            do=f"Choose one of {', '.join(found)}." if found else "Begin one: bring a drawing.",
        )
    return found[deck_id]


def etag(root: Path, deck: DeckFile) -> str:
    """The state of a deck's own files, as a short name."""
    paths = [root / deck.file, *([root / deck.geojson] if deck.geojson else [])]
    return etag_of(*(p.read_bytes() if p.is_file() else b"" for p in paths))


def state_of(root: Path, deck_id: str) -> dict[str, Any]:
    """A deck for the editor, faults and all: what cannot be read is listed, not raised.

    Raises
    ------
    NotFound
        If the job has no such deck.
    """
    docs = read(root)
    deck = find_deck(docs, deck_id)
    raw = deck.raw
    bench = bench_of(root, deck.file)
    faults = list(bench.own)
    messages: list[Message] = []
    page = raw.get("page", 1)
    page = page if isinstance(page, int) and page >= 1 else 1
    drawing = raw.get("drawing") if isinstance(raw.get("drawing"), str) else None
    ground, fault = readable(root / "decks", drawing, page)
    faults += fault.faults if fault else ()
    drawn_zones: dict[str, BaseGeometry] = {}
    drawn_features: list[Feature] = []
    offset = (0.0, 0.0)
    if bench.doc is not None:
        found = _drawn(root / "decks", bench.doc, messages, faults)
        drawn_zones, drawn_features, offset = found
    traced, features, spare = _traced(root, deck, messages, faults)
    scale = _scale(raw, ground.kind, faults)
    return {
        "schema": "tackfree.trace/1",
        "base": etag(root, deck),
        "id": deck.id,
        "name": deck.name,
        "post_tensioned": raw.get("post_tensioned", "unknown"),
        "drawing": drawing,
        "page": page,
        "calibration": raw.get("calibration", []),
        "stretched": bool(raw.get("stretched", False)),
        "scale_m": scale,
        "offset_m": list(offset),
        "ground": to_json(ground),
        "zones": [
            _zone_row(z, drawn_zones, traced)
            for z in raw.get("zones", ())
            if isinstance(z, dict) and isinstance(z.get("id"), str)
        ],
        "features": [_feature_row(f, drawn=True) for f in drawn_features]
        + [_feature_row(f, drawn=False) for f in features],
        "spare": spare,
        **surroundings(docs, deck.file),
        "faults": [{"where": f.where, "what": f.what, "do": f.do} for f in faults],
        "messages": [m.to_json() for m in messages],
    }


def new_state(root: Path, deck_id: str, drawing: str | None, page: int) -> dict[str, Any]:
    """The same for a deck that is not there yet: a drawing and nothing on it."""
    docs = read(root)
    ground, fault = readable(root / "decks", drawing, page)
    if fault is not None:
        raise fault
    return {
        "schema": "tackfree.trace/1",
        "base": "",
        "id": deck_id,
        "name": deck_id,
        "post_tensioned": "unknown",
        "drawing": drawing,
        "page": page,
        "calibration": [],
        "stretched": False,
        "scale_m": None if ground.kind != "none" else [1.0, 1.0],
        "offset_m": [0.0, 0.0],
        "ground": to_json(ground),
        "zones": [],
        "features": [],
        "spare": [],
        **surroundings(docs, f"decks/{deck_id}.toml"),
        "faults": [],
        "messages": [],
    }


def surroundings(docs: Documents, file: str) -> dict[str, Any]:
    """What of the job the editor needs: units, build-ups, ids in use elsewhere."""
    job = docs.found.get("job.toml")
    raw = job.raw if job else {}
    return {
        "job_id": str(raw.get("id", "")),
        "units": "si" if raw.get("units") == "si" else "us",
        "build_ups": _build_ups(docs),
        "elsewhere": other_ids(docs, file),
    }


def _build_ups(docs: Documents) -> list[dict[str, Any]]:
    found = docs.found.get("buildups.toml")
    if found is None or not isinstance(found.model, BuildUpsDoc):
        return []
    return [
        {
            "id": b.id,
            "name": b.name,
            "duties": [d.value for d in b.duties],
            "exposures": [e.value for e in b.exposures],
        }
        for b in found.model.build_ups
    ]


def _drawn(
    decks: Path, doc: DeckDoc, messages: list[Message], faults: list[Fault]
) -> tuple[dict[str, BaseGeometry], list[Feature], tuple[float, float]]:
    """Zones and features that the drawing or a tape gives."""
    zones: dict[str, BaseGeometry] = {}
    features: list[Feature] = []
    offset = (0.0, 0.0)
    for z in doc.zones:
        if z.taped is not None:
            try:
                zones[z.id] = outline_of(z.taped, name=z.id).outline
            except ToolError as fault:
                faults += fault.faults
    layered = tuple(z for z in doc.zones if z.layer is not None)
    if doc.drawing is not None and (layered or doc.features):
        only = replace(doc, zones=layered, geojson=None)
        path = decks / doc.drawing
        try:
            if kind_by_name(doc.drawing) == "pdf":
                with PDFIUM:
                    deck, said = read_pdf_deck(path, only)
            else:
                deck, said = read_deck(path, only)
        except ToolError as fault:
            faults += fault.faults
        else:
            zones |= {z.id: z.outline for z in deck.zones}
            features += deck.features
            offset = deck.offset_m
            messages += [m for m in said if m.id not in ("intake.ignored", "intake.hidden")]
    return zones, features, offset


def _traced(
    root: Path, deck: DeckFile, messages: list[Message], faults: list[Fault]
) -> tuple[dict[str, Any], list[Feature], list[dict[str, Any]]]:
    """Shapes of the deck's own GeoJSON: zones by id, features, and outlines nobody uses."""
    if deck.geojson is None:
        return {}, [], []
    try:
        rows = planar(rows_of(root / deck.geojson), Path(deck.geojson).name, messages)
    except ToolError as fault:
        faults += fault.faults
        return {}, [], []
    zones: dict[str, Any] = {}
    features: list[Feature] = []
    for row in rows:
        about, shape = row.get("properties") or {}, row.get("geometry")
        kind, ident = str(about.get("kind")), str(about.get("id", ""))
        if kind == "zone":
            zones[ident] = shape
        elif kind in set(FeatureKind) and ident:
            try:
                features.append(_feature(ident, about, shape))
            except (TypeError, ValueError, KeyError, shapely.errors.ShapelyError):
                continue  # the deck's own reading has listed it
    wanted = {str(z.get("geojson_id") or z.get("id")) for z in deck.raw.get("zones", ())}
    spare = [{"id": k, "shape": v} for k, v in zones.items() if k not in wanted]
    return zones, features, spare


def carried_rows(root: Path, deck: DeckFile) -> list[dict[str, Any]]:
    """Rows of a deck's GeoJSON that are neither its zones nor features known to us."""
    if deck.geojson is None or not (root / deck.geojson).is_file():
        return []
    try:
        rows = planar(rows_of(root / deck.geojson), Path(deck.geojson).name, [])
    except ToolError:
        return []
    used = {str(z.get("geojson_id") or z.get("id")) for z in deck.raw.get("zones", ())}

    def ours(row: Mapping[str, Any]) -> bool:
        about = row.get("properties") or {}
        kind = str(about.get("kind"))
        return kind in set(FeatureKind) if kind != "zone" else str(about.get("id")) in used

    return [r for r in rows if not ours(r)]


def _feature(ident: str, about: Mapping[str, Any], shape: Any) -> Feature:
    def number(key: str) -> float | None:
        return None if about.get(key) is None else float(about[key])

    return Feature(
        id=ident,
        kind=FeatureKind(str(about["kind"])),
        geometry=shapely.from_geojson(json.dumps(shape)),
        width_m=number("width_m"),
        depth_m=number("depth_m"),
        height_m=number("height_m"),
        count=int(about.get("count", 1)),
        label=str(about.get("label", "")),
        connects=tuple(map(str, about.get("connects", ()))),
        source=str(about.get("source", "drawn")),
    )


def _zone_row(
    raw: Mapping[str, Any], drawn: Mapping[str, BaseGeometry], traced: Mapping[str, Any]
) -> dict[str, Any]:
    """A zone for the editor; ``from`` says what gives its outline."""
    ident = str(raw["id"])
    if raw.get("layer") is not None or raw.get("taped") is not None:
        shape = drawn.get(ident)
        outline = None if shape is None else shape_of(shape)
        origin = "layer" if raw.get("layer") is not None else "tape"
    else:
        outline = traced.get(str(raw.get("geojson_id") or ident))
        origin = "traced"
    slope = raw.get("slope")
    return {
        "id": ident,
        "name": str(raw.get("name") or ident),
        "duty": str(raw.get("duty", "")),
        "exposure": str(raw.get("exposure", "")),
        "build_up": str(raw.get("build_up", "")),
        "slope": slope if isinstance(slope, list) and len(slope) == 2 else None,
        "made_as": next((k for k in ("ramp", "helix", "steps") if raw.get(k) is not None), None),
        "shape": outline,
        "from": origin,
    }


def _feature_row(f: Feature, *, drawn: bool) -> dict[str, Any]:
    return {
        "id": f.id,
        "kind": f.kind.value,
        "shape": shape_of(f.geometry),
        "width_m": f.width_m,
        "depth_m": f.depth_m,
        "height_m": f.height_m,
        "count": f.count,
        "label": f.label,
        "connects": list(f.connects),
        "source": f.source,
        "from": "layer" if drawn else "traced",
    }


def shape_of(geometry: BaseGeometry) -> dict[str, Any]:
    """A geometry as the editor holds it."""
    found: dict[str, Any] = json.loads(shapely.to_geojson(shapely.force_2d(geometry)))
    found["coordinates"] = _rounded(found["coordinates"])
    return found


def _rounded(value: Any) -> Any:
    return [_rounded(v) for v in value] if isinstance(value, list) else round(value, DIGITS) + 0.0


def _scale(raw: Mapping[str, Any], kind: str, faults: list[Fault]) -> list[float] | None:
    """Metres per drawing unit along x and y; None where nothing gives it."""
    lengths = raw.get("calibration") or []
    if not lengths:
        unit = UNIT_M.get(str(raw.get("unit")), 1.0 if kind == "none" else 0.0)
        return [unit, unit] if kind in ("lines", "none") and unit else None
    try:
        measured = tuple(
            Measured(
                start=(float(c["start"][0]), float(c["start"][1])),
                end=(float(c["end"][0]), float(c["end"][1])),
                length_m=units.parse(str(c["length"]), "length"),
            )
            for c in lengths
        )
        stretched = bool(raw.get("stretched", False))
        scale = scale_from(measured, stretched=stretched, file=str(raw.get("drawing") or ""))
    except ToolError as fault:
        faults += fault.faults
        return None
    except (TypeError, KeyError, IndexError, ValueError):
        return None  # the deck's own reading has listed it
    return [scale.x_m, scale.y_m]
