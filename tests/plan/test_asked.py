"""The plan commands on a small invented job, and a search that is told of and stopped."""

from __future__ import annotations

import json
import signal
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from tests.plan.made import garage
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.cli.searching import kept_on_stop
from tackfree.cure.remedy import abraded
from tackfree.plan.check import check_plan
from tackfree.plan.replan import Lost, Replanned
from tackfree.plan.solve import solve
from tackfree.plan.stress import Lived, Stressed
from tackfree.service.pipeline import Pipeline
from tackfree.service.planning import answers
from tackfree.service.planning import replan as again
from tackfree.service.planning import stress as years
from tackfree.service.save import dumps
from tackfree.words import Message

PROBLEM = garage(3, 42, cap=0.6)


@pytest.fixture(scope="module")
def plan():
    return solve(PROBLEM, deterministic_limit=0.05)


@pytest.fixture
def job(monkeypatch, plan):
    """A job whose problem and plan are made up; its place is real enough to name dates."""
    job = SimpleNamespace(
        place=SimpleNamespace(time_zone="UTC"),
        weather=SimpleNamespace(kind="invented"),
        plan=SimpleNamespace(order=("finish", "stall-slots")),
        languages=("en",),
        build_ups={},
    )
    made = Pipeline(job)  # type: ignore[arg-type]
    for name in ("drawings", "takeoff", "sections", "materials"):
        vars(made)[name] = None
    vars(made).update(problem=PROBLEM, plan=plan)
    monkeypatch.setattr(Pipeline, "of", classmethod(lambda cls, bundle: made))
    return made


def _asked(*words: str):
    got = CliRunner().invoke(app, ["plan", *words, "--json"], catch_exceptions=False)
    assert got.exit_code == 0, got.output
    return json.loads(got.stdout)


def test_trade_shows_a_finish_for_each_share_kept_open(job, monkeypatch):
    monkeypatch.setattr("tackfree.service.planning.why.EFFORT", 0.02)
    points = _asked("trade", "made-up")["points"]
    found = [p for p in points if p["finish"]]
    assert found
    for p in found:
        assert p["no_plan_before"] <= p["finish"]


def test_stress_gives_percentiles_in_order(job, monkeypatch):
    monkeypatch.setattr(years, "_problem_of", lambda task: (PROBLEM, {}))
    report = _asked("stress", "made-up", "--years", "3")
    (row,) = report["plans"]
    assert row["finish"]["p10"] <= row["finish"]["p50"] <= row["finish"]["p90"]
    assert len(row["years"]) == 3
    assert row["windows_missed_per_year"] == 0  # practice: its own weather costs no window
    assert row["coats_redone_per_year"] == row["redo_l_per_year"] == 0
    assert row["redo_delay_days"] == {"p10": 0, "p50": 0, "p80": 0, "p90": 0}


def test_stress_says_what_lost_windows_cost(job):
    lived = Lived(label="wet", finish=900, missed=2, stall_slots=0, redone=2, redo_slots=14,
                  redo_l=138.9, delay=96)  # fmt: skip
    held = Stressed(planned=800, lived=(lived,))
    report = years.StressReport(
        source=Message(id="planning.stress.files", values={"n": 1}), plans=(job.plan,),
        stressed=(held,), chosen=0,
    )  # fmt: skip
    text = answers.stress_text(job, report)
    # by hand: 14 half hours are 7 h, 138.9 L are 37 gal, 96 half hours two days
    assert "2.0 coats abraded" in text
    assert "7 crew-hours, 37 gal (139 L)" in text
    assert "off by 2.0 days" in text
    assert "2.0 días" in answers.stress_text(job, report, "es")
    (row,) = answers.stress_document(job, report)["plans"]
    assert (row["redo_crew_h_per_year"], row["redo_delay_days"]["p80"]) == (7.0, 2.0)
    (life,) = row["years"]
    assert (life["redone"], life["redo_crew_h"], life["redo_l"]) == (2, 7.0, 138.9)


def test_why_not_says_proven_for_a_date_before_the_work_begins(job):
    report = _asked("why-not", "made-up", "--by", "1970-01-02")
    assert report["answer"] == "impossible"


def test_replan_keeps_the_next_days_where_nothing_changed(job, monkeypatch, plan, tmp_path: Path):
    monkeypatch.setattr(again, "clock_entries", lambda bundle: ())
    monkeypatch.setattr(again, "logged", lambda entries: ())
    monkeypatch.setattr(again, "ways_open", lambda *args: {})
    file = tmp_path / "plan.json"
    file.write_text(dumps({"problem": PROBLEM, "plan": plan}), "utf-8")
    days = plan.placed[3].start // 48
    report = _asked(
        "replan", "made-up", "--was", str(file), "--now", f"1970-01-{days + 1:02d}T00:00"
    )
    assert report["could_not_stay"] == []
    assert report["plan"]["placed"]
    soon = f"1970-01-{days + 3:02d}"
    assert not [c for c in report["changes"] if c["was"] and c["was"] < soon]


def test_a_search_tells_better_plans_only_and_never_a_bound_above_its_plan():
    told: list[tuple[int, int]] = []
    plan = solve(garage(5, 56), deterministic_limit=0.05, progress=lambda *x: told.append(x))
    assert told
    finishes, bounds = zip(*told, strict=True)
    assert list(finishes) == sorted(finishes, reverse=True)
    assert list(bounds) == sorted(bounds)
    assert all(b <= plan.stages[0].value for b in bounds)
    assert finishes[-1] >= plan.stages[0].value


def test_the_first_interrupt_keeps_the_best_plan_so_far():
    problem = garage(6, 70)
    before = signal.getsignal(signal.SIGINT)
    with kept_on_stop() as stop:

        def told(finish: int, bound: int) -> None:
            if not stop():
                signal.raise_signal(signal.SIGINT)

        plan = solve(problem, stop=stop, progress=told)
        assert stop()
    assert signal.getsignal(signal.SIGINT) == before
    assert check_plan(problem, plan) == ()
    assert plan.placed
    assert replace(plan, placed=()).method == "first plan"


def test_an_answer_speaks_the_language_asked_for(job):
    words = ["plan", "why-not", "made-up", "--by", "1970-01-02", "--lang", "es"]
    said = CliRunner().invoke(app, words, catch_exceptions=False).output
    assert "Probado: no hay tal plan." in said
    assert "la fecha pedida" in said
    assert "Proven" not in said


@pytest.mark.parametrize(("primer", "said"), [(True, "re-prime"), (False, "tie-coat")])
def test_a_lost_window_says_hours_and_gallons(job, plan, primer, said):
    added = (replace(PROBLEM.tasks[0], step_id="ABRADE"), replace(PROBLEM.tasks[1], wet=(1,)))
    lost = (Lost(before="S1/PRIMER", after="S1/BASE", added=added if primer else ()),)
    got = Replanned(problem=PROBLEM, plan=plan, changes=(), lost=lost, unfrozen=())
    way = abraded(area_m2=1200 * 0.3048**2, primer=primer)
    report = again.ReplanReport(got=got, now=0, recorded=(), assumed=(), ways=(way,))
    text = answers.replan_text(job, report)
    # by hand: 1,200 ft² at 800 ft²/h abraded and 2,000 ft²/h rolled is 2.1 h; at 300 ft²/gal
    # primer 4 gal, at 400 ft²/gal tie coat 3 gal
    assert said in text
    assert f"2.1 h and {4.0 if primer else 3.0} gal" in text
    assert ("waits until that has cured" in text) == primer
    assert ("holds no time for it" in text) != primer
    (row,) = answers.replan_document(job, report)["windows_lost"]
    assert row["work_h"] == pytest.approx(2.1)
