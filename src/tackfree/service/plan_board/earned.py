"""The pace of a job from its record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tackfree.service import placed
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan_board.ask import Pace, pace
from tackfree.service.plan_board.sheet import Sheet, made_sheet


def pace_of(bundle: Path, now: Callable[[ZoneInfo], datetime]) -> tuple[Sheet, datetime, Pace]:
    """A bundle's plan, the moment asked for, and its pace by then."""
    made = Pipeline.of(bundle)
    sheet = made_sheet(made)
    kits = {(c.section_id, c.coat_id): c.kits for c in made.materials.coats}
    at = now(sheet.zone)
    return sheet, at, pace(sheet, moments(bundle), kits, at)


def moments(bundle: Path) -> dict[tuple[str, str], list[float]]:
    """When kits went in, by section and coat, spread evenly from first to last. [Unix s]"""
    out: dict[tuple[str, str], list[float]] = {}
    for x in placed.logged(placed.clock_entries(bundle)):
        step = (x.last_utc_s - x.first_utc_s) / max(1, x.kits - 1)
        out[x.section_id, x.coat_id] = [x.first_utc_s + i * step for i in range(x.kits)]
    return out
