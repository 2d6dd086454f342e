"""``weather chart``: the strip chart of a zone as SVG and PDF."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from tackfree.deck.types import Section
from tackfree.errors import InputError, NotFound
from tackfree.service import documents, papers
from tackfree.service.pages.clock_lines import tell
from tackfree.service.pages.said import Reader
from tackfree.service.pages.strip import slab_said, strip_chart
from tackfree.service.pages.weather import LIMITS
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import clock_entries, place_row, placed_lines
from tackfree.service.save import to_json, write_atomic
from tackfree.service.windows import age_message
from tackfree.sheets.strip_chart import StripChart, strip_chart_svg
from tackfree.sheets.strip_sheet import StripSheet, render_strip_pdf
from tackfree.words import say

MOST_DAYS = 14
DONE = ("placed", "tack_free", "recoat_after", "recoat_before", "cars_after")


@dataclass(frozen=True, kw_only=True)
class ZoneChart:
    """A chart and the rows of clocks it stands on."""

    zone_id: str
    reader: Reader
    chart: StripChart
    climate: dict[str, Any]
    sections: tuple[dict[str, Any], ...]
    clocks: tuple[dict[str, Any], ...]


def clock_rows(made: Pipeline, bundle: Path) -> list[dict[str, Any]]:
    """Clocks of the plan, then those of the record, each saying which."""
    logged = placed_lines(made, clock_entries(bundle))
    rows: list[dict[str, Any]] = [*documents.clocks(made)["clocks"], *(
        place_row(made, one) for one in logged
    )]  # fmt: skip
    return rows


def chart_of(
    made: Pipeline, bundle: Path, zone_id: str, on: date, *, days: int, units: str, language: str
) -> ZoneChart:
    """The chart of one zone for some days.

    Raises
    ------
    NotFound
        If the job has no such zone.
    InputError
        If the days are not 1 to 14.
    """
    if not 1 <= days <= MOST_DAYS:
        raise InputError(
            f"{days} days do not fit on one chart.", where="--days", do=f"Give 1 to {MOST_DAYS}."
        )
    mine = [s for s in made.sections.sections if zone_id in s.zone_ids]
    if not mine:
        zones = sorted({z for s in made.sections.sections for z in s.zone_ids})
        raise NotFound(
            f"there is no zone {zone_id}.", where="--zone", do=f"Name one of {', '.join(zones)}."
        )
    reader = Reader(language=language, units=units, zone=papers.zone_of(made))
    climate: dict[str, Any] = to_json(documents.climate(made))
    rows = to_json(clock_rows(made, bundle))
    sections = tuple(_section(s) for s in mine)
    ids = {s.id for s in mine}
    clocks = tuple(c for c in rows if c["section_id"] in ids)
    chart = strip_chart(reader, climate, clocks, sections, zone_id=zone_id, day=on, hours=24 * days)
    return ZoneChart(
        zone_id=zone_id, reader=reader, chart=chart, climate=climate, sections=sections,
        clocks=clocks,
    )  # fmt: skip


def _section(s: Section) -> dict[str, Any]:
    return {
        "id": s.id, "deck_id": s.deck_id, "build_up_id": s.build_up_id,
        "exposure": s.exposure.value, "zone_ids": list(s.zone_ids),
    }  # fmt: skip


def write(made: Pipeline, found: ZoneChart, on: date, out: Path) -> tuple[Path, Path]:
    """Write the chart as SVG and as a page to print; their places."""
    name = f"strip-{found.zone_id}-{on}"
    svg, pdf = out / f"{name}.svg", out / f"{name}.pdf"
    write_atomic(svg, strip_chart_svg(found.chart))
    write_atomic(pdf, render_strip_pdf(sheet(made, found)))
    return svg, pdf


def sheet(made: Pipeline, found: ZoneChart) -> StripSheet:
    """The page to print: the chart, its clocks as a table, what it stands on."""
    reader, job = found.reader, made.job
    begin, end = found.chart.from_utc_s, found.chart.to_utc_s

    def ends(clock: dict[str, Any], name: str) -> str:
        both = clock.get(name) or {}
        careful, hopeful = both.get("careful_utc_s"), both.get("hopeful_utc_s")
        if careful is None:
            return "–"
        best = "" if hopeful is None else tell(reader, "sheet.best", at=reader.moment(hopeful))
        return f"{reader.moment(careful)}\n{best}".strip()

    rows = []
    for c in found.clocks:
        if c["placed_from_utc_s"] >= end or (c.get("recoat_before_utc_s") or end) <= begin:
            continue
        before = c.get("recoat_before_utc_s")
        source = tell(reader, f"by.{c.get('from', 'plan')}")
        rows.append(
            (
                f"{c['section_id']}\n{reader.step(c['coat_id'])}",
                f"{reader.moment(c['placed_to_utc_s'])}\n{source}",
                ends(c, "tack_free"),
                ends(c, "recoat_after"),
                "–" if before is None else reader.moment(before, toward="down"),
                ends(c, "cars_after"),
            )
        )
    language = reader.language
    return StripSheet(
        job=f"{job.id} {job.name}",
        zone_id=found.zone_id,
        about=", ".join(s["id"] for s in found.sections),
        chart=found.chart,
        head=tuple(tell(reader, f"sheet.{n}") for n in ("coat", *DONE)),
        rows=tuple(rows),
        notes=(
            say(age_message(made), language),
            tell(reader, "chart.slab", source=slab_said(reader, found.climate, found.sections[0])),
            *(say(f"climate.{n}", language) for n in LIMITS),
        ),
        language=language,
        paper="a4" if job.units == "si" else "us-letter",
        made_utc_s=int(job.as_of.timestamp()),
        invented=say("sheet.invented", language) if job.invented else "",
    )
