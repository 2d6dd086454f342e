"""The output folder of a built job, read for the pages.

Each stage is one JSON file. A stage that is missing, torn or of another version
becomes a :class:`Missing`, so that its page says so and the others still open.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tackfree.errors import NotFound

Json = Mapping[str, Any]

STAGES = ("takeoff", "sections", "materials", "climate", "clocks", "plan", "order", "price")

# What a page relies on: per stage its keys, and per list the keys of each item.
NEEDS: dict[str, dict[str, tuple[str, ...]]] = {
    "takeoff": {"zones": ("zone_id", "deck_id")},
    "sections": {"sections": ("id", "deck_id", "developed_m2")},
    "materials": {
        "coats": ("section_id", "coat_id", "product_id", "kits"),
        "details": ("section_id", "kind", "product_id"),
        "order": ("product_id", "unit", "count"),
    },
    "climate": {"slot0_utc_s": (), "slot_s": (), "air_c": (), "dew_c": (), "surface_c": ()},
    "clocks": {"clocks": ("section_id", "coat_id", "recoat_after", "cars_after")},
    "plan": {"problem": (), "plan": (), "slot0_utc_s": (), "slot_s": ()},
    "order": {"ranges": ("product_id", "computed", "p10", "p50", "p90", "advised", "deliveries")},
    "price": {"lines": ("group", "id", "name", "quantity", "unit", "each", "amount"), "total": ()},
}


@dataclass(frozen=True, kw_only=True)
class Missing:
    """A file of the output that cannot be shown: ``why`` is a word of page.toml."""

    stage: str
    file: str
    why: str  # absent, torn, other


@dataclass(frozen=True, kw_only=True)
class DeckHead:
    """A deck's name and whether it holds tendons."""

    id: str
    name: str
    post_tensioned: str  # yes, no, unknown


@dataclass(frozen=True, kw_only=True)
class Built:
    """What was found in the output folder; ``stages`` holds only what can be read."""

    out: Path
    job_id: str
    job_name: str
    invented: bool
    zone: ZoneInfo
    zone_stated: bool
    as_of: str
    built_at: str
    units: str
    decks: tuple[DeckHead, ...]
    stages: Mapping[str, Json]
    missing: tuple[Missing, ...]

    def stage(self, name: str) -> Json | None:
        return self.stages.get(name)

    def lack(self, *names: str) -> tuple[Missing, ...]:
        """Those of the named stages that cannot be shown."""
        return tuple(m for m in self.missing if m.stage in names)


def read_out(out: Path) -> Built:
    """Everything the pages show, from one output folder.

    Raises
    ------
    NotFound
        If the folder itself does not exist.
    """
    if not out.is_dir():
        raise NotFound(
            "there is no such folder.",
            where=str(out),
            do="Run: tackfree job build BUNDLE --out DIR.",
        )
    missing: list[Missing] = []
    stages: dict[str, Json] = {}
    for name in STAGES:
        path = out / "stages" / f"{name}.json"
        found, why = _load(path, f"tackfree.{name}/")
        if found is not None and not _complete(found, NEEDS[name]):
            found, why = None, "other"
        if found is None:
            missing.append(Missing(stage=name, file=f"stages/{name}.json", why=why))
        else:
            stages[name] = found
    summary, why = _load(out / "summary.json", "tackfree.")
    if summary is None:
        missing.append(Missing(stage="summary", file="summary.json", why=why))
        summary = {}
    receipt, _ = _load(out / "run.json", "")
    job = _table(summary, "job")
    zone, stated = _zone(job.get("time_zone"))
    return Built(
        out=out,
        job_id=str(job.get("id", out.name)),
        job_name=str(job.get("name", "")),
        invented=bool(job.get("invented", False)),
        zone=zone,
        zone_stated=stated,
        as_of=str(job.get("as_of", "")),
        built_at=str((receipt or {}).get("built_at", "")),
        units="si" if job.get("units") == "si" else "us",
        decks=_decks(summary, stages),
        stages=stages,
        missing=tuple(missing),
    )


def signature(out: Path) -> tuple[tuple[str, int, int], ...]:
    """Names, times and sizes of what :func:`read_out` reads; changes with a rebuild."""
    names = ["summary.json", "run.json", *(f"stages/{s}.json" for s in STAGES)]
    stats = [(n, (out / n).stat()) for n in names if (out / n).is_file()]
    return tuple((n, s.st_mtime_ns, s.st_size) for n, s in stats)


# What may be fetched, by folder: nothing else of the disk can be named.
FILES = re.compile(
    r"^(order\.xlsx|price\.xlsx|proposal\.pdf|plan\.ics|shift/\d{4}-\d\d-\d\d-[A-Z0-9-]+\.pdf|drawings/[A-Z0-9-]+(-plan)?\.svg)$"
)


def file_of(out: Path, name: str) -> Path:
    """One file of the output by its relative name.

    Raises
    ------
    NotFound
        If the name is not one of ours or the file is not there.
    """
    path = out / name
    if not FILES.match(name) or not path.is_file():
        raise NotFound(
            "there is no such file in the output.",
            where=name,
            do="Build the job again, or go back.",
        )
    return path


def has_file(out: Path, name: str) -> bool:
    return bool(FILES.match(name)) and (out / name).is_file()


def shift_files(out: Path, on: date, shift: str) -> tuple[tuple[str, str], ...]:
    """Shift sheets of one shift: relative name, and what tells them apart (deck, crew)."""
    found = sorted((out / "shift").glob(f"{on}-{shift}*.pdf"))
    names = [(f"shift/{p.name}", p.stem.removeprefix(f"{on}-{shift}")) for p in found]
    return tuple((n, m.lstrip("-")) for n, m in names if FILES.match(n) and m[:1] in ("", "-"))


def _load(path: Path, schema: str) -> tuple[Json | None, str]:
    if not path.is_file():
        return None, "absent"
    try:
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return None, "torn"
    if not isinstance(found, dict) or not str(found.get("schema", "")).startswith(schema):
        return None, "other"
    return found, ""


def _complete(found: Json, needs: Mapping[str, tuple[str, ...]]) -> bool:
    for key, inner in needs.items():
        if key not in found:
            return False
        if inner and not all(isinstance(i, dict) and i.keys() >= set(inner) for i in found[key]):
            return False
    return True


def _table(document: Json, key: str) -> Json:
    found = document.get(key)
    return found if isinstance(found, dict) else {}


def _zone(name: Any) -> tuple[ZoneInfo, bool]:
    try:
        return ZoneInfo(str(name)), True
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC"), False


def _decks(summary: Json, stages: Mapping[str, Json]) -> tuple[DeckHead, ...]:
    """Decks as the summary names them, then any the sections know of."""
    heads = {
        str(d["id"]): DeckHead(
            id=str(d["id"]),
            name=str(d.get("name", "")),
            post_tensioned=str(d.get("post_tensioned", "unknown")),
        )
        for d in summary.get("decks", ())
        if isinstance(d, dict) and "id" in d
    }
    for s in stages.get("sections", {}).get("sections", ()):
        heads.setdefault(s["deck_id"], DeckHead(id=s["deck_id"], name="", post_tensioned="unknown"))
    return tuple(heads.values())
