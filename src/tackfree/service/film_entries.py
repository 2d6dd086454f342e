"""Kits and readings of one section and coat, out of the record."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError
from tackfree.record.bodies.testing import InstrumentCheckV1
from tackfree.record.entries import Entry, entries
from tackfree.record.kinds import BatchV1, FilmReadingV1, PlacementV1, read_body
from tackfree.record.store import open_record
from tackfree.service.marks import lay_marks
from tackfree.service.marks_live import shape_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.record import where_of
from tackfree.units.constants import UM_PER_MIL
from tackfree.words import Message

FILM_KINDS = ("batch", "placement", "film-reading")
CHECKS = "instrument-check"  # of a notch gauge, against a pour of known film
WITHDRAWN = "correction"  # takes one of them back
PAGE = 1000


@dataclass(frozen=True, kw_only=True)
class KitUsed:
    """One kit: id, volume that left the pail [L], where (None: no cell named), when.

    ``layout`` and ``cell`` name the kit mark it went into, where its placement does.
    """

    kit: str
    volume_l: float
    outline: BaseGeometry | None
    wall: str
    layout: str = ""
    cell: str = ""
    area_m2: float | None = None  # as it was entered
    weighed: bool = False  # a leftover was named
    flat: bool = False  # its ground was given and has no area


@dataclass(frozen=True, kw_only=True)
class Read:
    """One usable reading: place [m], ends [µm] over the peaks, gauge."""

    x_m: float
    y_m: float
    low_um: float
    high_um: float
    gauge: str
    checked: bool
    reader: str = "crew"

    @property
    def middle_um(self) -> float:
        """Middle of the interval; a film is no less than 0, and has no known most.

        So "dry at the first tooth" counts as half of that tooth, "wet past the last" as
        that tooth: neither makes an average better than what was seen.
        """
        low = max(self.low_um, 0.0)
        return low if math.isinf(self.high_um) else 0.5 * (low + self.high_um)


@dataclass(frozen=True, kw_only=True)
class Begun:
    """When the first kit of a coat was mixed or spread; else when it was entered."""

    at: datetime
    stated: bool


@dataclass(frozen=True, kw_only=True)
class Taken:
    """What the record holds of one section and coat, and what of it is not used."""

    kits: tuple[KitUsed, ...]
    readings: tuple[Read, ...]
    messages: tuple[Message, ...]


def film_record(bundle: Path) -> tuple[Entry, ...]:
    """Every entry that speaks of film, in the order of arrival."""
    return FilmEntries(bundle).read()


@dataclass
class FilmEntries:
    """Entries of one bundle that speak of film; each look reads only what came since."""

    bundle: Path
    _kept: list[Entry] = field(default_factory=list)
    _last: tuple[int, str] = (0, "")  # position and id of the last entry of any kind

    def read(self) -> tuple[Entry, ...]:
        """All of them, in the order of arrival; from the first again in another record."""
        where = where_of(self.bundle)
        if isinstance(where, Path) and not where.exists():
            return ()
        with open_record(where) as record:
            pos, last = self._last
            if [e.id for e in entries(record, after=pos - 1, limit=1)][:1] != [last] or not last:
                pos, self._kept = 0, []
            while page := entries(record, after=pos, limit=PAGE):
                pos = page[-1].pos
                self._last = (pos, page[-1].id)
                self._kept += [e for e in page if e.kind in (*FILM_KINDS, WITHDRAWN, CHECKS)]
        return tuple(self._kept)


def places(record: Iterable[Entry]) -> tuple[tuple[str, str], ...]:
    """Section and coat pairs that entries speak of, in order of id."""
    return tuple(
        sorted({(e.body["section"], e.body["coat"]) for e in record if e.kind in FILM_KINDS})
    )


def layout_cells(
    made: Pipeline, record: Sequence[Entry], section_id: str, coat_id: str
) -> dict[tuple[str, str], BaseGeometry]:
    """Cells of the layouts that placements name without an outline; laid only if asked."""
    wanted = {
        e.body.get("layout")
        for e in record
        if e.kind == "placement"
        and (e.body["section"], e.body["coat"]) == (section_id, coat_id)
        and e.body.get("cell")
        and not e.body.get("outline")
    }
    if not wanted:
        return {}
    out: dict[tuple[str, str], BaseGeometry] = {}
    kept = made.job.root / ".tackfree" / "layouts" / f"{section_id}.{coat_id}.json"
    if kept.is_file():
        for layout in json.loads(kept.read_text("utf-8"))["layouts"]:
            for cell in layout["cells"]:
                cut_in = cell.get("layout", layout["id"])
                out[cut_in, str(cell["number"])] = shape_of(cell["outline"])
    if wanted - {layout for layout, _ in out}:
        laid = lay_marks(made, section_id, coat_id, search=False)
        for one in laid.cells:
            out[laid.id, str(one.number)] = one.outline
    return out


def taken(
    record: Iterable[Entry],
    section_id: str,
    coat_id: str,
    *,
    kit_l: Mapping[str, float],
    fill_um: float,
    layouts: Mapping[tuple[str, str], BaseGeometry] | None = None,
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
    layouts : mapping of (layout id, cell number as text) to outline, optional
        Kit marks, for placements that name their cell and no outline. [m]

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
    film = [e for e in every if e.kind in FILM_KINDS]
    here = [e for e in film if (e.body["section"], e.body["coat"]) == (section_id, coat_id)]
    said: list[Message] = []
    corrected = sum(e.kind == "film-reading" and e.id in gone for e in here)
    if corrected:
        said.append(Message(id="evidence.superseded", values={"count": corrected}))
    live = [e for e in here if e.id not in gone]
    kits = tuple(_kits(live, kit_l, layouts, said))
    looks = list(_bodies(live, FilmReadingV1))
    sanded = sum(b.after_sand for _, b in looks)
    if sanded:
        said.append(Message(id="evidence.sanded", values={"count": sanded}))
    looks = _of_this_coat(looks, _begun(film, gone, section_id), coat_id, said)
    bare = [b for _, b in looks if not b.after_sand]
    sound = _checks([e for e in every if e.kind == CHECKS and e.id not in gone], bare, said)
    reads = tuple(_read(b, fill_um, sound.get(b.gauge)) for b in bare)
    for end, word in (("high_um", "top"), ("low_um", "first")):
        open_ = sum(math.isinf(getattr(r, end)) for r in reads)
        if open_:
            said.append(Message(id=f"acceptance.{word}_tooth", values={"count": open_}))
    return Taken(kits=kits, readings=reads, messages=tuple(said))


def _bodies(live: Iterable[Entry], model: Any) -> Iterator[tuple[Entry, Any]]:
    for e in live:
        body = read_body(e.kind, e.v, e.body)
        if isinstance(body, model):
            yield e, body


def _begun(film: Iterable[Entry], gone: set[str], section_id: str) -> dict[str, Begun]:
    """When each coat of a section begins."""
    here = [e for e in film if e.id not in gone and e.body["section"] == section_id]
    spread = {(b.coat, b.kit): b.started for _, b in _bodies(here, PlacementV1) if b.started}
    out: dict[str, Begun] = {}
    for e, batch in _bodies(here, BatchV1):
        stated = batch.mixed_from or spread.get((batch.coat, batch.kit))
        begun = Begun(at=datetime.fromisoformat(stated or e.wall), stated=stated is not None)
        if batch.coat not in out or begun.at < out[batch.coat].at:
            out[batch.coat] = begun
    return out


def _of_this_coat(
    looks: list[tuple[Entry, FilmReadingV1]],
    begun: Mapping[str, Begun],
    coat_id: str,
    said: list[Message],
) -> list[tuple[Entry, FilmReadingV1]]:
    """Readings between this coat's first kit and the next coat's.

    Outside of these a comb reads another coat. Where the kits state their time such a
    reading is not used; where only the entry tells it, a kit may have been entered late:
    the reading counts, and that is said.
    """
    own = begun.get(coat_id)
    if own is None:
        return looks
    later = [b for coat, b in begun.items() if coat != coat_id and b.at > own.at]
    above = min(later, key=lambda b: b.at, default=None)
    kept, apart, doubtful = [], 0, 0
    for e, b in looks:
        at = datetime.fromisoformat(e.wall)
        other = own if at < own.at else above if above is not None and at >= above.at else None
        if other is not None and other.stated:
            apart += 1
            continue
        doubtful += other is not None
        kept.append((e, b))
    if apart:
        said.append(Message(id="acceptance.coat_apart", values={"count": apart}))
    if doubtful:
        said.append(Message(id="acceptance.other_coat", values={"count": doubtful}))
    return kept


def _checks(checks: list[Entry], looks: list[Any], said: list[Message]) -> dict[str, bool]:
    """Whether each gauge passed its last check against something known."""
    last: dict[str, bool] = {}
    for e in checks:
        body = read_body(e.kind, e.v, e.body)
        if isinstance(body, InstrumentCheckV1) and body.what == "notch-gauge":
            last[body.instrument] = body.passed
    for gauge in sorted({b.gauge for b in looks if last.get(b.gauge) is False}):
        said.append(Message(id="acceptance.gauge_failed", values={"gauge": gauge}))
    return last


def _kits(
    live: list[Entry],
    kit_l: Mapping[str, float],
    layouts: Mapping[tuple[str, str], BaseGeometry] | None,
    said: list[Message],
) -> Iterator[KitUsed]:
    spread: dict[str, PlacementV1] = {b.kit: b for _, b in _bodies(live, PlacementV1)}
    seen: set[str] = set()
    lost = 0
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
        outline: BaseGeometry | None = None
        if placed is not None and placed.outline is not None:
            outline = Polygon(placed.outline).buffer(0)
        elif placed is not None and placed.cell:
            outline = (layouts or {}).get((placed.layout or "", placed.cell))
            lost += outline is None
        left = placed.leftover_l if placed is not None else 0.0
        yield KitUsed(
            kit=batch.kit,
            volume_l=max(volume - left, 0.0),
            outline=outline if outline is not None and not outline.is_empty else None,
            wall=entry.wall,
            layout=(placed.layout or "") if placed is not None else "",
            cell=(placed.cell or "") if placed is not None else "",
            area_m2=placed.area_m2 if placed is not None else None,
            weighed=left > 0,
            flat=outline is not None and outline.is_empty,
        )
    if lost:
        said.append(Message(id="acceptance.cells_unknown", values={"count": lost}))


def _read(b: FilmReadingV1, fill_um: float, sound: bool | None = None) -> Read:
    unit = UM_PER_MIL if b.unit == "mil" else 1.0
    off = fill_um if b.feet == "valleys" else 0.0
    low = -math.inf if b.wet_tooth is None else b.wet_tooth * unit - off
    high = math.inf if b.dry_tooth is None else b.dry_tooth * unit - off
    return Read(
        x_m=b.x_m, y_m=b.y_m, low_um=low, high_um=high, gauge=b.gauge,
        checked=b.gauge_checked if sound is None else sound, reader=b.reader,
    )  # fmt: skip
