"""The part of the independent check that looks across sections, slot by slot.

Stalls and the street, dust and wet film, ways in, machines, kits, events, promises:
each by code of its own, with nothing of the solver's.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from tackfree.errors import Fault
from tackfree.plan.types import STREET, Access, Placed, Plan, Problem

DO = "Move it, or make the plan anew."


def check_rules(problem: Problem, plan: Plan) -> list[Fault]:
    """Every rule between sections that a plan breaks; its tasks are all placed once."""
    at = {p.task_id: p for p in plan.placed}
    closed = _closed(problem, plan, at)
    wet = _wet(problem, at)
    return [
        *_stalls(problem, closed),
        *_keeps(problem, closed),
        *_blackouts(problem, closed),
        *_promises(problem, plan),
        *_holds(problem, plan, at),
        *_dust(problem, plan, wet),
        *_ways(problem, plan, wet),
        *_machines(problem, at),
        *_kits(problem, at),
    ]


def closed_slots(problem: Problem, plan: Plan) -> dict[int, set[str]]:
    """Sections that are closed, by slot."""
    return _closed(problem, plan, {p.task_id: p for p in plan.placed})


def lost_stalls(problem: Problem, shut: Iterable[str]) -> int:
    """Stalls that no car can use while the sections are closed, each counted once."""
    shut = set(shut)
    if problem.access is None:
        return sum(c.stalls for c in problem.closures if c.section_id in shut)
    return _lost(_roads(problem.access), shut, shut)[0]


def _closed(problem: Problem, plan: Plan, at: Mapping[str, Placed]) -> dict[int, set[str]]:
    out: dict[int, set[str]] = {}
    spans = [(x.section_id, x.begin, x.end) for x in problem.shut]
    for c in problem.closures:
        begin = c.since if c.since is not None else at[c.first].start
        spans.append((c.section_id, begin, plan.opens.get(c.section_id, begin)))
    for name, begin, end in spans:
        for slot in range(begin, end):
            out.setdefault(slot, set()).add(name)
    return out


def _wet(problem: Problem, at: Mapping[str, Placed]) -> dict[int, set[str]]:
    out: dict[int, set[str]] = {}
    for x in problem.wet_now:
        for slot in range(x.begin, x.end):
            out.setdefault(slot, set()).add(x.section_id)
    for task in problem.tasks:
        if task.wet:
            p = at[task.id]
            for slot in range(p.start, task.wet[p.end] if p.end < len(task.wet) else p.end):
                out.setdefault(slot, set()).add(task.section_id)
    return out


def _fault(where: str, what: str) -> Fault:
    return Fault(where=where, what=what, do=DO)


def _stalls(problem: Problem, closed: Mapping[int, set[str]]) -> Iterator[Fault]:
    told: set[str] = set()
    seen: dict[frozenset[str], tuple[int, int]] = {}
    roads = None if problem.access is None else _roads(problem.access)
    for slot in sorted(closed):
        shut = frozenset(closed[slot])
        if shut not in seen:
            if roads is None:
                seen[shut] = (lost_stalls(problem, shut), 0)
            else:
                seen[shut] = _lost(roads, shut, shut - set(roads.access.agreed))
        lost, marked = seen[shut]
        if lost > problem.stalls_closed_max and "stalls" not in told:
            told.add("stalls")
            yield _fault(
                "stalls",
                f"{lost} stalls are closed at slot {slot}; at most "
                f"{problem.stalls_closed_max} may be.",
            )
        access = problem.access
        if access is None or not marked or "accessible" in told:
            continue
        left = sum(g.accessible for g in access.groups) - marked
        if left < access.accessible_open_min:
            told.add("accessible")
            yield _fault(
                "accessible stalls",
                f"{left} are open at slot {slot}; {access.accessible_open_min} must be.",
            )


@dataclass(frozen=True, kw_only=True)
class _Roads:
    """From each node where cars drive on, and where they come from."""

    access: Access
    ways: tuple[dict[str, list[str]], dict[str, list[str]]]
    usual: set[str]  # driven on an open deck


def _roads(access: Access) -> _Roads:
    ways: tuple[dict[str, list[str]], dict[str, list[str]]] = ({}, {})
    for a, b, one_way in access.edges:
        ways[0].setdefault(a, []).append(b)
        ways[1].setdefault(b, []).append(a)
        if not one_way:
            ways[0].setdefault(b, []).append(a)
            ways[1].setdefault(a, []).append(b)
    return _Roads(access=access, ways=ways, usual=_driven(ways, set()))


def _lost(roads: _Roads, shut: Iterable[str], cutting: Iterable[str]) -> tuple[int, int]:
    """Stalls and accessible stalls on closed sections, or that no car can get to and leave.

    Stalls that no car gets to even on an open deck are lost with their own section only.
    """
    shut, cutting = set(shut), set(cutting)
    blocked = {n for s, nodes in roads.access.blocks if s in cutting for n in nodes}
    open_to = _driven(roads.ways, blocked) if blocked else roads.usual
    lost = marked = 0
    for g in roads.access.groups:
        cut_off = bool(g.node) and g.node in roads.usual and g.node not in open_to
        if g.section_id in shut or cut_off:
            lost += g.count
            marked += g.accessible
    return lost, marked


def _driven(ways: Iterable[Mapping[str, list[str]]], blocked: set[str]) -> set[str]:
    """Nodes that a car gets to from the street and back from."""
    found = []
    for way in ways:
        seen, queue = {STREET}, [STREET]
        while queue:
            for y in way.get(queue.pop(), ()):
                if y not in seen and y not in blocked:
                    seen.add(y)
                    queue.append(y)
        found.append(seen)
    return found[0] & found[1]


def _keeps(problem: Problem, closed: Mapping[int, set[str]]) -> Iterator[Fault]:
    for keep in problem.keeps:
        for slot in sorted(closed):
            left = len(set(keep.sections) - closed[slot])
            if left < keep.open_min:
                yield _fault(
                    keep.name,
                    f"{left} of {', '.join(keep.sections)} are open at slot {slot}; "
                    f"{keep.open_min} must be.",
                )
                break


def _blackouts(problem: Problem, closed: Mapping[int, set[str]]) -> Iterator[Fault]:
    for black in problem.blackouts:
        shut = {
            name
            for slot in range(black.begin, black.end)
            for name in closed.get(slot, set()) & set(black.sections)
        }
        for name in sorted(shut):
            yield _fault(name, f"It is closed during {black.name}.")


def _promises(problem: Problem, plan: Plan) -> Iterator[Fault]:
    for promise in problem.promises:
        for name in promise.sections:
            ends = [p.end for p in plan.placed if p.section_id == name]
            done = max([*ends, plan.opens.get(name, 0)], default=0)
            if done > promise.by:
                yield _fault(
                    name, f"It opens at slot {done}; {promise.name} promises slot {promise.by}."
                )


def _holds(problem: Problem, plan: Plan, at: Mapping[str, Placed]) -> Iterator[Fault]:
    """The visit comes after the work and is over before the next step, or cars."""
    for h in problem.holds:
        end = at[h.after].end if h.ended is None else h.ended
        visit = h.visits[end] if 0 <= end < len(h.visits) else -1
        if visit < 0:
            yield _fault(h.after, f"It is not known when {h.who} can see it.")
            continue
        free = at[h.before].start if h.before else plan.opens.get(h.section_id, -1)
        if free < visit + h.takes:
            yield _fault(
                h.before or h.section_id,
                f"It begins at slot {free}; {h.who} is at {h.after} until slot {visit + h.takes}.",
            )


def _touching(problem: Problem) -> dict[str, set[str]]:
    out: dict[str, set[str]] = {}
    for a, b in problem.neighbours:
        out.setdefault(a, set()).add(b)
        out.setdefault(b, set()).add(a)
    return out


def _dust(problem: Problem, plan: Plan, wet: Mapping[int, set[str]]) -> Iterator[Fault]:
    beside = _touching(problem)
    dusty = {t.id for t in problem.tasks if t.dusty}
    for p in plan.placed:
        if p.task_id not in dusty:
            continue
        met = {
            name
            for slot in range(p.start, p.end)
            for name in wet.get(slot, set()) & beside.get(p.section_id, set())
        }
        for name in sorted(met):
            yield _fault(p.task_id, f"It makes dust beside wet film on {name}.")


def _ways(problem: Problem, plan: Plan, wet: Mapping[int, set[str]]) -> Iterator[Fault]:
    if not problem.ways_in:
        return
    beside = _touching(problem)
    known: dict[frozenset[str], set[str]] = {}

    def reached(film: frozenset[str]) -> set[str]:
        if film not in known:
            seen = {s for s in problem.ways_in if s not in film}
            queue = list(seen)
            while queue:
                for other in beside.get(queue.pop(), set()) - film - seen:
                    seen.add(other)
                    queue.append(other)
            known[film] = seen
        return known[film]

    free = reached(frozenset())
    for p in plan.placed:
        if p.section_id not in free:
            continue  # no way is drawn to it at all
        for slot in range(p.start, p.end):
            film = frozenset(wet.get(slot, set()) - {p.section_id})
            if film and p.section_id not in reached(film):
                yield _fault(
                    p.task_id,
                    f"At slot {slot} its crew would walk through wet film on "
                    f"{', '.join(sorted(film))}.",
                )
                break


def _machines(problem: Problem, at: Mapping[str, Placed]) -> Iterator[Fault]:
    for machine in problem.equipment:
        used: Counter[int] = Counter()
        for task in problem.tasks:
            for name in task.equipment:
                if name == machine.id:
                    used.update(range(at[task.id].start, at[task.id].end))
        over = [slot for slot, n in used.items() if n > machine.count]
        if over:
            yield _fault(
                machine.id,
                f"{used[min(over)]} are in use at slot {min(over)}; there are {machine.count}.",
            )


def _kits(problem: Problem, at: Mapping[str, Placed]) -> Iterator[Fault]:
    for stock in problem.stocks:
        taken = [
            (at[t.id].start, n) for t in problem.tasks for name, n in t.needs if name == stock.id
        ]
        for slot in sorted({s for s, _ in taken}):
            used = sum(n for s, n in taken if s <= slot)
            there = stock.on_hand + sum(n for s, n in stock.arrivals if s <= slot)
            if used > there:
                yield _fault(
                    stock.id, f"By slot {slot} the plan uses {used} kits; {there} are there."
                )
                break
