"""From a job to a planning problem and a plan."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import pvlib
import pytest
from tests.conftest import ROOT

from tackfree.bundle.load import load
from tackfree.errors import Refused
from tackfree.plan.check import check_plan
from tackfree.service import climate, decks
from tackfree.service import plan as plans
from tackfree.service import sections as cutting

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
