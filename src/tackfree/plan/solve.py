"""The plan: a first plan, then the exact model in stages, then the independent check.

Stages in turn: finish, counted in days where the problem names them, then stall-slots
lost with the finish held. Where no first plan fits, the tightest sections are looked
at together for a proof that they cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from tackfree.plan.bound import Bound, finish_bound, stall_slots_bound
from tackfree.plan.check import check_plan
from tackfree.plan.cuts import Cuts
from tackfree.plan.domains import NEVER, Arrays, BoolArray, arrays_of, next_member, tighten
from tackfree.plan.drafts import FINISH, GOALS, MOVED, STALLS, Draft, crews_of, draft_from, measure
from tackfree.plan.greedy import draft_plan
from tackfree.plan.halving import halved
from tackfree.plan.large import improve
from tackfree.plan.model import Beside, Goal, Run, search
from tackfree.plan.problem import check_problem, problem_of
from tackfree.plan.steady import fewest_moved, moved_bound, steady
from tackfree.plan.types import Placed, Plan, Problem, Stage
from tackfree.words import Message

WHOLE = 25  # sections that the exact model is solved over as a whole
STAGE_SHARE = 0.85
WHOLE_LIMIT = 0.5  # deterministic effort below which an unsettled whole is not tried again
WHOLE_PART = 0.6  # of the effort given: with less left than this, the whole counts as unsettled
FEW, FEW_EFFORT = 6, 0.06  # sections freed at a time with what is left, and effort for each
CORE_SIZES = (2, 4, 6, 8)  # tightest sections tried together when no first plan fits
CORE_LIMIT = 0.3  # deterministic effort for each


def solve(
    problem: Problem,
    *,
    stop: Callable[[], bool] | None = None,
    seed: int = 0,
    deterministic_limit: float = 0.64,
    workers: int = 1,
    tries: int = 200,
    order: Sequence[str] = GOALS,
    progress: Callable[[int, int], None] | None = None,
    start: Plan | None = None,
    beside: Beside | None = None,
) -> Plan:
    """Place every task: by default as early as the whole job can finish, then with
    fewest stalls lost, then with fewest crew-shifts, then clear of closing windows.

    Parameters
    ----------
    problem
        Faulty problems come back infeasible with the first faults as reasons.
    stop
        Asked now and then; True ends the search with the best plan so far.
    seed, workers
        One worker and one seed give the same plan byte for byte.
    deterministic_limit
        Effort in the solver's own units (each about five seconds of one core on
        models of twenty sections), shared by the stages. Running out gives
        *feasible* or *not-found*, never *infeasible*.
    tries
        Insertion orders of the first plan.
    order
        Objectives of :data:`drafts.GOALS`, the one that matters most first.
    progress
        Told the finish of the best plan so far and the slot before which no plan ends,
        whenever one of them moves. Neither is told twice alike.
    start
        A plan to begin from; one that breaks a rule of this problem is left aside.
    beside
        Stands around each search of the solver and may end it at once, from a thread.
        Without it ``stop`` is heard only when a better plan is found.

    Returns
    -------
    Plan
        *optimal*: every stage is proven. Each stage carries its own bound.

    Source
    ------
    Project scheduling with minimum and maximum time lags (RCPSP/max); time-indexed
    order encoding of the lags. Published: Brucker et al., Eur. J. Oper. Res. 112
    (1999) 3-41, for the class of problem.
    """
    faults = _faults(problem)
    if faults:
        return _none("infeasible", seed, faults)
    if not problem.tasks:
        return Plan(status="optimal", placed=(), opens={}, stages=(), seed=seed, method="none")
    arrays = arrays_of(problem)
    ok = tighten(arrays)
    reasons = _empty_reasons(arrays, ok)
    if reasons:
        return _none("infeasible", seed, reasons)
    draft = None
    if start is not None and start.placed and not check_plan(problem, start):
        draft = draft_from(arrays, start)
    if draft is None and problem.was:
        draft = steady(arrays, ok, seed, stop)
    if draft is None:
        draft = draft_plan(arrays, ok, seed=seed, tries=tries, stop=stop)
    run = Run(
        seed=seed,
        workers=workers,
        left=deterministic_limit,
        given=deterministic_limit,
        stop=stop or _never,
    )
    if beside is not None:
        run.beside = beside
    if progress is not None:
        run.told = _changed(progress)
    method = "first plan"
    if draft is None:
        found = _without_draft(problem, arrays, ok, run)
        if isinstance(found, Plan):
            return found
        draft, method = found, "CP-SAT"
    run.told(draft.finish, 0)
    bounds: list[Bound] = []
    caps: tuple[tuple[str, int], ...] = ()
    for n, name in enumerate(order):
        last = n == len(order) - 1
        better, bound = _stage(arrays, draft, run, name, caps, share=1.0 if last else STAGE_SHARE)
        if better is not draft:
            draft, method = better, "CP-SAT"
        caps = (*caps, (name, measure(arrays, draft, name)))
        bounds.append(bound)
        run.told(draft.finish, bound.slot if name == FINISH else 0)
    plan = plan_of(arrays, draft, _stages(arrays, draft, order, bounds), seed, method)
    wrong = check_plan(problem, plan)
    if wrong:
        raise AssertionError("the plan breaks its own rules: " + "; ".join(map(str, wrong)))
    return plan


def first_reasons(problem: Problem) -> tuple[Message, ...]:
    """Why a problem has no plan, as far as it shows without any search."""
    faults = _faults(problem)
    if faults:
        return faults
    arrays = arrays_of(problem)
    return _empty_reasons(arrays, tighten(arrays))


def _faults(problem: Problem) -> tuple[Message, ...]:
    return tuple(
        Message(id="plan.reason.fault", values={"where": f.where, "what": f.what})
        for f in check_problem(problem)
    )


def _changed(progress: Callable[[int, int], None]) -> Callable[[int, int], None]:
    """Tell best finish and best bound so far, each time one of them moved."""
    best = (NEVER, 0)

    def told(finish: int, bound: int) -> None:
        nonlocal best
        now = (min(best[0], finish), max(best[1], bound))
        if now != best:
            best = now
            progress(*now)

    return told


def _never() -> bool:
    return False


def _stages(
    arrays: Arrays, draft: Draft, order: Sequence[str], bounds: Sequence[Bound]
) -> tuple[Stage, ...]:
    # A later stage may better an earlier one where that ran out of effort.
    out = []
    for name, bound in zip(order, bounds, strict=True):
        # The finish is told to the slot; a bound on its very day proves it.
        value = draft.finish if name == FINISH else measure(arrays, draft, name)
        met = _met(arrays, bound, name, measure(arrays, draft, name))
        out.append(
            Stage(
                name=name,
                value=float(value),
                bound=float(value if met else min(bound.slot, value)),
                bound_source=bound.source,
            )
        )
    return tuple(out)


def _without_draft(problem: Problem, arrays: Arrays, ok: list[BoolArray], run: Run) -> Draft | Plan:
    """Where no order of insertion fits: a proof, any plan, or neither."""
    core = _core(problem, arrays, ok, run)
    if core:
        return _none("infeasible", run.seed, _core_reasons(arrays, ok, core))
    got = search(arrays, ok, None, run, Goal(name=FINISH), 1.0)
    if got.infeasible:
        return _none("infeasible", run.seed, (Message(id="plan.reason.crews-and-stalls"),))
    if got.draft is None:
        found = (Message(id="plan.reason.not-found"), *_tight(arrays, ok, 3))
        return _none("not-found", run.seed, found)
    return got.draft


def _stage(
    arrays: Arrays,
    draft: Draft,
    run: Run,
    name: str,
    caps: tuple[tuple[str, int], ...],
    *,
    share: float,
) -> tuple[Draft, Bound]:
    """The best draft found for one objective with the earlier ones held, and its bound."""
    value = measure(arrays, draft, name)
    ok = tighten(arrays, dict(caps).get(FINISH, value if name == FINISH else None))
    bound = _bound(arrays, ok, name)
    if _met(arrays, bound, name, value):
        return draft, bound
    whole = len(set(arrays.section)) <= WHOLE
    if name == FINISH and not caps and whole:
        draft, bound = halved(arrays, draft, run, bound)
        value = measure(arrays, draft, name)
        if _met(arrays, bound, name, value):
            return draft, bound
        ok = tighten(arrays, value)
    if name == MOVED and not caps:
        draft, bound = fewest_moved(arrays, draft, run, bound)
        value = measure(arrays, draft, name)
        if _met(arrays, bound, name, value):
            return draft, bound
    goal = Goal(name=name, caps=caps, lower=bound.slot)
    if not whole:
        return improve(arrays, draft, run, goal, share=share), bound
    little = run.unsettled or run.left < run.given * WHOLE_PART
    if run.left * share < WHOLE_LIMIT and little:
        # Too little to settle the whole with; enough for a few sections at a time.
        if name != FINISH:
            draft = improve(arrays, draft, run, goal, share=share, size=FEW, effort=FEW_EFFORT,
                            quick=True)  # fmt: skip
        return draft, bound
    got = search(arrays, ok, draft, run, goal, share)
    if got.bound > bound.slot:
        bound = Bound(slot=got.bound, source="CP-SAT")
    # The model may understate stalls behind several sections, so they are counted again.
    if got.draft is None or any(measure(arrays, got.draft, n) > most for n, most in caps):
        return draft, bound
    return (got.draft if measure(arrays, got.draft, name) < value else draft), bound


def _met(arrays: Arrays, bound: Bound, name: str, value: int) -> bool:
    """Whether a bound proves a value; the finish counts by its day."""
    return (arrays.last_of_day(bound.slot) if name == FINISH else bound.slot) >= value


def _bound(arrays: Arrays, ok: list[BoolArray], name: str) -> Bound:
    if name == FINISH:
        return finish_bound(arrays, ok)
    if name == STALLS:
        return Bound(slot=stall_slots_bound(arrays, ok), source="shortest closures")
    if name == MOVED:
        return moved_bound(arrays, ok)
    return Bound(slot=0, source="none")


def _none(status: str, seed: int, reasons: tuple[Message, ...]) -> Plan:
    return Plan(
        status=status, placed=(), opens={}, stages=(), seed=seed, method="none", reasons=reasons
    )


def _empty_reasons(arrays: Arrays, ok: list[BoolArray]) -> tuple[Message, ...]:
    """Which waits leave a step without a start, looked at one wait at a time."""
    if all(m.any() for m in ok):
        return ()
    out = []
    for lag in arrays.lags:
        alone = [m.copy() for m in arrays.ok]
        first = next_member(alone[lag.j])[np.minimum(lag.low, arrays.problem.slots)]
        if not (alone[lag.i] & (first < NEVER) & (first <= lag.high)).any():
            a, b = arrays.tasks[lag.i], arrays.tasks[lag.j]
            out.append(
                Message(
                    id="plan.reason.wait",
                    values={"section": a.section_id, "before": a.step_id, "after": b.step_id},
                )
            )
    if out:
        return tuple(out)
    k = next(k for k in arrays.order if not ok[k].any())
    return (
        Message(
            id="plan.reason.chain",
            values={"section": arrays.tasks[k].section_id, "step": arrays.tasks[k].step_id},
        ),
    )


def plan_of(
    arrays: Arrays, draft: Draft, stages: tuple[Stage, ...], seed: int, method: str
) -> Plan:
    """A draft as a plan, each task with a crew by name."""
    crews = crews_of(arrays, draft)
    placed = tuple(
        Placed(
            task_id=t.id,
            section_id=t.section_id,
            step_id=t.step_id,
            crew_id=arrays.problem.crews[crews[k]].id,
            start=draft.start[k],
            end=draft.start[k] + t.duration,
        )
        for k, t in enumerate(arrays.tasks)
    )
    return Plan(
        status="optimal" if all(s.bound >= s.value for s in stages) else "feasible",
        placed=tuple(sorted(placed, key=lambda p: (p.start, p.end, p.task_id))),
        opens={c.section_id: c.opens(draft.start) for c in arrays.closures},
        stages=stages,
        seed=seed,
        method=method,
    )


def _by_room(arrays: Arrays, ok: list[BoolArray]) -> list[str]:
    """Sections, the one with the scarcest step first."""
    room: dict[str, int] = {}
    for k, t in enumerate(arrays.tasks):
        room[t.section_id] = min(room.get(t.section_id, NEVER), int(ok[k].sum()))
    return sorted(room, key=lambda s: (room[s], s))


def _core(problem: Problem, arrays: Arrays, ok: list[BoolArray], run: Run) -> tuple[str, ...]:
    """A small set of sections proven not to fit together; empty where none is proven."""
    order = _by_room(arrays, ok)
    for size in CORE_SIZES:
        core = order[:size]
        if len(core) < size or not _refuted(problem, core, run):
            continue
        for section in tuple(reversed(core)):
            rest = [s for s in core if s != section]
            if rest and _refuted(problem, rest, run):
                core = rest
        return tuple(sorted(core))
    return ()


def _refuted(problem: Problem, sections: Sequence[str], run: Run) -> bool:
    arrays = arrays_of(problem_of(problem, sections))
    ok = tighten(arrays)
    if not all(m.any() for m in ok):
        return True
    own = replace(run, left=CORE_LIMIT, cuts=Cuts())
    return search(arrays, ok, None, own, None, 1.0).infeasible


def _tight(arrays: Arrays, ok: list[BoolArray], n: int) -> tuple[Message, ...]:
    return tuple(_scarce(arrays, ok, s) for s in _by_room(arrays, ok)[:n])


def _scarce(arrays: Arrays, ok: list[BoolArray], section: str) -> Message:
    """The step of a section with the fewest starts."""
    mine = [k for k, t in enumerate(arrays.tasks) if t.section_id == section]
    k = min(mine, key=lambda k: int(ok[k].sum()))
    task = arrays.tasks[k]
    return Message(
        id="plan.reason.scarce",
        values={
            "section": section,
            "step": task.step_id,
            "starts": int(ok[k].sum()),
            "hours": task.duration * arrays.problem.slot_s / 3600,
        },
    )


def _core_reasons(
    arrays: Arrays, ok: list[BoolArray], core: tuple[str, ...]
) -> tuple[Message, ...]:
    together = Message(id="plan.reason.together", values={"sections": ", ".join(core)})
    return (together, *(_scarce(arrays, ok, s) for s in core))
