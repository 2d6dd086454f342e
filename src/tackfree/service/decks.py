"""Decks of a job: read its drawings, take off quantities, look into a drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tackfree.bundle.types import Job
from tackfree.deck.check import overlap_faults
from tackfree.deck.declared import DeckDoc
from tackfree.deck.takeoff import take_off
from tackfree.deck.takeoff_types import Takeoff
from tackfree.deck.tape import outline_of
from tackfree.deck.types import Deck, Feature, PostTensioned, Zone
from tackfree.errors import Fault, Refused, ToolError
from tackfree.intake.dxf import read_deck
from tackfree.intake.geojson import read_geojson, write_geojson
from tackfree.intake.pdf import read_pdf_deck
from tackfree.words import Message


@dataclass(frozen=True, kw_only=True)
class DeckStage:
    """The decks of a job, and what reading them had to say, all together and by deck."""

    decks: tuple[Deck, ...]
    messages: tuple[Message, ...] = ()
    said: Mapping[str, tuple[Message, ...]] = field(default_factory=dict)  # by deck


def read_decks(job: Job) -> DeckStage:
    """Read every deck of a job from its drawing, its GeoJSON, or both.

    Raises
    ------
    Refused
        With the faults of all decks together.
    """
    decks: list[Deck] = []
    messages: list[Message] = []
    by_deck: dict[str, tuple[Message, ...]] = {}
    faults: list[Fault] = []
    for doc in job.decks:
        try:
            deck, said = _read(job.root / "decks", doc)
        except ToolError as fault:
            faults += fault.faults
            continue
        decks.append(deck)
        by_deck[deck.id] = said = (*said, *_tendons(deck))
        messages += said
    if faults:
        raise Refused(faults)
    return DeckStage(decks=tuple(decks), messages=tuple(messages), said=by_deck)


def _tendons(deck: Deck) -> tuple[Message, ...]:
    """The caution of a slab that is post-tensioned, or of which nobody has said."""
    if deck.post_tensioned is PostTensioned.NO:
        return ()
    values = {"deck": deck.id, "name": deck.name}
    return (Message(id=f"deck.tendons-{deck.post_tensioned.value}", values=values),)


def _read(folder: Path, doc: DeckDoc) -> tuple[Deck, tuple[Message, ...]]:
    taped, messages = _taped(doc)
    zones = {z.id: z for z in taped}
    features: list[Feature] = []
    offset = (0.0, 0.0)
    if doc.drawing is not None and (doc.features or any(z.layer is not None for z in doc.zones)):
        path = folder / doc.drawing
        is_pdf = path.suffix.lower() == ".pdf"
        drawn, said = read_pdf_deck(path, doc) if is_pdf else read_deck(path, doc)
        zones |= {z.id: z for z in drawn.zones}
        features += drawn.features
        offset = drawn.offset_m
        messages += said
    if doc.geojson is not None:
        traced, said = read_geojson(folder / doc.geojson, doc)
        zones |= {z.id: z for z in traced.zones}
        features += traced.features
        messages += said
    if not zones:
        raise Refused(
            [
                Fault(
                    where=f"deck {doc.id}",
                    what="it has neither a drawing nor a GeoJSON file.",
                    do="Name one in decks/.",
                )
            ]
        )
    deck = Deck(
        id=doc.id,
        name=doc.name,
        zones=tuple(zones[z.id] for z in doc.zones),
        features=tuple(features),
        post_tensioned=doc.post_tensioned,
        elevation_m=doc.elevation_m,
        offset_m=offset,
    )
    clashes = overlap_faults(deck.zones, where=f"deck {doc.id}")
    if clashes:
        raise Refused(clashes)
    return deck, tuple(messages)


def _taped(doc: DeckDoc) -> tuple[list[Zone], list[Message]]:
    """Zones that were taped on the deck."""
    zones: list[Zone] = []
    messages: list[Message] = []
    for z in doc.zones:
        if z.taped is None:
            continue
        found = outline_of(z.taped, name=z.id)
        messages += found.messages
        zones.append(z.zone(doc.id, found.outline, source="typed"))
    return zones, messages


def take_off_job(job: Job, decks: Sequence[Deck]) -> Takeoff:
    """Quantities of every zone, cracks routed as each build-up says."""
    rout_from_m = {b.id: b.details.rout_from_m for b in job.build_ups.values()}
    return take_off(decks, rout_from_m=rout_from_m)


def deck_geojson(deck: Deck) -> str:
    """Zones and features of a deck as GeoJSON text."""
    return write_geojson(deck)
