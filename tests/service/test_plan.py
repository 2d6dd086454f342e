"""From a job to a planning problem and a plan."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pvlib
import pytest
from tests.conftest import ROOT

from tackfree.bundle.load import load
from tackfree.errors import Refused
from tackfree.plan.check import check_plan
from tackfree.service import climate, decks
from tackfree.service import plan as plans
from tackfree.service import sections as cutting
from tackfree.service.planning.holds import with_hold_points

ZONE = ZoneInfo("America/New_York")
KEPT = ("BAL-01-1", "P1-LANE-A-1", "P1-STALL-A-1")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three sections of the demo job over forty days."""
    bundle = tmp_path_factory.mktemp("plan") / "job"
    shutil.copytree(ROOT / "demo" / "job", bundle)
    (bundle / "weather").mkdir(exist_ok=True)
    weather = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    shutil.copy(weather, bundle / "weather")
    job = replace(load(bundle), horizon_days=40, stalls_open_min=0.0)
    drawn = decks.read_decks(job)
    cut = cutting.cut_job(job, drawn.decks, decks.take_off_job(job, drawn.decks))
    kept = replace(cut, sections=tuple(s for s in cut.sections if s.id in KEPT))
    stage = climate.climate_stage(job, climate.read_weather(job))
    return job, kept, stage, plans.make_problem(job, kept, stage)


def steps(problem, section):
    return [t.step_id for t in problem.tasks if t.section_id == section]


def test_steps_stand_in_the_order_of_the_trade(made):
    _, _, _, problem = made
    lane = steps(problem, "P1-LANE-A-1")
    # practice: sealant firm before blasting, blast before primer, sand swept before the lock
    assert lane == ["DETAILS", "PREP", "PRIMER", "BASE", "INTER", "SWEEP", "LOCK"]
    assert steps(problem, "P1-STALL-A-1")[-1] == "STRIPE"
    assert "STRIPE" not in steps(problem, "BAL-01-1")


def test_durations_are_area_over_rate_in_whole_slots(made):
    job, kept, _, problem = made
    for section in kept.sections:
        task = next(t for t in problem.tasks if t.id == f"{section.id}/PREP")
        hours = section.developed_m2 / job.crews[0].rates["prep"]
        assert task.duration == max(1, math.ceil(2 * hours - 1e-9))


def test_prep_is_followed_in_the_same_or_next_shift_and_before_rain(made):
    _, _, _, problem = made
    (lag,) = [x for x in problem.lags if x.before == "P1-LANE-A-1/PREP"]
    assert lag.after == "P1-LANE-A-1/PRIMER"
    assert lag.same_or_next_shift
    assert max(lag.latest) < problem.slots


def test_the_sheets_maximum_binds_coat_to_coat_over_the_sweep(made):
    job, _, stage, problem = made
    lags = {(x.before.split("/")[1], x.after.split("/")[1]): x for x in problem.lags
            if x.before.startswith("P1-LANE-A-1/")}  # fmt: skip
    assert lags["INTER", "SWEEP"].down_within is None
    coat = next(c for c in job.build_ups["BU-LANE"].coats if c.id == "INTER")
    hours = job.products[coat.product_id].recoat_before_h
    assert hours is not None
    bound = lags["INTER", "LOCK"].down_within
    assert bound is not None
    assert bound * stage.slot_s <= hours * 3600


def test_the_plan_passes_the_checker(made):
    _, _, _, problem = made
    plan = plans.make_plan(problem, lambda: True)  # the first plan is enough here
    assert plan.status in {"optimal", "feasible"}
    assert check_plan(problem, plan) == ()


def test_a_section_too_long_for_a_shift_says_where_to_cut(made):
    job, kept, stage, _ = made
    crew = replace(job.crews[0], rates={**job.crews[0].rates, "base": 10.0})
    with pytest.raises(Refused, match="Cut the section into"):
        plans.make_problem(replace(job, crews=(crew,)), kept, stage)


def test_a_missing_rate_is_named(made):
    job, kept, stage, _ = made
    rates = {k: v for k, v in job.crews[0].rates.items() if k != "sweep"}
    crew = replace(job.crews[0], rates=rates)
    with pytest.raises(Refused, match="no rate for sweep"):
        plans.make_problem(replace(job, crews=(crew,)), kept, stage)


def test_a_hold_point_is_in_their_hours_after_tack_free_with_their_notice(made):
    job, kept, stage, problem = made
    (hold,) = problem.holds  # the demo's balconies have one, the other sections none
    assert (hold.after, hold.before) == ("BAL-01-1/PRIMER", "BAL-01-1/BASE")
    assert hold.notice * stage.slot_s == 24 * 3600  # practice: the demo's own figure
    primer = next(t for t in problem.tasks if t.id == hold.after)
    for end in range(0, 48 * 12, 7):
        visit = hold.visits[end]
        at = datetime.fromtimestamp(stage.slot0_utc_s + visit * stage.slot_s, ZONE)
        assert visit >= primer.wet[end] >= end
        assert at.weekday() < 5
        assert 8 <= at.hour < 16
    # Asked again in the middle of the job: a day's notice from now, or the visit agreed.
    now = datetime(2027, 4, 27, 15, tzinfo=ZONE)
    key = (hold.id, hold.section_id)
    agreed = round((datetime(2027, 4, 28, 9, tzinfo=ZONE).timestamp() - stage.slot0_utc_s)
                   / stage.slot_s)  # fmt: skip
    fresh, kept_on = (
        with_hold_points(problem, job, kept.sections, plans.days_off(job), now=now, agreed=told)
        for told in (None, {key: agreed})
    )
    late = datetime.fromtimestamp(stage.slot0_utc_s + fresh.holds[0].visits[0] * stage.slot_s, ZONE)
    assert late == datetime(2027, 4, 28, 15, tzinfo=ZONE)  # by hand: 15:00 and a day
    assert kept_on.holds[0].visits[0] == agreed
    assert len(fresh.lags) == len(problem.lags)


def test_a_visit_over_the_weekend_waits_for_monday(made):
    _, _, stage, problem = made
    (hold,) = problem.holds
    friday = datetime(2027, 4, 30, 17, tzinfo=ZONE)
    end = round((friday.timestamp() - stage.slot0_utc_s) / stage.slot_s)
    visit = datetime.fromtimestamp(stage.slot0_utc_s + hold.visits[end] * stage.slot_s, ZONE)
    assert visit == datetime(2027, 5, 3, 8, tzinfo=ZONE)
