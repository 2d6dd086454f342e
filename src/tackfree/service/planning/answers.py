"""Answers about a plan as text and as documents."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from tackfree import units
from tackfree.plan.stress import Stressed
from tackfree.plan.why import ASKED, FOUND, IMPOSSIBLE, Why
from tackfree.service.papers import at_slot
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan_board.ahead import day_name
from tackfree.service.planning.holds import hold_rows
from tackfree.service.planning.replan import ReplanReport
from tackfree.service.planning.stress import StressReport
from tackfree.service.planning.why import Traded
from tackfree.words import catalogue, say

SHARES = (0.1, 0.5, 0.8, 0.9)


# The planner names its rules in English; a rule that the job names keeps its own name.
RULES = {
    ASKED: "asked",
    "stalls kept open": "stalls",
    "accessible stalls": "accessible",
    "dust beside wet film": "dust",
    "crews' way in": "way",
}
NAMED = {"crew ": "crew", "machine ": "machine", "kits of ": "kits", "hold point ": "hold"}


def _tell(name: str, language: str, **values: Any) -> str:
    return say(f"planning.{name}", language, **values)


def day(made: Pipeline, slot: int | None, language: str) -> str:
    """A slot's date with its year."""
    if slot is None:
        return _tell("never", language)
    at = at_slot(made, slot)
    return f"{day_name(at.date(), language)} {at.year}"


def moment(made: Pipeline, slot: int, language: str) -> str:
    """A slot's date and time of day."""
    at = at_slot(made, slot)
    return f"{day_name(at.date(), language)} {at:%H:%M}"


def rule_name(rule: str, language: str) -> str:
    """A rule of the planner in a language."""
    if rule in RULES:
        return _tell(f"rule.{RULES[rule]}", language)
    for head, name in NAMED.items():
        if rule.startswith(head):
            return _tell(f"rule.{name}", language, id=rule.removeprefix(head))
    return rule


def _word(table: str, text: str, language: str) -> str:
    """A word of the planner in a language; one that is not known stays as it is."""
    name = f"planning.{table}.{text.lower().replace(' ', '-')}"
    return say(name, language) if name in catalogue("en") else text


def stress_document(made: Pipeline, report: StressReport) -> dict[str, Any]:
    """Every plan's percentiles; times as ISO dates with offset."""
    stall_days = days = made.problem.slot_s / 86400
    hours = made.problem.slot_s / 3600
    rows = []
    for plan, held in zip(report.plans, report.stressed, strict=True):
        rows.append(
            {
                "seed": plan.seed,
                "planned": at_slot(made, held.planned).isoformat(),
                "finish": {f"p{share * 100:.0f}": _iso(made, held.finish(share))
                           for share in SHARES},
                "stall_days": {f"p{share * 100:.0f}": _scaled(held.stall_slots(share), stall_days)
                               for share in SHARES},
                "windows_missed_per_year": held.missed,
                "coats_redone_per_year": held.redone,
                "redo_crew_h_per_year": held.redo_slots * hours,
                "redo_l_per_year": held.redo_l,
                "redo_delay_days": {f"p{share * 100:.0f}": _scaled(held.delay(share), days)
                                    for share in SHARES},
                "years": [
                    {"label": x.label, "finish": _iso(made, x.finish), "missed": x.missed,
                     "redone": x.redone, "redo_crew_h": x.redo_slots * hours,
                     "redo_l": x.redo_l, "redo_delay_days": _scaled(x.delay, days)}
                    for x in held.lived
                ],
            }
        )  # fmt: skip
    return {
        "schema": "tackfree.plan-stress/1",
        "weather": say(report.source),
        "plans": rows,
        "chosen": report.chosen,
    }


def stress_text(made: Pipeline, report: StressReport, language: str = "en") -> str:
    def tell(name: str, **values: Any) -> str:
        return _tell(f"stress.{name}", language, **values)

    lines = [tell("weather", source=say(report.source, language))]
    stall_days = made.problem.slot_s / 86400
    for n, held in enumerate(report.stressed):
        name = "one" if len(report.plans) == 1 else "one-of"
        lines.append(tell(name, n=n + 1, day=day(made, held.planned, language)))
        for share in SHARES:
            lost = _scaled(held.stall_slots(share), stall_days)
            said = {"share": f"{share * 100:.0f}", "day": day(made, held.finish(share), language)}
            lines.append(
                tell("share", **said) if lost is None
                else tell("share-stalls", stalls=f"{lost:,.0f}", **said)
            )  # fmt: skip
        lines.append(tell("missed", n=f"{held.missed:.1f}"))
        if held.redone:
            lines.append(_redone(made, held, language))
    if len(report.plans) > 1:
        lines.append(tell("chosen", n=report.chosen + 1))
    lines.append(tell("promise"))
    return "\n".join(lines)


def _redone(made: Pipeline, held: Stressed, language: str) -> str:
    """What lost windows cost in a year: coats, crew-hours, liquid, and days in bad years."""
    delay = _scaled(held.delay(0.8), made.problem.slot_s / 86400)
    values = {
        "n": f"{held.redone:.1f}",
        "hours": f"{held.redo_slots * made.problem.slot_s / 3600:,.0f}",
        "gal": f"{held.redo_l / units.L_PER_GAL:,.0f}",
        "l": f"{held.redo_l:,.0f}",
    }
    said = _tell("stress.redone", language, **values)
    if delay is None:
        return f"{said} {_tell('stress.redone-never', language)}"
    return f"{said} {_tell('stress.redone-delay', language, days=f'{delay:.1f}')}"


def why_document(made: Pipeline, why: Why) -> dict[str, Any]:
    """Answer, core of rules and changes; sizes in words."""
    return {
        "schema": "tackfree.plan-why-not/1",
        "answer": why.answer,
        "finish": _iso(made, why.finish),
        "reasons": [say(r) for r in why.reasons],
        "core": list(why.core),
        "minimal": why.minimal,
        "changes": [
            {"rule": c.rule, "size": c.size, "answer": c.answer, "finish": _iso(made, c.finish)}
            for c in why.changes
        ],
    }


def why_text(made: Pipeline, why: Why, language: str = "en") -> str:
    def tell(name: str, **values: Any) -> str:
        return _tell(f"why.{name}", language, **values)

    if why.answer == FOUND:
        return tell("found", day=day(made, why.finish, language))
    if why.answer == IMPOSSIBLE:
        lines = [tell("impossible"), *(f"  {say(r, language)}" for r in why.reasons)]
        if why.core:
            rules = ", ".join(rule_name(r, language) for r in why.core)
            lines.append(tell("core" if why.minimal else "core-among", rules=rules))
    else:
        lines = [tell("unknown")]
    for c in why.changes:
        if c.answer == FOUND:
            said = tell("gives", day=day(made, c.finish, language))
        else:
            said = tell("no-help" if c.answer == IMPOSSIBLE else "nothing")
        size = _tell("left-out", language) if c.size == "left out" else c.size
        lines.append(tell("change", rule=rule_name(c.rule, language), size=size, said=said))
    return "\n".join(lines)


def trade_document(made: Pipeline, curve: tuple[Traded, ...]) -> dict[str, Any]:
    days = made.problem.slot_s / 86400
    return {
        "schema": "tackfree.plan-trade/1",
        "points": [
            {
                "stalls_open": t.open_share,
                "status": t.status,
                "finish": _iso(made, t.finish),
                "no_plan_before": _iso(made, t.bound),
                "stall_days": _scaled(t.stall_slots, days),
            }
            for t in curve
        ],
    }


def trade_text(made: Pipeline, curve: tuple[Traded, ...], language: str = "en") -> str:
    heads = [_tell(f"trade.{x}", language) for x in ("open", "finish", "bound", "stalls")]
    rows = [heads]
    for t in curve:
        share = f"{t.open_share:.0%}"
        if t.finish is None:
            rows.append([share, _word("status", t.status, language), "", ""])
            continue
        lost = _scaled(t.stall_slots, made.problem.slot_s / 86400)
        rows.append([share, day(made, t.finish, language), day(made, t.bound, language),
                     f"{lost or 0:,.0f}"])  # fmt: skip
    wide = [max(len(r[k]) for r in rows) for k in range(4)]
    return "\n".join(
        f"{a:>{wide[0]}}  {b:{wide[1]}}  {c:{wide[2]}}  {d:>{wide[3]}}".rstrip()
        for a, b, c, d in rows
    )


def replan_document(made: Pipeline, report: ReplanReport) -> dict[str, Any]:
    """The new plan with its problem, in the form of ``plan make --json``, and the changes."""
    got = report.got
    hours = made.problem.slot_s / 3600
    return {
        "schema": "tackfree.plan-replan/1",
        "now": _iso(made, report.now),
        "recorded": list(report.recorded),
        "taken_as_planned": list(report.assumed),
        "changes": [
            {"task": c.task_id, "was": _iso(made, c.was), "now": _iso(made, c.now)}
            for c in got.changes
        ],
        "windows_lost": [
            {
                "coat": x.before,
                "next": x.after,
                "abrade_h": hours
                * sum(t.duration for t in x.added if t.step_id.startswith("ABRADE")),
                "planned": [{"task": t.id, "work_h": t.duration * hours} for t in x.added],
                "way": way.id,
                "work_h": way.hours,
                "volume_l": way.volume_l,
            }
            for x, way in zip(got.lost, report.ways, strict=True)
        ],
        "could_not_stay": list(got.unfrozen),
        "holds": hold_rows(got.problem, got.plan, ZoneInfo(made.job.place.time_zone)),
        "problem": got.problem,
        "plan": got.plan,
    }


def replan_text(made: Pipeline, report: ReplanReport, language: str = "en") -> str:
    def tell(name: str, **values: Any) -> str:
        return _tell(f"replan.{name}", language, **values)

    got = report.got
    lines = [tell("recorded", n=len(report.recorded))]
    if report.assumed:
        mine: dict[str, list[str]] = {}
        for name in report.assumed:
            section, step = name.split("/", 1)
            mine.setdefault(section, []).append(step)
        lines.append(tell("assumed", n=len(report.assumed)))
        lines += [f"  {section}: {', '.join(steps)}" for section, steps in mine.items()]
    for x, way in zip(got.lost, report.ways, strict=True):
        said = [tell("lost", after=x.after, before=x.before), say(way.message, language)]
        steps = ", ".join(
            f"{t.step_id} {t.duration * made.problem.slot_s / 3600:g} h" for t in x.added
        )
        said.append(tell("planned", steps=steps) if x.added else tell("unplanned"))
        if any(t.wet for t in x.added):
            said.append(tell("cured"))
        lines.append(" ".join(said))
    lines += [tell("cannot-stay", task=name) for name in got.unfrozen]
    if not got.plan.placed:
        lines.append(tell("none", status=_word("status", got.plan.status, language)))
        return "\n".join([*lines, *(say(r, language) for r in got.plan.reasons)])
    lines.append(tell("changes", n=len(got.changes), of=len(got.plan.placed)))
    for c in sorted(got.changes, key=lambda c: (c.now, c.task_id)):
        was = tell("new") if c.was is None else moment(made, c.was, language)
        lines.append(f"  {c.task_id:24} {was:17} -> {moment(made, c.now, language)}")
    finish = next(s for s in got.plan.stages if s.name == "finish")
    lines.append(
        tell("finish", day=day(made, int(finish.value), language),
             bound=day(made, int(finish.bound), language),
             source=_word("source", finish.bound_source, language))
    )  # fmt: skip
    return "\n".join(lines)


def _iso(made: Pipeline, slot: int | None) -> str | None:
    return None if slot is None else at_slot(made, slot).isoformat()


def _scaled(value: int | None, by: float) -> float | None:
    return None if value is None else value * by
