"""A job's stages as text for people and rows for ``--json``."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tackfree.because import Figure
from tackfree.cure.types import Ends
from tackfree.errors import InputError
from tackfree.plan.holds import visits_of
from tackfree.service import access, documents, hours, papers
from tackfree.service.clocks import ClockLine, clock_of
from tackfree.service.left_out import left_out
from tackfree.service.pipeline import Pipeline
from tackfree.service.remedies import ways_now
from tackfree.service.save import to_json, write_atomic
from tackfree.service.tables import table
from tackfree.service.windows import age_message, forecast_age_h, slab_messages
from tackfree.units import System, show
from tackfree.words import Message, say


def why(name: str, figure: Figure) -> str:
    """A figure with its formula, inputs and source on one line."""
    value = "missing" if figure.value is None else f"{figure.value:.6g} {figure.unit}"
    inputs = ", ".join(
        f"{g.name} {g.value:.6g} {g.unit}".rstrip() if not isinstance(g.value, str)
        else f"{g.name} {g.value}"
        for g in figure.inputs
    )  # fmt: skip
    source = f"{figure.source.kind} {figure.source.text}".strip()
    return (
        f"  {name} = {value}: {figure.formula}" + (f"; {inputs}" if inputs else "") + f" [{source}]"
    )


def takeoff(made: Pipeline) -> dict[str, Any]:
    return documents.takeoff(made)


def takeoff_text(made: Pipeline, system: System, *, explain: bool) -> str:
    """Zones with their areas, lengths and counts, who can drive where, what was left out."""
    basis = {z.id: z.source for d in made.drawings.decks for z in d.zones}
    rows = []
    for z in made.takeoff.zones:
        rows.append(
            [
                z.zone_id,
                show(z.field_m2, "area", system),
                show(z.obstacles_m2, "area", system),
                show(z.upturn_m, "length", system),
                show(sum(c.length_m for c in z.cracks), "length", system),
                show(sum(j.length_m for j in z.joints), "length", system),
                str(z.drains),
                str(z.stalls),
                basis[z.zone_id],
            ]
        )
    head = ["zone", "field", "obstacles", "upturn", "cracks", "joints", "drains", "stalls", "basis"]
    out = [table(head, rows)]
    if explain:
        for z in made.takeoff.zones:
            out += [f"\n{z.zone_id}", *(why(n, f) for n, f in z.figures.items())]
    graph = access.graph_of(made)
    if any(n.kind != "open" for n in graph.nodes):
        out += ["", "Access:", access.text(made, graph, ())]
    lost = left_out(made)
    if lost:
        words = {False: "not used", True: "switched off or frozen"}
        cells = [[x.deck_id, x.layer, x.entity, str(x.count), words[x.hidden]] for x in lost]
        out += ["", "Left out of the drawings:"]
        out += [table(["deck", "layer", "entity", "count", "why"], cells)]
    told = ("intake.ignored", "intake.hidden")
    messages = [m for m in (*made.drawings.messages, *made.takeoff.messages) if m.id not in told]
    out += ["", *(f"Note: {say(m)}" for m in messages)]
    return "\n".join(out)


def materials(made: Pipeline) -> dict[str, Any]:
    found: dict[str, Any] = to_json(made.materials)
    return found


def order_text(made: Pipeline, system: System, *, explain: bool) -> str:
    """What to buy, then kits and bags by section and coat."""
    job = made.job
    out = [
        table(
            ["product", "count", "unit", "name"],
            [
                [o.product_id, str(o.count), o.unit, job.products[o.product_id].name]
                for o in made.materials.order
            ],
        ),
        "",
        table(
            ["section", "coat", "area", "wet film", "fill", "need", "kits", "per kit", "bags"],
            [
                [
                    c.section_id,
                    c.coat_id,
                    show(c.area_m2, "area", system),
                    show(c.wft_um, "film", system),
                    show(c.fill_um, "film", system),
                    show(c.gross_l + c.detail_l, "volume", system),
                    str(c.kits),
                    show(c.reach_m2, "area", system),
                    str(c.bags or ""),
                ]
                for c in made.materials.coats
            ],
        ),
    ]
    if explain:
        for c in made.materials.coats:
            out += [f"\n{c.section_id} {c.coat_id}", *(why(n, f) for n, f in c.figures.items())]
    out += ["", *(f"{level_of(m)}: {say(m)}" for m in made.materials.messages)]
    return "\n".join(out)


def level_of(message: Message) -> str:
    """How loud a sentence is: a rule that warns, or a note."""
    return "Warning" if message.values.get("level") == "warn" else "Note"


def windows(made: Pipeline, on: str | None) -> dict[str, Any]:
    """Legal start hours by month, or the day's windows by exposure and coat."""
    if on is None:
        return {
            "forecast_age_h": forecast_age_h(made),
            "legal_hours": list(hours.legal_start_hours(made.job, made.climate)),
        }
    return {
        "date": on,
        "forecast_age_h": forecast_age_h(made),
        "windows": _day_windows(made, _date(on)),
    }


def windows_text(made: Pipeline, on: str | None, system: System) -> str:
    """The same as text."""
    if on is None:
        rows = [
            [
                f"{r.exposure.value} {r.build_up_id} {r.coat_id}",
                r.month,
                f"{r.go_h:g}",
                f"{r.measure_h:g}",
                f"{r.wait_h:g}",
                f"{r.unknown_h:g}",
            ]
            for r in hours.legal_start_hours(made.job, made.climate)
        ]
        head = ["exposure, build-up, coat", "month", "GO h", "MEASURE h", "WAIT h", "UNKNOWN h"]
        slabs = [say(m) for m in slab_messages(made)]
        return "\n".join([say(age_message(made)), *slabs, "", table(head, rows)])
    zone = papers.zone_of(made)
    lines = [say(age_message(made)), *map(say, slab_messages(made)), ""]
    for row in _day_windows(made, _date(on)):
        lines.append(f"{row['exposure']} {row['build_up_id']} {row['step_id']}")
        for w in row["windows"]:
            begin, end = (datetime.fromtimestamp(t, zone) for t in (w.start_utc_s, w.end_utc_s))
            reason = say(w.reason) if w.reason else ""
            lines.append(f"  {begin:%H:%M}-{end:%H:%M}  {w.state.name:8}{reason}".rstrip())
    return "\n".join(lines)


def _day_windows(made: Pipeline, on: date) -> list[dict[str, Any]]:
    zone = papers.zone_of(made)
    begin = datetime(on.year, on.month, on.day, tzinfo=zone).timestamp()
    end = begin + 86400
    last = made.climate.slot0_utc_s + made.climate.slots * made.climate.slot_s
    if not made.climate.slot0_utc_s <= begin < last:
        raise InputError(
            f"{on} is outside the job's weather.",
            where="--date",
            do=f"The job starts on {made.job.starts_on}; choose a day from then on.",
        )
    rows = []
    for row in documents.windows(made):
        inside = [w for w in row["windows"] if w.start_utc_s < end and w.end_utc_s > begin]
        rows.append({**row, "windows": inside})
    return rows


def day(text: str) -> date:
    """A day of the calendar."""
    return _date(text)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is no date.", where="--date", do="Write it as 2027-04-20."
        ) from None


def moment(text: str, zone: ZoneInfo, where: str) -> datetime:
    """A wall time of the job; a minute the clocks skip is refused.

    Raises
    ------
    InputError
        If the text is no time, or names a minute that does not exist there.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is no time.", where=where, do="Write it as 2027-05-03T14:00, in job time."
        ) from None
    if found.tzinfo is not None:
        return found
    local = found.replace(tzinfo=zone)
    back = datetime.fromtimestamp(local.timestamp(), zone)
    if back.replace(tzinfo=None) != found:
        raise InputError(
            f"{text} does not exist in {zone.key}: the clocks skip it.",
            where=where,
            do=f"Write {back:%Y-%m-%dT%H:%M} or a time before the change.",
        )
    return local


def clock(made: Pipeline, section: str, coat: str, placed_from: str, placed_to: str) -> ClockLine:
    """One clock, placed between two wall times."""
    zone = papers.zone_of(made)
    return clock_of(
        made.job,
        made.sections,
        made.climate,
        section_id=section,
        coat_id=coat,
        placed_from=moment(placed_from, zone, "--placed-from"),
        placed_to=moment(placed_to, zone, "--placed-to"),
    )


def clock_text(made: Pipeline, line: ClockLine) -> str:
    """The four moments of a clock, careful and hopeful."""
    zone, c = papers.zone_of(made), line.clock

    def when(utc_s: float | None, up: bool = True) -> str:
        if utc_s is None:
            return "not within the weather"
        step = 300
        rounded = -(-utc_s // step) * step if up else utc_s // step * step
        return f"{datetime.fromtimestamp(rounded, zone):%a %d %b %H:%M}"

    def both(name: str, ends: Ends) -> str:
        return f"{name:15}{when(ends.careful_utc_s)}   (at best {when(ends.hopeful_utc_s)})"

    rows = [
        f"{line.section_id} {line.coat_id} ({line.product_id})",
        both("tack-free", c.tack_free),
        both("recoat after", c.recoat_after),
        "recoat before  "
        + ("no limit on the sheet" if c.recoat_before_utc_s is None
           else when(c.recoat_before_utc_s, up=False)),
    ]  # fmt: skip
    if c.better_before_utc_s is not None:
        rows.append(f"better before  {when(c.better_before_utc_s, up=False)} (heat)")
    rows += [both("feet after", c.feet_after), both("cars after", c.cars_after)]
    if c.stalled_h > 0:
        rows.append(f"stalled        {c.stalled_h:.1f} h below the sheet's minimum")
    if c.no_legal_moment:
        after, before = c.recoat_after.careful_utc_s, c.recoat_before_utc_s
        rows.append(say("cure.no_legal_moment", after=when(after), before=when(before, up=False)))
        rows += [f"  {say(remedy.message)}" for remedy in ways_now(made, line)]
    rows += [say(age_message(made)), say("sheet.planning-help")]
    return "\n".join(rows)


def plan_text(made: Pipeline) -> str:
    """The plan shift by shift, then how good it is."""
    by_day: dict[str, list[str]] = defaultdict(list)
    for p in sorted(made.plan.placed, key=lambda p: (p.start, p.section_id)):
        begin, end = papers.at_slot(made, p.start), papers.at_slot(made, p.end)
        by_day[f"{begin:%a %d %b}"].append(
            f"  {begin:%H:%M}-{end:%H:%M}  {p.section_id:14} {p.step_id:9} {p.crew_id}"
        )
    lines = [row for day, rows in by_day.items() for row in (day, *rows)]
    told = hold_lines(made)
    return "\n".join([*lines, *(["", *told] if told else ()), "", *papers.headline(made)])


def hold_lines(made: Pipeline) -> list[str]:
    """Whom to tell by when, and when they come."""
    out = []
    for v in visits_of(made.problem, made.plan):
        by, at = papers.at_slot(made, v.notice_by), papers.at_slot(made, v.begin)
        values = {"who": v.hold.who, "sees": v.hold.sees, "section": v.hold.section_id,
                  "step": v.hold.after.partition("/")[2], "by": f"{by:%a %d %b %H:%M}",
                  "at": f"{at:%a %d %b %H:%M}"}  # fmt: skip
        out.append(say("planning.hold", **values))
    return out


def shift_sheets(made: Pipeline, on: str, out: Path) -> list[str]:
    """Write the sheets of one day.

    Raises
    ------
    InputError
        If the plan has no shift with work on that day; the nearest days are named.
    """
    sheets = papers.shift_sheets(made, _date(on))
    if not sheets:
        days = sorted({papers.at_slot(made, p.start).date().isoformat() for p in made.plan.placed})
        near = sorted(days, key=lambda d: abs((date.fromisoformat(d) - _date(on)).days))[:4]
        raise InputError(
            f"no shift has work on {on}.",
            where="--date",
            do=f"Near it are {', '.join(sorted(near))}." if near else "There is no plan yet.",
        )
    for name, pdf in sheets.items():
        write_atomic(out / f"{name}.pdf", pdf)
    return [str(out / f"{name}.pdf") for name in sheets]
