"""The field document: all a phone needs of the job to work alone for days."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from tackfree.buildup.types import ProductSheet
from tackfree.bundle.limits import limits_for
from tackfree.bundle.types import Job
from tackfree.errors import ToolError
from tackfree.service.field.forms import FORMS
from tackfree.service.job import open_job
from tackfree.service.marks_book import MarksBook
from tackfree.service.pages import Built, signature
from tackfree.service.save import to_json
from tackfree.words import LANGUAGES
from tackfree.words.cautions import cautions_for

SCHEMA = "tackfree.field/1"
# practice: the teeth of common notch gauges, where the job names no gauge of its own
TEETH = {
    "mil": [*range(1, 11), *range(12, 31, 2), 35, 40, 45, 50, 60, 70, 80],
    "um": [*range(25, 251, 25), *range(300, 1001, 50), 1200, 1400, 1600, 1800, 2000],
}
_SHEET = (
    "name", "role", "invented", "kit", "pot_life", "cure", "recoat_before_h",
    "recoat_before_hot_h", "hot_from_c", "mix_minutes", "mix_steps", "hazards", "bag_kg",
)  # fmt: skip


def field_document(built: Built, bundle: Path | None, book: MarksBook) -> dict[str, Any]:
    """Sections, cells, clocks by the plan, sheets, limits, cautions and forms.

    What cannot be read is left out and named in ``lacks``: the page still logs.
    Nothing in it depends on the time of asking, so that a phone asks for it in vain
    as long as the job is not built again.

    Parameters
    ----------
    built : Built
        The output folder.
    bundle : Path or None
        The job's own documents; without them there are no sheets and limits.
    book : MarksBook
        Layouts as built, or cut anew since.
    """
    lacks = [m.file for m in built.missing if m.stage in ("sections", "plan", "clocks")]
    job, marks = None, _marks(book)
    if not marks:
        lacks.append("stages/marks.json")
    with suppress(ToolError):  # the bundle has faults of its own; ``job check`` lists them
        job = open_job(bundle) if bundle is not None else None
    if job is None:
        lacks.append("job.toml")
    tendons = {d.id: d.post_tensioned for d in built.decks}
    return {
        "schema": SCHEMA,
        "job": {
            "id": built.job_id,
            "name": built.job_name,
            "invented": built.invented,
            "units": built.units,
            "time_zone": built.zone.key,
            "languages": list(job.languages) if job else list(LANGUAGES),
        },
        "as_of": built.as_of,
        "built_at": built.built_at,
        "lacks": lacks,
        "decks": [{"id": d.id, "name": d.name, "post_tensioned": d.post_tensioned}
                  for d in built.decks],
        "crews": [c.id for c in job.crews] if job else [],
        "sections": [
            _section(s, built, job, marks, tendons)
            for s in (built.stage("sections") or {}).get("sections", ())
        ],
        "clocks": list((built.stage("clocks") or {}).get("clocks", ())),
        "products": {p.id: _product(job, p) for p in job.products.values()} if job else {},
        "teeth": TEETH,
        "forms": [f.to_json() for f in FORMS],
    }  # fmt: skip


def fresh_mark(built: Built, bundle: Path | None) -> tuple[Any, ...]:
    """Changes when the output or the job's documents do."""
    files = []
    if bundle is not None and bundle.is_dir():
        files = [*bundle.glob("*.toml"), *(bundle / ".tackfree" / "layouts").glob("*.json")]
    stats = [(p.name, p.stat()) for p in sorted(files)]
    return (
        signature(built.out),
        tuple((name, s.st_mtime_ns, s.st_size) for name, s in stats),
    )


def _marks(book: MarksBook) -> list[Mapping[str, Any]]:
    try:
        return [book.current(one["section_id"], one["coat_id"]) for one in book.layouts()]
    except (ToolError, OSError, ValueError, KeyError, TypeError):
        return []  # absent, torn or of another make: the drawing shows sections alone


def _section(
    section: Mapping[str, Any],
    built: Built,
    job: Job | None,
    layouts: Iterable[Mapping[str, Any]],
    tendons: Mapping[str, str],
) -> dict[str, Any]:
    name, deck = section["id"], section["deck_id"]
    exposure = section.get("exposure", "open-sky")
    coats = (built.stage("materials") or {}).get("coats", ())
    mine = {m["coat_id"]: m for m in layouts if m["section_id"] == name}
    sheets = job.products if job else {}
    steps = _planned(built, name)

    def cautions(step: str, product: str | None = None) -> list[str]:
        sheet = sheets.get(product) if product else None
        hazards = sheet.hazards if sheet else ()
        return [m.id for m in cautions_for(step, hazards, tendons[deck], exposure, True)]

    return {
        "id": name,
        "deck": deck,
        "exposure": exposure,
        "duty": section.get("duty", ""),
        "developed_m2": round(section["developed_m2"], 3),
        "floor": _rings((section.get("floor") or {}).get("coordinates", ())),
        "steps": [{**s, "cautions": cautions(s["step"])} for s in steps],
        "coats": [
            {
                "id": c["coat_id"],
                "product": c["product_id"],
                "kits": c["kits"],
                **{k: c.get(k) for k in ("kit_l", "reach_m2", "wft_um", "fill_um", "area_m2",
                                         "gross_l", "bags", "bag_kg")},
                "aggregate": c.get("aggregate_product_id"),
                "cautions": cautions(c["coat_id"], c["product_id"]),
                **_layout(mine.get(c["coat_id"])),
            }
            for c in coats
            if c["section_id"] == name
        ],
    }  # fmt: skip


def _planned(built: Built, section_id: str) -> list[dict[str, Any]]:
    """When the plan places each step of a section. [UTC s]"""
    stage = built.stage("plan")
    if stage is None:
        return []
    zero, slot = stage["slot0_utc_s"], stage["slot_s"]
    return [
        {
            "step": p["step_id"],
            "from_s": zero + p["start"] * slot,
            "to_s": zero + p["end"] * slot,
            "crew": p["crew_id"],
        }
        for p in stage["plan"].get("placed", ())
        if p["section_id"] == section_id
    ]


def _layout(found: Mapping[str, Any] | None) -> dict[str, Any]:
    if found is None:
        return {"layout": None, "cells": []}
    return {
        "layout": found["id"],
        "cells": [
            {
                "n": c["number"],
                "m2": round(c["plan_m2"], 3),
                "kits": round(c["kits"], 4),
                "outline": _rings(c["outline"]),
                # a cell kept from an older layout is named by that one
                **({"layout": c["layout"]} if c.get("layout", found["id"]) != found["id"] else {}),
            }
            for c in found["cells"]
        ],
    }


def _rings(polygons: Iterable[Any]) -> list[list[list[list[float]]]]:
    """Polygons as rings of corners, to the millimetre."""
    return [
        [[[round(x, 3), round(y, 3)] for x, y in ring] for ring in polygon] for polygon in polygons
    ]


def _product(job: Job, sheet: ProductSheet) -> dict[str, Any]:
    limits, came_from = limits_for(job, sheet.id)
    return {
        **{name: to_json(getattr(sheet, name)) for name in _SHEET},
        "limits": {k: v for k, v in to_json(limits).items() if v is not None},
        "limits_from": dict(came_from),
    }
