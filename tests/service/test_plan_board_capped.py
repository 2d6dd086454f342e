"""A garage of five levels kept open: the cap, what is cut off, and how it is asked for."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from tests.service.garage_made import (
    A_DAY,
    ACCESSIBLE,
    MOST,
    STALLS,
    TOTAL,
    garage_out,
    garage_problem,
)
from tests.web.client import TestClient
from typer.testing import CliRunner

from tackfree.plan.check import check_plan
from tackfree.plan.check_rules import closed_slots, lost_stalls
from tackfree.plan.solve import solve
from tackfree.plan.types import Plan, Problem
from tackfree.service.plan_board.sheet import Sheet, built_sheet
from tackfree.service.plan_board.stalls import lines, stall_day, stall_days
from tackfree.web.app import create_app


@pytest.fixture(scope="module")
def solved() -> tuple[Problem, Plan]:
    problem = garage_problem()
    return problem, solve(problem, deterministic_limit=0.01, tries=1)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory, solved: tuple[Problem, Plan]) -> Path:
    return garage_out(tmp_path_factory.mktemp("garage") / "out", *solved)


@pytest.fixture(scope="module")
def sheet(out: Path) -> Sheet:
    return built_sheet(out)


def test_the_cap_of_276_is_kept_every_day_of_the_calendar(sheet: Sheet) -> None:
    # practice: scenario Harbourgate: 300,000 ft² at 325 ft² a stall, 30 % of 923 may close
    assert (sum(STALLS), int(TOTAL * 0.3)) == (TOTAL, MOST)
    assert check_plan(sheet.problem, sheet.plan) == ()
    days = stall_days(sheet)
    assert 0 < max(d.gone for d in days) <= MOST
    assert not any(d.over for d in days)
    # of the eight accessible stalls, all at ramps, four stay at any time
    assert all(d.accessible_total - d.accessible >= ACCESSIBLE for d in days)
    assert all(d.closed == 0 for d in days if not d.shut)


def test_a_days_count_is_the_planners_own(sheet: Sheet) -> None:
    closed = closed_slots(sheet.problem, sheet.plan)
    for d in stall_days(sheet):
        begin, end = sheet.day_slots(d.day)
        # the checker's count at each slot, by code that knows nothing of the calendar
        each = {frozenset(closed.get(s, ())) for s in range(begin, end)}
        assert d.gone == max(lost_stalls(sheet.problem, shut) for shut in each)
        own = dict(zip((c.section_id for c in sheet.problem.closures), STALLS, strict=True))
        assert any(d.closed == sum(own[s] for s in shut) for shut in each)


def test_stalls_behind_two_closed_bays_are_cut_off_and_named(sheet: Sheet) -> None:
    # by hand: L1-B2 and L1-B4 closed leave L1-B3 without a way; the levels above keep both ramps
    gone = sheet.gone.of(frozenset({"L1-B2", "L1-B4"}))
    assert gone.cut == {("L1-B3", "L1-B3"): 37}
    assert (gone.closed_n, gone.cut_n, gone.total) == (74, 37, 111)
    # both bays at the ramps of level 2: its middle and all above it, 3 × 37 + 15 bays
    above = sheet.gone.of(frozenset({"L2-B1", "L2-B5"}))
    assert above.cut_n == 3 * 37 + sum(STALLS[10:])
    assert above.total == lost_stalls(sheet.problem, {"L2-B1", "L2-B5"})


def test_the_calendar_is_asked_for_by_command_and_page(out: Path, sheet: Sheet) -> None:
    from tackfree.cli.app import app

    worst = max(stall_days(sheet), key=lambda d: d.gone)
    done = CliRunner().invoke(
        app, ["plan", "stalls", str(out), "--date", worst.day.isoformat(), "--json"]
    )
    (row,) = json.loads(done.stdout)["days"]
    assert (row["gone"], row["closed_max"], row["total"]) == (worst.gone, MOST, TOTAL)
    assert row["gone"] == row["closed"] + row["cut_off"]
    site = create_app(out, today=lambda zone: worst.day)
    client = TestClient(site, base_url="http://127.0.0.1", headers={"accept": "text/html"})
    for lang in ("en", "es"):
        page = client.get("/plan/stalls", params={"day": worst.day.isoformat(), "lang": lang})
        assert page.status_code == 200
        assert f"{worst.gone}</b>" in page.text
        assert "276" in page.text


def test_cut_off_stalls_are_told_apart_on_the_day(sheet: Sheet) -> None:
    # by hand: L1-B2 and L1-B4 closed on day 7 alone, every other bay much later
    placed, opens = [], {}
    for p in sheet.plan.placed:
        begin = 7 * A_DAY + 14 if p.section_id in ("L1-B2", "L1-B4") else 40 * A_DAY
        placed.append(replace(p, start=begin, end=begin + 8))
        opens[p.section_id] = begin + 2 * A_DAY
    moved = replace(sheet, plan=replace(sheet.plan, placed=tuple(placed), opens=opens))
    day = stall_day(moved, date(2027, 4, 19))
    (cut,) = [s for s in day.shut if s.behind]
    assert (cut.place.id, set(cut.behind), len(cut.numbers)) == ("L1-B3", {"L1-B2", "L1-B4"}, 37)
    assert (day.closed, day.cut, day.gone) == (74, 37, 111)
    text = "\n".join(lines(moved, day, "en"))
    assert "111 of 923 stalls cannot be used: 74 closed, 37 cut off" in text
    assert "L1-B3: 37 stalls cut off" in text
