"""What the interface says of itself: OpenAPI, from the routes and the models of entries."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi.openapi.utils import get_openapi
from starlette.routing import BaseRoute

from tackfree import __version__
from tackfree.record.checking import FIELDS
from tackfree.record.entries import BATCH_MAX
from tackfree.record.kinds import KINDS

TEXT, WHOLE = {"type": "string"}, {"type": "integer"}
HEX = {"type": "string", "pattern": "^[0-9a-f]{64}$"}


def _table(**properties: Any) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": list(properties)}


def _many(items: Any) -> dict[str, Any]:
    return {"type": "array", "items": items}


def _answer(description: str, schema: Any, media: str = "application/json") -> dict[str, Any]:
    return {"description": description, "content": {media: {"schema": schema}}}


def _said(name: str, **properties: Any) -> dict[str, Any]:
    return _table(schema={"const": name}, **properties)


FAULTS = _many(_table(where=TEXT, what=TEXT, do=TEXT))
REFUSED = _answer("Refused, with every reason", _said("tackfree.refused/1", refused=FAULTS))
SENT = {
    "type": "object",
    "description": "One entry. Its hash is SHA-256 of its RFC 8785 form (all eleven fields).",
    "properties": {
        "id": {"type": "string", "description": "ULID made on the device."},
        "job": TEXT,
        "device": TEXT,
        "seq": {**WHOLE, "description": "1, 2, 3 … on its device, without gaps."},
        "person": TEXT,
        "wall": {"type": "string", "description": "ISO 8601 with offset, as the device saw it."},
        "zone": {"type": "string", "description": "IANA time zone of the device."},
        "kind": {"enum": sorted({kind for kind, _ in KINDS})},
        "v": {**WHOLE, "description": "Version of the kind's body."},
        "body": {
            "type": "object",
            "description": "The fields of the kind, in SI: see components.schemas. Every body "
            "may carry corrects, mends and photos.",
        },
        "previous": {
            "type": "string",
            "description": 'Hash of the device\'s entry before, "" for its first.',
        },
    },
    "required": list(FIELDS),
}
STORED = _table(pos=WHOLE, **SENT["properties"], sha=HEX, received=TEXT)  # type: ignore[arg-type]
TAKES = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "type": "object",
                    "properties": {"entries": {**_many(SENT), "maxItems": BATCH_MAX}},
                    "required": ["entries"],
                    "additionalProperties": False,
                }
            }
        },
    }
}
PICTURE = {
    "requestBody": {
        "required": True,
        "content": {
            media: {"schema": {"type": "string", "format": "binary"}}
            for media in ("image/jpeg", "image/png", "image/webp")
        },
    }
}
RESULT = _table(
    id=TEXT, status={"enum": ["stored", "duplicate", "conflict", "held"]}, faults=FAULTS
)
FENCE: dict[int | str, Any] = {400: REFUSED, 401: REFUSED, 403: REFUSED, 429: REFUSED}
PICTURES = {
    "description": "The picture",
    "content": {
        m: {"schema": {"type": "string", "format": "binary"}}
        for m in ("image/jpeg", "image/png", "image/webp")
    },
}
TAKEN: dict[int | str, Any] = {
    200: _answer("What became of each", _said("tackfree.entries-taken/1", results=_many(RESULT),
                                              pos=WHOLE)),
    **FENCE,
}  # fmt: skip
LISTED: dict[int | str, Any] = {
    200: _answer("Entries", _said("tackfree.entries/1", entries=_many(STORED), next=WHOLE)),
    **FENCE,
}
HELD: dict[int | str, Any] = {
    200: _answer("What is held", _said("tackfree.held/1", held=_many(_table(
        pos=WHOLE, id=TEXT, device=TEXT, seq=WHOLE, raw=TEXT, reason=TEXT, received=TEXT)))),
    **FENCE,
}  # fmt: skip
_KEPT = _answer("Kept", _said("tackfree.photo-kept/1", sha256=HEX, new={"type": "boolean"}))
KEPT: dict[int | str, Any] = {200: _KEPT, 201: _KEPT, **FENCE, 404: REFUSED}
SHOWN: dict[int | str, Any] = {200: PICTURES, **FENCE, 404: REFUSED}
_OR_NULL = {"type": ["number", "null"]}
ABOUT: dict[int | str, Any] = {
    200: _answer("The picture", _said(
        "tackfree.photo/1", sha256=HEX, media=TEXT, size_bytes=WHOLE, width_px=WHOLE,
        height_px=WHOLE, taken={"type": ["string", "null"]}, latitude_deg=_OR_NULL,
        longitude_deg=_OR_NULL)),
    **FENCE,
    404: REFUSED,
}  # fmt: skip
ME: dict[int | str, Any] = {
    200: _answer("The caller", _said(
        "tackfree.me/1", person=TEXT, role={"enum": ["office", "foreman", "crew", "inspector",
                                                     "owner"]},
        device={"type": ["string", "null"]}, mode={"enum": ["single", "team"]})),
    **FENCE,
}  # fmt: skip


def describe(routes: Sequence[BaseRoute]) -> dict[str, Any]:
    """The whole description, with the model of every kind of entry."""
    made = get_openapi(
        title="Tackfree record",
        version=__version__,
        summary="Entries and photos of one job; entries are only added.",
        routes=routes,
    )
    bodies = made.setdefault("components", {}).setdefault("schemas", {})
    for (kind, version), model in KINDS.items():
        schema = model.model_json_schema(ref_template="#/components/schemas/{model}")
        bodies |= schema.pop("$defs", {})
        bodies[f"{kind}.{version}"] = schema
    for name in ("HTTPValidationError", "ValidationError"):
        bodies.pop(name, None)
    for path in made["paths"].values():
        for operation in path.values():
            operation["responses"].pop("422", None)
    made["components"]["securitySchemes"] = {
        "device": {"type": "apiKey", "in": "header", "name": "Authorization",
                   "description": "Device TOKEN, from redeeming an invitation"},
        "session": {"type": "apiKey", "in": "cookie", "name": "tackfree-session"},
    }  # fmt: skip
    made["security"] = [{"device": []}, {"session": []}, {}]
    return made
