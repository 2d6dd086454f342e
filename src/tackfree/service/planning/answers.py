"""Answers about a plan as text and as documents."""

from __future__ import annotations

from typing import Any

from tackfree.service.papers import at_slot
from tackfree.service.pipeline import Pipeline
from tackfree.service.planning.stress import StressReport

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


def _iso(made: Pipeline, slot: int | None) -> str | None:
    return None if slot is None else at_slot(made, slot).isoformat()


def _scaled(value: int | None, by: float) -> float | None:
    return None if value is None else value * by
