"""Answers about a plan as text and as documents."""

from __future__ import annotations

from typing import Any

from tackfree.plan.why import FOUND, IMPOSSIBLE, Why
from tackfree.service.papers import at_slot
from tackfree.service.pipeline import Pipeline
from tackfree.service.planning.replan import ReplanReport
from tackfree.service.planning.stress import StressReport
from tackfree.service.planning.why import Traded
from tackfree.words import say

SHARES = (0.1, 0.5, 0.8, 0.9)


def day(made: Pipeline, slot: int | None) -> str:
    return "not in the horizon" if slot is None else f"{at_slot(made, slot):%a %d %b %Y}"


def stress_document(made: Pipeline, report: StressReport) -> dict[str, Any]:
    """Every plan's percentiles; times as ISO dates with offset."""
    stall_days = made.problem.slot_s / 86400
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
                "years": [{"label": x.label, "finish": _iso(made, x.finish), "missed": x.missed}
                          for x in held.lived],
            }
        )  # fmt: skip
    return {
        "schema": "tackfree.plan-stress/1",
        "weather": report.source,
        "plans": rows,
        "chosen": report.chosen,
    }


def stress_text(made: Pipeline, report: StressReport) -> str:
    lines = [f"Weather: {report.source}."]
    stall_days = made.problem.slot_s / 86400
    for n, held in enumerate(report.stressed):
        name = "Plan" if len(report.plans) == 1 else f"Plan {n + 1}"
        lines.append(f"{name}, made on one weather for {day(made, held.planned)}:")
        for share in SHARES:
            lost = _scaled(held.stall_slots(share), stall_days)
            tail = "" if lost is None else f", {lost:,.0f} stall-days"
            lines.append(f"  P{share * 100:.0f}  {day(made, held.finish(share))}{tail}")
        lines.append(f"  {held.missed:.1f} recoat windows missed in a year.")
    if len(report.plans) > 1:
        lines.append(f"By P80: plan {report.chosen + 1}.")
    lines.append("Promise the P80 date or later. Closures and ways could add to it.")
    return "\n".join(lines)


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


def why_text(made: Pipeline, why: Why) -> str:
    if why.answer == FOUND:
        return f"It can be done: a plan ends {day(made, why.finish)}."
    if why.answer == IMPOSSIBLE:
        lines = ["Proven: there is no such plan."]
        lines += [f"  {say(r)}" for r in why.reasons]
        if why.core:
            name = "These rules together rule it out" if why.minimal else (
                "The rules that rule it out are among these")  # fmt: skip
            lines.append(f"{name}: {', '.join(why.core)}.")
    else:
        lines = ["Not found in the time given; that does not prove that there is none."]
    for c in why.changes:
        said = {
            FOUND: f"gives {day(made, c.finish)} or earlier",
            IMPOSSIBLE: "does not help",
        }.get(c.answer, "nothing found in the time given")
        lines.append(f"  {c.rule}, {c.size}: {said}.")
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


def trade_text(made: Pipeline, curve: tuple[Traded, ...]) -> str:
    lines = ["Stalls open  Last section opens  No plan before   Stall-days"]
    for t in curve:
        if t.finish is None:
            lines.append(f"{t.open_share:>10.0%}   {t.status}")
            continue
        lost = _scaled(t.stall_slots, made.problem.slot_s / 86400)
        lines.append(
            f"{t.open_share:>10.0%}   {day(made, t.finish):18}  {day(made, t.bound):15}"
            f" {lost or 0:>11,.0f}"
        )
    return "\n".join(lines)


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
            {"coat": x.before, "next": x.after, "abrade_h": x.duration * hours} for x in got.lost
        ],
        "could_not_stay": list(got.unfrozen),
        "problem": got.problem,
        "plan": got.plan,
    }


def replan_text(made: Pipeline, report: ReplanReport) -> str:
    got = report.got
    hours = made.problem.slot_s / 3600
    lines = [f"{len(report.recorded)} steps done by the record."]
    if report.assumed:
        mine: dict[str, list[str]] = {}
        for name in report.assumed:
            section, step = name.split("/", 1)
            mine.setdefault(section, []).append(step)
        lines.append(f"{len(report.assumed)} steps taken as done as planned:")
        lines += [f"  {section}: {', '.join(steps)}" for section, steps in mine.items()]
    for x in got.lost:
        lines.append(
            f"Window lost: {x.after} after {x.before}; abrade and tie, {x.duration * hours:g} h."
        )
    for name in got.unfrozen:
        lines.append(f"{name} cannot stay on its day.")
    if not got.plan.placed:
        lines += [f"Plan: {got.plan.status}.", *(say(r) for r in got.plan.reasons)]
        return "\n".join(lines)
    lines.append(f"{len(got.changes)} of {len(got.plan.placed)} steps change:")
    for c in sorted(got.changes, key=lambda c: (c.now, c.task_id)):
        was = "new" if c.was is None else f"{at_slot(made, c.was):%a %d %b %H:%M}"
        lines.append(f"  {c.task_id:24} {was:17} -> {at_slot(made, c.now):%a %d %b %H:%M}")
    finish = next(s for s in got.plan.stages if s.name == "finish")
    lines.append(
        f"The last section opens {day(made, int(finish.value))}; no plan before "
        f"{day(made, int(finish.bound))} ({finish.bound_source})."
    )
    return "\n".join(lines)


def _iso(made: Pipeline, slot: int | None) -> str | None:
    return None if slot is None else at_slot(made, slot).isoformat()


def _scaled(value: int | None, by: float) -> float | None:
    return None if value is None else value * by
