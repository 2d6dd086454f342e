"""Makes ``job/record-example.jsonl``: an invented record to take into the demo job.

Nobody spread or read any of it. Four sections tell four stories of a base coat: one that
is shown, one with a thin end, one where gauge and gallons cannot both be right, and one
that nobody has read enough. Primer kits of two shifts tell what the slab drinks.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from shapely import Point, box

from tackfree.deck.types import Section
from tackfree.record.canonical import ulid
from tackfree.record.entries import sha_of
from tackfree.service.pipeline import Pipeline
from tackfree.units.constants import UM_PER_MIL

HERE = Path(__file__).resolve().parent
FILE = HERE / "job" / "record-example.jsonl"
ZONE = ZoneInfo("America/New_York")
MIL = UM_PER_MIL
DELIVERED = {"HEN-P": 52, "HEN-B": 150, "HEN-T": 70, "MARL-P": 8, "MARL-B": 32}
Film = Callable[[float, float], float]  # true film in mil at a place in metres


@dataclass(kw_only=True)
class Phone:
    """One device and what is written on it."""

    job: str
    device: str
    person: str
    notes: list[tuple[datetime, str, dict[str, Any]]] = field(default_factory=list)

    def write(self, at: datetime, kind: str, body: dict[str, Any]) -> None:
        self.notes.append((at, kind, body))

    def sent(self) -> Iterator[dict[str, Any]]:
        """The entries in the order of their moments, each with the hash of the one before."""
        previous = ""
        for seq, (at, kind, body) in enumerate(sorted(self.notes, key=lambda n: n[0]), 1):
            chance = hashlib.sha256(f"{self.device} {seq}".encode()).digest()[:10]
            one = {
                "id": ulid(time_ms=int(at.timestamp() * 1000), randomness=chance),
                "job": self.job, "device": self.device, "seq": seq, "person": self.person,
                "wall": at.isoformat(timespec="seconds"), "zone": str(ZONE), "kind": kind,
                "v": 1, "body": body, "previous": previous,
            }  # fmt: skip
            previous = sha_of(one)
            yield one


def main() -> None:
    """Write the file anew; the same bytes each time."""
    made = Pipeline.of(HERE / "job")
    foreman = Phone(job=made.job.id, device="example-phone-1", person="Foreman (invented)")
    inspector = Phone(job=made.job.id, device="example-phone-2", person="Inspector (invented)")
    said = "An invented record for trying things out: nobody spread or read any of this."
    for phone in (foreman, inspector):
        phone.write(_at(19, 6, 30), "note", {"text": said})
    for product, kits in DELIVERED.items():
        foreman.write(_at(16, 13), "delivery", {"product": product, "kits": kits})
    _primer(made, foreman)
    _base(made, foreman, inspector)
    rows = (json.dumps(e, sort_keys=True) for p in (foreman, inspector) for e in p.sent())
    FILE.write_text("".join(f"{row}\n" for row in rows), "utf-8")


def _at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 4, day, hour, minute, tzinfo=ZONE)


def _primer(made: Pipeline, phone: Phone) -> None:
    """Two shifts; the slab drinks about a seventh more than the sheet's middle."""
    rng = np.random.default_rng(4)
    for names, begin in (
        (("P1-STALL-A-1", "P1-STALL-B-1", "P1-STALL-C-1"), _at(19, 11)),
        (("P1-STALL-D-1", "P1-LANE-A-1", "P1-LANE-B-1"), _at(20, 8)),
    ):
        at = begin
        for name in names:
            section, line = _line(made, name, "PRIMER")

            def film(x: float, y: float, mil: float = line.wft_um / MIL) -> float:
                return mil * float(1.15 * np.exp(0.08 * rng.standard_normal()))

            at = _kits(phone, section, line, film, at, minutes=14)


def _base(made: Pipeline, foreman: Phone, inspector: Phone) -> None:
    # Shown: a mil and a half more than asked for, all over.
    section, line = _line(made, "P1-STALL-A-1", "BASE")

    def even(x: float, y: float) -> float:
        return 34.8 + 0.8 * float(np.sin(x / 2.3) * np.cos(y / 5.1))

    at = _kits(foreman, section, line, even, _at(21, 7, 40), minutes=11)
    _read(foreman, section, even, at, count=26, seed=1, gauge="COMB-1")
    _read(inspector, section, even, _at(21, 13), count=6, seed=2, gauge="COMB-QA")

    # Short at its south end: the last kits were stretched.
    section, line = _line(made, "P1-STALL-D-1", "BASE")
    _, y0, _, _ = section.floor.bounds

    def thin_end(x: float, y: float) -> float:
        return 35.6 - 11.0 * float(np.exp(-(((y - y0) / 11.0) ** 2)))

    at = _kits(foreman, section, line, thin_end, _at(21, 10, 30), minutes=11)
    _read(foreman, section, thin_end, at, count=24, seed=3, gauge="COMB-1")

    # Gauge and gallons cannot both be right: the readings look good, too few kits are logged.
    section, line = _line(made, "P1-STALL-B-1", "BASE")

    def said(x: float, y: float) -> float:
        return 32.6 + 0.6 * float(np.sin(x + y / 4))

    at = _kits(foreman, section, line, lambda x, y: 23.5, _at(22, 7, 30), minutes=10)
    _read(foreman, section, said, at, count=52, seed=5, gauge="COMB-2", checked=False)

    # Not shown: enough gallons, hardly any reading.
    section, line = _line(made, "P1-LANE-A-1", "BASE")

    def mostly(x: float, y: float) -> float:
        return 29.2 + 1.2 * float(np.sin(x / 3) * np.sin(y / 6))

    at = _kits(foreman, section, line, mostly, _at(22, 12), minutes=10)
    _read(foreman, section, mostly, at, count=8, seed=6, gauge="COMB-1")


def _line(made: Pipeline, section_id: str, coat_id: str) -> tuple[Section, Any]:
    section = next(s for s in made.sections.sections if s.id == section_id)
    lines = made.materials.coats
    return section, next(c for c in lines if (c.section_id, c.coat_id) == (section_id, coat_id))


def _kits(
    phone: Phone, section: Section, line: Any, film: Film, at: datetime, *, minutes: float
) -> datetime:
    """Kits in strips across the section, from its north end; each as far as its film lets it."""
    x0, y0, x1, y1 = section.floor.bounds
    strips = max(1, round((x1 - x0) / 5.5))
    wide = (x1 - x0) / strips
    kit = 0
    for k in range(strips):
        left = x0 + k * wide
        top = y1
        while top > y0 + 0.3:
            depth_m = (film(left + wide / 2, top - 1.5) * MIL + line.fill_um) / 1e6
            area = line.kit_l / 1000 / (1 + line.loss) / depth_m
            low = _down_to(section, left, left + wide, top, y0, area)
            cell = box(left, low, left + wide, top)
            ground = cell.intersection(section.floor).area
            if ground < 1.0:
                break
            kit += 1
            name = f"{section.id}-{line.coat_id}-{kit:02}"
            done = at + timedelta(minutes=minutes)
            phone.write(at, "batch", {
                "kit": name, "product": line.product_id, "section": section.id,
                "coat": line.coat_id, "b_in": True, "volume_l": round(line.kit_l, 3),
            })  # fmt: skip
            left_l = max(0.0, line.kit_l * (1 - ground / area)) if ground < 0.98 * area else 0.0
            phone.write(done, "placement", {
                "kit": name, "section": section.id, "coat": line.coat_id, "cell": str(kit),
                "outline": [[round(x, 3), round(y, 3)] for x, y in cell.exterior.coords[:-1]],
                "area_m2": round(ground, 2), "leftover_l": round(left_l, 2),
            })  # fmt: skip
            at = done
            top = low
    return at


def _down_to(
    section: Section, left: float, right: float, top: float, least: float, area: float
) -> float:
    """The lower edge of a strip's piece that holds an area of the section."""
    a, b = least, top
    if box(left, a, right, top).intersection(section.floor).area <= area:
        return least
    for _ in range(40):
        mid = (a + b) / 2
        if box(left, mid, right, top).intersection(section.floor).area > area:
            a = mid
        else:
            b = mid
    return b


def _read(
    phone: Phone, section: Section, film: Film, at: datetime, *, count: int, seed: int,
    gauge: str, checked: bool = True,
) -> None:  # fmt: skip
    """Readings over the section by a comb with a tooth every 2 mil."""
    rng = np.random.default_rng(seed)
    x0, y0, x1, y1 = section.floor.bounds
    begin = at - timedelta(minutes=90)
    done = 0
    while done < count:
        x, y = float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))
        if not section.floor.buffer(-0.2).contains(Point(x, y)):
            continue
        seen = film(x, y) + 0.6 * float(rng.standard_normal())
        low = 2.0 * float(np.floor(seen / 2))
        body = {
            "section": section.id, "coat": "BASE", "x_m": round(x, 2), "y_m": round(y, 2),
            "unit": "mil", "wet_tooth": low, "dry_tooth": low + 2.0, "gauge": gauge,
            "gauge_checked": checked,
        }  # fmt: skip
        if "inspector" in phone.person.lower():
            body["reader"] = "inspector"
        done += 1
        phone.write(begin + timedelta(minutes=done), "film-reading", body)


if __name__ == "__main__":
    main()
