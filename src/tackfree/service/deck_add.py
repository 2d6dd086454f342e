"""A drawing made a deck of a job: kept among its decks, its document written and read back."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely
from shapely.geometry import mapping
from shapely.geometry import shape as to_shape

from tackfree import units
from tackfree.bundle.read import Documents, read
from tackfree.deck.types import Exposure, PostTensioned
from tackfree.errors import Fault, InputError, NotFound, Refused
from tackfree.intake.dxf.unit import UNITS_M
from tackfree.intake.geojson import rows_of
from tackfree.intake.geojson_report import named
from tackfree.intake.report import DrawingReport
from tackfree.service import drawing
from tackfree.service.deck_choose import Choice, chosen_layers, units_of, zone_ids
from tackfree.service.save import write_atomic
from tackfree.service.tables import table
from tackfree.service.trace.bring import stem_of
from tackfree.service.trace.deckfile import plain_text
from tackfree.service.trace.judge import Verdict, judge
from tackfree.units import System, show
from tackfree.words import Message, say

NOTES = 3  # of one kind; the takeoff has them all
INVENTED = "MAIN.geojson"  # the rectangle of a new job


@dataclass(frozen=True, kw_only=True)
class Scaled:
    """How the drawing's unit was confirmed, and which drawing of it is meant."""

    unit: str | None = None
    measured: Sequence[str] = ()
    use_both: bool = False
    page: int = 1
    part: int | None = None


@dataclass(frozen=True, kw_only=True)
class About:
    """What the person says of the deck; ``elevation`` is a length as text."""

    deck_id: str | None = None
    name: str | None = None
    exposure: str = Exposure.OPEN_SKY.value
    elevation: str | None = None
    post_tensioned: str = PostTensioned.UNKNOWN.value


@dataclass(frozen=True, kw_only=True)
class Added:
    """What was written, and the deck as a build reads it."""

    deck_id: str
    files: tuple[str, ...]  # in the bundle, the document last
    backup: str | None
    verdict: Verdict
    messages: tuple[Message, ...]
    units: System  # of the job


def add(
    file: Path,
    root: Path,
    *,
    layers: Sequence[str] = (),
    scaled: Scaled | None = None,
    about: About | None = None,
    replace: bool = False,
) -> Added:
    """Copy a drawing into a bundle and write the document of its deck.

    The deck is read back and taken off as a build does it; where that fails, nothing of
    it stays. A drawing is never written over another; a document only with ``replace``,
    and the former one is then kept beside it.

    Parameters
    ----------
    file : Path
        DXF, vector PDF or GeoJSON.
    root : Path
        The bundle's folder.
    layers : sequence of str
        "LAYER=BUILD-UP:duty"; "LAYER@x,y=..." takes the one outline around a point, in
        drawing units. The duty may be left out where the build-up has one.

    Raises
    ------
    InputError, NotFound
        For a file, a unit, a part or a bundle that cannot be used.
    Refused
        Without a confirmed unit, without a layer, with an id that is taken, and with
        every fault of the deck as a build finds it.
    """
    scaled, about = scaled or Scaled(), about or About()
    docs = _bundle(root)
    report, faults = drawing.read_drawing(
        file,
        unit=scaled.unit,
        page=scaled.page,
        measured=scaled.measured,
        use_both=scaled.use_both,
        part=scaled.part,
    )
    if faults:
        raise Refused(faults)
    if report.unit_m is None:
        raise Refused([_unconfirmed(report)])
    if report.kind == "geojson" and report.proposed and (scaled.measured or scaled.unit):
        raise InputError(
            "the file says itself what its coordinates are.",
            where=report.file,
            do="Leave out --unit and --measured.",
        )
    deck_id = about.deck_id or re.sub(r"[^A-Z0-9]+", "-", stem_of(file.name).upper()).strip("-")
    target = _free(root, docs, deck_id, replace=replace)
    chosen = chosen_layers(report, docs, layers)
    raw = _document(report, scaled, about, deck_id, chosen)
    return _write(file, root, docs, target, raw, report, chosen)


def _bundle(root: Path) -> Documents:
    if not (root / "job.toml").is_file():
        there = root.exists()
        raise (InputError if there else NotFound)(
            "this is no folder of a job." if there else "there is no such folder.",
            where=str(root),
            do="Name the folder of a job, or begin one: tackfree job new DIR.",
        )
    return read(root)


def _unconfirmed(report: DrawingReport) -> Fault:
    return Fault(
        where=report.file,
        what=f"the drawing speaks for {report.proposed}, and nobody has confirmed it.",
        do="Compare one length with the deck, then confirm: "
        + (
            f"--unit {report.proposed}."
            if report.proposed in UNITS_M and report.kind != "pdf"
            else '--measured "227,0 4127,0 = 52 m", with two points of the page and their length.'
        ),
    )


def _free(root: Path, docs: Documents, deck_id: str, *, replace: bool) -> Path:
    """The document to write, or a refusal where the id is taken."""
    taken = next((d.file for d in docs.decks if d.raw.get("id") == deck_id), None)
    target = root / (taken or f"decks/{deck_id}.toml")
    if target.exists() and not replace:
        raise Refused(
            [
                Fault(
                    where=target.relative_to(root).as_posix(),
                    what=f"the job has a deck {deck_id} already, and nothing is overwritten.",
                    do="Give another id with --id, or --replace: the former document is kept "
                    "beside it.",
                )
            ]
        )
    return target


def _document(
    report: DrawingReport,
    scaled: Scaled,
    about: About,
    deck_id: str,
    chosen: Sequence[Choice],
) -> dict[str, Any]:
    """The deck's document as the reader of TOML would give it."""
    raw: dict[str, Any] = {"schema_version": 1, "id": deck_id, "name": about.name or deck_id}
    is_geojson = report.kind == "geojson"
    raw["geojson" if is_geojson else "drawing"] = ""  # named once it is copied
    if report.kind == "pdf" and scaled.page != 1:
        raw["page"] = scaled.page
    if is_geojson:
        raw["unit"] = "m"
    elif not scaled.measured:
        raw["unit"] = scaled.unit
    if scaled.use_both:
        raw["stretched"] = True
    if report.part is not None:
        raw["part_at"] = list(report.parts[0].at)
    raw["post_tensioned"] = about.post_tensioned
    if about.elevation is not None:
        units.parse(about.elevation, "length")
        raw["elevation"] = about.elevation
    if scaled.measured and not is_geojson:
        lengths = [(drawing.length_of(m), m.split("=", 1)[1].strip()) for m in scaled.measured]
        raw["calibration"] = [
            {"start": list(m.start), "end": list(m.end), "length": text} for m, text in lengths
        ]
    unit_m = report.unit_m or 1.0
    raw["zones"] = []
    for choice, zone_id in zip(chosen, zone_ids(deck_id, chosen), strict=True):
        zone: dict[str, Any] = {"id": zone_id, "name": choice.layer.name.rsplit("$0$", 1)[-1]}
        if is_geojson:
            zone["geojson_id"] = choice.layer.name
        else:
            zone["layer"] = choice.layer.name
            if choice.at is not None:
                x, y = choice.at[0] * unit_m, choice.at[1] * unit_m * report.y_over_x
                zone["at"] = [f"{x:.6f} m", f"{y:.6f} m"]
        zone |= {"duty": choice.duty, "exposure": about.exposure, "build_up": choice.build_up}
        raw["zones"].append(zone)
    return raw


def _write(
    file: Path,
    root: Path,
    docs: Documents,
    target: Path,
    raw: dict[str, Any],
    report: DrawingReport,
    chosen: Sequence[Choice],
) -> Added:
    """Drawing, then document; both taken back where the deck has a fault."""
    decks = root / "decks"
    copied: Path | None = None
    former = target.read_text("utf-8") if target.exists() else None
    try:
        if "geojson" in raw:
            data = _zones_geojson(file, report, chosen).encode()
        else:
            data = file.read_bytes()
        place, new = _place(decks, file, data)
        if new:
            write_atomic(place, data)
            copied = place
        raw["geojson" if "geojson" in raw else "drawing"] = place.name
        write_atomic(target, _text(raw, report, chosen))
        verdict = judge(root, target.relative_to(root).as_posix())
        if verdict.own or verdict.takeoff is None:
            raise Refused(verdict.own or verdict.elsewhere)
    except BaseException:
        if copied is not None:
            copied.unlink(missing_ok=True)
        if former is not None:
            write_atomic(target, former)
        else:
            target.unlink(missing_ok=True)
        raise
    backup = None if former is None else _kept(target, former)
    names = [*([copied] if copied else []), *([backup] if backup else []), target]
    return Added(
        deck_id=str(raw["id"]),
        files=tuple(p.relative_to(root).as_posix() for p in names),
        backup=None if backup is None else backup.relative_to(root).as_posix(),
        verdict=verdict,
        messages=tuple(_said(docs, target, raw, backup)),
        units=units_of(docs),
    )


def _kept(target: Path, former: str) -> Path:
    """The former document beside the new one, under the first name that is free."""
    n = 1
    while (place := target.with_name(f"{target.name}.former-{n}")).exists():
        n += 1
    write_atomic(place, former)
    return place


def _place(decks: Path, file: Path, data: bytes) -> tuple[Path, bool]:
    """Where the drawing goes, and whether it is not there yet."""
    stem, suffix = stem_of(file.name), file.suffix.lower()
    suffix = ".geojson" if suffix == ".json" else suffix
    sha, n = hashlib.sha256(data).digest(), 1
    while True:
        place = decks / f"{stem}{f'-{n}' if n > 1 else ''}{suffix}"
        if not place.exists():
            return place, True
        if hashlib.sha256(place.read_bytes()).digest() == sha:
            return place, False
        n += 1


def _zones_geojson(file: Path, report: DrawingReport, chosen: Sequence[Choice]) -> str:
    """The collection as it came where it is in our form; else the chosen polygons only."""
    rows = rows_of(file)
    if all({"id", "kind"} <= _keys(r) for r in rows):
        return file.read_text("utf-8")
    unit_m, kept = report.unit_m or 1.0, {c.layer.name for c in chosen}
    out = []
    for number, row in enumerate(rows, 1):
        name = named(row, number)
        if name not in kept:
            continue
        geometry = row["geometry"]
        if unit_m != 1.0:
            moved = shapely.transform(to_shape(geometry), lambda xy: xy * unit_m)
            geometry = mapping(moved)
        about = {"id": name, "kind": "zone"}
        out.append(json.dumps({"type": "Feature", "properties": about, "geometry": geometry}))
    return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(out) + "\n]}\n"


def _keys(row: dict[str, Any]) -> set[str]:
    properties = row.get("properties")
    return set(properties) if isinstance(properties, dict) else set()


def _text(raw: dict[str, Any], report: DrawingReport, chosen: Sequence[Choice]) -> str:
    """The document with a word on what it still lacks."""
    used = {c.layer.name for c in chosen}
    left = [x.name for x in report.layers if x.entities and x.name not in used]
    text = plain_text(raw)
    if left and report.kind != "geojson":
        shown = [f"#   {json.dumps(n, ensure_ascii=False)}" for n in left[:40]]
        text += "\n".join(
            [
                "",
                "# Columns, openings, drains, cracks, joints and upturns are not counted until a",
                "# layer is named for them, such as:",
                "# [[features]]",
                '# layer = "COLUMN"',
                '# kind = "column"',
                "# Layers of the drawing that are not used:",
                *shown,
                "",
            ]
        )
    return text


def _said(docs: Documents, target: Path, raw: dict[str, Any], backup: Path | None) -> list[Message]:
    """What became of the former document, and the invented deck that still stands."""
    deck = str(raw["id"])
    out = []
    if backup is not None:
        values = {"deck": deck, "file": f"decks/{target.name}", "former": f"decks/{backup.name}"}
        out.append(Message(id="intake.added-over", values=values))
    out += [
        Message(id="intake.added-beside", values={"deck": deck, "other": str(d.raw["id"])})
        for d in docs.decks
        if d.raw.get("geojson") == INVENTED and d.raw.get("id") not in (None, deck)
    ]
    return out


def document(added: Added) -> dict[str, Any]:
    """For ``--json``."""
    takeoff = added.verdict.takeoff
    zones = takeoff.zones if takeoff else ()
    return {
        "deck": added.deck_id,
        "files": list(added.files),
        "former": added.backup,
        "zones": [{"zone": z.zone_id, "field_m2": z.field_m2} for z in zones],
        "messages": [m.to_json() for m in (*added.messages, *added.verdict.messages)],
    }


def text(added: Added, bundle: Path, system: System) -> str:
    """Areas by zone, what is still open, and the next command."""
    takeoff = added.verdict.takeoff
    zones = takeoff.zones if takeoff else ()
    rows = [[z.zone_id, show(z.field_m2, "area", system)] for z in zones]
    told = ("intake.ignored", "intake.hidden")
    messages = [m for m in (*added.messages, *added.verdict.messages) if m.id not in told]
    return "\n".join(
        [
            table(["zone", "field"], rows),
            "",
            *_notes(messages),
            f"Next: tackfree job check {bundle} && tackfree deck takeoff {bundle}",
        ]
    )


def _notes(messages: Sequence[Message]) -> list[str]:
    """Each kind of note a few times, then how many more there are."""
    kinds: dict[str, list[Message]] = {}
    for m in messages:
        kinds.setdefault(m.id, []).append(m)
    out = []
    for same in kinds.values():
        out += [f"Note: {say(m)}" for m in same[:NOTES]]
        if len(same) > NOTES:
            more = Message(id="intake.more", values={"count": len(same) - NOTES})
            out.append(f"Note: {say(more)}")
    return out
