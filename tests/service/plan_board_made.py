"""A small built job whose plan holds: three sections, a crew each, one wait a coat."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.web.made import COATS, SLOTS, STEPS, make_out, slot

CREWS = ("CREW-1", "CREW-2", "CREW-3", "CREW-4")  # one a section, one idle


def plan_out(out: Path, *, job_id: str = "ALDER-ROW", most: int = 54) -> Path:
    """Like ``make_out``, with crews, waits and closures; S01 and S02 on P1, S03 on P2.

    Each section: PREP, DETAILS, PRIMER, BASE, TOP on days 2k … 2k+4 (k from 0), 13 h on
    even steps and 7 h on odd ones, 2.5 h each by CREW-(k+1); BASE and TOP must be down 96
    slots (two days) after the coat before began and may begin 12 h after it ended.
    Cars come on day 2k+8, 10 h. Eighteen stalls a section.
    """
    make_out(out)
    stage: dict[str, Any] = json.loads((out / "stages/plan.json").read_text("utf-8"))
    problem, plan = stage["problem"], stage["plan"]
    problem["slots"] = SLOTS
    problem["crews"] = [
        {"id": c, "people": 6, "skills": ["coating"], "shift_ids": ["DAY"], "rates": {}}
        for c in CREWS
    ]
    problem["stalls_closed_max"] = most
    problem["stalls_total"] = 54
    for t in problem["tasks"]:
        t["starts"] = [[slot(d, 7), slot(d, 13)] for d in range(14)]
    ends = range(SLOTS + 1)
    problem["lags"] = [
        {"before": f"{s}/{a}", "after": f"{s}/{b}", "earliest": [e + 24 for e in ends],
         "down_within": 96 if a in COATS else None}
        for s in ("S01", "S02", "S03")
        for a, b in pairwise(STEPS)
    ]  # fmt: skip
    at = {p["task_id"]: p for p in plan["placed"]}
    closures = []
    for s, opens in plan["opens"].items():
        wait = opens - at[f"{s}/TOP"]["end"]
        table = [e + wait for e in ends]
        closures.append({"section_id": s, "stalls": 18, "first": f"{s}/PREP", "last": f"{s}/TOP",
                         "open_at": table})  # fmt: skip
    problem["closures"] = closures
    plan["stages"] = []
    for p in plan["placed"]:
        p["crew_id"] = f"CREW-{p['section_id'][-1]}"
    (out / "stages/plan.json").write_text(json.dumps(stage), "utf-8")
    stalls = [
        {"deck_id": "P2" if s == "S03" else "P1", "section_id": s, "number": f"{100 * k + i:03d}",
         "count": 1, "accessible": s == "S01" and i <= 3, "x_m": 0.0, "y_m": 0.0}
        for k, s in enumerate(("S01", "S02", "S03"), 1)
        for i in range(1, 19)
    ]  # fmt: skip
    (out / "stages/stalls.json").write_text(
        json.dumps({"schema": "tackfree.stalls/1", "stalls": stalls}), "utf-8"
    )
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    summary["job"]["id"] = job_id
    (out / "summary.json").write_text(json.dumps(summary), "utf-8")
    return out
