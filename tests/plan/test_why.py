"""Why not: the rules that stand against a plan, and the changes that make room."""

from __future__ import annotations

from dataclasses import replace

from tests.plan.made import garage

from tackfree.plan.solve import solve
from tackfree.plan.types import Equipment
from tackfree.plan.why import ASKED, FOUND, IMPOSSIBLE, UNKNOWN, by, rules_of, settled, why_not

EFFORT = 0.1


def test_a_question_with_a_plan_is_answered_by_its_finish():
    problem = garage(2, 40)
    got = why_not(problem, effort=EFFORT)
    assert got.answer == FOUND
    assert got.finish >= solve(problem, deterministic_limit=0.1).stages[0].value
    assert got.core == ()


def test_a_date_too_early_for_one_section_needs_no_search():
    got = why_not(by(garage(2, 40), 96), effort=EFFORT)
    assert got.answer == IMPOSSIBLE
    assert got.reasons
    assert got.core == (ASKED,)
    assert got.minimal
    assert {c.rule: c.answer for c in got.changes}[ASKED] == FOUND


def test_every_rule_of_a_minimal_core_is_needed_and_the_core_alone_is_enough():
    problem = garage(4, 42)
    best = solve(problem, deterministic_limit=0.6)
    finish = best.stages[0]
    assert finish.value == finish.bound, "the instance is meant to be proven"
    asked = by(problem, int(finish.value) - 1)
    got = why_not(asked, effort=1.0)
    assert got.answer == IMPOSSIBLE
    assert ASKED in got.core
    rules = rules_of(asked)
    bare = asked
    for name, without in rules.items():
        if name not in got.core:
            bare = without(bare)
    assert settled(bare, seed=0, effort=1.0)[0] == IMPOSSIBLE
    if got.minimal:
        for name in got.core:
            assert settled(rules[name](bare), seed=0, effort=1.0)[0] == FOUND


def test_the_machine_that_is_short_is_the_change_that_helps():
    problem = garage(2, 21, cap=1.0)
    base = {t.id: t for t in problem.tasks}
    one = next(a for a, _ in base["S01/BASE"].starts if a > 480)
    tasks = tuple(
        replace(t, starts=((one, one),), equipment=("MIXER",)) if t.step_id == "BASE" else t
        for t in problem.tasks
    )
    twin = replace(problem.crews[0], id="CREW-2")
    tight = replace(problem, tasks=tasks, crews=(*problem.crews, twin),
                    equipment=(Equipment(id="MIXER", count=1),))  # fmt: skip
    got = why_not(tight, effort=EFFORT)
    assert got.answer == IMPOSSIBLE
    assert got.core == ("machine MIXER",)
    found = {c.rule: c.answer for c in got.changes}
    assert found["machine MIXER"] == FOUND
    assert found["crew CREW-2"] == IMPOSSIBLE


def test_what_is_not_settled_is_never_called_impossible():
    problem = by(garage(8, 42), 1000)
    answer, finish = settled(problem, seed=0, effort=1e-6)
    assert (answer, finish) == (UNKNOWN, None)
