"""A coat whose window is lost: abraded, primed or tied anew, and waited for, as work.

On a primed deck the primer goes on again; on a later coat a tie coat does, the build-up's
own or, where it has none, its primer. A prepared deck that stood too long is prepared
again. Hours are the crews' own; the rest is practice, and the maker's word wins.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import pairwise

from tackfree.buildup.types import BuildUp, Coat, Role
from tackfree.bundle.types import Job
from tackfree.climate.stage import ClimateStage
from tackfree.cure.remedy import abraded
from tackfree.deck.types import Section
from tackfree.marks.types import SectionStage
from tackfree.plan.again import Way
from tackfree.plan.types import Crew, Lag, Task
from tackfree.service import climate, curing
from tackfree.service.plan import (
    PRIMED_WITHIN_H,
    Maker,
    Step,
    maker_of,
    next_rain_of,
    recoat_of,
    steps_of,
    task_of,
)

# practice, editable by a crew's own rate: two people with screens or grinders do 800 ft² an
# hour where a crew that blasts 2,000 ft² an hour has prepared
ABRADE_OF_PREP = 0.4


def ways_again(
    job: Job,
    sections: SectionStage,
    stage: ClimateStage,
    *,
    only: Collection[tuple[str, str]] | None = None,
    stocked: Collection[str] = (),
) -> dict[tuple[str, str], Way]:
    """The way back from every window that can be lost, by the tasks it lies between.

    ``only``: those between these tasks. ``stocked``: products whose kits are counted.
    """
    maker = maker_of(replace(job, crews=tuple(map(_with_rates, job.crews))), stage)
    out: dict[tuple[str, str], Way] = {}
    for section in sections.sections:
        steps = steps_of(job, section, sections.details_of(section.id))
        for a, b in pairwise(s for s in steps if s.id == "PREP" or s.coat is not None):
            between = steps[steps.index(a) + 1 : steps.index(b)]
            key = (f"{section.id}/{a.id}", f"{section.id}/{b.id}")
            if only is not None and key not in only:
                continue
            if a.coat is None:
                out[key] = _prepared(maker, section, a, b)
            elif curing.product_of(job, a.coat.product_id).recoat_before_h is not None:
                out[key] = _coated(maker, section, a.coat, b, between, stocked)
    return out


def _with_rates(crew: Crew) -> Crew:
    """A crew with what it does of work that nobody planned with."""
    rates = dict(crew.rates)
    if rates.get("prep"):
        rates.setdefault("abrade", ABRADE_OF_PREP * rates["prep"])
    if rates.get("primer"):
        rates.setdefault("tie", rates["primer"])
    return replace(crew, rates=rates)


def _prepared(maker: Maker, section: Section, prep: Step, after: Step) -> Way:
    task = task_of(maker, section, replace(prep, id="PREP-AGAIN"))
    return Way(tasks=(task,), lags=(_primed(maker, section, task.id, f"{section.id}/{after.id}"),))


def _primed(maker: Maker, section: Section, before: str, after: str) -> Lag:
    """Prepared or abraded: the first liquid in the same or next shift, before any rain."""
    rain = next_rain_of(maker, climate.where_of(maker.job, section))
    return Lag(
        before=before,
        after=after,
        earliest=tuple(maker.ends.tolist()),
        down_within=int(PRIMED_WITHIN_H * 3600 // maker.stage.slot_s),
        same_or_next_shift=True,
        latest=tuple(rain.tolist()),
    )


def _coated(
    maker: Maker,
    section: Section,
    under: Coat,
    after: Step,
    between: Sequence[Step],
    stocked: Collection[str],
) -> Way:
    job, area = maker.job, section.developed_m2
    build_up = job.build_ups[section.build_up_id]
    primed = under.role is Role.PRIMER
    coat = under if primed else _tie_of(build_up)
    abrading = _abrading(maker, section)
    following = f"{section.id}/{after.id}"
    at_once = tuple(maker.ends.tolist())
    row = [*(f"{section.id}/{s.id}" for s in between), *(t.id for t in abrading)]
    lags = [Lag(before=x, after=y, earliest=at_once) for x, y in pairwise(row)]
    volume = abraded(area_m2=area, primer=primed).volume_l or 0.0
    if coat is None:
        last = _primed(maker, section, row[-1], following)
        return Way(tasks=abrading, lags=(*lags, last), volume_l=volume)
    step = Step(id="REPRIME" if primed else "TIE", kind="primer" if primed else "tie",
                skill="coating", quantity=area, coat=coat, first_liquid=False)  # fmt: skip
    new = task_of(maker, section, step)
    if coat.product_id in stocked:
        new = replace(new, needs=((coat.product_id, _kits(job, build_up, coat, volume)),))
    there = climate.where_of(job, section)
    cured = Lag(
        before=new.id,
        after=following,
        earliest=tuple(recoat_of(maker, section, coat).tolist()),
        down_within=curing.down_within_slots(job, maker.stage, there, coat),
    )
    return Way(
        tasks=(*abrading, new),
        lags=(*lags, _primed(maker, section, row[-1], new.id), cured),
        volume_l=volume,
    )


def _abrading(maker: Maker, section: Section) -> tuple[Task, ...]:
    """Abrading a whole section, in equal parts where it outlasts a shift."""
    whole = Step(id="ABRADE", kind="abrade", skill="prep", quantity=section.developed_m2)
    one = task_of(maker, section, whole)
    ids = {s for c in maker.job.crews if "prep" in c.skills for s in c.shift_ids}
    longest = max((s.end - s.begin for s in maker.spans if s.shift_id in ids), default=0)
    if not 0 < longest < one.duration:
        return (one,)
    parts = math.ceil(one.duration / longest)
    return tuple(
        task_of(
            maker,
            section,
            replace(
                whole, id=f"ABRADE-{n + 1}" if n else "ABRADE", quantity=whole.quantity / parts
            ),
        )
        for n in range(parts)
    )


def _tie_of(build_up: BuildUp) -> Coat | None:
    """The build-up's tie coat, else its primer."""
    for role in (Role.TIE, Role.PRIMER):
        for coat in build_up.coats:
            if coat.role is role:
                return coat
    return None


def _kits(job: Job, build_up: BuildUp, coat: Coat, volume_l: float) -> int:
    """Whole kits of it, with the build-up's loss."""
    kit = job.products[coat.product_id].kit
    gross = volume_l * (1 + (build_up.loss if coat.loss is None else coat.loss))
    return 0 if kit is None else math.ceil(gross / kit.volume_l - 1e-9)
