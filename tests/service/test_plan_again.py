"""Planning again: rounds that only get better, a stop that keeps the best, a plan that is taken."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from tests.plan.made import garage

from tackfree.errors import InputError, NotFound
from tackfree.plan.check import check_plan
from tackfree.plan.drafts import GOALS
from tackfree.plan.solve import solve
from tackfree.service import build
from tackfree.service import job as jobs
from tackfree.service.pipeline import Pipeline
from tackfree.service.plan import make_plan
from tackfree.service.plan_board import keep
from tackfree.service.plan_board.inquiry_page import inquiry_page
from tackfree.service.plan_board.sheet import built_sheet, made_sheet
from tackfree.service.planning import searching as module
from tackfree.service.planning.inquiry import Inquiries
from tackfree.service.planning.measured import measured
from tackfree.service.planning.searching import Again
from tackfree.service.planning.seek import Best, is_better, seek

PROBLEM = garage(3, 42, cap=0.6)


def test_rounds_only_get_better_and_a_stop_keeps_the_best() -> None:
    first = solve(PROBLEM, deterministic_limit=1e-4, tries=1)
    seen: list[Best] = []
    best = seek(PROBLEM, first, order=GOALS, stop=lambda: len(seen) >= 2, better=seen.append,
                effort=0.02)  # fmt: skip
    assert check_plan(PROBLEM, best) == ()
    plans = [first, *(s.plan for s in seen)]
    assert not any(is_better(PROBLEM, a, b) for a, b in pairwise(plans))
    assert best == seen[-1].plan
    assert all(s.bound <= s.value for s in best.stages)


def test_a_search_begins_from_the_plan_it_is_given() -> None:
    given = solve(PROBLEM, deterministic_limit=0.1)
    again = solve(PROBLEM, deterministic_limit=1e-4, tries=1, start=given)
    assert not is_better(PROBLEM, given, again)
    broken = replace(given, placed=tuple(replace(p, start=0, end=1) for p in given.placed))
    assert check_plan(PROBLEM, solve(PROBLEM, deterministic_limit=1e-4, start=broken)) == ()


def test_a_search_that_finds_nothing_new_is_stopped_at_once() -> None:
    problem = garage(12, 120, cap=0.5)
    begun = time.monotonic()
    plan = make_plan(problem, lambda: time.monotonic() > begun + 1.5, effort=100)
    # Without a question asked beside the search it ends only with its effort, minutes later.
    assert time.monotonic() - begun < 15
    assert check_plan(problem, plan) == ()


def test_values_counted_anew_are_the_planners_own() -> None:
    plan = solve(PROBLEM, deterministic_limit=0.05)
    assert measured(PROBLEM, replace(plan, status="feasible")) == replace(
        plan, status=measured(PROBLEM, plan).status
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A new job, built, and then given one more holiday: on the day its work began."""
    root = tmp_path_factory.mktemp("again")
    jobs.new(root / "job")
    build.build(root / "job", root / "out")
    sheet = built_sheet(root / "out")
    text = (root / "job/job.toml").read_text("utf-8")
    assert "holidays" in text
    day = sheet.days[0].isoformat()
    lines = [f"holidays = [{day}]" if x.startswith("holidays") else x for x in text.splitlines()]
    (root / "job/job.toml").write_text("\n".join(lines) + "\n", "utf-8")
    return root / "job", root / "out"


@pytest.fixture
def again(made: tuple[Path, Path]) -> Iterator[Again]:
    found = Again(out=made[1], effort=0.05)
    yield found
    found.stop()
    found.join(60)


def test_a_changed_bundle_is_planned_again_taken_and_built(
    again: Again, made: tuple[Path, Path]
) -> None:
    bundle, out = made
    old = built_sheet(out)
    with pytest.raises(NotFound):
        again.take(bundle, person="A", language="en")
    assert again.start(bundle, limit_s=60, person="A", language="en")
    assert not again.start(bundle, limit_s=60, person="B", language="en")
    again.join(60)
    now = again.standing()
    assert (now.state, now.person) == ("proposed", "A")
    assert now.broken >= 1
    assert now.sheet is not None
    assert now.sheet.days[0] != old.days[0]
    again.take(bundle, person="A", language="en")
    again.join(120)
    assert again.standing().state == "taken"
    new = built_sheet(out)
    assert [(p.task_id, p.start) for p in new.plan.placed] == [
        (p.task_id, p.start) for p in now.sheet.plan.placed
    ]
    saved = keep.saved_moves(bundle, new.problem)
    assert {m.task_id for m in saved} == {t.id for t in new.problem.tasks}
    assert all(m.searched for m in saved)
    again.leave()
    assert again.standing().state == "none"
    # What was taken is where the next search begins; it does not nail the steps down.
    assert keep.held_by_hand(bundle, new.problem).tasks == new.problem.tasks


def test_a_taken_plan_that_fits_no_more_is_planned_anew(made: tuple[Path, Path]) -> None:
    bundle, _ = made
    pipeline = Pipeline.of(bundle)
    sheet = made_sheet(pipeline)
    keep.take_plan(bundle, sheet)
    gone = {p.task_id: p.start for p in sheet.plan.placed}
    name = sheet.problem.tasks[0].id
    tasks = tuple(
        replace(t, starts=tuple((a, b) for a, b in t.starts if a > gone[name])) if t.id == name
        else t
        for t in sheet.problem.tasks
    )  # fmt: skip
    later = replace(sheet.problem, tasks=tasks)
    fresh = solve(later, deterministic_limit=0.05)
    kept = keep.kept_plan(bundle, later, fresh,
                          again=lambda p: solve(p, deterministic_limit=0.05))  # fmt: skip
    assert check_plan(later, kept) == ()
    assert "planboard.not-as-taken" in [r.id for r in kept.reasons]


def test_a_job_under_way_is_not_planned_as_if_new(
    again: Again, made: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "logged", lambda entries: ("one",))
    again.start(made[0], limit_s=60, person="A", language="es")
    again.join(60)
    now = again.standing()
    assert now.state == "failed"
    assert "El registro tiene capas colocadas (1)" in now.faults[0].what


def test_a_fault_of_the_bundle_is_told(again: Again, tmp_path: Path) -> None:
    again.start(tmp_path / "none", limit_s=60, person="A", language="en")
    again.join(60)
    assert again.standing().state == "failed"
    assert again.standing().faults


def test_the_moves_file_says_what_a_search_placed(made: tuple[Path, Path]) -> None:
    schema = json.loads(
        (Path(__file__).resolve().parents[2] / "docs/schemas/moves.schema.json").read_text("utf-8")
    )
    assert "searched" in json.dumps(schema)
    assert "searched = true" in (made[0] / keep.FILE).read_text("utf-8")


def test_long_questions_are_answered_one_at_a_time(made: tuple[Path, Path]) -> None:
    bundle, out = made
    inquiries = Inquiries(out=out)
    for kind, asked in (("not", {}), ("not", {"by": "soon"}), ("weather", {"years": "900"})):
        with pytest.raises(InputError):
            inquiries.ask(bundle, kind, asked, person="A")  # type: ignore[arg-type]
    assert inquiries.last() == ()
    first = built_sheet(out).days[0].isoformat()
    assert inquiries.ask(bundle, "not", {"by": first}, person="A")
    assert not inquiries.ask(bundle, "stalls", {}, person="B")
    inquiries.join(120)
    (answer,) = inquiries.last()
    assert not answer.open
    # By hand: a section is primed, coated and open to cars on no first day.
    assert answer.answer.answer == "impossible"
    proven = {"en": "Proven: there is no such plan.", "es": "Probado: no hay tal plan."}
    for language, said in proven.items():
        page = inquiry_page(inquiries.last(), language)
        assert said in page.kinds[0].lead
        assert [k.kind for k in page.kinds] == ["not", "weather", "stalls"]
    assert inquiries.ask(bundle, "stalls", {}, person="A")
    inquiries.join(120)
    page = inquiry_page(inquiries.last(), "en")
    assert not page.at_work
    assert page.kinds[2].wide.startswith("<svg")
    assert len(page.kinds[2].lines) == 5
    assert "40%" in page.kinds[2].narrow
