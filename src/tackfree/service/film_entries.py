"""Kits and readings of one section and coat, out of the record."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shapely import Polygon

from tackfree.errors import InputError
from tackfree.record.entries import Entry, entries
from tackfree.record.kinds import BatchV1, FilmReadingV1, PlacementV1, read_body
from tackfree.record.store import open_record
from tackfree.service.record import where_of
from tackfree.units.constants import UM_PER_MIL
from tackfree.words import Message

FILM_KINDS = ("batch", "placement", "film-reading")
WITHDRAWN = "correction"  # takes one of them back
PAGE = 1000


@dataclass(frozen=True, kw_only=True)
class KitUsed:
    """One kit: id, volume that left the pail [L], where (None: no cell named), when."""

    kit: str
    volume_l: float
    outline: Polygon | None
    wall: str


@dataclass(frozen=True, kw_only=True)
class Read:
    """One usable reading: place [m], ends [µm] over the peaks, gauge."""

    x_m: float
    y_m: float
    low_um: float
    high_um: float
    gauge: str
    checked: bool


@dataclass(frozen=True, kw_only=True)
class Taken:
    """What the record holds of one section and coat, and what of it is not used."""

    kits: tuple[KitUsed, ...]
    readings: tuple[Read, ...]
    messages: tuple[Message, ...]


def film_record(bundle: Path) -> tuple[Entry, ...]:
    """Every entry that speaks of film, in the order of arrival."""
    where = where_of(bundle)
    if isinstance(where, Path) and not where.exists():
        return ()
    out: list[Entry] = []
    with open_record(where) as record:
        after = 0
        while page := entries(record, after=after, limit=PAGE):
            after = page[-1].pos
            out += [e for e in page if e.kind in FILM_KINDS or e.kind == WITHDRAWN]
    return tuple(out)


def places(record: Iterable[Entry]) -> tuple[tuple[str, str], ...]:
    """Section and coat pairs that entries speak of, in order of id."""
    return tuple(
        sorted({(e.body["section"], e.body["coat"]) for e in record if e.kind != WITHDRAWN})
    )


def taken(
    record: Iterable[Entry],
    section_id: str,
    coat_id: str,
    *,
    kit_l: Mapping[str, float],
    fill_um: float,
) -> Taken:
    """Kits and readings of one section and coat.

    Parameters
    ----------
    record : iterable of Entry
    section_id, coat_id : str
    kit_l : mapping of product id to mixed volume
        For batches that state no volume. [L]
    fill_um : float
        What a gauge with its feet in the valleys reads above the peaks. [µm]

    Returns
    -------
    Taken

    Raises
    ------
    InputError
        If a batch has no volume of its own and its product has no kit.
    """
    every = list(record)
    gone = {e.body["corrects"] for e in every if e.body.get("corrects")}
    film = [e for e in every if e.kind != WITHDRAWN]
    here = [e for e in film if (e.body["section"], e.body["coat"]) == (section_id, coat_id)]
    said: list[Message] = []
    corrected = sum(e.kind == "film-reading" and e.id in gone for e in here)
    if corrected:
        said.append(Message(id="evidence.superseded", values={"count": corrected}))
    live = [e for e in here if e.id not in gone]
    kits = tuple(_kits(live, kit_l, said))
    looks = [b for _, b in _bodies(live, FilmReadingV1)]
    sanded = sum(b.after_sand for b in looks)
    if sanded:
        said.append(Message(id="evidence.sanded", values={"count": sanded}))
    reads = tuple(_read(b, fill_um) for b in looks if not b.after_sand)
    return Taken(kits=kits, readings=reads, messages=tuple(said))


def _bodies(live: Iterable[Entry], model: Any) -> Iterator[tuple[Entry, Any]]:
    for e in live:
        body = read_body(e.kind, e.v, e.body)
        if isinstance(body, model):
            yield e, body


def _kits(live: list[Entry], kit_l: Mapping[str, float], said: list[Message]) -> Iterator[KitUsed]:
    spread: dict[str, PlacementV1] = {b.kit: b for _, b in _bodies(live, PlacementV1)}
    seen: set[str] = set()
    for entry, batch in _bodies(live, BatchV1):
        if batch.kit in seen:
            said.append(Message(id="evidence.kit_twice", values={"kit": batch.kit}))
            continue
        seen.add(batch.kit)
        volume = batch.volume_l if batch.volume_l is not None else kit_l.get(batch.product)
        if volume is None:
            raise InputError(
                f"kit {batch.kit} states no volume and {batch.product} has no kit.",
                where=f"Section {batch.section}, coat {batch.coat}",
                do="Enter the volume of the kit.",
            )
        placed = spread.get(batch.kit)
        outline = None
        if placed is not None and placed.outline is not None:
            outline = Polygon(placed.outline).buffer(0)
        left = placed.leftover_l if placed is not None else 0.0
        yield KitUsed(
            kit=batch.kit,
            volume_l=max(volume - left, 0.0),
            outline=outline if isinstance(outline, Polygon) else None,
            wall=entry.wall,
        )


def _read(b: FilmReadingV1, fill_um: float) -> Read:
    unit = UM_PER_MIL if b.unit == "mil" else 1.0
    off = fill_um if b.feet == "valleys" else 0.0
    low = -math.inf if b.wet_tooth is None else b.wet_tooth * unit - off
    high = math.inf if b.dry_tooth is None else b.dry_tooth * unit - off
    return Read(
        x_m=b.x_m, y_m=b.y_m, low_um=low, high_um=high, gauge=b.gauge, checked=b.gauge_checked
    )
