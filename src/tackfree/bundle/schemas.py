"""JSON Schemas of the documents: ``python -m tackfree.bundle.schemas DIR``."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from tackfree.bundle.documents.build_ups import BuildUpsDoc
from tackfree.bundle.documents.deck import DeckDocument
from tackfree.bundle.documents.job import JobDoc
from tackfree.bundle.documents.moves import MovesDoc
from tackfree.bundle.documents.price import PriceDoc
from tackfree.bundle.documents.products import ProductsDoc
from tackfree.bundle.documents.spec import SpecDoc

SCHEMAS: dict[str, type[BaseModel]] = {
    "job": JobDoc,
    "spec": SpecDoc,
    "products": ProductsDoc,
    "buildups": BuildUpsDoc,
    "deck": DeckDocument,
    "price": PriceDoc,
    "moves": MovesDoc,
}


def schema_text(name: str) -> str:
    """One schema as the text of its file.

    Examples
    --------
    >>> json.loads(schema_text("deck"))["title"]
    'deck.toml, version 1'
    """
    schema = _tidy(SCHEMAS[name].model_json_schema())
    title = f"{name}.toml, version 1"
    whole = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}
    return json.dumps(whole, indent=2, ensure_ascii=False, sort_keys=True) + "\n"


def _tidy(node: Any) -> Any:
    """Leave out what TOML cannot say (null) and titles that repeat a key."""
    if isinstance(node, list):
        return [_tidy(n) for n in node]
    if not isinstance(node, dict):
        return node
    out: dict[str, Any] = {
        key: _names(value) if key in {"properties", "$defs"} else _tidy(value)
        for key, value in node.items()
        if not (key == "title" and isinstance(value, str))
        and not (key == "default" and (value is None or value in ([], {})))
    }
    choices = out.get("anyOf")
    if isinstance(choices, list) and {"type": "null"} in choices:
        left = [c for c in choices if c != {"type": "null"}]
        del out["anyOf"]
        out = {**left[0], **out} if len(left) == 1 else {**out, "anyOf": left}
    if isinstance(out.get("description"), str):
        out["description"] = " ".join(out["description"].split())
    return out


def _names(table: dict[str, Any]) -> dict[str, Any]:
    return {name: _tidy(value) for name, value in table.items()}


def write(folder: Path) -> tuple[Path, ...]:
    """Write every schema into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name in SCHEMAS:
        path = folder / f"{name}.schema.json"
        path.write_text(schema_text(name), "utf-8", newline="\n")
        written.append(path)
    return tuple(written)


if __name__ == "__main__":
    for written_path in write(Path(sys.argv[1] if len(sys.argv) > 1 else "docs/schemas")):
        print(written_path)
