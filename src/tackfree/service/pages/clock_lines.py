"""One clock as a line of a page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tackfree import words
from tackfree.service.pages.said import Reader, Value
from tackfree.service.pages.types import Line

Json = Mapping[str, Any]


def tell(reader: Reader, name: str, **values: Any) -> str:
    """A sentence or word of the clocks' own area."""
    return words.say(f"clocks.{name}", reader.language, **values)


def clock_line(reader: Reader, clock: Json) -> Line:
    """One clock. "From" times are rounded up and "by" times down, to 5 min."""

    def ends(name: str, *, strong: bool = False) -> list[Value]:
        found = clock.get(name) or {}
        careful, hopeful = found.get("careful_utc_s"), found.get("hopeful_utc_s")
        values = [
            Value(
                label=reader.say(f"clock.{name}"),
                text=reader.moment(careful) if careful is not None else reader.say("clock.beyond"),
                strong=strong,
            )
        ]
        if hopeful is not None and hopeful != careful:
            values.append(Value(label=reader.say("clock.at-best"), text=reader.moment(hopeful)))
        return values

    before = clock.get("recoat_before_utc_s")
    values = ends("recoat_after", strong=True)
    values.append(
        Value(
            label=reader.say("clock.recoat_before"),
            text=reader.moment(before, toward="down")
            if before is not None
            else reader.say("clock.none"),
            strong=True,
        )
    )
    if clock.get("better_before_utc_s") is not None:
        values.append(
            Value(
                label=reader.say("clock.better_before"),
                text=reader.moment(clock["better_before_utc_s"], toward="down"),
            )
        )
    values += ends("feet_after")[:1] + ends("cars_after")[:1]
    after = (clock.get("recoat_after") or {}).get("careful_utc_s")
    notes = []
    if after is not None and before is not None and after > before:
        notes.append(reader.say("clock.no-moment"))
    if clock.get("stalled_h"):
        notes.append(reader.say("clock.stalled", hours=f"{clock['stalled_h']:.1f}"))
    placed = clock.get("placed_to_utc_s")
    sub = [reader.say("clock.placed-to", at=reader.moment(placed))] if placed is not None else []
    sub.append(tell(reader, f"by.{clock.get('from', 'plan')}"))
    if clock.get("void"):
        notes.insert(0, reader.message(clock["void"]))
    return Line(
        label=reader.step(clock["coat_id"]),
        sub=", ".join(sub),
        values=tuple(values),
        warning=" ".join(notes),
    )
