"""The takeoff as files: workbook, CSV, JSON, drawings with areas, walk forms."""

from __future__ import annotations

from pathlib import Path

from shapely import MultiPolygon

from tackfree.deck.types import Deck, Section
from tackfree.service import documents
from tackfree.service.left_out import rows_of
from tackfree.service.papers import system_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import dumps, write_atomic
from tackfree.sheets.deck_svg import Corner, deck_svg
from tackfree.sheets.takeoff_xlsx import TakeoffHeader, takeoff_csv, takeoff_xlsx
from tackfree.sheets.walk_form import WalkForm, walk_form_pdf
from tackfree.units import System, in_system, show
from tackfree.words import say


def write(made: Pipeline, out: Path, units: str | None = None) -> list[str]:
    """Write everything of the takeoff into a folder; returns the files written."""
    system = _system(made, units)
    files: dict[str, str | bytes] = {
        "takeoff.xlsx": workbook(made, system),
        "takeoff.csv": takeoff_csv(rows_of(made), system),
        "takeoff.json": dumps({"schema": "tackfree.takeoff/1", **documents.takeoff(made)}),
    }
    for deck in made.drawings.decks:
        files[f"{deck.id}-areas.svg"] = drawing(made, deck, system)
        files[f"{deck.id}-walk.pdf"] = walk_form(made, deck, system)
    for name, data in files.items():
        write_atomic(out / name, data)
    return [str(out / name) for name in files]


def _system(made: Pipeline, units: str | None) -> System:
    if units in ("us", "si"):
        return "si" if units == "si" else "us"
    return system_of(made)


def workbook(made: Pipeline, system: System) -> bytes:
    """``takeoff.xlsx``."""
    job = made.job
    return takeoff_xlsx(
        made.takeoff,
        made.drawings.decks,
        rows_of(made),
        (*made.drawings.messages, *made.takeoff.messages),
        TakeoffHeader(
            job_id=job.id,
            job_name=job.name,
            as_of=job.as_of,
            units=system,
            language=job.languages[0] if job.languages else "en",
            invented=job.invented,
        ),
    )


def drawing(made: Pipeline, deck: Deck, system: System) -> str:
    """A deck with each zone's developed area written on it."""
    zones = {z.id: z for z in deck.zones}
    taken = [t for t in made.takeoff.zones if t.deck_id == deck.id]
    floors = [
        Section(
            id=t.zone_id,
            deck_id=deck.id,
            zone_ids=(t.zone_id,),
            build_up_id=zones[t.zone_id].build_up_id,
            exposure=zones[t.zone_id].exposure,
            duty=zones[t.zone_id].duty,
            floor=MultiPolygon(t.floor),
            developed_m2=t.field_m2,
        )
        for t in taken
    ]
    return deck_svg(
        deck,
        floors,
        corner=Corner(
            title=f"{made.job.name} · {deck.name}",
            lines=(
                f"{say('deck.sheet.total')} "
                + show(sum(t.field_m2 for t in taken), "area", system),
                say("sheet.invented") if made.job.invented else "",
            ),
        ),
        labels={t.zone_id: (show(t.field_m2, "area", system),) for t in taken},
    )


def walk_form(made: Pipeline, deck: Deck, system: System) -> bytes:
    """One page to take onto a deck."""
    taken = [t for t in made.takeoff.zones if t.deck_id == deck.id]
    job = made.job
    return walk_form_pdf(
        WalkForm(
            job=f"{job.name} ({job.id})",
            deck_id=deck.id,
            deck_name=deck.name,
            zones=tuple((t.zone_id, show(t.field_m2, "area", system)) for t in taken),
            post_tensioned=deck.post_tensioned.value,
            length_unit=in_system(1.0, "length", system)[1],
            made_utc_s=int(job.as_of.timestamp()),
            languages=tuple(job.languages) or ("en",),
            invented=job.invented,
        )
    )
