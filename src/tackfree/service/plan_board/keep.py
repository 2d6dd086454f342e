"""Moves that a person saved, and a plan that one took from a search: a file of the bundle.

Every later build holds them. What was placed by hand stays fixed as long as any plan can
be made around it; a plan taken from a search is where the next search begins.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from tackfree.bundle.documents.moves import MovesDoc
from tackfree.bundle.load import documents
from tackfree.errors import InputError, Refused
from tackfree.plan.check import check_plan
from tackfree.plan.types import Placed, Plan, Problem
from tackfree.record.revisions import save_revision
from tackfree.record.store import open_record
from tackfree.service.plan_board.moves import Judged, Move, faults_of, judge, moved
from tackfree.service.plan_board.sheet import Sheet
from tackfree.service.planning.measured import measured
from tackfree.service.record import where_of
from tackfree.service.save import write_atomic
from tackfree.words import Message, say

FILE = "moves.toml"
_HEAD = "# Steps that a person placed on the plan board. A build holds them where they still fit.\n"


def saved_moves(root: Path, problem: Problem) -> tuple[Move, ...]:
    """The saved moves as slots of a problem; steps it lacks are left out.

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    path = root / FILE
    if not path.is_file():
        return ()
    try:
        found = MovesDoc.model_validate(tomllib.loads(path.read_text("utf-8"))).moves
    except (OSError, ValueError):
        raise InputError(
            "it does not hold saved moves.", where=FILE, do="Mend it or take it away."
        ) from None
    known = {t.id for t in problem.tasks}
    return tuple(
        Move(
            task_id=m.step,
            crew_id=m.crew,
            start=int((m.begins.timestamp() - problem.slot0_utc_s) // problem.slot_s),
            searched=m.searched,
        )
        for m in found
        if m.step in known
    )


def kept_plan(
    root: Path, problem: Problem, plan: Plan, *, again: Callable[[Problem], Plan]
) -> Plan:
    """The plan with the saved moves; where they no longer fit, made anew around them by ``again``.

    Where even that has no answer the plan stays as it was and says so.
    """
    moves = saved_moves(root, problem)
    start = plan if plan.placed else _whole(problem, plan, moves)
    if not moves or not start.placed:
        return plan
    as_saved = moved(problem, start, moves)
    if not check_plan(problem, as_saved):
        return measured(problem, replace(as_saved, stages=plan.stages, reasons=()))
    by_hand = [m for m in moves if not m.searched]
    around = again(_around(problem, moves))
    if not around.placed or check_plan(problem, around):
        around = plan
    elif len(by_hand) == len(moves):
        return around
    name = "not-kept" if around is plan and by_hand else "not-as-taken"
    left = Message(id=f"planboard.{name}", values={"n": len(by_hand or moves)})
    return replace(around, reasons=(*around.reasons, left))


def _whole(problem: Problem, plan: Plan, moves: Sequence[Move]) -> Plan:
    """A plan of nothing but moves, where they name every task."""
    at = {m.task_id: m for m in moves}
    if any(t.id not in at for t in problem.tasks):
        return plan
    placed = tuple(
        Placed(task_id=t.id, section_id=t.section_id, step_id=t.step_id, start=at[t.id].start,
               end=at[t.id].start + t.duration, crew_id=at[t.id].crew_id)
        for t in problem.tasks
    )  # fmt: skip
    return replace(plan, placed=placed)


def _around(problem: Problem, moves: Sequence[Move]) -> Problem:
    """The problem with hand-placed steps fixed, and a taken plan to begin from."""
    fixed = {m.task_id: m.start for m in moves if not m.searched}
    tasks = tuple(
        replace(t, starts=((fixed[t.id], fixed[t.id]),)) if t.id in fixed else t
        for t in problem.tasks
    )
    was = tuple((m.task_id, m.start) for m in moves if m.searched and 0 <= m.start < problem.slots)
    return replace(problem, tasks=tasks, was=was)


def held_by_hand(root: Path, problem: Problem) -> Problem:
    """The problem with the steps that a person placed fixed where they were saved."""
    return _around(problem, [m for m in saved_moves(root, problem) if not m.searched])


def save_moves(bundle: Path, judged: Judged, *, person: str = "", language: str = "en") -> None:
    """Write the moves into the bundle, whole; the states before and after are revisions.

    Raises
    ------
    Refused
        If the moved plan breaks a rule: nothing is written.
    InputError
        If the bundle is no folder.
    """
    if judged.said:
        raise Refused(faults_of(judged, language))
    if not bundle.is_dir():
        raise InputError(
            say("planboard.zip", language), where=str(bundle), do=say("planboard.zip-do", language)
        )
    problem = judged.sheet.problem
    every = {m.task_id: m for m in (*saved_moves(bundle, problem), *judged.moves)}
    _write(bundle, judged.sheet.job_id, _text(problem, tuple(every.values())), person)


def take_plan(bundle: Path, sheet: Sheet, *, person: str = "", language: str = "en") -> None:
    """Write a plan that a search found into the bundle, beside the steps placed by hand.

    Raises
    ------
    Refused
        If the plan breaks a rule: nothing is written.
    InputError
        If the bundle is no folder.
    """
    problem = sheet.problem
    by_hand = {m.task_id for m in saved_moves(bundle, problem) if not m.searched}
    found = tuple(
        Move(task_id=p.task_id, start=p.start, crew_id=p.crew_id, searched=True)
        for p in sheet.plan.placed
        if p.task_id not in by_hand
    )
    judged = replace(judge(sheet, ()), moves=found)
    save_moves(bundle, judged, person=person, language=language)


def forget_moves(bundle: Path, job_id: str, *, person: str = "") -> None:
    """Take all saved moves back: the next build plans freely again."""
    if (bundle / FILE).is_file():
        _write(bundle, job_id, _HEAD, person)


def _write(bundle: Path, job_id: str, text: str, person: str) -> None:
    with open_record(where_of(bundle)) as record:
        save_revision(record, documents(bundle), job_id=job_id, person=person)
        write_atomic(bundle / FILE, text)
        save_revision(record, documents(bundle), job_id=job_id, person=person)


def _text(problem: Problem, moves: Sequence[Move]) -> str:
    rows = [_HEAD]
    for m in moves:
        at = datetime.fromtimestamp(problem.slot0_utc_s + m.start * problem.slot_s, UTC)
        rows.append(
            f'\n[[moves]]\nstep = "{m.task_id}"\nbegins = {at:%Y-%m-%dT%H:%M:%SZ}\n'
            f'crew = "{m.crew_id}"\n' + "searched = true\n" * m.searched
        )
    return "".join(rows)
