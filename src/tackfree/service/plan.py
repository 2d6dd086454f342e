"""From sections, crews and climate to a planning problem, and from there to a plan.

The order of one section, as the trade works: details first (rout, seal, strips),
then, once the sealant is firm, surface preparation and, in the same or the next
shift and before any rain, the first coat; then coat on coat, with the loose sand of
a to-refusal coat swept before the next; stripes last. Preparation stands after the
details because sealant needs two to three days and a prepared slab does not keep.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter

from tackfree.buildup.types import BuildUp, Coat
from tackfree.bundle.types import Job
from tackfree.climate.slab import BARE_ABSORPTANCE
from tackfree.climate.stage import ClimateStage, Where
from tackfree.climate.window_types import StartStates, State
from tackfree.deck.types import Deck, Section
from tackfree.errors import Fault, InputError, Refused
from tackfree.marks.types import SectionDetails, SectionStage
from tackfree.plan.check import check_plan
from tackfree.plan.drafts import GOALS
from tackfree.plan.problem import (
    allowed_starts,
    check_problem,
    shift_spans,
    shift_starts,
    starts_of_clear_runs,
)
from tackfree.plan.solve import solve
from tackfree.plan.types import Closure, Crew, Lag, Plan, Problem, ShiftSpan, Task
from tackfree.service import climate, curing
from tackfree.service.planning.holds import with_hold_points
from tackfree.service.planning.rules import site_of, with_rules
from tackfree.service.work import asked_beside
from tackfree.supply.types import Materials
from tackfree.units import Kind, System, show

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

EFFORT = 0.7  # deterministic, of one build
STRIPE_DRY_H = 1.0  # memory: traffic paint to no pick-up; editable by a later stripe sheet
PRIMED_WITHIN_H = 36.0  # practice: "next shift" never reaches over a weekend
LINEAR_STEPS = frozenset({"details"})
# Blasting, grinding and sweeping; cracks are routed with a shrouded, vacuumed router.
DUSTY = frozenset({"prep", "sweep", "abrade"})


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of a section before it has a duration."""

    id: str
    kind: str  # key of a crew's rates
    skill: str
    quantity: float  # m² or m
    coat: Coat | None = None
    first_liquid: bool | None = None  # on bare concrete; None: the build-up's first coat is


@dataclass(kw_only=True)
class Maker:
    """What the sections share; weather answers are worked out once per kind."""

    job: Job
    stage: ClimateStage
    spans: tuple[ShiftSpan, ...]
    states: dict[tuple[object, ...], StartStates] = field(default_factory=dict)
    tables: dict[tuple[object, ...], IntArray] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    @property
    def ends(self) -> IntArray:
        return np.arange(self.stage.slots + 1)

    def slots_of(self, hours: float) -> int:
        return math.ceil(hours * 3600 / self.stage.slot_s - 1e-9)

    def table(self, key: tuple[object, ...], make: Callable[[], IntArray]) -> IntArray:
        if key not in self.tables:
            self.tables[key] = make()
        return self.tables[key]

    def dry(self, exposure: Where) -> BoolArray:
        """Slots in which work that must stay dry may stand: no rain, and light."""
        there = self.stage.on_slots[exposure, BARE_ABSORPTANCE]
        return np.asarray((there.rain == 0) & there.lit)


def make_problem(
    job: Job,
    sections: SectionStage,
    stage: ClimateStage,
    *,
    decks: Sequence[Deck] = (),
    kits: Mapping[str, Sequence[tuple[str, int]]] | None = None,
    judged: bool = True,
) -> Problem:
    """Every section × step of a job as a planning problem.

    Durations are quantity over the able crews' slowest rate, rounded up to slots.
    Starts are inside shifts, in GO or MEASURE weather to tack-free; waits come from
    the recoat, sealant and cars clocks (careful end); recoat-before is the sheet's
    maximum on the wall clock. ``decks`` bring the rules on stalls, dust and ways in;
    ``kits`` the products and kits of each task id, for what is stored and delivered.
    ``judged`` False lets a problem through that no plan can keep, such as one made on
    another year's weather.

    Raises
    ------
    Refused
        With every section that lacks a rate, does not fit a shift or finds no
        weather.
    """
    maker = maker_of(job, stage)
    tasks: list[Task] = []
    lags: list[Lag] = []
    closures: list[Closure] = []
    for section in sections.sections:
        steps = _steps(job, section, sections.details_of(section.id))
        mine = {s.id: task_of(maker, section, s) for s in steps}
        tasks += mine.values()
        lags += _lags(maker, section, steps, mine)
        closures.append(_closure(maker, section, steps, mine))
    if maker.faults:
        raise Refused(maker.faults)
    total = sum(s.stalls for s in sections.sections)
    problem = Problem(
        slot0_utc_s=stage.slot0_utc_s,
        slot_s=stage.slot_s,
        slots=stage.slots,
        shifts=maker.spans,
        crews=job.crews,
        tasks=tuple(tasks),
        lags=tuple(lags),
        closures=tuple(closures),
        stalls_total=total,
        stalls_closed_max=math.floor(total * (1 - job.stalls_open_min) + 1e-9),
        days=_days(job, stage),
    )
    if decks:
        site = site_of(job, sections.sections, decks)
        problem = with_rules(problem, job, sections.sections, site, kits or {})
    problem = with_hold_points(problem, job, sections.sections, days_off(job))
    faults = check_problem(problem) if judged else ()
    if faults:
        raise Refused([_in_time(f, problem, ZoneInfo(job.place.time_zone)) for f in faults])
    return problem


def _in_time(fault: Fault, problem: Problem, zone: ZoneInfo) -> Fault:
    """A fault with its slots as times of the job."""

    def clock(found: re.Match[str]) -> str:
        utc_s = problem.slot0_utc_s + int(found[1]) * problem.slot_s
        return f"{datetime.fromtimestamp(utc_s, zone):%a %d %b %Y %H:%M}"

    return replace(fault, what=re.sub(r"slot (-?\d+)", clock, fault.what))


def maker_of(job: Job, stage: ClimateStage) -> Maker:
    """What makes tasks and waits of a job under one climate."""
    spans = shift_spans(
        job.shifts,
        days_off(job),
        first_day=job.starts_on,
        days=job.horizon_days,
        slot0_utc_s=stage.slot0_utc_s,
        slot_s=stage.slot_s,
        utc_of=_utc_of(job),
    )
    return Maker(job=job, stage=stage, spans=spans)


def _utc_of(job: Job) -> Callable[[date, time], int]:
    zone = ZoneInfo(job.place.time_zone)
    return lambda day, clock: int(datetime.combine(day, clock, zone).timestamp())


def _days(job: Job, stage: ClimateStage) -> tuple[int, ...]:
    """Slots at which the job's local days begin, over the whole grid."""
    utc_of = _utc_of(job)
    out: list[int] = []
    day = job.starts_on
    while True:
        slot = -((stage.slot0_utc_s - utc_of(day, time(0))) // stage.slot_s)
        if slot > stage.slots:
            return tuple(out)
        if slot >= 0:
            out.append(slot)
        day += timedelta(days=1)


def days_off(job: Job) -> frozenset[date]:
    """Holidays, and every day of a stop such as winter."""
    off = set(job.holidays)
    for _, first, last in job.plan.stops:
        off |= {first + timedelta(days=n) for n in range((last - first).days + 1)}
    return frozenset(off)


def counts_kits(job: Job) -> bool:
    """Whether the job says what is stored and delivered."""
    return bool(job.plan.on_hand or job.plan.deliveries)


def kits_of(materials: Materials) -> dict[str, list[tuple[str, int]]]:
    """Product and kits of each task id."""
    out: dict[str, list[tuple[str, int]]] = {}
    for line in materials.coats:
        out.setdefault(f"{line.section_id}/{line.coat_id}", []).append((line.product_id, line.kits))
    return out


def make_plan(
    problem: Problem,
    stop: Callable[[], bool] | None = None,
    *,
    seed: int = 0,
    order: Sequence[str] = GOALS,
    progress: Callable[[int, int], None] | None = None,
    effort: float = EFFORT,
    start: Plan | None = None,
) -> Plan:
    """The plan of a problem; ``stop`` is asked now and then and ends it by True.

    ``progress`` is told the best finish and the proven bound, in slots. ``effort`` is the
    solver's own measure; the default is a build's. ``start``: a plan to begin from.

    The same problem gives the same plan, unless it was ended early.
    """
    return solve(
        problem, stop=stop, seed=seed, order=order, progress=progress, start=start,
        deterministic_limit=effort, beside=asked_beside(stop) if stop else None,
    )  # fmt: skip


def check_file(path: Path) -> tuple[Fault, ...]:
    """Check a plan as ``plan make --json`` or a build wrote it, by the checker's own code.

    Raises
    ------
    InputError
        If the file is missing, no JSON, or holds no plan with its problem.
    """
    try:
        document = json.loads(path.read_text("utf-8"))
        problem = TypeAdapter(Problem).validate_python(document["problem"])
        plan = TypeAdapter(Plan).validate_python(document["plan"])
    except OSError:
        raise InputError(
            "there is no such file.", where=str(path), do="Name stages/plan.json of a build."
        ) from None
    except (ValueError, KeyError, TypeError) as error:
        what = str(error).splitlines()[0]
        raise InputError(
            f"it holds no plan with its problem ({what}).",
            where=str(path),
            do="Write one with: tackfree plan make BUNDLE --json.",
        ) from None
    return check_plan(problem, plan)


def details_length_m(details: SectionDetails) -> float:
    """Metres of edge, crack, joint and termination that the details step works along."""
    return (
        details.upturn_m
        + details.obstacle_edge_m
        + sum(c.length_m for c in details.cracks)
        + sum(j.length_m for j in details.joints)
        + details.termination_m
    )


def _steps(job: Job, section: Section, details: SectionDetails) -> list[Step]:
    area = section.developed_m2
    steps = []
    length = details_length_m(details)
    if length > 0:
        steps.append(Step(id="DETAILS", kind="details", skill="details", quantity=length))
    steps.append(Step(id="PREP", kind="prep", skill="prep", quantity=area))
    coats = job.build_ups[section.build_up_id].coats
    for coat in coats:
        steps.append(
            Step(id=coat.id, kind=coat.role.value, skill="coating", quantity=area, coat=coat)
        )
        if coat.aggregate is not None and coat.aggregate.method == "to-refusal":
            steps.append(Step(id="SWEEP", kind="sweep", skill="coating", quantity=area))
    if section.stalls:
        steps.append(Step(id="STRIPE", kind="stripe", skill="coating", quantity=area))
    return _numbered(steps)


steps_of = _steps


def _numbered(steps: list[Step]) -> list[Step]:
    """A build-up with two to-refusal coats sweeps twice: SWEEP, SWEEP-2."""
    out = []
    sweeps = 0
    for step in steps:
        if step.id == "SWEEP":
            sweeps += 1
            if sweeps > 1:
                step = Step(
                    id=f"SWEEP-{sweeps}", kind="sweep", skill=step.skill, quantity=step.quantity
                )
        out.append(step)
    return out


def task_of(maker: Maker, section: Section, step: Step) -> Task:
    able = [c for c in maker.job.crews if step.skill in c.skills]
    duration = _duration(maker, section, step, able)
    ids = {s for c in able for s in c.shift_ids}
    spans = [s for s in maker.spans if s.shift_id in ids]
    ok, removed = _weather(maker, section, step, duration, spans)
    return Task(
        id=f"{section.id}/{step.id}",
        section_id=section.id,
        step_id=step.id,
        skill=step.skill,
        duration=duration,
        starts=allowed_starts(ok, duration, spans),
        removed=removed,
        dusty=step.kind in DUSTY,
        wet=_ints(_tack_free(maker, section, step.coat)) if step.coat else (),
        equipment=tuple(m.id for m in maker.job.plan.equipment if step.kind in m.steps),
    )


def _tack_free(maker: Maker, section: Section, coat: Coat) -> IntArray:
    build_up = maker.job.build_ups[section.build_up_id]
    _, table = climate.under_and_tack_free(maker.stage, maker.job, section.exposure, build_up, coat)
    return maker.ends if table is None else table


def _duration(maker: Maker, section: Section, step: Step, able: list[Crew]) -> int:
    rates = [c.rates[step.kind] for c in able if c.rates.get(step.kind, 0.0) > 0]
    if len(rates) < len(able):
        maker.faults.append(
            Fault(
                where=f"{section.id} {step.id}",
                what=f"A crew that can do it has no rate for {step.kind}.",
                do="Add the crew's rate for it in job.toml.",
            )
        )
    if not rates:
        return 1  # reported: no rate here, or no crew at all by check_problem
    duration = max(1, maker.slots_of(step.quantity / min(rates)))
    ids = {s for c in able for s in c.shift_ids}
    longest = max((s.end - s.begin for s in maker.spans if s.shift_id in ids), default=duration)
    if duration > longest and step.kind != "abrade":
        maker.faults.append(_too_long(maker, section, step, min(rates), longest))
    return duration


def _too_long(maker: Maker, section: Section, step: Step, rate: float, longest: int) -> Fault:
    """What one shift can do of a step, and into how many parts the section has to be cut."""
    units: System = "si" if maker.job.units == "si" else "us"
    kind: Kind = "length" if step.kind in LINEAR_STEPS else "area"
    hours = longest * maker.stage.slot_s / 3600
    parts = math.ceil(step.quantity / (rate * hours) - 1e-9)
    most = section.developed_m2 / parts
    return Fault(
        where=f"{section.id} {step.id}",
        what=f"{show(step.quantity, kind, units)} take {step.quantity / rate:.1f} h; the longest "
        f"shift is {hours:g} h, enough for {show(rate * hours, kind, units)}.",
        do=f"Cut the section into {parts} parts of {show(most, 'area', units)} at most, at a joint "
        "or stop line (cutting.section_max), or add people.",
    )


def _weather(
    maker: Maker, section: Section, step: Step, duration: int, spans: list[ShiftSpan]
) -> tuple[BoolArray, tuple[tuple[str, int], ...]]:
    """Starts that weather allows, and how many starts inside shifts each rule took."""
    slots = maker.stage.slots
    inside = shift_starts(spans, duration, slots)
    if step.coat is None:
        hold = duration + (maker.slots_of(STRIPE_DRY_H) if step.id == "STRIPE" else 0)
        there = maker.stage.on_slots[climate.where_of(maker.job, section), BARE_ABSORPTANCE]
        dry = starts_of_clear_runs(there.rain == 0, hold)
        lit = starts_of_clear_runs(there.lit, duration)
        counts = (("rain", int((inside & ~dry).sum())), ("dark", int((inside & dry & ~lit).sum())))
        return dry & lit, tuple(c for c in counts if c[1])
    states = _states(maker, section, step, step.coat, duration)
    ok = states.state <= State.MEASURE
    lost = np.bincount(states.rule[inside & ~ok] + 1, minlength=len(states.rules) + 1)
    names = ["unknown", *(r.rsplit(".", 1)[-1] for r in states.rules)]
    removed = tuple((n, int(x)) for n, x in zip(names, lost, strict=True) if x)
    return np.asarray(ok), removed


def _states(maker: Maker, section: Section, step: Step, coat: Coat, duration: int) -> StartStates:
    there = climate.where_of(maker.job, section)
    key = (there, section.build_up_id, coat.id, duration, step.first_liquid)
    if key not in maker.states:
        build_up = maker.job.build_ups[section.build_up_id]
        maker.states[key] = climate.allowed_starts(
            maker.stage, maker.job, there, build_up, coat, duration, step.first_liquid
        )
    return maker.states[key]


def _lags(maker: Maker, section: Section, steps: list[Step], tasks: dict[str, Task]) -> list[Lag]:
    build_up = maker.job.build_ups[section.build_up_id]
    out = []
    under: Step | None = None  # the last coat so far
    for a, b in pairwise(steps):
        before, after = tasks[a.id].id, tasks[b.id].id
        if a.id == "DETAILS":
            ready = _firm(maker, section, build_up)
            out.append(Lag(before=before, after=after, earliest=_ints(ready)))
        elif a.id == "PREP":
            out.append(
                Lag(
                    before=before,
                    after=after,
                    earliest=_ints(maker.ends),
                    down_within=int(PRIMED_WITHIN_H * 3600 // maker.stage.slot_s),
                    same_or_next_shift=True,
                    latest=_ints(next_rain_of(maker, climate.where_of(maker.job, section))),
                )
            )
        if a.coat is not None:
            under = a
            ready = recoat_of(maker, section, a.coat)
            out.append(
                Lag(
                    before=before,
                    after=after,
                    earliest=_ints(ready),
                    down_within=down_within_of(maker, section, a, b),
                )
            )
        elif a.kind == "sweep":
            out.append(Lag(before=before, after=after, earliest=_ints(maker.ends)))
            if under is not None and under.coat is not None and b.coat is not None:
                out.append(
                    Lag(
                        before=tasks[under.id].id,
                        after=after,
                        earliest=_ints(recoat_of(maker, section, under.coat)),
                        down_within=down_within_of(maker, section, under, b),
                    )
                )
    return out


def down_within_of(maker: Maker, section: Section, a: Step, b: Step) -> int | None:
    if a.coat is None or b.coat is None:
        return None  # sweeping and striping are no coat on the coat
    there = climate.where_of(maker.job, section)
    return curing.down_within_slots(maker.job, maker.stage, there, a.coat)


def recoat_of(maker: Maker, section: Section, coat: Coat) -> IntArray:
    # A section's last coat may state no recoat: stripes then wait for feet.
    product = maker.job.products[coat.product_id]
    there = climate.where_of(maker.job, section)
    key = ("recoat", there, coat.product_id, section.build_up_id)
    if product.cure and all(p.recoat_after_h is None for p in product.cure):
        return maker.table(key, lambda: curing.feet_table(maker.stage, maker.job, there, coat))
    return maker.table(key, lambda: curing.recoat_table(maker.stage, maker.job, there, coat))


def _firm(maker: Maker, section: Section, build_up: BuildUp) -> IntArray:
    name = build_up.details.sealant_product_id
    there = climate.where_of(maker.job, section)
    return maker.table(
        ("firm", there, name),
        lambda: curing.sealant_table(maker.stage, maker.job, there, name),
    )


def next_rain_of(maker: Maker, exposure: Where) -> IntArray:
    """Last start that comes before the next rain, by end slot; -1 where none comes."""
    there = maker.stage.on_slots[exposure, BARE_ABSORPTANCE]
    wet = np.append(~(there.rain == 0), False)
    at = np.where(wet, np.arange(len(wet)), np.iinfo(np.int64).max)
    following = np.minimum.accumulate(at[::-1])[::-1]
    return np.where(following == np.iinfo(np.int64).max, -1, following - 1)


def _closure(maker: Maker, section: Section, steps: list[Step], tasks: dict[str, Task]) -> Closure:
    coat = next(s for s in reversed(steps) if s.coat is not None)
    assert coat.coat is not None
    placed = coat.coat
    there = climate.where_of(maker.job, section)
    cars = maker.table(
        ("cars", there, placed.product_id, section.build_up_id),
        lambda: curing.cars_table(maker.stage, maker.job, there, placed),
    )
    first, last = tasks[steps[0].id].id, steps[-1]
    if last is coat:
        return Closure(
            section_id=section.id,
            stalls=section.stalls,
            first=first,
            last=tasks[coat.id].id,
            open_at=_ints(cars),
        )
    dry = maker.slots_of(STRIPE_DRY_H) if last.kind == "stripe" else 0
    return Closure(
        section_id=section.id,
        stalls=section.stalls,
        first=first,
        last=tasks[last.id].id,
        open_at=_ints(maker.ends + dry),
        also=((tasks[coat.id].id, _ints(cars)),),
    )


def _ints(values: IntArray) -> tuple[int, ...]:
    return tuple(values.tolist())
