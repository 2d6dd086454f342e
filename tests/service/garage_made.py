"""Harbourgate: a garage of five levels that stays open while it is coated (invented).

923 stalls on five levels of 60,000 ft², five bays of 12,000 ft² a level, and at most
30 % of the stalls closed: 276. Every bay is a section with a lane between its two rows.
Lanes of a level meet their neighbours; the first and the last bay of each level carry a
ramp, and on the first level a gate. So a closed bay may cut off those behind it:

    level 2   B1 - B2 - B3 - B4 - B5
              |                   |     ramps
    level 1   B1 - B2 - B3 - B4 - B5
              gate                gate
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from shapely.geometry import box, mapping
from tests.web.made import drawing, make_out

from tackfree.plan.types import (
    STREET,
    Access,
    Closure,
    Crew,
    Keep,
    Lag,
    Plan,
    Problem,
    ShiftSpan,
    StallGroup,
    Task,
)
from tackfree.service.save import dumps, to_json

FIRST = date(2027, 4, 19)
DAYS, A_DAY = 100, 48
SLOTS = DAYS * A_DAY
SLOT0 = int(datetime(2027, 4, 12, tzinfo=UTC).timestamp())
LEVELS, BAYS = 5, 5
# 36 or 37 stalls a bay, 923 in all; practice: 325 ft² a stall on 300,000 ft²
STALLS = [37] * 23 + [36] * 2
TOTAL, MOST = 923, 276
# hours of a crew on 12,000 ft²; practice: 1,500 to 3,000 ft²/h
STEPS = {"PREP": 8.0, "PRIMER": 4.0, "BASE": 8.0, "TOP": 8.0, "STRIPE": 4.0}
ACCESSIBLE = 4  # on each bay at a ramp


def names() -> list[str]:
    return [f"L{level}-B{bay}" for level in range(1, LEVELS + 1) for bay in range(1, BAYS + 1)]


def garage_problem() -> Problem:
    """The planning problem; times in half hours, UTC for simplicity's sake."""
    ends = range(SLOTS + 1)
    spans = tuple(
        ShiftSpan(shift_id="DAY", on=date(2027, 4, 12) + timedelta(days=d),
                  begin=A_DAY * d + 14, end=A_DAY * d + 31)
        for d in range(7, DAYS)
        if d % 7 < 5
    )  # fmt: skip
    tasks, lags, closures = [], [], []
    for name, stalls in zip(names(), STALLS, strict=True):
        for step, hours in STEPS.items():
            long = round(hours * 2)
            tasks.append(
                Task(id=f"{name}/{step}", section_id=name, step_id=step, skill="coating",
                     duration=long,
                     starts=tuple((s.begin, s.end - long) for s in spans))
            )  # fmt: skip
        for a, b in pairwise(STEPS):
            coat = a in ("PRIMER", "BASE", "TOP")
            lags.append(
                Lag(before=f"{name}/{a}", after=f"{name}/{b}",
                    earliest=tuple(e + 24 * coat for e in ends),
                    down_within=4 * A_DAY if a in ("PRIMER", "BASE") else None,
                    same_or_next_shift=a == "PREP")
            )  # fmt: skip
        cars = tuple(e + 3 * A_DAY for e in ends)  # practice: about three days to cars
        closures.append(
            Closure(section_id=name, stalls=stalls, first=f"{name}/PREP", last=f"{name}/STRIPE",
                    open_at=tuple(e + 2 for e in ends), also=((f"{name}/TOP", cars),))
        )  # fmt: skip
    crews = tuple(
        Crew(id=f"CREW-{c}", people=7, skills=("coating",), shift_ids=("DAY",)) for c in "AB"
    )
    return Problem(
        slot0_utc_s=SLOT0, slot_s=1800, slots=SLOTS, shifts=spans, crews=crews,
        tasks=tuple(tasks), lags=tuple(lags), closures=tuple(closures),
        stalls_total=TOTAL, stalls_closed_max=MOST, access=_access(),
        keeps=(Keep(name="a gate to the street", sections=("L1-B1", "L1-B5"), open_min=1),),
    )  # fmt: skip


def _access() -> Access:
    edges = [(STREET, f"L1-B{b}", False) for b in (1, BAYS)]
    for level in range(1, LEVELS + 1):
        edges += [(f"L{level}-B{b}", f"L{level}-B{b + 1}", False) for b in range(1, BAYS)]
        if level > 1:
            edges += [(f"L{level - 1}-B{b}", f"L{level}-B{b}", False) for b in (1, BAYS)]
    groups = [
        StallGroup(section_id=n, node=n, count=k,
                   accessible=ACCESSIBLE if n in ("L1-B1", "L1-B5") else 0)
        for n, k in zip(names(), STALLS, strict=True)
    ]  # fmt: skip
    return Access(
        nodes=tuple(names()), edges=tuple(edges), blocks=tuple((n, (n,)) for n in names()),
        groups=tuple(groups), accessible_open_min=ACCESSIBLE,
    )  # fmt: skip


def garage_out(out: Path, problem: Problem, plan: Plan) -> Path:
    """The output folder of a build, as far as the plan's pages read it."""
    make_out(out)
    decks = [f"L{k}" for k in range(1, LEVELS + 1)]
    sections, stalls = [], []
    for k, (name, count) in enumerate(zip(names(), STALLS, strict=True)):
        bay = k % BAYS
        floor = box(18.288 * bay, 0, 18.288 * (bay + 1), 60.96)
        sections.append(
            {"id": name, "deck_id": name[:2], "zone_ids": [f"{name[:2]}-BAY"], "duty": "light",
             "build_up_id": "BU-STALL", "exposure": "covered", "developed_m2": 1114.8,
             "stalls": count, "floor": mapping(floor)}
        )  # fmt: skip
        stalls += [
            {"deck_id": name[:2], "section_id": name, "number": f"{name[1]}{bay * 40 + i:03d}",
             "count": 1, "accessible": name in ("L1-B1", "L1-B5") and i <= ACCESSIBLE,
             "node": name, "x_m": 0.0, "y_m": 0.0}
            for i in range(1, count + 1)
        ]  # fmt: skip
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    summary["job"] |= {"id": "HARBOURGATE", "name": "Harbourgate Garage", "time_zone": "UTC"}
    summary["decks"] = [{"id": d, "name": f"Level {d[1]}", "post_tensioned": "no"} for d in decks]
    files = {
        "summary.json": summary,
        "stages/sections.json": {"schema": "tackfree.sections/1", "sections": sections},
        "stages/stalls.json": {"schema": "tackfree.stalls/1", "stalls": stalls},
        "stages/plan.json": {
            "schema": "tackfree.plan/1", "slot0_utc_s": SLOT0, "slot_s": 1800,
            "problem": to_json(problem), "plan": to_json(plan),
        },
    }  # fmt: skip
    for name, document in files.items():
        (out / name).write_text(dumps(document), "utf-8")
    for d in decks:
        svg = drawing(d, [n for n in names() if n.startswith(d)])
        (out / f"drawings/{d}.svg").write_text(svg, "utf-8")
    return out
