"""Hold points of a plan where people meet them: board, weeks ahead, calendars, shift sheet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from tests.service.plan_board_made import plan_out
from tests.sheets import made_job as mj
from tests.sheets.test_shift_sheet import sheets
from tests.web.made import slot

from tackfree.plan.types import Hold
from tackfree.service.plan_board.ahead import look_ahead
from tackfree.service.plan_board.faces import crew_calendar
from tackfree.service.plan_board.held import held_visits, visit_said
from tackfree.service.plan_board.moves import judge
from tackfree.service.plan_board.page import board_page
from tackfree.service.plan_board.sheet import Sheet, built_sheet

# S01/PRIMER is placed on day 2 at 13 h for 2.5 h (see plan_board_made). Whoever looks can
# come 16.5 h after it ended, on day 3 at 08 h, stays an hour and is told a day before.
VISIT = slot(3, 8)
DAY = 48  # slots


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    found = built_sheet(plan_out(tmp_path / "out"))
    ends = range(found.problem.slots + 1)
    holds = tuple(
        Hold(id="SEEN", section_id=s, after=f"{s}/PRIMER", before=f"{s}/BASE", who="the inspector",
             sees="the primed deck", notice=DAY, takes=2, visits=tuple(e + 33 for e in ends))
        for s in ("S01", "S02")
    )  # fmt: skip
    return replace(found, problem=replace(found.problem, holds=holds))


def test_visits_say_who_when_and_by_when_to_tell(sheet: Sheet) -> None:
    first, second = held_visits(sheet)
    assert first.first.begin == VISIT
    assert (first.sections, second.sections) == (("S01",), ("S02",))
    visit, tell = visit_said(sheet, first, "en")
    assert visit.startswith("Thu 22 Apr 08:00–09:00: the inspector looks at S01 after primer")
    assert tell == "Tell them by Wed 21 Apr 08:00."
    assert visit_said(sheet, first, "es")[1] == "Avise antes de mié 21 abr 08:00."


@pytest.mark.parametrize(("day", "shown"), [(20, 0), (21, 1), (22, 1), (24, 1)])
def test_the_board_shows_them_on_their_day_and_on_the_day_of_notice(
    sheet: Sheet, day: int, shown: int
) -> None:
    page = board_page(sheet, judge(sheet, ()), date(2027, 4, day), "en")
    assert len(page.visits) == shown
    assert page.time.count('class="visit"') == 2


def test_three_weeks_ahead_name_the_notice_and_the_visit(sheet: Sheet) -> None:
    days = {d.iso: d.visits for w in look_ahead(sheet, date(2027, 4, 22), "en").weeks for d in w}
    assert days["2027-04-21"] == ("08:00 tell the inspector: S01",)
    assert days["2027-04-22"] == ("08:00 the inspector: S01",)


def test_a_crew_is_called_three_hours_before_notice_and_before_the_visit(sheet: Sheet) -> None:
    def seen(crew: str) -> list[Any]:
        calendar = icalendar.Calendar.from_ical(crew_calendar(sheet, crew, language="en"))
        return [e for e in calendar.walk("VEVENT") if "Hold point" in e["SUMMARY"]]

    (event,) = seen("CREW-1")
    begin = event["DTSTART"].dt
    assert begin == sheet.time_of(VISIT).astimezone(UTC)
    assert event["DTEND"].dt - begin == timedelta(hours=1)
    triggers = [a["TRIGGER"].dt for a in event.walk("VALARM")]
    assert triggers == [begin - timedelta(hours=27), begin - timedelta(hours=3)]
    assert seen("CREW-3") == []


def test_the_shift_sheet_names_the_hold_point_its_work_waits_for() -> None:
    problem = mj.problem()
    hold = Hold(id="SEEN", section_id="S03", after="S03/PRIMER", before="S03/BASE",
                who="the inspector", sees="the primer", notice=DAY, takes=2,
                visits=tuple(range(14, problem.slots + 15)))  # fmt: skip
    on = date(2027, 4, 23)
    (plain, *_), (held, *_) = sheets(on=on), sheets(on=on, problem=replace(problem, holds=(hold,)))
    assert len(held.notes) == len(plain.notes) + 1
    # By hand: the primer ends Thursday 22 at 19:30, 14 slots of half an hour on it is 02:30.
    assert held.notes[-1][0] == (
        "HOLD POINT: the inspector looks at S03 after primer, Fri 23 Apr 02:30. "
        "Tell them by Thu 22 Apr 02:30. Work there waits for their word."
    )
