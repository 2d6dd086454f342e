"""The job on paper: drawings, order, shift sheets, calendar and the headline."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tackfree.climate.slab import BARE_ABSORPTANCE
from tackfree.climate.window_types import StartStates
from tackfree.deck.types import Section
from tackfree.plan.types import Stage
from tackfree.service import climate as climates
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import dumps
from tackfree.service.shift import ShiftClimate
from tackfree.service.shift import shift_sheets as sheets_of
from tackfree.sheets.deck_svg import Corner, deck_svg, plan_svg
from tackfree.sheets.ics import plan_calendar
from tackfree.sheets.shift_sheet import render_pdf
from tackfree.units import System, show
from tackfree.words import say


def zone_of(made: Pipeline) -> ZoneInfo:
    """The job's time zone."""
    return ZoneInfo(made.job.place.time_zone)


def at_slot(made: Pipeline, slot: float) -> datetime:
    """A slot of the plan as job time."""
    utc_s = made.problem.slot0_utc_s + slot * made.problem.slot_s
    return datetime.fromtimestamp(utc_s, UTC).astimezone(zone_of(made))


def drawings(made: Pipeline) -> dict[str, str]:
    """Every deck twice: with its sections, and with the plan's order and dates."""
    out = {}
    spans = closed_spans(made)
    order = sorted(spans, key=lambda name: spans[name][0])
    dates = {
        name: (f"{_day(made, begin)} → {_day(made, end)}",) for name, (begin, end) in spans.items()
    }
    for deck in made.drawings.decks:
        about = (made.job.name, _invented(made))
        mine = [s for s in made.sections.sections if s.deck_id == deck.id]
        out[deck.id] = deck_svg(
            deck,
            mine,
            corner=Corner(title=deck.name, lines=about),
            labels={s.id: (area(made, s),) for s in mine},
            tappable=True,
        )
        out[f"{deck.id}-plan"] = plan_svg(
            deck,
            mine,
            order=order,
            dates=dates,
            corner=Corner(title=deck.name, lines=(say("sheet.plan.closed"), *about)),
        )
    return out


def area(made: Pipeline, section: Section) -> str:
    """A section's developed area in the job's units."""
    return show(section.developed_m2, "area", system_of(made))


def system_of(made: Pipeline) -> System:
    """The job's unit system."""
    return "si" if made.job.units == "si" else "us"


def _invented(made: Pipeline) -> str:
    return say("sheet.invented") if made.job.invented else ""


def _day(made: Pipeline, slot: int) -> str:
    at = at_slot(made, slot)
    return f"{at:%b} {at.day}"


def closed_spans(made: Pipeline) -> dict[str, tuple[int, int]]:
    """First slot worked and slot of opening, by section, where the plan opens it."""
    first: dict[str, int] = defaultdict(lambda: made.problem.slots)
    for p in made.plan.placed:
        first[p.section_id] = min(first[p.section_id], p.start)
    return {name: (first[name], end) for name, end in made.plan.opens.items() if end >= 0}


def shift_climate(made: Pipeline) -> ShiftClimate:
    """Sky, slab and start states by section, for the shift sheets."""
    sections = {s.id: s for s in made.sections.sections}
    durations = {(t.section_id, t.step_id): t.duration for t in made.problem.tasks}
    stage, job = made.climate, made.job

    def slab_c(section_id: str, step_id: str) -> NDArray[np.float64]:
        section = sections[section_id]
        build_up = job.build_ups[section.build_up_id]
        coat = next((c for c in build_up.coats if c.id == step_id), None)
        under = climates.surface_under(job, build_up, coat) if coat else BARE_ABSORPTANCE
        there = climates.where_of(job, section)
        found: NDArray[np.float64] = stage.surface_c[there, under]
        return found

    def states(section_id: str, step_id: str) -> StartStates | None:
        section = sections[section_id]
        build_up = job.build_ups[section.build_up_id]
        coat = next((c for c in build_up.coats if c.id == step_id), None)
        if coat is None:
            return None
        return climates.allowed_starts(
            stage,
            job,
            climates.where_of(job, section),
            build_up,
            coat,
            durations[section_id, step_id],
        )

    return ShiftClimate(
        weather=made.weather, slab_c=slab_c, states=states, dark=climates.dark_spans(made.climate)
    )


def shift_sheets(made: Pipeline, on: date | None = None) -> dict[str, bytes]:
    """Every shift sheet as PDF, by name: date, shift, deck, crew."""
    sheets = sheets_of(
        made.job,
        made.drawings.decks,
        made.sections.sections,
        made.materials,
        made.plan,
        made.problem,
        shift_climate(made),
        clocks={(c.section_id, c.coat_id): c.clock for c in made.clocks},
        revision=revision(made),
        on=on,
    )
    # Typesetting runs outside the interpreter's lock, beside the making of the next sheet.
    with ThreadPoolExecutor(max_workers=2) as typesetters:
        pages = [(s.name, typesetters.submit(render_pdf, s)) for s in sheets]
        return {name: page.result() for name, page in pages}


def revision(made: Pipeline) -> str:
    """Six signs that change whenever the plan does; paper and pages show them."""
    return hashlib.sha256(dumps(made.plan).encode("utf-8")).hexdigest()[:6].upper()


def calendar(made: Pipeline) -> bytes:
    """The plan as iCalendar."""
    return plan_calendar(made.job, made.plan, made.problem)


def headline(made: Pipeline) -> tuple[str, ...]:
    """What a foreman reads first: how much, when it ends, and how sure that is."""
    system = system_of(made)
    field = sum(z.field_m2 for z in made.takeoff.zones)
    kits = sum(c.kits for c in made.materials.coats)
    sections = len(made.sections.sections)
    lines = [f"{show(field, 'area', system)} in {sections} sections, {kits} kits."]
    lines += [stage_text(made, s) for s in made.plan.stages]
    if not made.plan.placed:
        lines.append(f"Plan: {made.plan.status}.")
    return (*lines, *(say(r) for r in made.plan.reasons))


def stage_text(made: Pipeline, stage: Stage) -> str:
    """One objective with its bound, in words people use."""
    proven = stage.bound >= stage.value
    if stage.name == "finish":
        # A finish counted in days is proven by its day, not to the hour.
        form = "%a %d %b %Y" if made.problem.days else "%a %d %b %Y %H:%M"
        found, bound = (f"{at_slot(made, v):{form}}" for v in (stage.value, stage.bound))
        name = "The last section opens"
    elif stage.name == "crew-shifts":
        found, bound = (f"{v:,.0f} crew-shifts" for v in (stage.value, stage.bound))
        name = "At work, overtime counted double:"
    elif stage.name == "slack":
        hours = made.problem.slot_s / 3600
        found, bound = (f"{v * hours:,.0f} h" for v in (stage.value, stage.bound))
        name = "Short of six hours before windows close:"
    else:
        days = made.problem.slot_s / 86400
        found, bound = (f"{v * days:,.0f} stall-days" for v in (stage.value, stage.bound))
        name = "Closed"
    how = "proven best" if proven else f"no plan can be under {bound}"
    return f"{name} {found}: {how} ({stage.bound_source})."
