"""The plan in force, what the record says was done, and the plan from now on."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import TypeAdapter

from tackfree.cure.remedy import Remedy
from tackfree.errors import InputError
from tackfree.plan.again import Way
from tackfree.plan.replan import Replanned, replan
from tackfree.plan.types import Plan, Problem, Task
from tackfree.service.papers import at_slot
from tackfree.service.pipeline import Pipeline
from tackfree.service.placed import Logged, clock_entries, logged
from tackfree.service.plan import days_off
from tackfree.service.planning.again import ways_again
from tackfree.service.planning.holds import agreed_by, with_hold_points
from tackfree.service.planning.why import slot_at
from tackfree.service.remedies import way_lost

STEADY_DAYS = 5


@dataclass(frozen=True, kw_only=True)
class ReplanReport:
    """The new plan, and which done tasks the record shows and which are taken as planned."""

    got: Replanned
    now: int
    recorded: tuple[str, ...]
    assumed: tuple[str, ...]
    ways: tuple[Remedy, ...]  # of each lost window, in its order


def read_plan(path: Path) -> Plan:
    """The plan of a file as ``plan make --json`` or a build wrote it."""
    try:
        return TypeAdapter(Plan).validate_python(json.loads(path.read_text("utf-8"))["plan"])
    except OSError:
        raise InputError(
            "there is no such file.", where=str(path), do="Name stages/plan.json of a build."
        ) from None
    except (ValueError, KeyError, TypeError):
        raise InputError(
            "it holds no plan.", where=str(path), do="Write one: tackfree plan make BUNDLE --json."
        ) from None


def replan_job(
    bundle: Path, made: Pipeline, was: Plan, moment: str, *, frozen_days: int = 2
) -> ReplanReport:
    """Plan the rest of the job at a local moment on the bundle's present weather.

    Coats count as done when the record holds their kits; so do the steps of the same
    section before them. Other steps planned before now are taken as done as planned,
    and named, unless a coat that had to come between is not in the record. A record
    without any coat says nothing: then every step is taken as done as planned. People
    who had to be told of a hold point by now count as told.
    """
    now = slot_at(made, moment, up=True)
    day = 86400 // made.problem.slot_s
    done, recorded, assumed = done_by(made, was, logged(clock_entries(bundle)), now)
    problem = made.problem
    if problem.holds:
        problem = with_hold_points(
            problem, made.job, made.sections.sections, days_off(made.job),
            now=at_slot(made, now), agreed=agreed_by(problem, was, now),
        )  # fmt: skip
    got = replan(
        problem,
        was,
        done,
        now=now,
        frozen_until=now + frozen_days * day,
        steady_until=now + STEADY_DAYS * day,
        ways=ways_open(made, problem, done),
    )
    told = tuple(way_lost(made, *x.before.split("/", 1)) for x in got.lost)
    return ReplanReport(got=got, now=now, recorded=recorded, assumed=assumed, ways=told)


def ways_open(
    made: Pipeline, problem: Problem, done: Mapping[str, tuple[int, int]]
) -> dict[tuple[str, str], Way]:
    """The way back from every window that is open between done work and the next step."""
    cut = {(x.before, x.after) for x in problem.lags if x.before in done and x.after not in done}
    stocked = {s.id for s in problem.stocks}
    return ways_again(made.job, made.sections, made.climate, only=cut, stocked=stocked)


def done_by(
    made: Pipeline, was: Plan, record: tuple[Logged, ...], now: int
) -> tuple[dict[str, tuple[int, int]], tuple[str, ...], tuple[str, ...]]:
    """Start and end of each done task, and the names recorded and assumed."""
    problem = made.problem
    spans = {
        f"{x.section_id}/{x.coat_id}": (
            int((x.first_utc_s - problem.slot0_utc_s) // problem.slot_s),
            int(-((problem.slot0_utc_s - x.last_utc_s) // problem.slot_s)),
        )
        for x in record
    }
    done: dict[str, tuple[int, int]] = {}
    recorded: list[str] = []
    assumed: list[str] = []
    old = {p.task_id: p for p in was.placed}
    coats = {c.id for b in made.job.build_ups.values() for c in b.coats}
    by_section: dict[str, list[Task]] = {}
    for task in problem.tasks:
        by_section.setdefault(task.section_id, []).append(task)
    for tasks in by_section.values():
        known = [n for n, t in enumerate(tasks) if t.id in spans]
        sure = max(known, default=-1)
        for n, task in enumerate(tasks):
            plan = old.get(task.id)
            if task.id in spans:
                a, b = spans[task.id]
                done[task.id] = (a, max(a + 1, b))
                recorded.append(task.id)
            elif n < sure or (
                plan and plan.end <= now and (not spans or task.step_id not in coats)
            ):
                begin, end = (plan.start, plan.end) if plan else (now - task.duration, now)
                later = [spans[t.id][0] for t in tasks[n + 1 :] if t.id in spans]
                shift = max(0, end - min(later)) if later else max(0, end - now)
                done[task.id] = (begin - shift, end - shift)
                assumed.append(task.id)
            else:
                break
    return done, tuple(recorded), tuple(assumed)
