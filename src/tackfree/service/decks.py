"""Decks of a job: read its drawings, take off quantities, look into a drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tackfree.bundle.types import Job
from tackfree.deck.check import overlap_faults
from tackfree.deck.declared import DeckDoc
from tackfree.deck.takeoff import take_off
from tackfree.deck.takeoff_types import Takeoff
from tackfree.deck.types import Deck
from tackfree.errors import Fault, Refused, ToolError
from tackfree.intake.dxf import DrawingReport, read_deck, report_drawing
from tackfree.intake.geojson import read_geojson, write_geojson
from tackfree.words import Message


@dataclass(frozen=True, kw_only=True)
class DeckStage:
    """The decks of a job, and what reading them had to say."""

    decks: tuple[Deck, ...]
    messages: tuple[Message, ...] = ()


def read_decks(job: Job) -> DeckStage:
    """Read every deck of a job from its drawing, its GeoJSON, or both.

    Raises
    ------
    Refused
        With the faults of all decks together.
    """
    decks: list[Deck] = []
    messages: list[Message] = []
    faults: list[Fault] = []
    for doc in job.decks:
        try:
            deck, said = _read(job.root / "decks", doc)
        except ToolError as fault:
            faults += fault.faults
            continue
        decks.append(deck)
        messages += said
    if faults:
        raise Refused(faults)
    return DeckStage(decks=tuple(decks), messages=tuple(messages))


def _read(folder: Path, doc: DeckDoc) -> tuple[Deck, tuple[Message, ...]]:
    if doc.geojson is None:
        if doc.drawing is None:
            raise Refused(
                [
                    Fault(
                        where=f"deck {doc.id}",
                        what="it has neither a drawing nor a GeoJSON file.",
                        do="Name one in decks/.",
                    )
                ]
            )
        return read_deck(folder / doc.drawing, doc)
    traced, said = read_geojson(folder / doc.geojson, doc)
    if doc.drawing is None:
        return traced, said
    drawn, more = read_deck(folder / doc.drawing, doc)
    found = {z.id: z for z in (*drawn.zones, *traced.zones)}
    zones = tuple(found[z.id] for z in doc.zones)
    clashes = overlap_faults(zones, where=f"deck {doc.id}")
    if clashes:
        raise Refused(clashes)
    whole = replace(drawn, zones=zones, features=(*drawn.features, *traced.features))
    return whole, (*more, *said)


def take_off_job(job: Job, decks: Sequence[Deck]) -> Takeoff:
    """Quantities of every zone, cracks routed as each build-up says."""
    rout_from_m = {b.id: b.details.rout_from_m for b in job.build_ups.values()}
    return take_off(decks, rout_from_m=rout_from_m)


def read_drawing(path: Path) -> DrawingReport:
    """Look into a drawing: layers with counts and closed areas, and what speaks for
    which unit. Nothing is decided."""
    return report_drawing(path)


def deck_geojson(deck: Deck) -> str:
    """Zones and features of a deck as GeoJSON text."""
    return write_geojson(deck)
