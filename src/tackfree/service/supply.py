"""What stands beside the order: ranges, wear, losses, and kits that could be saved."""

from __future__ import annotations

import tempfile
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tackfree.buildup.types import Coat
from tackfree.bundle.types import Job
from tackfree.marks.pace import kit_pace
from tackfree.service.ordering import kit_ranges, order_notes, uses_of
from tackfree.service.papers import system_of
from tackfree.service.pipeline import Pipeline
from tackfree.service.report import why
from tackfree.service.save import to_json, write_atomic
from tackfree.service.tables import table
from tackfree.sheets.order_book import OrderHeader
from tackfree.sheets.order_xlsx import write_order as write_xlsx
from tackfree.supply.range_types import KitRange
from tackfree.supply.sizes import Proposal, propose_sizes, shared_kits
from tackfree.supply.types import CoatLine
from tackfree.units import System, show
from tackfree.words import Message, say


def order_document(made: Pipeline, *, planned: bool = False) -> dict[str, Any]:
    """Materials as JSON, with ranges, deliveries and proposals of section sizes."""
    return {**to_json(made.materials), **order_stage(made, planned=planned)}


def order_stage(made: Pipeline, *, planned: bool) -> dict[str, Any]:
    """What stands beside the materials: ranges, dates, losses and what could be saved."""
    found: dict[str, Any] = {}
    ranges = ranges_of(made, planned=planned)
    found["ranges"] = [
        {
            **to_json(r),
            "name": made.job.products[r.product_id].name,
            "currency": made.job.price.currency if made.job.price else None,
            "order_by": r.order_by.isoformat() if r.order_by else None,
        }
        for r in ranges
    ]
    found["order_notes"] = to_json(list(range_notes(made, ranges)))
    found["losses"] = losses(made)
    found["proposals"] = [
        {"zone_ids": list(zones), **to_json(p), "saved": p.saved} for zones, p in proposals(made)
    ]
    found["shared_kits"] = to_json(shared(made))
    return found


def order_workbook(made: Pipeline, *, planned: bool) -> bytes:
    """The order workbook, with its ranges and the deliveries."""
    job = made.job
    header = OrderHeader(
        job_id=job.id, job_name=job.name, as_of=job.as_of, units=system_of(made),
        language=job.languages[0], invented=job.invented,
    )  # fmt: skip
    ranges = ranges_of(made, planned=planned)
    notes = (*made.materials.messages, *range_notes(made, ranges))
    with tempfile.TemporaryDirectory(prefix="tackfree-") as folder:
        path = Path(folder) / "order.xlsx"
        write_xlsx(
            replace(made.materials, messages=notes), header, path, ranges=ranges,
            currency=job.price.currency if job.price else "",
        )  # fmt: skip
        return path.read_bytes()


def write_order(made: Pipeline, out: Path, *, planned: bool) -> Path:
    """Write ``order.xlsx`` into a folder."""
    write_atomic(out / "order.xlsx", order_workbook(made, planned=planned))
    return out / "order.xlsx"


def proposals(made: Pipeline) -> list[tuple[tuple[str, ...], Proposal]]:
    """Zones cut in several sections that would take fewer kits in other sizes."""
    alike: dict[tuple[str, ...], list[str]] = defaultdict(list)
    area = {s.id: s.developed_m2 for s in made.sections.sections}
    for s in made.sections.sections:
        alike[s.zone_ids].append(s.id)
    limits = {s.id: made.sections.limits.get(s.build_up_id) for s in made.sections.sections}
    out = []
    for zones, ids in alike.items():
        limit = limits[ids[0]]
        rates = [
            (c.gross_l / c.area_m2) / c.kit_l
            for c in made.materials.coats
            if c.section_id == ids[0] and not c.metered
        ]
        most = limit.area_m2 if limit else None
        found = propose_sizes([area[i] for i in ids], rates, most_m2=most)
        if found.saved > 0:
            out.append((zones, found))
    return out


def shared(made: Pipeline) -> list[Message]:
    """Neighbouring sections that save kits when a coat goes down in one go.

    Only as many as one shift can coat, and only where the kit between them is down
    inside its pot life at the crews' pace; whether they are ready together, the plan
    decides.
    """
    job = made.job
    deck_of = {s.id: s.deck_id for s in made.sections.sections}
    build_up_of = {s.id: s.build_up_id for s in made.sections.sections}
    runs: dict[tuple[str, str, str], list[CoatLine]] = defaultdict(list)
    for c in made.materials.coats:
        if not c.metered:
            runs[deck_of[c.section_id], build_up_of[c.section_id], c.coat_id].append(c)
    out = []
    for (_, build_up_id, coat_id), lines in runs.items():
        coat = next(x for x in job.build_ups[build_up_id].coats if x.id == coat_id)
        if not _placed_in_time(job, coat, lines[0]):
            continue
        limit = made.sections.limits.get(build_up_id)
        for group in _in_one_go(lines, limit.area_m2 if limit else None):
            volumes = [c.gross_l + c.detail_l for c in group]
            apart, together = shared_kits(volumes, lines[0].kit_l)
            if together < apart:
                values = {
                    "coat": coat_id,
                    "product": coat.product_id,
                    "sections": ", ".join(c.section_id for c in group),
                    "apart": apart,
                    "together": together,
                }
                out.append(Message(id="supply.note.kit-shared", values=values))
    return out


def _placed_in_time(job: Job, coat: Coat, line: CoatLine) -> bool:
    """Whether every crew is known to place a whole kit inside its pot life."""
    product = job.products[coat.product_id]
    known = product.pot_life and all(c.rates.get(coat.role.value) for c in job.crews)
    return bool(job.crews and known) and not any(
        kit_pace(
            section_id=line.section_id,
            coat=coat,
            product=product,
            reach_m2=line.reach_m2,
            rates_m2_per_h=crew.rates,
        )
        for crew in job.crews
    )


def _in_one_go(lines: Sequence[CoatLine], most_m2: float | None) -> list[list[CoatLine]]:
    """Lines in their order, put together up to what one shift coats."""
    groups: list[list[CoatLine]] = []
    for line in lines:
        if groups and most_m2 and sum(c.area_m2 for c in groups[-1]) + line.area_m2 <= most_m2:
            groups[-1].append(line)
        else:
            groups.append([line])
    return groups


def ranges_of(made: Pipeline, *, planned: bool) -> tuple[KitRange, ...]:
    """What to order, dated by the plan or by the first day of work."""
    uses = None
    if planned:
        uses = uses_of(made.job, made.materials, made.problem, made.plan)
    return kit_ranges(made.job, made.sections, made.materials, uses)


def range_notes(made: Pipeline, ranges: Sequence[KitRange]) -> tuple[Message, ...]:
    """What the dates rest on, then what is late, heavy or does not fit."""
    job = made.job
    if any(r.planned for r in ranges):
        rests = Message(id="supply.order.from-plan")
    else:
        rests = Message(id="supply.order.from-start", values={"day": job.starts_on.isoformat()})
    plain = () if job.price else (Message(id="supply.order.unpriced"),)
    return (rests, *plain, *order_notes(job, ranges), *_stored(made, ranges))


def _stored(made: Pipeline, ranges: Sequence[KitRange]) -> list[Message]:
    """Where products are to be kept, those of one range of temperature together."""
    system: System = "si" if made.job.units == "si" else "us"
    alike: dict[tuple[float | None, float | None], list[str]] = defaultdict(list)
    for r in ranges:
        if r.stored_c != (None, None):
            alike[r.stored_c].append(r.product_id)
    out = []
    for ends, products in alike.items():
        low, high = ("–" if c is None else show(c, "temperature", system) for c in ends)
        values = {"product": ", ".join(products), "low": low, "high": high}
        out.append(Message(id="supply.order.stored", values=values))
    return out


def order_more(made: Pipeline, system: System, *, planned: bool, explain: bool) -> str:
    """Range and deliveries of each product, wear, losses and savings as text."""
    ranges = ranges_of(made, planned=planned)
    head = ["product", "worked out", "P10", "P50", "P90", "have", "enough", "may go back",
            "order by", "keeps until"]  # fmt: skip
    rows = [
        [
            r.product_id, str(r.computed), str(r.p10), str(r.p50), str(r.p90), str(r.advised),
            f"{100 * r.enough_share:.0f} %", str(r.returnable or ""),
            f"{r.order_by:%a %Y-%m-%d}" if r.order_by else "",
            f"{r.keeps_until:%Y-%m-%d}" if r.keeps_until else "",
        ]
        for r in ranges
    ]  # fmt: skip
    out = [table(head, rows)]
    split = [r for r in ranges if len(r.deliveries) > 1]
    if split:
        rows = [
            [r.product_id, f"{i} of {len(r.deliveries)}", str(d.count), str(d.spare or ""),
             f"{d.order_by:%a %Y-%m-%d}" if d.order_by else "", f"{d.arrives:%a %Y-%m-%d}",
             f"{d.first_use:%Y-%m-%d} to {d.last_use:%Y-%m-%d}"]
            for r in split
            for i, d in enumerate(r.deliveries, 1)
        ]  # fmt: skip
        head = ["product", "delivery", "count", "spare", "order by", "there by", "used"]
        out += ["", table(head, rows)]
    out += ["", *(say(m) for m in range_notes(made, ranges))]
    if explain:
        for r in ranges:
            out += ["", r.product_id, *(why(n, f) for n, f in r.figures.items())]
    wear = [[s.name or say(f"price.sundry.{s.id}"), str(s.count)] for s in made.materials.sundries]
    out += ["", table(["wear and gear", "count"], wear)]
    if explain:
        out += [why(s.id, s.figure) for s in made.materials.sundries]
    rows = [
        [say(f"supply.loss.{k}"), show(v, "area" if k == "leftover-area" else "volume", system)]
        for k, v in losses(made).items()
    ]
    out += ["", table(["lost and left over", ""], rows)]
    for zones, p in proposals(made):
        sizes = ", ".join(show(a, "area", system) for a in p.sizes_m2)
        out += ["", say("supply.note.sizes", zones=", ".join(zones), sizes=sizes, kits=p.kits,
                        given=p.given_kits)]  # fmt: skip
    out += ["", *(say(m) for m in shared(made))]
    return "\n".join(out)


def losses(made: Pipeline) -> dict[str, float]:
    """Litres by place of loss, what the last kits hold, and what that would cover [m²]."""
    out: dict[str, float] = defaultdict(float)
    for c in made.materials.coats:
        for place, litres in c.lost_l:
            out[place] += litres
    out["leftover"] = sum(c.leftover_l for c in made.materials.coats)
    out["leftover-area"] = sum(c.leftover_m2 for c in made.materials.coats)
    return dict(out)
