"""A made record on a section of the demo job: kits in strips, readings, a thin corner."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from shapely import Point, box

from tackfree.deck.types import Section
from tackfree.record.canonical import ulid
from tackfree.record.entries import append, sha_of
from tackfree.record.revisions import save_revision
from tackfree.record.store import open_record

MIL = 25.4


def write(
    bundle: Path, job_id: str, bodies: list[tuple[str, dict[str, Any]]], device: str = "phone-1"
) -> None:
    """Append bodies as entries of one device."""
    with open_record(bundle / ".tackfree" / "job.sqlite") as record:
        save_revision(record, {"job.toml": "made"}, job_id=job_id)
        previous = ""
        for seq, (kind, body) in enumerate(bodies, 1):
            sent = {
                "id": ulid(time_ms=1_800_000_000_000 + seq, randomness=secrets.token_bytes(10)),
                "job": job_id,
                "device": device,
                "seq": seq,
                "person": "Foreman",
                "wall": "2027-05-03T10:00:00-04:00",
                "zone": "America/New_York",
                "kind": kind,
                "v": 1,
                "body": body,
                "previous": previous,
            }
            assert append(record, sent) == "stored", (kind, body)
            previous = sha_of(sent)


def deck_record(
    section: Section,
    coat: str,
    product: str,
    *,
    film_mil: Callable[[float, float], float],
    kit_l: float,
    deep_um: float,
    loss: float,
    readings: int,
    seed: int,
    strip_m: float = 5.0,
) -> list[tuple[str, dict[str, Any]]]:
    """Kits and readings of a deck whose film is known.

    ``film_mil`` is the true film at a place; each kit's cell is as large as the kit makes
    it there, ``deep_um`` is the texture fill.
    """
    rng = np.random.default_rng(seed)
    x0, y0, x1, y1 = section.floor.bounds
    out: list[tuple[str, dict[str, Any]]] = []
    k = 0
    y = y0
    while y < y1 - 0.3:
        top = min(y + strip_m, y1)
        x = x0
        while x < x1 - 0.3:
            deep = film_mil(x + 2, 0.5 * (y + top)) * MIL + deep_um
            wide = kit_l / (1 + loss) / (deep / 1000) / (top - y)
            cell = box(x, y, min(x + wide, x1), top)
            ground = cell.intersection(section.floor)
            if ground.area > 1.0:
                k += 1
                part = ground.area / (wide * (top - y))
                kit = f"K-{k:03}"
                body = {"kit": kit, "product": product, "section": section.id, "coat": coat}
                out.append(("batch", body))
                out.append(
                    (
                        "placement",
                        {
                            "kit": kit,
                            "section": section.id,
                            "coat": coat,
                            "outline": [list(p) for p in cell.exterior.coords][:-1],
                            "leftover_l": max(0.0, kit_l * (1 - part)),
                        },
                    )
                )
            x += wide
        y = top
    count = 0
    while count < readings:
        px, py = float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))
        if not section.floor.contains(Point(px, py)):
            continue
        seen = film_mil(px, py) + 0.5 * rng.standard_normal() + 0.5 * rng.standard_normal()
        low = 2 * np.floor(seen / 2)
        out.append(
            (
                "film-reading",
                {
                    "section": section.id, "coat": coat, "x_m": round(px, 2), "y_m": round(py, 2),
                    "unit": "mil", "wet_tooth": float(low), "dry_tooth": float(low + 2),
                    "gauge": "G-1",
                },
            )
        )  # fmt: skip
        count += 1
    return out
