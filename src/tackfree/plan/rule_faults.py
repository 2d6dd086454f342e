"""Rules between sections that no plan can keep, named before the solver starts."""

from __future__ import annotations

from collections.abc import Iterator

from tackfree.errors import Fault
from tackfree.plan.reach import reach_of
from tackfree.plan.types import Lag, Problem, Task

FAR = 1 << 40
MUST = 12  # names listed before "and n more"


def rule_faults(problem: Problem) -> Iterator[Fault]:
    """Islands, closures that take too many stalls alone, promises and stocks that clash."""
    sections = tuple(dict.fromkeys(t.section_id for t in problem.tasks))
    yield from _access(problem, sections)
    yield from _already(problem)
    yield from _keeps(problem, sections)
    yield from _promises(problem)
    yield from _supply(problem)


def _access(problem: Problem, sections: tuple[str, ...]) -> Iterator[Fault]:
    access = problem.access
    if access is None:
        return
    known = set(access.nodes)
    for section, nodes in access.blocks:
        strange = set(nodes) - known
        if strange:
            yield Fault(
                where=section,
                what=f"It closes {min(strange)}, which is no place to drive.",
                do="Name a lane or ramp of the access graph.",
            )
            return
    reach = reach_of(problem, sections)
    island = sorted(
        {g.node for g, (_, node, _, _) in zip(access.groups, reach.groups, strict=True)
         if g.node and node < 0}
    )  # fmt: skip
    if island:
        count = sum(g.count for g in access.groups if g.node in island)
        yield Fault(
            where=_names(island),
            what=f"No car gets from the street to it and back, though {count} stalls open onto it.",
            do="Draw the entrance, the aisle or the ramp that leads there, or name what it "
            "connects.",
        )
    for z, section in enumerate(sections):
        alone = reach.counted(1 << z)
        if alone > problem.stalls_closed_max:
            own = reach.own[z]
            cut = f" {alone - own} of them only cut off," if alone > own else ""
            yield Fault(
                where=section,
                what=f"Closing it takes {alone} stalls,{cut} and the contract lets "
                f"{problem.stalls_closed_max} be closed at once.",
                do="Cut it along its length so that one side stays open, show another way "
                "round, or agree on this closure with the owner (agreed_closures).",
            )
        elif reach.short(1 << z):
            yield Fault(
                where=section,
                what=f"Closing it leaves fewer than {access.accessible_open_min} accessible "
                "stalls.",
                do="Set up others for the time, or cut the section smaller.",
            )


def _already(problem: Problem) -> Iterator[Fault]:
    """What is closed already and breaks a rule by itself, whatever is planned."""
    spans = [(x.section_id, x.begin, x.end) for x in problem.shut]
    spans += [(c.section_id, c.since, c.since + 1) for c in problem.closures if c.since is not None]
    if not spans:
        return
    every = [c.section_id for c in problem.closures] + [name for name, _, _ in spans]
    names = tuple(dict.fromkeys(every))
    reach = reach_of(problem, names)
    for slot in sorted({begin for _, begin, _ in spans}):
        shut = {name for name, begin, end in spans if begin <= slot < end}
        mask = sum(1 << z for z, name in enumerate(names) if name in shut)
        lost = reach.counted(mask)
        if lost > problem.stalls_closed_max:
            yield Fault(
                where=_names(sorted(shut)),
                what=f"They are closed already and take {lost} stalls; the contract lets "
                f"{problem.stalls_closed_max} be closed at once.",
                do="Agree with the owner on fewer open stalls for now, or open a section.",
            )
            return
        if reach.short(mask):
            yield Fault(
                where=_names(sorted(shut)),
                what="They are closed already and leave too few accessible stalls.",
                do="Set up others for the time.",
            )
            return
        for keep in problem.keeps:
            if len(set(keep.sections) - shut) < keep.open_min:
                yield Fault(
                    where=keep.name,
                    what=f"{_names(sorted(shut & set(keep.sections)))} are closed already, and "
                    f"{keep.open_min} must stay open.",
                    do="Open one before anything else is closed.",
                )
                return
    for black in problem.blackouts:
        for x in problem.shut:
            if x.section_id in black.sections and x.begin < black.end and x.end > black.begin:
                yield Fault(
                    where=x.section_id,
                    what=f"It is closed already until after {black.name} begins.",
                    do="Open it early, or agree with the owner.",
                )


def _keeps(problem: Problem, sections: tuple[str, ...]) -> Iterator[Fault]:
    for keep in problem.keeps:
        if keep.open_min >= len(set(keep.sections)):
            yield Fault(
                where=keep.name,
                what=f"{keep.open_min} of its {len(set(keep.sections))} sections must stay "
                "open, so none could ever be coated.",
                do="Let one fewer stay open, or cut a section in two.",
            )


def _promises(problem: Problem) -> Iterator[Fault]:
    soonest = soonest_open(problem)
    for promise in problem.promises:
        late = {x: soonest[x] for x in promise.sections if soonest.get(x, 0) > promise.by}
        for section, slot in late.items():
            yield Fault(
                where=section,
                what=f"It is promised by slot {promise.by} ({promise.name}); its work and waits "
                f"alone, with every crew free for it, last until slot {slot}.",
                do="Begin the job earlier, promise a later time, or choose products that cure "
                "faster.",
            )
        for black in problem.blackouts:
            both = sorted(set(black.sections) & set(promise.sections))
            if both and black.begin <= 0 and promise.by < black.end:
                yield Fault(
                    where=_names(both),
                    what=f"{promise.name} promises them before {black.name} is over, and until "
                    "then they may not be closed.",
                    do="Move one of the two.",
                )


def soonest_open(problem: Problem) -> dict[str, int]:
    """Slot at which each section could open if it were the only one, at the soonest.

    Every step begins at its first allowed start after its waits; a section whose chain
    runs past what is known is left out.
    """
    into: dict[str, list[Lag]] = {t.id: [] for t in problem.tasks}
    for lag in problem.lags:
        if lag.before in into and lag.after in into:
            into[lag.after].append(lag)
    end: dict[str, int] = {}
    left = {t.id: t for t in problem.tasks}
    while ready := [t for t in left.values() if all(x.before in end for x in into[t.id])]:
        for task in ready:
            del left[task.id]
            end[task.id] = _first_end(task, [_at(x.earliest, end[x.before]) for x in into[task.id]])
    out: dict[str, int] = {}
    for task in problem.tasks:
        out[task.section_id] = max(out.get(task.section_id, 0), end.get(task.id, FAR))
    for c in problem.closures:
        gates = (_at(table, end.get(k, FAR)) for k, table in ((c.last, c.open_at), *c.also))
        out[c.section_id] = max(out.get(c.section_id, 0), *gates)
    return {name: slot for name, slot in out.items() if slot < FAR}


def _at(table: tuple[int, ...], slot: int) -> int:
    return table[slot] if 0 <= slot < len(table) and table[slot] >= 0 else FAR


def _first_end(task: Task, ready: list[int]) -> int:
    floor = max(ready, default=0)
    return next((max(a, floor) + task.duration for a, b in task.starts if b >= floor), FAR)


def _supply(problem: Problem) -> Iterator[Fault]:
    for stock in problem.stocks:
        wanted = sum(n for t in problem.tasks for name, n in t.needs if name == stock.id)
        there = stock.on_hand + sum(n for _, n in stock.arrivals)
        if wanted > there:
            yield Fault(
                where=stock.id,
                what=f"The plan needs {wanted} kits; {there} are on hand or on their way.",
                do=f"Order {wanted - there} more, and give their date under deliveries.",
            )
    machines = {e.id: e.count for e in problem.equipment}
    for task in problem.tasks:
        strange = [m for m in task.equipment if m not in machines]
        scarce = [m for m, n in machines.items() if task.equipment.count(m) > n]
        if scarce:
            yield Fault(
                where=task.id,
                what=f"It takes {task.equipment.count(scarce[0])} of {scarce[0]}; the job has "
                f"{machines[scarce[0]]}.",
                do="Raise its count under equipment.",
            )
        if strange:
            yield Fault(
                where=task.id,
                what=f"It needs the machine {strange[0]}, which the job lacks.",
                do="Add it under equipment.",
            )


def _names(values: list[str]) -> str:
    more = f" and {len(values) - MUST} more" if len(values) > MUST else ""
    return ", ".join(values[:MUST]) + more
