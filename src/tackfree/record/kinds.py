"""Kinds and versions of entries, and every fault of a body at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from tackfree.errors import Fault, InputError
from tackfree.record.bodies.base import Body
from tackfree.record.bodies.days import (
    ConditionsV1,
    CorrectionV1,
    CrewHoursV1,
    DelayV1,
    InspectorSpotsV1,
    LoggedV1,
    NoteV1,
    NoticeAnswerV1,
    NoticeV1,
    PhotoV1,
    WeatherEventV1,
)
from tackfree.record.bodies.placing import (
    AggregateV1,
    AreaPreparedV1,
    BatchV1,
    CureSeenV1,
    DeliveryV1,
    DetailLengthV1,
    FilmReadingV1,
    PartV1,
    PlacementV1,
    ReadinessV1,
)
from tackfree.record.bodies.testing import (
    DefectV1,
    FloodV1,
    HardnessV1,
    HoldV1,
    InstrumentCheckV1,
    MoistureV1,
    PullOffV1,
    ReleaseV1,
    RepairV1,
    SlipV1,
    VisitV1,
)
from tackfree.words import say

__all__ = [
    "KINDS", "BatchV1", "Body", "Doubt", "FilmReadingV1", "PartV1", "PlacementV1", "check_body",
    "doubts_of", "read_body",
]  # fmt: skip

KINDS: dict[tuple[str, int], type[Body]] = {
    ("note", 1): NoteV1,
    ("conditions", 1): ConditionsV1,
    ("readiness", 1): ReadinessV1,
    ("area-prepared", 1): AreaPreparedV1,
    ("delivery", 1): DeliveryV1,
    ("batch", 1): BatchV1,
    ("placement", 1): PlacementV1,
    ("film-reading", 1): FilmReadingV1,
    ("aggregate", 1): AggregateV1,
    ("detail-length", 1): DetailLengthV1,
    ("cure-seen", 1): CureSeenV1,
    ("pull-off", 1): PullOffV1,
    ("moisture", 1): MoistureV1,
    ("flood", 1): FloodV1,
    ("slip", 1): SlipV1,
    ("hardness", 1): HardnessV1,
    ("hold", 1): HoldV1,
    ("release", 1): ReleaseV1,
    ("defect", 1): DefectV1,
    ("repair", 1): RepairV1,
    ("instrument-check", 1): InstrumentCheckV1,
    ("visit", 1): VisitV1,
    ("logged", 1): LoggedV1,
    ("weather-event", 1): WeatherEventV1,
    ("crew-hours", 1): CrewHoursV1,
    ("delay", 1): DelayV1,
    ("notice", 1): NoticeV1,
    ("notice-answer", 1): NoticeAnswerV1,
    ("photo", 1): PhotoV1,
    ("correction", 1): CorrectionV1,
    ("inspector-spots", 1): InspectorSpotsV1,
}

# What the checker of bodies finds, as our own sentences; several of its names are one fault.
_SAID = {
    "missing": "missing",
    "extra_forbidden": "unknown-key",
    "greater_than": "not-above",
    "greater_than_equal": "under",
    "less_than": "not-below",
    "less_than_equal": "over",
    "finite_number": "not-finite",
    "string_too_short": "empty",
    "string_too_long": "too-long",
    "too_short": "too-few",
    "too_long": "too-many",
    "literal_error": "choice",
    "string_pattern_mismatch": "form",
    "float_type": "not-number",
    "int_type": "not-whole",
    "string_type": "not-text",
    "bool_type": "not-yes-no",
    "list_type": "not-list",
    "model_type": "not-table",
    "dict_type": "not-table",
}


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """One fault of an entry, not yet spoken: ``id`` is a sentence of ``record.fault``."""

    where: str
    id: str
    values: Mapping[str, Any] = field(default_factory=dict)

    def said(self, language: str = "en") -> Fault:
        """The fault in one language."""
        return Fault(
            where=_sayable(self.where),
            what=_sayable(say(f"record.fault.{self.id}", language, **self.values)),
            do=_sayable(say(f"record.do.{self.id}", language, **self.values)),
        )


def _sayable(text: str) -> str:
    """A text without half characters and zeros, which no answer or database takes."""
    return text.encode("utf-8", "replace").decode().replace("\0", "?")


def read_body(kind: str, version: int, body: Any) -> Body:
    """A stored body as its model; it was checked when it was stored."""
    return KINDS[kind, version].model_validate(body)


def doubts_of(kind: Any, version: Any, body: Any) -> tuple[Doubt, ...]:
    """Every fault of a body at once; empty for a body that can be stored."""
    try:
        model = KINDS.get((kind, version))
    except TypeError:  # a list or table where a word belongs
        model = None
    if model is None:
        known = ", ".join(k for k, _ in KINDS)
        values = {"kind": str(kind)[:40], "version": str(version)[:12], "known": known}
        return (Doubt(where="kind", id="kind", values=values),)
    if model.__pydantic_validator__.isinstance_python(body):
        return ()
    try:
        model.model_validate(body)
    except ValidationError as error:
        return tuple(
            Doubt(
                where=".".join(map(str, one["loc"])) or "body",
                id=_SAID.get(one["type"], one["type"]),
                values=one.get("ctx", {}),
            )
            for one in error.errors(include_url=False, include_input=False)
        )
    return ()


def check_body(kind: Any, version: Any, body: Any) -> None:
    """Raise InputError with every fault of a body in one sentence."""
    found = doubts_of(kind, version, body)
    if found:
        told = [d.said() for d in found]
        raise InputError("; ".join(f"{f.where}: {f.what}" for f in told))
