"""When to start, when to be down, and why: by hand on the made job."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.sheets import made_job as mj

from tackfree.plan.types import Placed
from tackfree.service.shift_times import Times, down_5, short_reason, up_5, wall


def times(**more: object) -> Times:
    plain = Times(
        plan=mj.plan(), problem=mj.problem(), clocks=mj.clocks(), states=mj.states, zone=mj.ZONE
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def placed(task_id: str) -> Placed:
    found = times().placed(task_id)
    assert found is not None
    return found


SPAN = mj.problem().shifts[1]


def test_start_waits_for_the_clock_rounded_up() -> None:
    bound = times().start(placed("S03/BASE"), SPAN)
    # practice: start-not-before rounds up to 5 min; the made clock says 15:52
    assert wall(bound.utc_s, mj.ZONE) == "15:55"
    assert bound.why.id == "sheet.because.after-step"
    assert bound.why.values == {"step": "PRIMER", "time": "15:55"}


def test_finish_is_held_by_the_latest_recoat_rounded_down() -> None:
    bound = times().finish(placed("S03/BASE"), SPAN)
    # practice: finish-by rounds down to 5 min; the made clock says 21:13
    assert wall(bound.utc_s, mj.ZONE) == "21:10"
    assert bound.why.id == "sheet.because.before-step"


def test_the_plans_shorter_maximum_holds_over_the_clock() -> None:
    problem = mj.problem()
    lags = tuple(replace(x, down_within=x.down_within and x.down_within - 8) for x in problem.lags)
    strict = times(problem=replace(problem, lags=lags))
    # by hand: the primer began 17:00, and of 56 slots 48 are left: 17:00 the next day
    assert wall(strict.finish(placed("S03/BASE"), SPAN).utc_s, mj.ZONE) == "17:00"


def test_without_a_clock_the_plans_slots_serve() -> None:
    t = times(clocks={})
    start, finish = (f(placed("S03/BASE"), SPAN) for f in (t.start, t.finish))
    # by hand: primer ends 19:30, +21 slots of 30 min = 06:00; the shift begins at 15:30
    assert (wall(start.utc_s, mj.ZONE), start.why.id) == ("15:30", "sheet.because.shift-begins")
    # by hand: primer began 17:00, +56 slots = 21:00 next day
    assert wall(finish.utc_s, mj.ZONE) == "21:00"


def test_finish_is_held_by_dew() -> None:
    bound = times().finish(placed("S04/PRIMER"), SPAN)
    # by hand: last allowed start 20:00, three slots
    assert (wall(bound.utc_s, mj.ZONE), bound.why.id) == ("21:30", "sheet.because.dew")
    blind = times(states=lambda _section, _step: None).finish(placed("S04/PRIMER"), SPAN)
    assert (blind.utc_s, blind.why.id) == (bound.utc_s, "sheet.because.window")


def test_the_next_coat_has_both_ends() -> None:
    found = times().next_coat(placed("S03/BASE"))
    assert found is not None
    after, before = found
    assert after is not None and before is not None  # noqa: PT018
    # made clock: 07:02 up to 07:05, 15:34 down to 15:30
    assert [wall(v, mj.ZONE) for v in (after, before)] == ["07:05", "15:30"]
    assert times().next_coat(replace(placed("S03/BASE"), task_id="S03/LAST")) is None


@pytest.mark.parametrize(
    ("utc_s", "up", "down"), [(0.0, 0, 0), (1.0, 300, 0), (299.0, 300, 0), (300.0, 300, 300)]
)
def test_five_minutes(utc_s: float, up: float, down: float) -> None:
    assert (up_5(utc_s), down_5(utc_s)) == (up, down)


@pytest.mark.parametrize(
    ("rule", "reason"),
    [
        ("climate.wait.dew", "dew"),
        ("climate.wait.spread", "dew"),
        ("climate.wait.rain", "rain"),
        ("climate.wait.outgassing", "outgassing"),
        ("climate.wait.surface_low", "cold"),
        ("climate.wait.air_high", "hot"),
        ("climate.wait.rh_high", "humid"),
        ("climate.wait.rain_placing", "rain"),
        ("climate.measure.stale", "stale"),
        ("climate.unknown.spread", "data"),
        ("climate.wait.something-else", "window"),
    ],
)
def test_short_reasons(rule: str, reason: str) -> None:
    assert short_reason(rule).id == f"sheet.because.{reason}"
