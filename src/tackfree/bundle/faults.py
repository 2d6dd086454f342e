"""From what the reader and the models find to faults that people can act on."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from tackfree.bundle.documents.base import HAZARD_PATTERN, ID_PATTERN
from tackfree.errors import Fault

Loc = tuple[int | str, ...]


def place(file: str, *path: int | str) -> str:
    """Where in a bundle: ``products.toml, products[2].volume_solids``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return f"{file}, {text}" if text else file


def said(raw: Any, *path: int | str) -> str:
    """What a document says at a path, as written."""
    for step in path:
        try:
            raw = raw[step]
        except (KeyError, IndexError, TypeError):
            return "nothing"
    return f'"{raw}"' if isinstance(raw, str) else str(raw)


def of_model(
    file: str, model: type[BaseModel], raw: Mapping[str, Any], error: ValidationError
) -> Iterator[Fault]:
    """Every fault of one document."""
    for one in error.errors(include_url=False):
        loc = _on_paper(one["loc"], raw)
        what, do = _sentence(one, loc, model)
        yield Fault(where=place(file, *loc), what=f"{_owner(raw, loc)}{what}", do=do)


def _on_paper(loc: Loc, raw: Any) -> Loc:
    """A model's path without the steps that only the model knows (union members)."""
    out: list[int | str] = []
    for i, step in enumerate(loc):
        last = i == len(loc) - 1
        inside = (isinstance(raw, Mapping) and step in raw) or (
            isinstance(raw, Sequence)
            and not isinstance(raw, str)
            and isinstance(step, int)
            and step < len(raw)
        )
        if inside:
            out.append(step)
            raw = raw[step]
        elif last and isinstance(raw, Mapping):
            out.append(step)
    return tuple(out)


def _owner(raw: Any, loc: Loc) -> str:
    """The id nearest to the path, so that a fault names its product or coat."""
    found = ""
    for step in loc[:-1]:
        raw = raw[step]
        if isinstance(raw, Mapping) and isinstance(raw.get("id"), str):
            found = raw["id"]
    return f"{found}: " if found else ""


def _models_at(model: type[BaseModel], loc: Loc) -> type[BaseModel] | None:
    """The model whose keys stand at a path."""
    here: type[BaseModel] | None = model
    for step in loc:
        if isinstance(step, int) or here is None:
            continue
        field = here.model_fields.get(step)
        here = _inner(field.annotation) if field else None
    return here


def _inner(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in typing.get_args(annotation):
        found = _inner(part)
        if found is not None:
            return found
    return None


def _sentence(one: ErrorDetails, loc: Loc, model: type[BaseModel]) -> tuple[str, str]:
    kind, given, ctx = one["type"], one["input"], one.get("ctx", {})
    key = str(loc[-1]) if loc else "document"
    shown = f'"{given}"' if isinstance(given, str) else _short(given)
    if kind == "tackfree":
        return ctx["what"], ctx["do"]
    if kind == "missing":
        return f"{key} is missing.", f"Add {key}{_hint(model, loc)}."
    if kind == "extra_forbidden":
        return f"the key {key} is not known here.", _nearest(model, loc)
    if kind in {"literal_error", "enum"}:
        return f"{key} is {shown}.", f"Write one of {ctx['expected']}."
    if kind == "string_pattern_mismatch":
        return f"{key} is {shown}.", _PATTERNS.get(ctx["pattern"], f"Match {ctx['pattern']}.")
    if kind in _TYPES:
        return f"{key} is {shown}, not {_TYPES[kind]}.", f"Write {_TYPES[kind]}."
    return f"{key} is {shown}.", f"{one['msg']}."


_PATTERNS = {
    ID_PATTERN: "Use capitals, digits and hyphens only.",
    HAZARD_PATTERN: "Use small letters, digits and hyphens only.",
}
_TYPES = {
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "float_type": "a number without unit and quotes",
    "list_type": "a list in square brackets",
    "model_type": "a table of keys",
    "date_type": "a date such as 2027-04-19, without quotes",
    "datetime_type": "a date and time such as 2027-04-12T07:00:00, without quotes",
    "time_type": "a time such as 07:00:00, without quotes",
}


def _short(given: Any) -> str:
    text = str(given)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _hint(model: type[BaseModel], loc: Loc) -> str:
    here = _models_at(model, loc[:-1])
    field = here.model_fields.get(str(loc[-1])) if here else None
    for meta in field.metadata if field else ():
        examples = getattr(meta, "examples", None) or getattr(
            getattr(meta, "of", None), "examples", None
        )
        if examples:
            return f', for example {loc[-1]} = "{examples[0]}"'
    return ""


def _nearest(model: type[BaseModel], loc: Loc) -> str:
    here = _models_at(model, loc[:-1])
    known = sorted(here.model_fields) if here else []
    close = difflib.get_close_matches(str(loc[-1]), known, n=1)
    if close:
        return f"Write {close[0]}, or take it out."
    return f"Take it out. Known keys: {', '.join(known)}." if known else "Take it out."
