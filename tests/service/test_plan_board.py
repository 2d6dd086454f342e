"""Faces of a plan: moves and their words, stalls by day, papers, jobs, daily questions."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path

import icalendar
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.service.plan_board_made import plan_out
from tests.web.made import slot

from tackfree.errors import InputError, NotFound, Refused
from tackfree.plan.check import check_plan
from tackfree.plan.types import Equipment
from tackfree.service import job as jobs_of
from tackfree.service.plan_board import ahead, ask, faces, jobs, keep, stalls
from tackfree.service.plan_board.moves import (
    Move,
    faults_of,
    judge,
    moved,
    moves_text,
    read_moves,
)
from tackfree.service.plan_board.page import board_page
from tackfree.service.plan_board.sheet import Sheet, built_sheet

MON = date(2027, 4, 19)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return plan_out(tmp_path_factory.mktemp("plan") / "out")


@pytest.fixture(scope="module")
def sheet(out: Path) -> Sheet:
    return built_sheet(out)


def to(task: str, day: int, hour: float, crew: str = "CREW-1") -> Move:
    return Move(task_id=task, start=slot(day, hour), crew_id=crew)


def ids(sheet: Sheet, *moves: Move) -> set[tuple[str, str]]:
    return {(s.where, s.rule.id.rsplit(".", 1)[-1]) for s in judge(sheet, moves).said}


def test_the_plan_as_it_stands_holds(sheet: Sheet) -> None:
    assert check_plan(sheet.problem, sheet.plan) == ()
    assert judge(sheet, ()).holds


@pytest.mark.parametrize(
    ("move", "said"),
    [
        # worked by hand from the made plan's days and hours
        (to("S01/PREP", 0, 9), set()),
        (to("S01/PREP", 0, 13, "CREW-2"), set()),
        (to("S01/PREP", 0, 14), {("S01/PREP", "shift")}),  # 14:00 + 2.5 h is past 15:30
        (to("S01/BASE", 2, 13), {("S01/BASE", "early"), ("S01/BASE", "crew")}),
        # TOP on day 6: BASE began day 3 at 7 h and wants it down by day 5 at 7 h
        (to("S01/TOP", 6, 13), {("S01/TOP", "late")}),
        # DETAILS of S02 begins on day 3 at 7 h by the same crew
        (to("S02/PREP", 3, 8, "CREW-2"), {("S02/DETAILS", "early"), ("S02/PREP", "crew")}),
    ],
)
def test_a_move_says_which_rule_it_breaks(
    sheet: Sheet, move: Move, said: set[tuple[str, str]]
) -> None:
    found = ids(sheet, move)
    assert found >= said
    assert bool(found) == bool(said)


def test_words_carry_a_time_and_a_remedy(sheet: Sheet) -> None:
    judged = judge(sheet, (to("S01/TOP", 6, 9),))
    late = next(f for f in faults_of(judged) if f.where == "S01/TOP" and "Recoat before" in f.what)
    # two days after BASE began on day 3 at 7 h or 13 h; 2.5 h earlier is the last start
    begun = sheet.at["S01/BASE"].start
    limit, last = sheet.time_of(begun + 96), sheet.time_of(begun + 96 - 5)
    assert f"{limit:%H:%M}" in late.what
    assert f"{last:%H:%M}" in late.do
    spanish = faults_of(judged, "es")
    assert any("Recubrir antes" in f.what for f in spanish)


def test_too_many_stalls_are_named_with_the_count(tmp_path: Path) -> None:
    tight = built_sheet(plan_out(tmp_path / "out", most=36))
    assert any(s.rule.values.get("n") == 54 for s in judge(tight, ()).said)  # 3 × 18


@given(st.integers(0, 14), st.integers(0, 13), st.integers(0, 47))
def test_the_verdict_is_the_checkers(k: int, day: int, half: int) -> None:
    found = built()
    task = found.plan.placed[k].task_id
    move = Move(task_id=task, start=slot(day, half / 2), crew_id="CREW-1")
    judged = judge(found, (move,))
    faults = check_plan(found.problem, moved(found.problem, found.plan, (move,)))
    assert judged.holds == (not faults)
    assert {f.where for f in faults} <= {s.where for s in judged.said}


_KEPT: list[Sheet] = []


def built() -> Sheet:
    return _KEPT[0]


@pytest.fixture(autouse=True, scope="module")
def _keep(sheet: Sheet) -> None:
    _KEPT[:] = [sheet]


def test_moves_travel_as_text_and_the_last_word_counts() -> None:
    text = "S01/PREP@400@CREW-1~S02/BASE@500@CREW-2~S01/PREP@402@CREW-2"
    assert moves_text(read_moves(text)) == "S02/BASE@500@CREW-2~S01/PREP@402@CREW-2"
    for bad in ("S01@1@C", "<b>/X@1@C", "S01/PREP@-1@CREW-1", "~".join(
        f"S{i:03d}/PREP@1@C" for i in range(61))):  # fmt: skip
        with pytest.raises(InputError):
            read_moves(bad)


@pytest.mark.parametrize(
    "move",
    [
        to("S99/PREP", 1, 7),
        to("S01/PREP", 1, 7, "NOBODY"),
        Move(task_id="S01/PREP", start=9_999_999, crew_id="CREW-1"),
    ],
)
def test_a_move_of_what_is_not_there_is_refused(sheet: Sheet, move: Move) -> None:
    with pytest.raises(InputError):
        judge(sheet, (move,))


def test_saved_moves_are_held_by_the_next_plan_and_taken_back(
    tmp_path: Path, sheet: Sheet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TACKFREE_DATABASE", raising=False)
    bundle = tmp_path / "job"
    jobs_of.new(bundle)
    good, bad = to("S01/PREP", 0, 9), to("S01/PREP", 0, 14)
    with pytest.raises(Refused):
        keep.save_moves(bundle, judge(sheet, (bad,)))
    assert not (bundle / keep.FILE).exists()
    keep.save_moves(bundle, judge(sheet, (good,)))
    assert keep.saved_moves(bundle, sheet.problem) == (good,)
    keep.save_moves(bundle, judge(sheet, (to("S02/PREP", 2, 9, "CREW-2"),)))
    assert len(keep.saved_moves(bundle, sheet.problem)) == 2

    def never(problem: object) -> object:
        raise AssertionError("a plan that holds is not made anew")

    kept = keep.kept_plan(bundle, sheet.problem, sheet.plan, again=never)  # type: ignore[arg-type]
    at = {p.task_id: p.start for p in kept.placed}
    assert at["S01/PREP"] == good.start
    assert kept.method.endswith("by hand")
    keep.forget_moves(bundle, sheet.job_id)
    assert keep.kept_plan(bundle, sheet.problem, sheet.plan, again=never) == sheet.plan  # type: ignore[arg-type]


def test_saved_moves_that_fit_no_more_are_told(tmp_path: Path, sheet: Sheet) -> None:
    (tmp_path / keep.FILE).write_text(
        '[[moves]]\nstep = "S01/PREP"\nbegins = 2027-04-19T03:00:00Z\ncrew = "CREW-1"\n', "utf-8"
    )
    asked = []

    def again(problem: object) -> object:
        asked.append(problem)
        return replace(sheet.plan, status="not-found", placed=(), opens={})

    kept = keep.kept_plan(tmp_path, sheet.problem, sheet.plan, again=again)  # type: ignore[arg-type]
    assert len(asked) == 1
    assert kept.placed == sheet.plan.placed
    assert [r.id for r in kept.reasons] == ["planboard.not-kept"]
    (tmp_path / keep.FILE).write_text("moves = 3\n", "utf-8")
    with pytest.raises(InputError):
        keep.saved_moves(tmp_path, sheet.problem)


def test_stalls_by_day(sheet: Sheet) -> None:
    # by hand: S01 closes day 0 and opens day 8, S02 2–10, S03 4–12; 18 stalls each
    closed = {d.day: d.closed for d in stalls.stall_days(sheet)}
    assert [closed[MON.replace(day=19 + k)] for k in (0, 1, 2, 4, 7)] == [18, 18, 36, 54, 54]
    first = stalls.stall_day(sheet, MON)
    assert (first.accessible, first.accessible_total) == (3, 3)
    assert [(s.place.id, s.closes_today, s.opens_today) for s in first.shut] == [
        ("S01", True, False)
    ]
    day8 = stalls.stall_day(sheet, date(2027, 4, 27))
    assert [s.place.id for s in day8.shut if s.opens_today] == ["S01"]
    assert "101–118" in "\n".join(stalls.lines(sheet, first, "en"))


@pytest.mark.parametrize(
    ("numbers", "text"),
    [([], ""), (["7"], "7"), (["3", "1", "2"], "1–3"), (["A9", "A10", "B1"], "A9–A10, B1"),
     (["01", "02", "7"], "7, 01–02"), (["X"], "X")],
)  # fmt: skip
def test_numbers_run_together(numbers: list[str], text: str) -> None:
    assert stalls.numbers_said(numbers) == text


def test_board_page_has_every_step_and_the_days_list(sheet: Sheet) -> None:
    page = board_page(sheet, judge(sheet, ()), MON, "en")
    assert page.time.count("data-task=") == 15  # 3 sections × 5 steps
    assert [s.task_id for s in page.steps] == ["S01/PREP"]
    moved_page = board_page(sheet, judge(sheet, (to("S01/PREP", 0, 9),)), MON, "es")
    assert "is-moved" in moved_page.time
    assert moved_page.steps[0].moved


def test_papers_repeat_and_the_pdf_has_a_page_a_week(sheet: Sheet) -> None:
    for name in ("ahead.pdf", "plan.xlsx", "crew-CREW-1.ics"):
        twice = [faces.paper(sheet, name, day=MON, language="en", letter=True) for _ in "ab"]
        assert twice[0] == twice[1]
    with pytest.raises(NotFound):
        faces.paper(sheet, "crew-NOBODY.ics", day=None, language="en", letter=True)
    assert ahead.look_ahead(sheet, MON, "en").weeks[0][0].crews[0][0] == "CREW-1"


def test_the_workbook_counts_by_formulas(sheet: Sheet) -> None:
    data = faces.workbook(sheet, language="en", letter=True)
    for values in (False, True):
        book = openpyxl.load_workbook(io.BytesIO(data), data_only=values)
        page = book["Stalls by day"]
        row = next(r for r in page.iter_rows() if r[0].value == "Closed")
        cells = [c.value for c in row[3:6]]
        if values:
            assert cells == [18, 18, 36]  # as by hand above
        else:
            assert all(str(c).startswith("=SUMPRODUCT(") for c in cells)
    hours = openpyxl.load_workbook(io.BytesIO(data), data_only=True)["Crews by day"]
    total = next(r for r in hours.iter_rows() if r[0].value == "CREW-1")[1].value
    assert total == 5 * 2.5  # five steps of 2.5 h


def test_a_crews_calendar_has_alarms_three_hours_before(sheet: Sheet) -> None:
    data = faces.crew_calendar(sheet, "CREW-1", language="en")
    alarms = [
        a for e in icalendar.Calendar.from_ical(data).walk("VEVENT") for a in e.walk("VALARM")
    ]
    assert len(alarms) == 2  # BASE and TOP of its section
    limit = sheet.time_of(sheet.at["S01/PRIMER"].start + 96)
    triggers = {a.decoded("trigger") for a in alarms}
    assert any((limit - t).total_seconds() == 3 * 3600 for t in triggers)
    empty = faces.crew_calendar(sheet, "CREW-4", language="en")
    assert b"BEGIN:VEVENT" not in empty


def test_jobs_side_by_side(sheet: Sheet) -> None:
    other = Sheet(job_id="OTHER", job_name="", invented=True, as_of="", zone=sheet.zone,
                  problem=sheet.problem, plan=sheet.plan, places=sheet.places)  # fmt: skip
    now = datetime(2027, 4, 19, tzinfo=sheet.zone)
    found = jobs.deadlines((sheet, other), now)
    assert len(found) == 12
    assert [d.utc_s for d in found] == sorted(d.utc_s for d in found)
    twice = jobs.booked_twice((sheet, other))
    assert {t.kind for t in twice} == {"crew"}
    assert len(twice) == 15
    far = jobs.deadlines((sheet,), datetime(2027, 6, 1, tzinfo=sheet.zone))
    assert far == ()
    assert "Booked twice" in jobs.text((sheet, other), now)
    with pytest.raises(InputError):
        jobs.together((sheet, sheet))


def test_a_machine_that_two_jobs_want_is_named(sheet: Sheet) -> None:
    def with_blaster(name: str, crew: str, count: int) -> Sheet:
        problem = replace(
            sheet.problem,
            equipment=(Equipment(id="BLASTER", count=count),),
            tasks=tuple(
                replace(t, equipment=("BLASTER",)) if t.step_id == "PREP" else t
                for t in sheet.problem.tasks
            ),
        )
        plan = replace(
            sheet.plan, placed=tuple(replace(p, crew_id=crew) for p in sheet.plan.placed)
        )
        return Sheet(name, "", True, "", sheet.zone, problem, plan, sheet.places)

    one = [with_blaster("A", "CREW-1", 1), with_blaster("B", "CREW-2", 1)]
    assert [(t.kind, t.crew_id) for t in jobs.booked_twice(one)] == [("machine", "BLASTER")] * 3
    two = [with_blaster("A", "CREW-1", 2), with_blaster("B", "CREW-2", 2)]
    assert jobs.booked_twice(two) == ()


def test_a_short_crew_shrinks_its_area(sheet: Sheet) -> None:
    full = ask.short_crew(sheet, MON, "CREW-1", 0)
    assert [r.share for r in full] == [1.0]
    # PREP takes 2.5 h from 13 h; with 2 of 6 missing 3.75 h, the shift ends at 15:30: 2/3
    (cut,) = ask.short_crew(sheet, MON, "CREW-1", 2)
    assert cut.share == pytest.approx(2 / 3)
    assert cut.stopped_by == "shift"
    text = ask.short_text(sheet, MON, "CREW-1", 2)
    assert "3,333 ft²" in text.replace("\u00a0", " ")  # exact: 464.5 m² / 0.09290304 × 2/3
    for crew, short in (("NOBODY", 1), ("CREW-1", 6), ("CREW-1", -1)):
        with pytest.raises(InputError):
            ask.short_crew(sheet, MON, crew, short)


def test_where_to_stop_is_a_kit_mark(sheet: Sheet) -> None:
    day = sheet.time_of(sheet.at["S01/BASE"].start).date()
    begin = sheet.time_of(sheet.at["S01/BASE"].start)
    layouts = [
        {"section_id": "S01", "coat_id": "BASE", "cells": [{"number": n} for n in range(1, 11)]}
    ]
    half = begin.replace(minute=15, hour=begin.hour + 1).time()  # 1.25 h of 2.5 h
    (stop,) = [s for s in ask.stops(sheet, layouts, day, half) if s.section_id == "S01"]
    assert (stop.done, stop.cell) == (5, 5)
    early, late = (ask.stops(sheet, layouts, day, time(h)) for h in (1, 23))
    assert next(s for s in early if s.section_id == "S01").cell is None
    assert next(s for s in late if s.section_id == "S01").done == 10
    assert "kit mark 5" in ask.stop_text(sheet, [stop], day, half)
    assert "No kit marks" in ask.stop_text(sheet, ask.stops(sheet, (), day, half), day, half)


def test_pace_of_the_record(sheet: Sheet) -> None:
    now = datetime(2027, 4, 26, tzinfo=sheet.zone)
    none = ask.pace(sheet, {}, {}, now)
    assert none.at_pace is None
    assert "no placed coat" in ask.pace_text(sheet, none, now)
    kits = {(p.section_id, p.step_id): 10 for p in sheet.plan.placed}
    coats = [p for p in sheet.plan.placed if p.step_id in ("PRIMER", "BASE", "TOP")]
    done = [p for p in coats if p.end <= sheet.slot_of(now)]
    logged = {(p.section_id, p.step_id): [sheet.time_of(p.start).timestamp()] * 10 for p in done}
    as_planned = ask.pace(sheet, logged, kits, now)
    assert as_planned.done_h == pytest.approx(as_planned.planned_h)
    half = {k: v[:5] for k, v in logged.items()}
    slow = ask.pace(sheet, half, kits, now)
    assert slow.done_h == pytest.approx(as_planned.done_h / 2)
    assert slow.at_pace
    assert as_planned.at_pace
    assert slow.at_pace > as_planned.at_pace
    assert slow.low
    assert slow.high
    assert slow.low <= slow.at_pace <= slow.high


def test_a_plan_of_another_crew_is_refused_by_name(tmp_path):
    out = plan_out(tmp_path / "out")
    path = out / "stages/plan.json"
    stage = json.loads(path.read_text("utf-8"))
    stage["plan"]["placed"][0]["crew_id"] = "CREW-GONE"
    path.write_text(json.dumps(stage), "utf-8")
    with pytest.raises(InputError, match="CREW-GONE"):
        built_sheet(out)
