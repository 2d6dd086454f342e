"""Stages as JSON documents, and the summary in which every number can be asked why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from tackfree import __version__
from tackfree.because import Figure, Given, Source
from tackfree.bundle.limits import limits_for
from tackfree.climate.slab import BARE_ABSORPTANCE, DARK_ABSORPTANCE
from tackfree.climate.stage import Setting, Where
from tackfree.climate.windows import windows as spans_of
from tackfree.deck.types import Exposure
from tackfree.service import access
from tackfree.service import climate as climates
from tackfree.service.clocks import ClockLine
from tackfree.service.left_out import left_out, rows_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.planning.holds import hold_rows
from tackfree.service.remedies import ways_late, ways_now
from tackfree.service.save import to_json
from tackfree.service.windows import Drying, dried, open_places, rain_ends_utc_s
from tackfree.words import Message, say

SURFACES = {"bare": BARE_ABSORPTANCE, "coated": DARK_ABSORPTANCE}
MODELLED = Source(kind="modelled", text="plan; CP-SAT or greedy insertion, checked on its own")


def takeoff(made: Pipeline) -> dict[str, Any]:
    """Areas, lengths and counts by zone, with what reading the drawings said."""
    zones = {z.id: z for d in made.drawings.decks for z in d.zones}
    rows = []
    for taken in made.takeoff.zones:
        zone = zones[taken.zone_id]
        about = {
            "name": zone.name,
            "duty": zone.duty,
            "exposure": zone.exposure,
            "build_up_id": zone.build_up_id,
        }
        rows.append({**to_json(taken), **to_json(about)})
    return {
        "zones": rows,
        "rows": list(rows_of(made)),
        "left_out": list(left_out(made)),
        "access": access.summary(made),
        "notes": [*made.drawings.messages, *made.takeoff.messages],
    }


def sections(made: Pipeline) -> dict[str, Any]:
    """Sections with their share of the details, and why they have this size."""
    return {
        "sections": list(made.sections.sections),
        "details": list(made.sections.details),
        "limits": made.sections.limits,
        "notes": list(made.sections.messages),
    }


def exposures(made: Pipeline) -> list[Where]:
    """Exposures that sections have, in their own order, then the shaded settings."""
    have = dict.fromkeys(climates.where_of(made.job, s) for s in made.sections.sections)
    return [*(e for e in Exposure if e in have), *(w for w in have if isinstance(w, Setting))]


def climate(made: Pipeline) -> dict[str, Any]:
    """Slab, air and dew on the plan's slots, to 0.001 °C, and windows by coat."""
    stage = made.climate
    last = made.problem.slots + 1

    def rounded(values: Any) -> Any:
        return np.round(values[:last], 3)

    air = stage.on_slots[exposures(made)[0], SURFACES["bare"]]
    return {
        "slot0_utc_s": stage.slot0_utc_s,
        "slot_s": stage.slot_s,
        "origin": stage.series.origin,
        "weather_kind": stage.series.kind,
        "notes": list(stage.series.notes),
        "air_c": rounded(air.air_c),
        "dew_c": rounded(air.dew_c),
        "surface_c": {
            f"{e.value}/{name}": rounded(stage.on_slots[e, a].surface_c)
            for e in exposures(made)
            for name, a in SURFACES.items()
        },
        "rain_mm": rounded(_rain_on_slots(made)),
        "sun_w_m2": np.round(_on_slots(made, stage.series.ghi_w_m2)[:last], 1),
        "dark": climates.dark_spans(stage),
        "spread_min_k": _spread_min_k(made),
        "windows": list(windows(made)),
        "drying": list(_drying(made)),
        "settings": {s.id: climates.where_of(made.job, s).value for s in made.sections.sections},
        "slabs": [
            {
                "setting": there.value,
                "absorptance": climates.slab_case(made.job, there).absorptance,
                "wind_factor": climates.slab_case(made.job, there).wind_factor,
                "from": climates.slab_source(made.job, there),
            }
            for there in exposures(made)
        ],
    }


def _drying(made: Pipeline) -> list[Drying]:
    """When each open exposure is worth testing after each rain, by the end of the spell."""
    stage, series = made.climate, made.climate.series
    until = stage.slot0_utc_s + stage.slot_s * made.problem.slots
    ends = [e for e in rain_ends_utc_s(series) if stage.slot0_utc_s <= e <= until]
    goes_on = {e - series.step_s for e in ends}
    spells = [e for e in ends if e not in goes_on]
    return [dried(made, there, e) for there in open_places(made) for e in spells]


def _rain_on_slots(made: Pipeline) -> Any:
    """Rain of each slot, an interval's sum spread evenly over it. [mm]"""
    stage, series = made.climate, made.climate.series
    return _on_slots(made, series.rain_mm) * stage.slot_s / series.step_s


def _on_slots(made: Pipeline, column: Any) -> Any:
    """A column of interval means or sums at the interval that each slot begins in."""
    stage, series = made.climate, made.climate.series
    starts = stage.slot0_utc_s + stage.slot_s * np.arange(stage.slots)
    index = np.clip((starts - series.start_utc_s) // series.step_s, 0, len(series) - 1)
    return column[index]


def _spread_min_k(made: Pipeline) -> float | None:
    """The strictest spread limit of the products in use. [K]"""
    used = {line.product_id for line in made.materials.coats}
    found = (limits_for(made.job, p)[0].spread_min_k for p in sorted(used))
    return max((v for v in found if v is not None), default=None)


def windows(made: Pipeline) -> Iterable[dict[str, Any]]:
    """Windows of every exposure × build-up × coat, for the longest placing of the plan."""
    slots = {(t.section_id, t.step_id): t.duration for t in made.problem.tasks}
    last_utc_s = made.problem.slot0_utc_s + made.problem.slots * made.problem.slot_s
    longest: dict[tuple[Where, str, str], int] = defaultdict(int)
    for s in made.sections.sections:
        for coat in made.job.build_ups[s.build_up_id].coats:
            key = (climates.where_of(made.job, s), s.build_up_id, coat.id)
            longest[key] = max(longest[key], slots[s.id, coat.id])
    for (exposure, build_up_id, coat_id), duration in longest.items():
        build_up = made.job.build_ups[build_up_id]
        coat = next(c for c in build_up.coats if c.id == coat_id)
        states = climates.allowed_starts(made.climate, made.job, exposure, build_up, coat, duration)
        yield {
            "exposure": exposure.value,
            "build_up_id": build_up_id,
            "step_id": coat_id,
            "placing_h": duration * made.problem.slot_s / 3600,
            "windows": [w for w in spans_of(states) if w.start_utc_s < last_utc_s],
        }


def plan(made: Pipeline) -> dict[str, Any]:
    """The plan and the problem it answers."""
    return {
        "slot0_utc_s": made.problem.slot0_utc_s,
        "slot_s": made.problem.slot_s,
        "problem": made.problem,
        "plan": made.plan,
        "holds": hold_rows(made.problem, made.plan, ZoneInfo(made.job.place.time_zone)),
    }


def clocks(made: Pipeline) -> dict[str, Any]:
    """Every clock, its fields beside its section and coat."""
    return {"clocks": [clock_row(made, line) for line in made.clocks]}


def clock_row(made: Pipeline, line: ClockLine) -> dict[str, Any]:
    """One clock as a flat row, with what can be done where it leaves no moment or is missed."""
    place = {k: getattr(line, k) for k in ("section_id", "coat_id", "product_id")}
    return {
        **place,
        **to_json(line.clock),
        "no_legal_moment": line.clock.no_legal_moment,
        "ways_out": to_json([r.message for r in ways_now(made, line)]),
        "if_missed": to_json([r.message for r in ways_late(made, line)]),
    }


def summary(made: Pipeline) -> dict[str, Any]:
    """The job on one page: every number with its unit, every quantity with its reason."""
    job = made.job
    return {
        "schema": "tackfree.summary/1",
        "tool": f"tackfree {__version__}",
        "job": {
            "id": job.id,
            "name": job.name,
            "invented": job.invented,
            "units": job.units,
            "time_zone": job.place.time_zone,
            "as_of": job.as_of.isoformat(),
            "starts_on": job.starts_on.isoformat(),
        },
        "decks": [
            {"id": d.id, "name": d.name, "post_tensioned": d.post_tensioned.value}
            for d in made.drawings.decks
        ],
        "weather": {"kind": made.weather.kind, "origin": made.weather.origin},
        "quantities": quantities(made),
        "order": [
            {
                "product_id": line.product_id,
                "name": job.products[line.product_id].name,
                "count": line.figure,
            }
            for line in made.materials.order
        ],
        "price": _price_lines(made),
        "plan": _plan_lines(made),
        "no_legal_moment": [
            f"{c.section_id}/{c.coat_id}" for c in made.clocks if c.clock.no_legal_moment
        ],
        "notes": [{"id": m.id, "text": say(m)} for m in notes(made)],
    }


def quantities(made: Pipeline) -> dict[str, Figure]:
    """The job's totals."""
    zones = made.takeoff.zones

    def total(name: str, unit: str, of: str) -> Figure:
        rows = [(z.zone_id, getattr(z, name)) for z in zones]
        return _sum(rows, unit, f"sum over zones of {of}", Source(kind="drawn", text=of))

    lines = made.materials.coats
    out = {
        "field_area": total("field_m2", "m²", "developed area of the floor"),
        "upturn_area": total("upturn_m2", "m²", "upturn area"),
        "upturn_length": total("upturn_m", "m", "upturn length"),
        "drains": total("drains", "count", "drains"),
        "stalls": total("stalls", "count", "stalls"),
    }
    for deck in made.drawings.decks:
        rows = [(z.zone_id, z.field_m2) for z in zones if z.deck_id == deck.id]
        of = "developed area of the floor"
        out[f"field_area_{deck.id}"] = _sum(
            rows, "m²", f"sum over zones of {of}", Source(kind="drawn", text=of)
        )
    cracks = [(z.zone_id, sum(c.length_m for c in z.cracks)) for z in zones if z.cracks]
    out["crack_length"] = _sum(cracks, "m", "sum over zones of crack length", Source(kind="drawn"))
    kits = [(f"{c.section_id} {c.coat_id}", c.kits) for c in lines]
    out["kits"] = _sum(kits, "count", "sum over section × coat of whole kits", Source(kind="exact"))
    out["liquid_volume"] = _sum(
        [(f"{c.section_id} {c.coat_id}", c.gross_l + c.detail_l) for c in lines],
        "L",
        "sum over section × coat of area × (wet film + fill) × (1 + loss), details included",
        Source(kind="exact"),
    )
    out["sand_bags"] = _sum(
        [(f"{c.section_id} {c.coat_id}", c.bags) for c in lines if c.bags],
        "count",
        "sum over section × coat of whole bags",
        Source(kind="exact"),
    )
    return out


def _sum(rows: Sequence[tuple[str, float]], unit: str, formula: str, source: Source) -> Figure:
    return Figure(
        value=sum(v for _, v in rows),
        unit=unit,
        formula=formula,
        inputs=tuple(Given(name=n, value=v, unit=unit, source=source) for n, v in rows),
        source=source,
    )


def _price_lines(made: Pipeline) -> dict[str, Any] | None:
    """Total and range; None where the job has no prices of its own."""
    if made.job.price is None:
        return None
    price = made.price
    odds = price.odds
    return {
        "currency": price.currency,
        "invented": price.invented,
        "total": str(price.total),
        "p50": str(odds.p50) if odds else None,
        "p80": str(odds.p80) if odds else None,
    }


def _plan_lines(made: Pipeline) -> dict[str, Any]:
    plan, problem = made.plan, made.problem
    return {
        "status": plan.status,
        "method": plan.method,
        "finish": last_open(made),
        "objectives": [
            {
                "name": s.name,
                "found": Figure(value=s.value, unit="slot", formula=s.name, source=MODELLED),
                "bound": Figure(
                    value=s.bound,
                    unit="slot",
                    formula=f"no plan can be below: {s.bound_source}",
                    source=Source(kind="modelled", text=s.bound_source),
                ),
            }
            for s in plan.stages
        ],
        "slot": {"value": problem.slot_s, "unit": "s"},
        "reasons": [say(r) for r in plan.reasons],
    }


def last_open(made: Pipeline) -> str | None:
    """When the last section opens to cars, in job time; None without a plan."""
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    opens = [s for s in made.plan.opens.values() if s >= 0]
    if not opens:
        return None
    at = made.problem.slot0_utc_s + max(opens) * made.problem.slot_s
    zone = ZoneInfo(made.job.place.time_zone)
    return datetime.fromtimestamp(at, UTC).astimezone(zone).isoformat()


def notes(made: Pipeline) -> list[Message]:
    """Everything that was repaired, defaulted, doubted or cautioned, stage by stage."""
    from tackfree.bundle.load import notes as bundle_notes

    return [
        *bundle_notes(made.job),
        *made.drawings.messages,
        *made.takeoff.messages,
        *made.sections.messages,
        *made.materials.messages,
    ]
