"""Why a plan is not possible, and the smallest changes that make it so.

Rules are data of the problem, so leaving one out leaves it out everywhere; a core
found by that cannot lie about a rule that slipped in by another way. What is not
settled within the effort is *not found*, never *impossible*.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tackfree.plan.domains import arrays_of, tighten
from tackfree.plan.greedy import draft_plan
from tackfree.plan.holds import without_holds
from tackfree.plan.model import Run, search
from tackfree.plan.problem import check_problem
from tackfree.plan.solve import first_reasons
from tackfree.plan.types import Crew, Problem, Promise
from tackfree.words import Message

FOUND, IMPOSSIBLE, UNKNOWN = "found", "impossible", "not-found"
ASKED = "the date asked for"
EFFORT = 0.25  # deterministic, for each question
TRIES = 60


@dataclass(frozen=True, kw_only=True)
class Change:
    """One rule made easier: which, by how much (``size``), and what came of it.

    ``finish``: the slot a plan was found for, None where none was.
    """

    rule: str
    size: str
    answer: str
    finish: int | None


@dataclass(frozen=True, kw_only=True)
class Why:
    """``answer`` to the question; ``reasons`` of an empty domain; ``core``: rules that
    together rule it out, none to spare where ``minimal``; ``changes`` tried one by one."""

    answer: str
    finish: int | None
    reasons: tuple[Message, ...] = ()
    core: tuple[str, ...] = ()
    minimal: bool = False
    changes: tuple[Change, ...] = ()


def by(problem: Problem, slot: int) -> Problem:
    """The problem with every section promised by a slot."""
    sections = tuple(dict.fromkeys(t.section_id for t in problem.tasks))
    asked = Promise(name=ASKED, sections=sections, by=slot)
    return replace(problem, promises=(*problem.promises, asked))


def rules_of(problem: Problem) -> dict[str, Callable[[Problem], Problem]]:
    """Each rule that a problem has, with what leaves it out."""
    out: dict[str, Callable[[Problem], Problem]] = {}
    for crew in problem.crews:
        out[f"crew {crew.id}"] = lambda p, crew=crew: _many(p, crew)  # type: ignore[misc]
    if any(c.stalls for c in problem.closures) or problem.access is not None:
        out["stalls kept open"] = _no_stalls
    if problem.access is not None and problem.access.accessible_open_min:
        out["accessible stalls"] = _no_accessible
    if any(t.dusty for t in problem.tasks) and problem.neighbours:
        out["dust beside wet film"] = lambda p: replace(
            p, tasks=tuple(replace(t, dusty=False) for t in p.tasks)
        )
    if problem.ways_in:
        out["crews' way in"] = lambda p: replace(p, ways_in=())
    for keep in problem.keeps:
        out[keep.name] = lambda p, keep=keep: replace(  # type: ignore[misc]
            p, keeps=tuple(k for k in p.keeps if k != keep)
        )
    for black in problem.blackouts:
        out[black.name] = lambda p, black=black: replace(  # type: ignore[misc]
            p, blackouts=tuple(b for b in p.blackouts if b != black)
        )
    for name in dict.fromkeys(h.id for h in problem.holds):
        out[f"hold point {name}"] = lambda p, name=name: without_holds(p, {name})  # type: ignore[misc]
    for promise in problem.promises:
        out[promise.name] = lambda p, promise=promise: replace(  # type: ignore[misc]
            p, promises=tuple(x for x in p.promises if x != promise)
        )
    for machine in problem.equipment:
        out[f"machine {machine.id}"] = lambda p, machine=machine: replace(  # type: ignore[misc]
            p,
            equipment=tuple(
                replace(e, count=len(p.tasks) + 1) if e.id == machine.id else e for e in p.equipment
            ),
        )
    for stock in problem.stocks:
        out[f"kits of {stock.id}"] = lambda p, stock=stock: replace(  # type: ignore[misc]
            p, stocks=tuple(s for s in p.stocks if s.id != stock.id)
        )
    return out


def why_not(
    problem: Problem,
    *,
    seed: int = 0,
    effort: float = EFFORT,
    shares_open: Sequence[float] = (0.6, 0.5, 0.4),
) -> Why:
    """Whether the problem has a plan; if not, the rules that stand against it and what
    each change alone would bring.

    ``shares_open``: shares of stalls kept open to try, the mildest first.
    """
    answer, finish = settled(problem, seed=seed, effort=effort)
    if answer == FOUND:
        return Why(answer=answer, finish=finish)
    changes = _changes(problem, seed, effort, shares_open)
    if answer == UNKNOWN:
        return Why(answer=answer, finish=None, changes=changes)
    reasons = first_reasons(problem)
    core, minimal = _core(problem, seed, effort)
    return Why(
        answer=answer, finish=None, reasons=reasons, core=core, minimal=minimal, changes=changes
    )


def settled(problem: Problem, *, seed: int, effort: float) -> tuple[str, int | None]:
    """Whether any plan exists, and the finish of the one found."""
    if check_problem(problem):
        return IMPOSSIBLE, None
    arrays = arrays_of(problem)
    ok = tighten(arrays)
    if not all(m.any() for m in ok):
        return IMPOSSIBLE, None
    draft = draft_plan(arrays, ok, seed=seed, tries=TRIES)
    if draft is not None:
        return FOUND, draft.finish
    run = Run(seed=seed, workers=1, left=effort, stop=lambda: False)
    got = search(arrays, ok, None, run, None, 1.0)
    if got.infeasible:
        return IMPOSSIBLE, None
    return (UNKNOWN, None) if got.draft is None else (FOUND, got.draft.finish)


def _core(problem: Problem, seed: int, effort: float) -> tuple[tuple[str, ...], bool]:
    """Rules without any one of which a plan could be: by leaving one after another out.

    Minimal only where every left-out try was settled.
    """
    rules = rules_of(problem)
    kept: list[str] = []
    minimal = True
    current = problem
    for name, without in rules.items():
        fewer = without(current)
        answer, _ = settled(fewer, seed=seed, effort=effort)
        if answer == IMPOSSIBLE:
            current = fewer
        else:
            kept.append(name)
            minimal &= answer == FOUND
    return tuple(kept), minimal


def _changes(
    problem: Problem, seed: int, effort: float, shares_open: Sequence[float]
) -> tuple[Change, ...]:
    out = []

    def tried(rule: str, size: str, changed: Problem) -> bool:
        answer, finish = settled(changed, seed=seed, effort=effort)
        out.append(Change(rule=rule, size=size, answer=answer, finish=finish))
        return answer == FOUND

    for crew in problem.crews:
        again = replace(crew, id=f"{crew.id}-2")
        tried(f"crew {crew.id}", "+1", replace(problem, crews=(*problem.crews, again)))
    total = problem.stalls_total
    for share in shares_open:
        most = int(total * (1 - share) + 1e-9)
        if most > problem.stalls_closed_max and tried(
            "stalls kept open", f"{share:.0%}", replace(problem, stalls_closed_max=most)
        ):
            break
    for machine in problem.equipment:
        more = tuple(
            replace(e, count=e.count + 1) if e.id == machine.id else e for e in problem.equipment
        )
        tried(f"machine {machine.id}", "+1", replace(problem, equipment=more))
    for name, without in rules_of(problem).items():
        if not name.startswith(("crew ", "machine ", "stalls ")):
            tried(name, "left out", without(problem))
    return tuple(out)


def _many(problem: Problem, crew: Crew) -> Problem:
    sections = len({t.section_id for t in problem.tasks})
    others = tuple(replace(crew, id=f"{crew.id}-{n + 2}") for n in range(sections))
    return replace(problem, crews=(*problem.crews, *others))


def _no_stalls(problem: Problem) -> Problem:
    access = problem.access
    if access is not None:
        access = replace(access, accessible_open_min=0)
    most = sum(c.stalls for c in problem.closures)
    if access is not None:
        most = max(most, sum(g.count for g in access.groups))
    return replace(problem, access=access, stalls_closed_max=most)


def _no_accessible(problem: Problem) -> Problem:
    assert problem.access is not None
    return replace(problem, access=replace(problem.access, accessible_open_min=0))
