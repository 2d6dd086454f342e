"""What the editor shows in words and figures: a takeoff by zone and feature, lengths, scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from tackfree import units, words
from tackfree.deck.declared import Measured
from tackfree.deck.takeoff_rows import TakeoffRow, takeoff_rows
from tackfree.errors import Fault, InputError
from tackfree.intake.calibrate import MOST_OFF, scale_from
from tackfree.service.trace.judge import Verdict
from tackfree.service.trace.refuse import rows_of
from tackfree.units import M_PER_IN, System, show

FIRST = ("field", "outline", "obstacles")


def takeoff_said(verdict: Verdict, system: System, language: str) -> dict[str, Any]:
    """Faults, notes, and the takeoff as rows ready to show, with the plain numbers too.

    ``zones`` holds floor and outline areas in m² as the judge has them.
    """
    rows: list[dict[str, Any]] = []
    zones: dict[str, dict[str, float]] = {}
    total = ""
    if verdict.deck is not None and verdict.takeoff is not None:
        found = takeoff_rows(verdict.takeoff, [verdict.deck])
        rows = [_row(r, system, language) for r in found]
        zones = {
            z.zone_id: {"field_m2": z.field_m2, "plan_m2": z.plan_m2, "outline_m2": z.outline_m2}
            for z in verdict.takeoff.zones
        }
        total = show(
            math.fsum(z.field_m2 for z in verdict.takeoff.zones), "area", system, language=language
        )
    return {
        "faults": rows_of(verdict.own),
        "elsewhere": rows_of(_few(verdict.elsewhere)),
        "notes": [words.say(m, language) for m in verdict.messages],
        "rows": rows,
        "zones": zones,
        "total": total,
    }


def _few(faults: Sequence[Fault]) -> Sequence[Fault]:
    return faults[:20]


def _row(row: TakeoffRow, system: System, language: str) -> dict[str, Any]:
    item = words.say(f"deck.item.{row.item}", language)
    sizes = [_size(v, system) for v in (row.width_m, row.depth_m) if v]
    if sizes:
        item = f"{item}, {' × '.join(sizes)}"
    if row.kind == "count":
        amount = f"{row.value:g}"
    else:
        amount = show(row.value, row.kind, system, language=language)
    return {
        "zone": row.zone_id,
        "build_up": row.build_up_id,
        "item": item,
        "key": row.item,
        "amount": amount,
        "value": row.value,
        "basis": words.say(f"deck.sheet.basis-{row.basis}", language),
    }


def _size(metres: float, system: System) -> str:
    """A width or depth: inches as a tape has them, else decimal; or millimetres."""
    if system == "si":
        return f"{metres * 1000:.3g} mm"
    inches = metres / M_PER_IN
    parts = Fraction(round(inches * 16), 16)
    if abs(inches - parts) > 1e-6 or inches >= 12:
        return show(metres, "length", system) if inches >= 12 else f"{inches:.2g} in"
    whole, rest = divmod(parts, 1)
    return f"{' '.join(str(p) for p in (whole, rest) if p)} in"


def _metres(text: str) -> float:
    try:
        return units.parse(text, "length")
    except units.UnitError as fault:
        raise InputError(fault.what, where=text[:40] or "length", do=fault.do) from fault


def length_said(text: str, system: System) -> dict[str, Any]:
    """A typed length: metres, and how it was understood.

    Raises
    ------
    InputError
        If it can be read in two ways or in none.
    """
    metres = _metres(text)
    return {"length_m": metres, "said": show(metres, "length", system)}


def scale_said(
    lengths: Sequence[tuple[tuple[float, float], tuple[float, float], str]],
    *,
    stretched: bool,
    file: str,
) -> dict[str, Any]:
    """Metres per drawing unit from one or two typed lengths, and by how much they differ.

    Raises
    ------
    InputError
        As `scale_from`, or for a length that cannot be read.
    """
    measured = tuple(Measured(start=a, end=b, length_m=_metres(text)) for a, b, text in lengths)
    scale = scale_from(measured, stretched=stretched, file=file)
    off = None
    if len(measured) == 2:
        first, second = (m.length_m / math.dist(m.start, m.end) for m in measured)
        off = 100 * (second / first - 1)
    return {
        "scale_m": [scale.x_m, scale.y_m],
        "lengths_m": [m.length_m for m in measured],
        "off_percent": off,
        "off_most_percent": 100 * MOST_OFF,
        "agrees": off is None or abs(off) <= 100 * MOST_OFF,
    }
