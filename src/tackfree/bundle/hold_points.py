"""What can be wrong with ``[[hold_points]]`` of ``spec.toml`` beside the other documents."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from tackfree.bundle.documents.build_ups import BuildUpDoc
from tackfree.bundle.documents.spec import HoldPointDoc
from tackfree.bundle.faults import place
from tackfree.bundle.items import Item, Parts
from tackfree.errors import Fault

NOTICE_MAX_H = 24.0 * 60


def hold_faults(parts: Parts) -> Iterator[Fault]:
    """Zones, build-ups and steps that the job lacks; hours that hold no visit."""
    zones = {z.id for z in parts.zones}
    build_ups = {b.id for b in parts.build_ups}
    first: dict[str, int] = {}
    for item in parts.hold_points:
        n = int(item.path[-1])
        if item.id and item.id in first:
            yield Fault(
                where=item.where("id"),
                what=f"The hold point {item.id} is there twice; the first is "
                f"{place(item.file, 'hold_points', first[item.id], 'id')}.",
                do="Give each hold point its own id.",
            )
        first.setdefault(item.id, n)
        for key, kind, known in (("zones", "zone", zones), ("build_ups", "build-up", build_ups)):
            listed = item.raw.get(key)
            for name in listed if isinstance(listed, list) else ():
                if isinstance(name, str) and name not in known:
                    yield Fault(
                        where=item.where(key),
                        what=f"{item.id}: there is no {kind} {name}.",
                        do=f"Name one of {', '.join(sorted(known)) or f'the {kind}s'}.",
                    )
        if item.doc is not None:
            yield from _hours(item, item.doc)
            yield from _step(parts, item, item.doc)


def _hours(item: Item[HoldPointDoc], doc: HoldPointDoc) -> Iterator[Fault]:
    day = datetime(2000, 1, 1)
    length = datetime.combine(day, doc.ends) - datetime.combine(day, doc.begins)
    if length <= timedelta(0):
        yield Fault(
            where=item.where("ends"),
            what=f"{item.id}: they come from {doc.begins:%H:%M} to {doc.ends:%H:%M}, which is "
            "no time of one day.",
            do="Let ends be later than begins.",
        )
    elif length < timedelta(hours=doc.takes):
        yield Fault(
            where=item.where("takes"),
            what=f"{item.id}: a visit takes {doc.takes:g} h; they come from "
            f"{doc.begins:%H:%M} to {doc.ends:%H:%M}.",
            do="Give longer hours, or a shorter visit.",
        )
    if doc.notice > NOTICE_MAX_H:
        yield Fault(
            where=item.where("notice"),
            what=f"{item.id}: {doc.notice:g} h of notice are {doc.notice / 24:.0f} days.",
            do="Give the notice of one visit, such as 24 h.",
        )


def _step(parts: Parts, item: Item[HoldPointDoc], doc: HoldPointDoc) -> Iterator[Fault]:
    """The step is one of a build-up that the hold point is for."""
    used = {z.doc.build_up for z in parts.zones if z.doc and (not doc.zones or z.id in doc.zones)}
    meant = [
        b for b in parts.build_ups if b.id in used and (not doc.build_ups or b.id in doc.build_ups)
    ]
    if any(b.doc is None for b in meant) or len([z for z in parts.zones if z.doc]) < len(
        parts.zones
    ):
        return  # what cannot be read may hold the step
    if not meant:
        if set(doc.build_ups) <= {b.id for b in parts.build_ups}:
            yield Fault(
                where=item.where("build_ups"),
                what=f"{item.id}: none of its zones has one of its build-ups.",
                do="Leave zones or build_ups out, or mend one of the two.",
            )
        return
    steps = list(dict.fromkeys(s for b in meant if b.doc for s in steps_of(b.doc)))
    if doc.after not in steps:
        yield Fault(
            where=item.where("after"),
            what=f"{item.id}: there is no step {doc.after} in {', '.join(b.id for b in meant)}.",
            do=f"Name one of {', '.join(steps)}.",
        )


def steps_of(doc: BuildUpDoc) -> list[str]:
    """Step ids that sections of a build-up can have, in working order."""
    out = ["DETAILS", "PREP"]
    swept = 0
    for coat in doc.coats:
        out.append(coat.id)
        if coat.aggregate and coat.aggregate.method == "to-refusal":
            swept += 1
            out.append("SWEEP" if swept == 1 else f"SWEEP-{swept}")
    return [*out, "STRIPE"]
