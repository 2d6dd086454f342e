"""The parts of documents that cross checks look at, whole or half right.

A document with one bad product still holds the others; each part is read on its
own so that one fault does not hide those that depend on the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast

from pydantic import BaseModel, ValidationError

from tackfree.bundle.documents.base import Document
from tackfree.bundle.documents.build_ups import BuildUpDoc
from tackfree.bundle.documents.deck import DeckFeatureDoc, DeckZoneDoc
from tackfree.bundle.documents.job import CrewDoc, CuttingDoc, ShiftDoc
from tackfree.bundle.documents.products import ProductDoc
from tackfree.bundle.documents.spec import HoldPointDoc, LimitsDoc
from tackfree.bundle.faults import place
from tackfree.bundle.read import Documents, Read

M = TypeVar("M", bound=BaseModel)


def word(raw: dict[str, Any], key: str) -> str:
    """A text of a raw document, or nothing where another type stands."""
    found = raw.get(key)
    return found if isinstance(found, str) else ""


@dataclass(frozen=True, kw_only=True)
class Item(Generic[M]):
    """One part of a document. ``doc`` is None where its own reading failed."""

    file: str
    path: tuple[int | str, ...]
    raw: dict[str, Any]
    doc: M | None

    @property
    def id(self) -> str:
        return word(self.raw, "id")

    def where(self, *more: int | str) -> str:
        return place(self.file, *self.path, *more)


def _parts(read: Read | None, key: str, model: type[M]) -> Iterator[Item[M]]:
    listed = read.raw.get(key) if read else None
    for i, raw in enumerate(listed if isinstance(listed, list) else ()):
        if read is not None and isinstance(raw, dict):
            yield Item(file=read.file, path=(key, i), raw=raw, doc=attempt(model, raw))


def attempt(model: type[M], raw: Any) -> M | None:
    """A model of a part, or None; its faults are reported with its document."""
    try:
        return model.model_validate(raw)
    except ValidationError:
        return None


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Everything that cross checks look at."""

    docs: Documents
    job: dict[str, Any]
    products: tuple[Item[ProductDoc], ...]
    build_ups: tuple[Item[BuildUpDoc], ...]
    shifts: tuple[Item[ShiftDoc], ...]
    crews: tuple[Item[CrewDoc], ...]
    zones: tuple[Item[DeckZoneDoc], ...]
    features: tuple[Item[DeckFeatureDoc], ...]
    cutting: CuttingDoc | None
    spec_limits: LimitsDoc
    hold_points: tuple[Item[HoldPointDoc], ...]

    def table(self, key: str) -> dict[str, Any]:
        """A table of job.toml, empty where there is none."""
        found = self.job.get(key)
        return found if isinstance(found, dict) else {}

    def listed(self, key: str) -> list[Any]:
        """A list of job.toml, empty where there is none."""
        found = self.job.get(key)
        return found if isinstance(found, list) else []


def parts_of(docs: Documents) -> Parts:
    """Take the documents apart."""
    get = docs.found.get
    job = get("job.toml")
    spec = get("spec.toml")
    raw_job = job.raw if job else {}
    limits: Document | None = attempt(LimitsDoc, spec.raw.get("limits", {})) if spec else None
    return Parts(
        docs=docs,
        job=raw_job,
        products=tuple(_parts(get("products.toml"), "products", ProductDoc)),
        build_ups=tuple(_parts(get("buildups.toml"), "build_ups", BuildUpDoc)),
        shifts=tuple(_parts(job, "shifts", ShiftDoc)),
        crews=tuple(_parts(job, "crews", CrewDoc)),
        zones=tuple(z for d in docs.decks for z in _parts(d, "zones", DeckZoneDoc)),
        features=tuple(f for d in docs.decks for f in _parts(d, "features", DeckFeatureDoc)),
        cutting=attempt(CuttingDoc, raw_job.get("cutting", {})),
        spec_limits=cast(LimitsDoc, limits) if limits else LimitsDoc(),
        hold_points=tuple(_parts(spec, "hold_points", HoldPointDoc)),
    )
