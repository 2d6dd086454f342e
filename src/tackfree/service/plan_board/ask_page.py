"""The daily questions of a plan on one page: pace, a short crew, where to stop."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from tackfree.service.pages.read import Built
from tackfree.service.plan_board import ask, earned
from tackfree.service.plan_board.sheet import Sheet
from tackfree.units import System
from tackfree.words import say


@dataclass(frozen=True, kw_only=True)
class AskPage:
    """What was asked, and each question's answers as sentences."""

    short: int
    by: str
    groups: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]


def ask_page(
    built: Built, sheet: Sheet, bundle: Path | None, day: date,
    *, short: int, by: time, language: str, units: str,
) -> AskPage:  # fmt: skip
    """The answers for one date.

    Raises
    ------
    InputError
        If a crew would have nobody left.
    """

    def tell(name: str) -> str:
        return say(f"planboard.ask.{name}", language)

    system: System = "si" if units == "si" else "us"
    crews = sorted({p.crew_id for p in sheet.on(day)})
    shorts = [ask.short_text(sheet, day, c, short, language=language, units=system) for c in crews]
    found = ask.stops(sheet, ask.layouts_of(built.out), day, by)
    texts = (
        ("pace-head", [_pace(built, sheet, bundle, day, language)]),
        ("short-head", shorts or [tell("short-none")]),
        ("stop-head", [ask.stop_text(sheet, found, day, by, language)]),
    )
    groups = tuple((tell(h), tuple(tuple(t.split("\n")) for t in every)) for h, every in texts)
    return AskPage(short=short, by=f"{by:%H:%M}", groups=groups)


def _pace(built: Built, sheet: Sheet, bundle: Path | None, day: date, language: str) -> str:
    """The pace by the end of a date."""
    if bundle is None or not bundle.exists():
        return say("planboard.ask.no-pace", language)
    coats: list[dict[str, Any]] = list((built.stage("materials") or {}).get("coats", ()))
    kits = {(c["section_id"], c["coat_id"]): int(c["kits"]) for c in coats}
    now = datetime.combine(day, time(23, 59), sheet.zone)
    found = ask.pace(sheet, earned.moments(bundle), kits, now)
    return ask.pace_text(sheet, found, now, language)
