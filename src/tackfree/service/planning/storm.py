"""Rain is coming: which kit marks have age enough, where to stop, what to tarp, what is primed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tackfree.buildup.types import Coat, Role
from tackfree.cure.remedy import earned_h
from tackfree.deck.types import Section
from tackfree.errors import InputError
from tackfree.service import climate as climates
from tackfree.service import curing
from tackfree.service.marks import lay_marks
from tackfree.service.papers import zone_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import Logged
from tackfree.units import System, show
from tackfree.words import say

SOON_S = 5 * 60  # moments are rounded down to it


@dataclass(frozen=True, kw_only=True)
class Kit:
    """One kit of a coat when the rain comes. ``age_h`` is in the sheet's own hours."""

    cell: str
    down_utc_s: float
    age_h: float
    tack_free_utc_s: float | None
    area_m2: float
    safe: bool


@dataclass(frozen=True, kw_only=True)
class Film:
    """A coat that is or would be fresh when the rain comes, kit by kit in their order.

    ``dry_h`` is what it wants dry after placing; ``down`` tells that the record holds it.
    """

    section_id: str
    coat_id: str
    down: bool
    dry_h: float | None
    kits: tuple[Kit, ...]

    @property
    def last_safe(self) -> Kit | None:
        """The row to stop at: the last kit before the first that is not safe."""
        found = None
        for kit in self.kits:
            if not kit.safe:
                break
            found = kit
        return found

    @property
    def at_risk(self) -> tuple[Kit, ...]:
        return tuple(k for k in self.kits if not k.safe)


@dataclass(frozen=True, kw_only=True)
class Primed:
    """A section that stands primed when the rain comes. Moments in Unix seconds."""

    section_id: str
    coat_id: str
    next_id: str
    since_utc_s: float
    before_utc_s: float | None
    area_m2: float


@dataclass(frozen=True, kw_only=True)
class Storm:
    """What rain at a moment meets."""

    rain_utc_s: float
    films: tuple[Film, ...]
    primed: tuple[Primed, ...]


def storm(made: Pipeline, record: Sequence[Logged], rain: datetime) -> Storm:
    """Every film that is too young at a moment, and every deck left primed.

    What the record holds is taken as it was placed; other coats as planned, kits going
    down evenly over their hours. A kit is safe if it is tack-free (careful) when the
    rain comes and has had the dry hours that sheet or specification ask for.

    Raises
    ------
    InputError
        If the moment lies outside the job's weather.
    """
    at, stage = rain.timestamp(), made.climate
    if not stage.slot0_utc_s < at < stage.slot0_utc_s + stage.slots * stage.slot_s:
        raise InputError(
            f"{rain:%Y-%m-%d %H:%M} is outside the job's weather.",
            where="--rain",
            do=f"The job starts on {made.job.starts_on}; give a moment from then on.",
        )
    held = {(x.section_id, x.coat_id): x for x in record if x.first_utc_s < at}
    films, primed = [], []
    for section in made.sections.sections:
        coats = made.job.build_ups[section.build_up_id].coats
        begun = [c for c in coats if _span(made, held, section, c)[0] < at]
        if not begun:
            continue
        last = begun[-1]
        first, ends = _span(made, held, section, last)
        film = _film(made, held.get((section.id, last.id)), section, last, (first, ends), at)
        if film.at_risk:
            films.append(film)
        elif last.role is Role.PRIMER and len(begun) < len(coats):
            before = curing.clocks_at(
                stage, made.job, climates.where_of(made.job, section), last, ((first, ends),)
            )[0].recoat_before_utc_s
            if before is None or before > at:
                primed.append(
                    Primed(section_id=section.id, coat_id=last.id, next_id=coats[len(begun)].id,
                           since_utc_s=first, before_utc_s=before, area_m2=section.developed_m2)
                )  # fmt: skip
    return Storm(rain_utc_s=at, films=tuple(films), primed=tuple(primed))


def _span(
    made: Pipeline, held: dict[tuple[str, str], Logged], section: Section, coat: Coat
) -> tuple[float, float]:
    """First and last moment of a coat, by the record or else the plan; infinite if neither."""
    one = held.get((section.id, coat.id))
    if one is not None:
        return one.first_utc_s, one.last_utc_s
    problem = made.problem
    for p in made.plan.placed:
        if (p.section_id, p.step_id) == (section.id, coat.id):
            return (problem.slot0_utc_s + p.start * problem.slot_s,
                    problem.slot0_utc_s + p.end * problem.slot_s)  # fmt: skip
    return float("inf"), float("inf")


def _film(
    made: Pipeline,
    one: Logged | None,
    section: Section,
    coat: Coat,
    span: tuple[float, float],
    rain: float,
) -> Film:
    job, stage = made.job, made.climate
    there = climates.where_of(job, section)
    sheet = curing.cure_sheet(curing.product_of(job, coat.product_id))
    trace = curing.trace_of(stage, job, there, coat)
    dry_h = climates.limits_for(job, curing.product_of(job, coat.product_id)).rain_free_h
    moments = _moments(made, one, section, coat, span)
    down = [(n, t, a) for n, t, a in moments if one is not None or t < rain]
    clocks = curing.clocks_at(stage, job, there, coat, [(t, t) for _, t, _ in down])
    kits = []
    for (cell, t, area), clock in zip(down, clocks, strict=True):
        tack = clock.tack_free.careful_utc_s
        safe = tack is not None and tack <= rain and (dry_h is None or rain - t >= dry_h * 3600)
        age = earned_h(trace, sheet, since_utc_s=t, until_utc_s=rain) if sheet.recoat_after else (
            (rain - t) / 3600
        )  # fmt: skip
        kits.append(Kit(cell=cell, down_utc_s=t, age_h=age, tack_free_utc_s=tack,
                        area_m2=area, safe=safe))  # fmt: skip
    return Film(section_id=section.id, coat_id=coat.id, down=one is not None, dry_h=dry_h,
                kits=tuple(kits))  # fmt: skip


def _moments(
    made: Pipeline, one: Logged | None, section: Section, coat: Coat, span: tuple[float, float]
) -> list[tuple[str, float, float]]:
    """Mark, moment and area of each kit in the order they go down."""
    cells = lay_marks(made, section.id, coat.id, search=False).cells
    areas = {str(c.number): c.outline.area for c in cells}
    if one is not None and one.cells:
        each = section.developed_m2 / max(one.kits, 1)
        return [(n, t, areas.get(n, each)) for n, t in sorted(one.cells, key=lambda x: x[1])]
    names = sorted(areas, key=int) or [""]
    first, last = span
    step = (last - first) / len(names)
    return [(n, first + (k + 1) * step, areas.get(n, section.developed_m2))
            for k, n in enumerate(names)]  # fmt: skip


def document(made: Pipeline, found: Storm) -> dict[str, Any]:
    """The storm for JSON."""
    zone = zone_of(made)

    def at(utc_s: float | None) -> str | None:
        return None if utc_s is None else datetime.fromtimestamp(round(utc_s), zone).isoformat()

    return {
        "schema": "tackfree.plan-storm/1",
        "rain": at(found.rain_utc_s),
        "films": [
            {
                "section_id": f.section_id,
                "coat_id": f.coat_id,
                "placed": "record" if f.down else "plan",
                "dry_h": f.dry_h,
                "stop_after": None if f.last_safe is None else f.last_safe.cell,
                "stop_at": None if f.last_safe is None else at(f.last_safe.down_utc_s),
                "tarp_m2": sum(k.area_m2 for k in f.at_risk),
                "kits": [
                    {"cell": k.cell, "down": at(k.down_utc_s), "age_h": k.age_h,
                     "tack_free": at(k.tack_free_utc_s), "safe": k.safe}
                    for k in f.kits
                ],
            }
            for f in found.films
        ],
        "primed": [
            {
                "section_id": p.section_id,
                "coat_id": p.coat_id,
                "next": p.next_id,
                "since": at(p.since_utc_s),
                "before": at(p.before_utc_s),
                "area_m2": p.area_m2,
            }
            for p in found.primed
        ],
    }  # fmt: skip


def text(made: Pipeline, found: Storm, system: System, language: str = "en") -> str:
    """Where to stop first, then what to cover, then what is left primed."""
    zone = zone_of(made)
    rain_day = datetime.fromtimestamp(found.rain_utc_s, zone).date()

    def tell(name: str, **values: Any) -> str:
        return say(f"planning.storm.{name}", language, **values)

    def clock(utc_s: float | None) -> str:
        if utc_s is None:
            return tell("unknown")
        at = datetime.fromtimestamp(utc_s // SOON_S * SOON_S, zone)
        days = say("page.weekdays", language).split()
        return f"{at:%H:%M}" if at.date() == rain_day else f"{days[at.weekday()]} {at:%H:%M}"

    out = [tell("title", at=f"{rain_day} {clock(found.rain_utc_s)}")]
    if not found.films:
        out.append(tell("none"))
    for f in found.films:
        first, last = f.kits[0], f.kits[-1]
        out.append(
            tell("film", section=f.section_id, coat=f.coat_id, first=clock(first.down_utc_s),
                 last=clock(last.down_utc_s), old=f"{first.age_h:.1f}", young=f"{last.age_h:.1f}",
                 old_h=f"{(found.rain_utc_s - first.down_utc_s) / 3600:.1f}",
                 young_h=f"{(found.rain_utc_s - last.down_utc_s) / 3600:.1f}",
                 dry=tell("dry", hours=f"{f.dry_h:g}") if f.dry_h else "")
        )  # fmt: skip
        area = show(sum(k.area_m2 for k in f.at_risk), "area", system)
        stop = f.last_safe
        if f.down:
            cells = ", ".join(k.cell or "?" for k in f.at_risk)
            out.append("  " + tell("tarp", cells=cells, area=area))
        elif stop is None:
            out.append("  " + tell("not-begin"))
        else:
            out.append("  " + tell("stop", cell=stop.cell, at=clock(stop.down_utc_s)))
        if not f.down:
            until = last.tack_free_utc_s
            if until is not None and f.dry_h is not None:
                until = max(until, last.down_utc_s + 3600 * f.dry_h)
            out.append("  " + tell("else", area=area, wait=clock(until)))
    for p in found.primed:
        values = {
            "section": p.section_id, "coat": p.coat_id, "next": p.next_id,
            "since": clock(p.since_utc_s), "area": show(p.area_m2, "area", system),
        }  # fmt: skip
        out.append(
            tell("primed-free", **values) if p.before_utc_s is None
            else tell("primed", before=clock(p.before_utc_s), **values)
        )  # fmt: skip
    out += [tell("how"), tell("void"), say("climate.not_a_verdict", language)]
    return "\n".join(out)
