"""The deck page: one entry per section, every figure with its why."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from tackfree.service.pages.calendar import calendar_of
from tackfree.service.pages.drawing import Mark
from tackfree.service.pages.frame import (
    about,
    chosen_day,
    chosen_deck,
    page,
    sections_of,
)
from tackfree.service.pages.read import Built
from tackfree.service.pages.said import Reader
from tackfree.service.pages.types import Asked, Entry, Group, Line, Page

Json = Mapping[str, Any]

# Figures of a zone in reading order, with their SI unit; "" is a count.
ZONE_FIGURES = {
    "field_m2": "m2",
    "plan_m2": "m2",
    "outline_m2": "m2",
    "obstacles_m2": "m2",
    "upturn_m2": "m2",
    "upturn_m": "m",
    "obstacle_edge_m": "m",
    "termination_m": "m",
    "drains": "",
    "penetrations": "",
    "stalls": "",
}


def deck_page(built: Built, reader: Reader, asked: Asked, today: date, bundle: str) -> Page:
    """Areas and lengths by zone, then the sections cut from them."""
    deck_id = chosen_deck(built, asked)
    chosen_day(calendar_of(built), asked, today)  # kept for the pages that show a day
    takeoff = built.stage("takeoff") or {}
    zones = [z for z in takeoff.get("zones", ()) if z["deck_id"] == deck_id]
    sections = sections_of(built, deck_id)
    groups = [
        Group(title=reader.say("zones"), entries=tuple(_zone(reader, z) for z in zones)),
        Group(
            title=reader.say("sections"),
            entries=tuple(
                Entry(
                    id=f"s-{s['id']}",
                    name=s["id"],
                    sub=about(reader, s),
                    lines=(
                        Line(
                            label=reader.say("zones-of", zones=", ".join(s.get("zone_ids", ()))),
                            values=(
                                reader.value(
                                    reader.say("figure.developed_m2"),
                                    s["developed_m2"],
                                    "m2",
                                    strong=True,
                                ),
                                reader.value(reader.say("figure.stalls"), s.get("stalls"), ""),
                            ),
                        ),
                    ),
                )
                for s in sections
            ),
        ),
    ]
    access = takeoff.get("access") or {}
    places = [n for n in access.get("nodes", ()) if n["deck_id"] == deck_id and n["joins"]]
    if places:
        groups.append(
            Group(
                title=reader.say("access"),
                entries=tuple(
                    Entry(
                        id=f"a-{n['id']}",
                        name=n["id"],
                        sub=reader.say("access-joins", joins=n["joins"]),
                        lines=(
                            Line(
                                label="",
                                values=(
                                    reader.value(reader.say("access-stalls"), n["stalls"], ""),
                                ),
                            ),
                        ),
                    )
                    for n in places
                ),
            )
        )
    total = sum(z.get("field_m2") or 0.0 for z in zones)
    lead = (reader.value(reader.say("figure.field_m2"), total, "m2", strong=True),) if zones else ()
    return page(
        built, reader, "deck", deck_id=deck_id, groups=tuple(groups), lead=lead, strip=False,
        marks={s["id"]: Mark(state="waiting", word="", title=f"{s['id']}: {about(reader, s)}")
               for s in sections},
        notes=tuple(reader.message(n) for n in takeoff.get("notes", ())), bundle=bundle,
    )  # fmt: skip


def _zone(reader: Reader, zone: Json) -> Entry:
    figures = zone.get("figures") or {}
    values = [
        reader.value(
            reader.say(f"figure.{name}"), zone.get(name), unit,
            figure=figures.get(name), strong=name == "field_m2",
        )
        for name, unit in ZONE_FIGURES.items()
        if zone.get(name) is not None or name in figures
    ]  # fmt: skip
    lines = [Line(label="", values=tuple(values))]
    for run in zone.get("cracks", ()):
        said = reader.say("rout" if run.get("rout") else "strip-only")
        lines.append(
            Line(
                label=reader.say("cracks", width=_width(reader, run.get("width_m"))),
                sub=said,
                values=(reader.value(reader.say("length"), run.get("length_m"), "m"),),
            )
        )
    for run in zone.get("joints", ()):
        width, depth = _width(reader, run.get("width_m")), _width(reader, run.get("depth_m"))
        lines.append(
            Line(
                label=reader.say("joints", width=width, depth=depth),
                values=(reader.value(reader.say("length"), run.get("length_m"), "m"),),
            )
        )
    name = str(zone.get("name") or zone["zone_id"])
    return Entry(
        id=f"z-{zone['zone_id']}",
        name=zone["zone_id"],
        sub=" · ".join(
            t for t in (name if name != zone["zone_id"] else "", about(reader, zone)) if t
        ),
        lines=tuple(lines),
    )


def _width(reader: Reader, metres: float | None) -> str:
    """A crack or joint size: inches to 1/100, or millimetres to 0.1."""
    if metres is None:
        return "–"
    if reader.units == "us":
        return f"{metres / 0.0254:.2f} in"
    return f"{metres * 1000:.1f} mm"
