"""Moves that a person saved: a file of the bundle, held by every later build."""

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
from tackfree.plan.types import Plan, Problem
from tackfree.record.revisions import save_revision
from tackfree.record.store import open_record
from tackfree.service.plan_board.moves import Judged, Move, faults_of, moved
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
    if not moves or not plan.placed:
        return plan
    by_hand = moved(problem, plan, moves)
    if not check_plan(problem, by_hand):
        return by_hand
    fixed = {m.task_id: m.start for m in moves}
    pinned = replace(
        problem,
        tasks=tuple(
            replace(t, starts=((fixed[t.id], fixed[t.id]),)) if t.id in fixed else t
            for t in problem.tasks
        ),
    )
    around = again(pinned)
    if around.placed and not check_plan(problem, around):
        return around
    left = Message(id="planboard.not-kept", values={"n": len(moves)})
    return replace(plan, reasons=(*plan.reasons, left))


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
            f'crew = "{m.crew_id}"\n'
        )
    return "".join(rows)
