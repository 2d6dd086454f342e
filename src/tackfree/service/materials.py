"""Materials of a job, and whether its crews can place them in time."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace

from tackfree.buildup.rules import Place, RuleResult, judge
from tackfree.bundle.types import Job
from tackfree.deck.takeoff_types import Takeoff
from tackfree.errors import Fault, NotFound, Refused
from tackfree.marks.pace import kit_pace
from tackfree.marks.types import SectionStage
from tackfree.service.labour import work_of
from tackfree.supply.materials import job_materials
from tackfree.supply.sundries import SundryLine, sundry_lines, wear_table
from tackfree.supply.types import Materials
from tackfree.words import Message, say

_LEVELS = ("refuse", "warn", "note")


def materials_for(job: Job, takeoff: Takeoff, section_stage: SectionStage) -> Materials:
    """Kits, sand and details of every section, and the order.

    Parameters
    ----------
    job : Job
        Its products, build-ups, zones' substrates and crews.
    takeoff : Takeoff
        The sections' zones must be among it.
    section_stage : SectionStage
        From :func:`tackfree.service.sections.cut_job`.

    Returns
    -------
    Materials
        With notes where a kit takes longer to place than its pot life, once for each
        build-up and coat.

    Raises
    ------
    NotFound
        If a section's zone, build-up or product is not in the job.
    InputError
        If a product in use lacks its kit, bag or package.
    Refused
        If a zone has no floor to coat.
    """
    substrates = {z.id: z.substrate for d in job.decks for z in d.zones}
    taken = {t.zone_id for t in takeoff.zones}
    for section in section_stage.sections:
        for zone_id in section.zone_ids:
            if zone_id not in substrates or zone_id not in taken:
                raise NotFound(
                    f"zone {zone_id} is not in the job's takeoff.",
                    where=f"Section {section.id}",
                    do="Take off the decks again and cut them anew.",
                )
    bare = [t.zone_id for t in takeoff.zones if t.field_m2 <= 0]
    if bare:
        raise Refused(
            Fault(
                where=f"zone {zone_id}",
                what="its floor is 0 ft² (0 m²): obstacles and other zones take all of it.",
                do="Draw its outline anew, or take the zone out.",
            )
            for zone_id in bare
        )
    found = job_materials(
        section_stage.sections,
        quantities={d.section_id: d for d in section_stage.details},
        build_ups=job.build_ups,
        products=job.products,
        substrates={s.id: tuple(substrates[z] for z in s.zone_ids) for s in section_stage.sections},
    )
    notes = (*rule_messages(job), *found.messages, *_pace(job, section_stage, found))
    return replace(found, messages=notes, sundries=_sundries(job, section_stage, found))


def _sundries(job: Job, stage: SectionStage, found: Materials) -> tuple[SundryLine, ...]:
    role = {
        (s.id, c.id): c.role.value
        for s in stage.sections
        for c in job.build_ups[s.build_up_id].coats
    }
    area: dict[str, float] = defaultdict(float)
    kits: dict[str, float] = defaultdict(float)
    for c in found.coats:
        area[role[c.section_id, c.coat_id]] += c.area_m2
        kits[role[c.section_id, c.coat_id]] += c.kits
    kits["details"] = sum(d.packages for d in found.details if d.unit == "kit")
    return sundry_lines(
        wear_table(job.price.wear if job.price else ()),
        area_m2=area,
        kits=kits,
        person_days=sum(w.crew_days * w.people for w in work_of(job, stage)),
        people=max((c.people for c in job.crews), default=0),
    )


def rule_messages(job: Job) -> tuple[Message, ...]:
    """What the rules say, each sentence once with all its zones, refusals first."""
    zones: dict[tuple[int, str, str], list[str]] = defaultdict(list)
    said: dict[tuple[int, str, str], RuleResult] = {}
    for zone_id, result in judge_job(job):
        key = (_LEVELS.index(result.level), result.id, repr(sorted(result.message.values.items())))
        said[key] = result
        zones[key].append(zone_id)
    return tuple(
        Message(
            id=said[key].message.id,
            values={
                **said[key].message.values,
                "build_up": f"{said[key].message.values['build_up']} ({', '.join(zones[key])})",
                "level": said[key].level,
                "basis": f"{said[key].basis.kind} {said[key].basis.text}".strip(),
            },
        )
        for key in sorted(said, key=lambda k: k[0])
    )


def rule_faults(job: Job) -> tuple[Fault, ...]:
    """The rules that refuse, as faults of the build-ups document."""
    return tuple(
        Fault(
            where=f"buildups.toml, {m.values['build_up']}",
            what=say(m),
            do=say(Message(id="buildup.refused", values=m.values)),
        )
        for m in rule_messages(job)
        if m.values["level"] == "refuse"
    )


def judge_job(job: Job) -> tuple[tuple[str, RuleResult], ...]:
    """What the rules say of each zone's build-up, as (zone id, result).

    A zone whose build-up is not in the job says nothing here: reading the job does.
    """
    return tuple(
        (zone.id, result)
        for deck in job.decks
        for zone in deck.zones
        if zone.build_up_id in job.build_ups
        for result in judge(
            job.build_ups[zone.build_up_id],
            job.products,
            defaults=job.spec.build_up,
            place=Place(
                duty=zone.duty,
                exposure=zone.exposure,
                substrate=zone.substrate,
                slope=math.hypot(zone.slope_x, zone.slope_y),
            ),
        )
    )


def _pace(job: Job, stage: SectionStage, found: Materials) -> list[Message]:
    build_up_of = {s.id: s.build_up_id for s in stage.sections}
    said: dict[tuple[str, str], Message] = {}
    for line in found.coats:
        build_up = job.build_ups[build_up_of[line.section_id]]
        coat = next(c for c in build_up.coats if c.id == line.coat_id)
        for crew in job.crews:
            note = kit_pace(
                section_id=line.section_id,
                coat=coat,
                product=job.products[line.product_id],
                reach_m2=min(line.reach_m2, line.area_m2),
                rates_m2_per_h=crew.rates,
            )
            if note is not None:
                said.setdefault((build_up.id, coat.id), note)
    return list(said.values())
