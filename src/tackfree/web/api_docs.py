"""The interface described for people: a page of our own and ``docs/api.md``, from one source."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Json = Mapping[str, Any]
INTRO = (
    "Phones and other programs add entries and photos by this interface; the field page uses "
    "nothing else. Entries are only added: sending one again is safe, and each is answered for "
    "after its durable commit. The machine-readable form is at /api/openapi.json.",
    "In a team's record every request names a device, `Authorization: Device TOKEN`, with the "
    "token that redeeming an invitation gave. On one's own machine any value does, or an Origin "
    "of the same address. A refusal has one shape: `{schema, refused: [{where, what, do}]}`.",
    "An entry holds eleven fields: id (a ULID made on the device), job, device, seq (1, 2, 3 … "
    "without gaps), person, wall (ISO 8601 with offset), zone, kind, v, body, and previous: the "
    'SHA-256 of the device\'s entry before in the canonical form of RFC 8785, "" for its first.',
)


@dataclass(frozen=True, kw_only=True)
class Operation:
    """One request: its parameters as (name, place, meaning), its answers as (status, meaning)."""

    method: str
    path: str
    summary: str
    text: str
    parameters: tuple[tuple[str, str, str], ...]
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of entry: its fields as (name, type, needed)."""

    name: str
    text: str
    fields: tuple[tuple[str, str, bool], ...]


def operations(described: Json) -> tuple[Operation, ...]:
    """Every request of the interface, in the order of its routes."""
    return tuple(
        Operation(
            method=method.upper(), path=path, summary=one["summary"],
            text=" ".join(one.get("description", "").split()),
            parameters=tuple(
                (p["name"], p["in"], p.get("description") or p["schema"].get("description", ""))
                for p in one.get("parameters", ())
            ),
            answers=tuple((s, a["description"]) for s, a in sorted(one["responses"].items())),
        )
        for path, methods in described["paths"].items()
        for method, one in methods.items()
    )  # fmt: skip


def kinds(described: Json) -> tuple[Kind, ...]:
    """Every kind of entry, by name."""
    found = []
    for name, model in sorted(described["components"]["schemas"].items()):
        if "." not in name:
            continue
        needed = set(model.get("required", ()))
        fields = tuple(
            (field, _type(schema), field in needed)
            for field, schema in model["properties"].items()
            if field not in ("corrects", "mends", "photos")
        )
        text = " ".join(model.get("description", "").split()).replace("``", "`")
        found.append(Kind(name=name, text=text, fields=fields))
    return tuple(found)


def _type(schema: Json) -> str:
    if "anyOf" in schema:
        return " or ".join(_type(s) for s in schema["anyOf"] if s.get("type") != "null")
    if "enum" in schema:
        return " | ".join(map(str, schema["enum"]))
    if "const" in schema:
        return str(schema["const"])
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if schema.get("type") == "array":
        return f"list of {_type(schema.get('items', {}))}"
    low = schema.get("minimum", schema.get("exclusiveMinimum"))
    high = schema.get("maximum", schema.get("exclusiveMaximum"))
    span = f" {low:g} to {high:g}" if low is not None and high is not None else ""
    return f"{schema.get('type', 'any')}{span}"


def markdown(described: Json) -> str:
    """The whole as Markdown."""
    return "\n".join(_lines(described)) + "\n"


def _lines(described: Json) -> Iterator[str]:
    yield "# The interface of the record"
    for text in INTRO:
        yield ""
        yield text
    for one in operations(described):
        yield ""
        yield f"## {one.method} {one.path}"
        yield ""
        yield f"{one.summary}. {one.text}"
        yield ""
        for name, place, text in one.parameters:
            yield f"- `{name}` ({place}) {text}".rstrip()
        for status, text in one.answers:
            yield f"- {status}: {text}"
    yield ""
    yield "## Kinds of entries"
    yield ""
    yield "Every body may also carry `corrects`, `mends` and `photos`. All values are in SI."
    for kind in kinds(described):
        yield ""
        yield f"### {kind.name}"
        yield ""
        yield kind.text
        yield ""
        for name, type_, needed in kind.fields:
            yield f"- `{name}`{' (needed)' if needed else ''}: {type_}"


def main() -> None:
    """Write ``docs/api.md``: ``python -m tackfree.web.api_docs docs/api.md``."""
    from tackfree.web.api import router
    from tackfree.web.app import create_app
    from tackfree.web.openapi import describe

    site = create_app(Path("out")).state.site
    Path(sys.argv[1]).write_text(markdown(describe(router(site).routes)), "utf-8")


if __name__ == "__main__":
    main()
