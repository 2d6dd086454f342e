"""What was typed about a layout, read into what the layout is asked for."""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.deck.types import Deck, FeatureKind
from tackfree.errors import InputError, NotFound
from tackfree.marks.pace import KIT_TEMP_C
from tackfree.service.marks_types import Ask
from tackfree.service.pipeline import Pipeline
from tackfree.units import parse

FT_M = 0.3048


def ask_of(
    made: Pipeline,
    section_ids: Sequence[str],
    *,
    direction_deg: float | None = None,
    lane: str | None = None,
    module: bool = False,
    exits: Sequence[str] = (),
    start: str | None = None,
    stop_lines: Sequence[str] = (),
    no_go: Sequence[str] = (),
    keep_out: Sequence[str] = (),
    stalls: Sequence[str] = (),
    kits: int | None = None,
    lane_end: bool = False,
    placed: int = 0,
    open_minutes: float | None = None,
    slab: str | None = None,
    passage: str | None = None,
    truck: str | None = None,
    down_by: str | None = None,
) -> Ask:
    """Options as typed, in SI and in the deck's own frame.

    Parameters
    ----------
    made : Pipeline
    section_ids : sequence of str
        Where places are given, sections of one deck.
    exits, start : texts
        Places, "120,40" in the drawing's coordinates, in ft or m as the job has it.
    stop_lines, no_go, keep_out : texts
        Places with spaces between them; a kept-out outline has three or more.
    stalls : texts
        Painted numbers of stalls where cars stay.
    lane, passage, slab : texts
        With their units: "10 ft", "92 °F".
    truck, down_by : texts
        Times of day, "15:00": more kits are promised, and the last must be down.

    Raises
    ------
    InputError
        With what cannot be read, and how to write it.
    NotFound
        If a section or a stall does not exist.
    """
    if direction_deg is not None and not math.isfinite(direction_deg):
        raise InputError("the direction is no number.", where="--direction", do="Write degrees.")
    placed_by_hand = bool(exits or start or stop_lines or no_go or keep_out or stalls)
    deck = _deck(made, section_ids) if placed_by_hand else None
    unit_m = 1.0 if made.job.units == "si" else FT_M
    out: list[BaseGeometry] = []
    if deck is not None:
        kept: list[tuple[str, str, BaseGeometry]] = [
            (t, "--keep-out", _outline(t, deck, unit_m)) for t in keep_out
        ]
        kept += [(label, "--stall", _stall(deck, label)) for label in stalls]
        _on_floor(made, section_ids, kept)
        out = [shape for *_, shape in kept]
    return Ask(
        direction_rad=None if direction_deg is None else math.radians(direction_deg),
        lane_m=None if lane is None else parse(lane, "length"),
        module=module,
        exits=tuple(_point(t, deck, unit_m, "--exit") for t in exits) if deck else (),
        start=_point(start, deck, unit_m, "--start") if deck and start else None,
        stop_lines=tuple(_line(t, deck, unit_m, "--stop-line") for t in stop_lines) if deck else (),
        no_go=tuple(_line(t, deck, unit_m, "--no-go") for t in no_go) if deck else (),
        kept_out=shapely.union_all(out) if out else None,
        kits=kits,
        lane_end=lane_end,
        placed=placed,
        open_minutes=open_minutes,
        slab_c=KIT_TEMP_C if slab is None else parse(slab, "temperature"),
        passage_m=None if passage is None else parse(passage, "length"),
        truck_min=None if truck is None else _minutes(truck, "--truck"),
        down_by_min=None if down_by is None else _minutes(down_by, "--down-by"),
    )


def _minutes(text: str, where: str) -> int:
    """A time of day in minutes."""
    hours, colon, minutes = text.strip().partition(":")
    digits = hours.isdecimal() and minutes.isdecimal() and len(minutes) == 2
    if not (colon and digits and int(hours) < 24 and int(minutes) < 60):
        raise InputError(f"{text!r} is no time of day.", where=where,
                         do='Write hours and minutes, "15:00".')  # fmt: skip
    return 60 * int(hours) + int(minutes)


def _on_floor(
    made: Pipeline, section_ids: Sequence[str], kept: Sequence[tuple[str, str, BaseGeometry]]
) -> None:
    """Every kept-out floor, as typed and with its option, takes some of a named section."""
    floors = [s.floor for s in made.sections.sections if s.id in section_ids]
    for text, where, shape in kept:
        if not any(floor.intersection(shape).area > 1e-6 for floor in floors):
            raise InputError(
                f"{text!r} takes nothing of {', '.join(section_ids)}.", where=where,
                do="Check the place, or name the section that it lies on.",
            )  # fmt: skip


def _deck(made: Pipeline, section_ids: Sequence[str]) -> Deck:
    known = {s.id: s.deck_id for s in made.sections.sections}
    if not section_ids:
        raise InputError(
            "places on the drawing need a section.", where="--section",
            do="Name the section that they lie on.",
        )  # fmt: skip
    for name in section_ids:
        if name not in known:
            raise NotFound(f"section {name} is not in the job.",
                           do="Take an id from the sections of the build.")  # fmt: skip
    decks = {known[name] for name in section_ids}
    if len(decks) != 1:
        raise InputError(
            "places on the drawing need one deck.", where="--section",
            do="Name sections of one deck beside exits, lines or kept-out floor.",
        )  # fmt: skip
    return next(d for d in made.drawings.decks if d.id in decks)


def _point(text: str, deck: Deck, unit_m: float, where: str) -> Point:
    try:
        x, y = (float(v) * unit_m for v in text.split(","))
    except ValueError:
        raise InputError(f"{text!r} is no place.", where=where,
                         do='Write x and y of the drawing, "120,40".') from None  # fmt: skip
    if not (math.isfinite(x) and math.isfinite(y)):
        raise InputError(f"{text!r} is no place.", where=where, do='Write "120,40".')
    return Point(x - deck.offset_m[0], y - deck.offset_m[1])


def _line(text: str, deck: Deck, unit_m: float, where: str) -> LineString:
    points = [_point(t, deck, unit_m, where) for t in text.split()]
    if len(set(points)) < 2:
        raise InputError(f"{text!r} is no line.", where=where,
                         do='Write two places or more, "0,40 120,40".')  # fmt: skip
    return LineString(points)


def _outline(text: str, deck: Deck, unit_m: float) -> Polygon:
    points = [_point(t, deck, unit_m, "--keep-out") for t in text.split()]
    shape = Polygon(points) if len(points) >= 3 else Polygon()
    if not shape.is_valid or shape.area <= 0:
        raise InputError(f"{text!r} is no outline.", where="--keep-out",
                         do='Write three corners or more, "0,0 9,0 9,18 0,18".')  # fmt: skip
    return shape


def _stall(deck: Deck, label: str) -> BaseGeometry:
    found = [f for f in deck.features if f.kind is FeatureKind.STALL and f.label == label]
    areas = [f.geometry for f in found if f.geometry.area > 0]
    if not areas:
        raise NotFound(f"no outline of a stall {label} is drawn on deck {deck.id}.",
                       where="--stall", do="Take a painted number or give --keep-out.")  # fmt: skip
    return shapely.union_all(areas)
