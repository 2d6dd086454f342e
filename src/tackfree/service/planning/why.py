"""Questions about a job's plan: why not by a date, and finish against stalls kept open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from tackfree.errors import InputError
from tackfree.plan.solve import solve
from tackfree.plan.types import Problem
from tackfree.plan.why import Why, by, why_not
from tackfree.service.pipeline import Pipeline

SHARES = (0.4, 0.5, 0.6, 0.7, 0.8)
EFFORT = 0.3  # deterministic, for each point of the curve


@dataclass(frozen=True, kw_only=True)
class Traded:
    """One point of the curve: a share of stalls kept open and what it costs in time."""

    open_share: float
    finish: int | None
    bound: int | None
    stall_slots: int | None
    status: str


def why_not_by(made: Pipeline, moment: str | None, open_share: float | None) -> Why:
    """Why the job is not done by a local date or moment, with a share of stalls open.

    Without either: why the job as it stands has no plan.
    """
    problem = made.problem
    if open_share is not None:
        problem = _with_share(problem, open_share)
    if moment is not None:
        problem = by(problem, slot_at(made, moment, up=False))
    return why_not(problem)


def slot_at(made: Pipeline, moment: str, *, up: bool) -> int:
    """The slot of a local date (its end) or moment in the job's zone."""
    zone = ZoneInfo(made.job.place.time_zone)
    try:
        at = datetime.fromisoformat(moment if "T" in moment or " " in moment else f"{moment}T23:59")
    except ValueError:
        raise InputError(
            f"{moment} is no date.", where="date", do="Write it as 2027-06-14 or 2027-06-14T07:00."
        ) from None
    if at.tzinfo is None:
        at = at.replace(tzinfo=zone)
    exact = (at.timestamp() - made.problem.slot0_utc_s) / made.problem.slot_s
    return math.ceil(exact) if up else math.floor(exact)


def trade(made: Pipeline, shares: Sequence[float] = SHARES) -> tuple[Traded, ...]:
    """Finish against the share of stalls kept open, each with its bound."""
    out = []
    for share in shares:
        plan = solve(
            _with_share(made.problem, share),
            order=("finish", "stall-slots"),
            deterministic_limit=EFFORT,
        )
        stages = {s.name: s for s in plan.stages}
        done = stages.get("finish")
        lost = stages.get("stall-slots")
        out.append(
            Traded(
                open_share=share,
                finish=None if done is None else int(done.value),
                bound=None if done is None else int(done.bound),
                stall_slots=None if lost is None else int(lost.value),
                status=plan.status,
            )
        )
    return tuple(out)


def _with_share(problem: Problem, share: float) -> Problem:
    if not 0 <= share <= 1:
        raise InputError(f"{share:g} is no share of stalls.", do="Write 0.6 for 60 %.")
    most = math.floor(problem.stalls_total * (1 - share) + 1e-9)
    return replace(problem, stalls_closed_max=most)
