"""Faults that show only when the documents are laid side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path, PurePosixPath
from zoneinfo import ZoneInfo

from tackfree.bundle.check_buildups import SERVES
from tackfree.bundle.clock import comes_twice, missing, zone_named
from tackfree.bundle.documents.job import YEARS, Skill
from tackfree.bundle.faults import place
from tackfree.bundle.items import Parts, word
from tackfree.bundle.plan import plan_faults
from tackfree.errors import Fault

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def skill_for(step: str) -> Skill:
    """The skill that a kind of step asks for: prep, details, else coating."""
    return "prep" if step == "prep" else "details" if step == "details" else "coating"


def job_faults(parts: Parts) -> Iterator[Fault]:
    """Dates, clocks, people and files of ``job.toml``; ids of every kind."""
    yield from _ids(parts)
    yield from _dates(parts)
    yield from _clocks(parts)
    yield from _crews(parts)
    yield from plan_faults(parts)
    yield from _slabs(parts)
    weather = parts.table("weather").get("file")
    if isinstance(weather, str):
        yield from file_fault(parts.docs.root, weather, "job.toml, weather.file", "weather")


def _ids(parts: Parts) -> Iterator[Fault]:
    decks = [(word(d.raw, "id"), place(d.file, "id")) for d in parts.docs.decks]
    kinds: list[tuple[str, Iterable[tuple[str, str]]]] = [
        ("product", [(p.id, p.where("id")) for p in parts.products]),
        ("build-up", [(b.id, b.where("id")) for b in parts.build_ups]),
        ("shift", [(s.id, s.where("id")) for s in parts.shifts]),
        ("crew", [(c.id, c.where("id")) for c in parts.crews]),
        ("deck", decks),
        ("zone", [(z.id, z.where("id")) for z in parts.zones]),
    ]
    for kind, named in kinds:
        first: dict[str, str] = {}
        for name, where in named:
            if name and name in first:
                yield Fault(
                    where=where,
                    what=f"The {kind} {name} is there twice; the first is {first[name]}.",
                    do=f"Give each {kind} its own id.",
                )
            first.setdefault(name, where)


def _slabs(parts: Parts) -> Iterator[Fault]:
    seen: set[object] = set()
    for i, slab in enumerate(parts.listed("slabs")):
        exposure = slab.get("exposure") if isinstance(slab, dict) else None
        if isinstance(exposure, str) and exposure in seen:
            yield Fault(
                where=place("job.toml", "slabs", i, "exposure"),
                what=f"The slab under {exposure} is there twice.",
                do="Keep one for each exposure.",
            )
        seen.add(exposure)


def _plain_date(value: object) -> date | None:
    plain = isinstance(value, date) and not isinstance(value, datetime)
    return value if plain and isinstance(value, date) and value.year in YEARS else None


def _dates(parts: Parts) -> Iterator[Fault]:
    starts, ends = (_plain_date(parts.job.get(k)) for k in ("starts_on", "ends_by"))
    if starts and ends and starts > ends:
        yield Fault(
            where="job.toml, starts_on",
            what=f"The job starts on {starts}, after it ends by {ends}.",
            do="Mend one of the two dates.",
        )
    days = [d for d in map(_plain_date, parts.listed("holidays")) if d]
    for day, times in Counter(days).items():
        if times > 1:
            at = [i for i, d in enumerate(parts.listed("holidays")) if d == day][1]
            yield Fault(
                where=place("job.toml", "holidays", at),
                what=f"The holiday {day} is there {times} times.",
                do="Keep it once.",
            )


def _clocks(parts: Parts) -> Iterator[Fault]:
    name = parts.table("place").get("time_zone")
    if not isinstance(name, str) or not name:
        return
    zone = zone_named(name)
    if zone is None:
        yield Fault(
            where="job.toml, place.time_zone",
            what=f'There is no time zone "{name}".',
            do="Write an IANA name, such as America/New_York or Europe/Berlin.",
        )
        return
    as_of = parts.job.get("as_of")
    if isinstance(as_of, datetime) and as_of.tzinfo is None and as_of.year in YEARS:
        gap = missing(as_of, zone)
        if gap:
            do = "Write a minute that exists."
            yield Fault(where="job.toml, as_of", what=gap, do=do)
        elif comes_twice(as_of, zone):
            yield Fault(
                where="job.toml, as_of",
                what=f"{as_of:%Y-%m-%d %H:%M} comes twice in {name}: the clocks are put back.",
                do=f"Say which, with its offset: as_of = {as_of.isoformat()}"
                f"{as_of.replace(tzinfo=zone):%z}.",
            )
    yield from _shift_gaps(parts, zone)


def _shift_gaps(parts: Parts, zone: ZoneInfo) -> Iterator[Fault]:
    """Shifts that would begin or end in a minute that a date does not have."""
    first = _plain_date(parts.job.get("starts_on"))
    horizon = parts.job.get("horizon_days", 90)
    if first is None or not isinstance(horizon, int) or not 1 <= horizon <= 730:
        return
    for item in parts.shifts:
        if item.doc is None:
            continue
        begins, ends = item.doc.begins, item.doc.ends
        for n in range(horizon):
            day = first + timedelta(days=n)
            if WEEKDAYS[day.weekday()] not in item.doc.days:
                continue
            last = day if ends > begins else day + timedelta(days=1)
            for key, at in (("begins", _at(day, begins)), ("ends", _at(last, ends))):
                gap = missing(at, zone)
                if gap:
                    yield Fault(
                        where=item.where(key),
                        what=f"Shift {item.id}: {gap}",
                        do="Move the end of the shift, or leave the day out as a holiday.",
                    )


def _at(day: date, clock: time) -> datetime:
    return datetime.combine(day, clock.replace(tzinfo=None))


def needed_steps(parts: Parts) -> list[str]:
    """Kinds of steps that the zones' build-ups ask for, in working order."""
    used = {z.doc.build_up for z in parts.zones if z.doc}
    coats = [c for b in parts.build_ups if b.doc and b.id in used for c in b.doc.coats]
    steps = ["prep", "details", *dict.fromkeys(c.role.value for c in coats if c.role in SERVES)]
    if any(c.aggregate and c.aggregate.method == "to-refusal" for c in coats):
        steps.append("sweep")
    if any(f.doc and f.doc.kind.value == "stall" for f in parts.features):
        steps.append("stripe")
    return steps


def _crews(parts: Parts) -> Iterator[Fault]:
    shifts = {s.id for s in parts.shifts}
    for item in parts.crews:
        listed = item.raw.get("shifts")
        for i, shift in enumerate(listed if isinstance(listed, list) else ()):
            if isinstance(shift, str) and shift not in shifts:
                yield Fault(
                    where=item.where("shifts", i),
                    what=f"Crew {item.id}: there is no shift {shift}.",
                    do=f"Name one of {', '.join(sorted(shifts)) or 'the shifts'}.",
                )
    crews = [c for c in parts.crews if c.doc]
    if len(crews) < len(parts.crews) or not crews:
        return  # a crew that cannot be read may be the one that is missing
    for step in needed_steps(parts):
        skill = skill_for(step)
        able = [c for c in crews if c.doc and skill in c.doc.skills]
        if not able:
            yield Fault(
                where="job.toml, crews",
                what=f"No crew has the skill {skill}, which the step {step} needs.",
                do=f'Add "{skill}" to the skills of a crew.',
            )
        for crew in able:
            if crew.doc and getattr(crew.doc.rates, step, None) is None:
                unit = "ft/h" if step == "details" else "ft²/h"
                yield Fault(
                    where=crew.where("rates", step),
                    what=f"Crew {crew.id}: there is no rate for {step}.",
                    do=f'Add what the whole crew does in an hour: {step} = "1000 {unit}".',
                )


def file_fault(root: Path, name: str, where: str, kind: str) -> Iterator[Fault]:
    """The file is there, inside the bundle."""
    path = PurePosixPath(name)
    if not name.isprintable() or len(name) > 200:
        yield Fault(where=where, what="This is no file name.", do="Name a file in the bundle.")
        return
    inside = not path.is_absolute() and ".." not in path.parts and "\\" not in name
    if not inside or not (root / name).resolve().is_relative_to(root.resolve()):
        yield Fault(
            where=where,
            what=f'"{name}" leads out of the bundle.',
            do="Copy the file into the bundle and name it from there.",
        )
    elif not (root / name).is_file():
        yield Fault(
            where=where,
            what=f'The {kind} file "{name}" is missing.',
            do="Copy it into the bundle, or mend its name.",
        )
