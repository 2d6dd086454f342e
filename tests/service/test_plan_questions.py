"""Daily questions 4, 8, 14, 19 and 20 on the built demo, each beside a sum of its own.

The sums read ``plan.json``, ``stalls.json`` and ``marks.json`` as plain numbers and share
no code with the answers.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pydantic import TypeAdapter

from tackfree.plan.types import Plan, Problem
from tackfree.service import board
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan_board import ask, stalls
from tackfree.service.plan_board.sheet import Sheet, built_sheet

ZONE = ZoneInfo("America/New_York")
FT2 = 0.3048**2
OTHER = {"PREP", "DETAILS", "SWEEP", "STRIPE"}


@pytest.fixture(scope="module")
def raw(demo_out: Path) -> Any:
    """What the build wrote, and how to read a slot."""
    stage = json.loads((demo_out / "stages/plan.json").read_text("utf-8"))
    slot0, slot_s = stage["problem"]["slot0_utc_s"], stage["problem"]["slot_s"]
    return SimpleNamespace(
        problem=stage["problem"],
        placed=stage["plan"]["placed"],
        opens=stage["plan"]["opens"],
        time=lambda s: datetime.fromtimestamp(slot0 + s * slot_s, UTC).astimezone(ZONE),
        slot=lambda t: (t.timestamp() - slot0) / slot_s,
        hour=slot_s / 3600,
    )


@pytest.fixture(scope="module")
def sheet(demo_out: Path) -> Sheet:
    return built_sheet(demo_out)


@pytest.fixture(scope="module")
def made(demo: Path, demo_out: Path) -> Pipeline:
    """The demo's job with the plan that was built, not planned again."""
    stage = json.loads((demo_out / "stages/plan.json").read_text("utf-8"))
    found = Pipeline.of(demo)
    vars(found)["problem"] = TypeAdapter(Problem).validate_python(stage["problem"])
    vars(found)["plan"] = TypeAdapter(Plan).validate_python(stage["plan"])
    return found


def dates(raw: Any) -> list[date]:
    return sorted({raw.time(p["start"]).date() for p in raw.placed})


def over_by_monday(made: Pipeline, raw: Any, day: date) -> set[str]:
    """Sections whose last coat before 18:00 of a day is past its maximum on Monday at 07:00."""
    tonight, monday = evening(day), monday_after(day)
    found = set()
    for section in made.sections.sections:
        coats = made.job.build_ups[section.build_up_id].coats
        begun = [
            (raw.time(p["start"]), c)
            for c in coats
            for p in raw.placed
            if p["section_id"] == section.id and p["step_id"] == c.id
            and raw.time(p["start"]) < tonight
        ]  # fmt: skip
        if begun and len(begun) < len(coats):
            first, coat = begun[-1]
            most = made.job.products[coat.product_id].recoat_before_h
            if most is not None and first + timedelta(hours=most) < monday:
                found.add(section.id)
    return found


def evening(day: date) -> datetime:
    return datetime.combine(day, time(18), ZONE)


def monday_after(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=7 - day.weekday()), time(7), ZONE)


def test_4_over_their_window_by_monday_if_it_rains_tonight(made: Pipeline, raw: Any) -> None:
    day = max(dates(raw), key=lambda d: len(over_by_monday(made, raw, d)))
    want = over_by_monday(made, raw, day)
    rows = board.board(made, monday_after(day), evening(day))
    assert {x.section_id for x in rows if x.state == "past"} == want
    assert want


def _reached(raw: Any, shut: set[str]) -> set[str]:
    """Places to drive that a car gets to from the street and back."""
    access = raw.problem["access"]
    blocked = {n for s, nodes in access["blocks"] if s in shut for n in nodes}
    ways: list[set[str]] = []
    for back in (False, True):
        seen, more = {"street"}, True
        while more:
            more = False
            for a, b, one_way in access["edges"]:
                pairs = [(b, a) if back else (a, b)] + ([] if one_way else [(a, b), (b, a)])
                for x, y in pairs:
                    if x in seen and y not in seen and y not in blocked:
                        seen.add(y)
                        more = True
        ways.append(seen)
    return ways[0] & ways[1]


def test_8_stalls_that_the_owner_keeps_on_thursday(sheet: Sheet, raw: Any) -> None:
    begins = {
        c["section_id"]: next(p["start"] for p in raw.placed if p["task_id"] == c["first"])
        for c in raw.problem["closures"]
    }

    def shut_at_noon(day: date) -> int:
        noon = raw.slot(datetime.combine(day, time(12), ZONE))
        return sum(p.stalls for p in sheet.places if begins[p.id] <= noon < raw.opens[p.id])

    thursday = max((d for d in dates(raw) if d.weekday() == 3), key=shut_at_noon)
    first = math.ceil(raw.slot(datetime.combine(thursday, time(0), ZONE)))
    last = math.ceil(raw.slot(datetime.combine(thursday + timedelta(days=1), time(0), ZONE)))
    usual = _reached(raw, set())
    worst, gone = 0, set()
    for slot in range(first, last):
        shut = {s for s in begins if begins[s] <= slot < raw.opens[s]}
        open_to = _reached(raw, shut)
        lost = 0
        for g in raw.problem["access"]["groups"]:
            cut = bool(g["node"]) and g["node"] in usual and g["node"] not in open_to
            lost += g["count"] if g["section_id"] in shut or cut else 0
        worst = max(worst, lost)
        gone |= shut
    day = stalls.stall_day(sheet, thursday)
    assert day.gone == worst > 0
    assert day.total - day.gone == sum(g["count"] for g in raw.problem["access"]["groups"]) - worst
    closed = {s.place.id for s in day.shut if not s.behind}
    with_stalls = {p.id for p in sheet.places if p.stalls}
    assert closed == gone & with_stalls
    said = "\n".join(stalls.lines(sheet, day, "en"))
    assert f"{worst} of {day.total} stalls" in said
    for s in day.shut:  # every painted number of a closed section stands in the answer
        assert not s.numbers or stalls.numbers_said(s.numbers) in said


def test_14_pace_against_the_date(sheet: Sheet, raw: Any) -> None:
    coats = [p for p in raw.placed if p["step_id"] not in OTHER]
    starts = sorted(p["start"] for p in coats)
    now = raw.time(starts[len(starts) // 3]).replace(hour=6, minute=0) + timedelta(days=1)
    kits = {(p["section_id"], p["step_id"]): 8 for p in coats}
    behind = {}  # of every coat that is over, six of eight kits went in, at its start
    for p in coats:
        if raw.time(p["end"]) <= now:
            behind[p["section_id"], p["step_id"]] = [raw.time(p["start"]).timestamp()] * 6
    found = ask.pace(sheet, behind, kits, now)
    at = math.floor(raw.slot(now))
    hours = {(p["section_id"], p["step_id"]): (p["end"] - p["start"]) * raw.hour for p in coats}
    planned = sum(max(0, min(p["end"], at) - p["start"]) * raw.hour for p in coats)
    done = sum(hours[k] * 6 / 8 for k in behind)
    assert found.planned_h == pytest.approx(planned)
    assert found.done_h == pytest.approx(done)
    assert found.left_h == pytest.approx(sum(hours.values()) - done)
    begun = min(datetime.fromtimestamp(t[0], ZONE).date() for t in behind.values())
    days = (now.date() - begun).days + 1
    finish = max(max(raw.opens.values()), max(p["end"] for p in raw.placed))
    tail = finish - max(p["end"] for p in coats)
    assert found.finish == finish
    # the hours left, at the hours earned a day so far, then cure and stripes as planned
    pace = at + found.left_h / (done / days) * 24 / raw.hour + tail
    assert found.at_pace == pytest.approx(pace)
    assert found.low <= found.at_pace <= found.high
    assert f"{done:.1f} of the {planned:.1f} crew-hours" in ask.pace_text(sheet, found, now)


def test_19_the_mark_to_stop_at(sheet: Sheet, raw: Any, demo_out: Path) -> None:
    p = max((p for p in raw.placed if p["step_id"] == "BASE"), key=lambda p: p["end"] - p["start"])
    day = raw.time(p["start"])
    by = (day + (raw.time(p["end"]) - day) / 2).time()
    layouts = json.loads((demo_out / "stages/marks.json").read_text("utf-8"))["layouts"]
    cells = next(x["cells"] for x in layouts
                 if (x["section_id"], x["coat_id"]) == (p["section_id"], "BASE"))  # fmt: skip
    found = next(s for s in ask.stops(sheet, ask.layouts_of(demo_out), day.date(), by)
                 if (s.section_id, s.coat_id) == (p["section_id"], "BASE"))  # fmt: skip
    assert found.kits == len(cells) > 1
    # half the time has gone, so half the kits, and none that is only begun
    assert found.done == len(cells) // 2
    assert found.cell == sorted(c["number"] for c in cells)[found.done - 1]
    said = ask.stop_text(sheet, [found], day.date(), by)
    assert f"Stop after kit mark {found.cell}" in said
    assert "drain" in said


def test_20_a_crew_that_is_two_short(sheet: Sheet, raw: Any) -> None:
    crew = next(c for c in raw.problem["crews"] if c["id"] == "CREW-DAY")

    def hours(d: date) -> int:
        mine = (p for p in raw.placed if p["crew_id"] == "CREW-DAY")
        return sum(p["end"] - p["start"] for p in mine if raw.time(p["start"]).date() == d)

    day = max(dates(raw), key=hours)
    rows = ask.short_crew(sheet, day, "CREW-DAY", 2)
    mine = sorted((p for p in raw.placed if p["crew_id"] == "CREW-DAY"
                   and raw.time(p["start"]).date() == day), key=lambda p: p["start"])  # fmt: skip
    assert [(r.section_id, r.step_id) for r in rows] == [
        (p["section_id"], p["step_id"]) for p in mine
    ]
    slower = crew["people"] / (crew["people"] - 2)
    ends = raw.slot(datetime.combine(day, time(15, 30), ZONE))  # practice: the demo's DAY shift
    at = {p["task_id"]: p for p in raw.placed}
    free = 0.0
    for r, p in zip(rows, mine, strict=True):
        limits = [
            at[x["before"]]["start"] + x["down_within"]
            for x in raw.problem["lags"]
            if x["after"] == p["task_id"] and x["down_within"] is not None
        ]
        begin = max(p["start"], free)
        need = (p["end"] - p["start"]) * slower
        last = min([ends, *limits])
        assert r.begin == pytest.approx(begin)
        assert r.share == pytest.approx(min(1.0, max(0.0, (last - begin) / need)))
        free = min(begin + need, last)
    assert any(r.share < 1 for r in rows)
