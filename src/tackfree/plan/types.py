"""The planning problem and its answer, as plain data.

Time is a grid of equal slots counted from ``Problem.slot0_utc_s`` (UTC grid).
A task that starts in slot s and lasts d slots occupies s … s+d-1; its end is s+d.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time

from tackfree.words import Message


@dataclass(frozen=True, kw_only=True)
class Shift:
    """A span of wall time on some weekdays. ``ends`` at or before ``begins`` is next day."""

    id: str
    weekdays: tuple[int, ...]  # 0 Monday … 6 Sunday, of the day it begins
    begins: time
    ends: time
    lights: bool = False  # work after dark is possible


@dataclass(frozen=True, kw_only=True)
class Crew:
    """People who work together. ``rates`` are per crew-hour, by step kind.

    Area steps in m²/h (prep, primer, base, …, sweep, stripe); ``details`` in m/h.
    """

    id: str
    people: int
    skills: tuple[str, ...]
    shift_ids: tuple[str, ...]
    rates: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class ShiftSpan:
    """One shift on one date, in slots ``[begin, end)``."""

    shift_id: str
    on: date
    begin: int
    end: int


@dataclass(frozen=True, kw_only=True)
class Task:
    """One section × step. ``starts`` are inclusive intervals of allowed start slots:
    inside one shift, GO weather for the whole placement and until tack-free.
    ``removed`` counts, by message id, the starts that weather took away."""

    id: str  # "S01/BASE"
    section_id: str
    step_id: str  # PREP, DETAILS, coat ids, SWEEP, STRIPE
    skill: str
    duration: int
    starts: tuple[tuple[int, int], ...]
    removed: tuple[tuple[str, int], ...] = ()  # reason -> starts inside shifts it took away


@dataclass(frozen=True, kw_only=True)
class Lag:
    """``after`` follows ``before`` on one section.

    ``earliest[e]``: first slot at which ``after`` may start when ``before`` ends at
    slot e (nondecreasing; -1 where not known within the horizon). ``down_within``:
    slots from the *start* of ``before`` by which ``after`` must have *ended*
    (wall clock; None: no limit). ``same_or_next_shift``: prep to first coat.
    ``latest[e]``: last slot at which ``after`` may start when ``before`` ends at e
    (nondecreasing; -1 or an empty table: no limit), such as the next rain.
    """

    before: str
    after: str
    earliest: tuple[int, ...]
    down_within: int | None = None
    same_or_next_shift: bool = False
    latest: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Closure:
    """Stalls lost while a section is closed: from its first task's start until cars.

    ``open_at[e]``: slot at which cars may come when the last task ends at slot e.
    Where an earlier task holds cars back longer than the last one (the top coat
    under the stripes), ``also`` names it with its own table; the later slot counts.
    """

    section_id: str
    stalls: int
    first: str
    last: str
    open_at: tuple[int, ...]
    also: tuple[tuple[str, tuple[int, ...]], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Everything the solver needs, and nothing else."""

    slot0_utc_s: int
    slot_s: int
    slots: int
    shifts: tuple[ShiftSpan, ...]
    crews: tuple[Crew, ...]
    tasks: tuple[Task, ...]
    lags: tuple[Lag, ...]
    closures: tuple[Closure, ...]
    stalls_total: int
    stalls_closed_max: int


@dataclass(frozen=True, kw_only=True)
class Placed:
    """One task in the plan, slots ``[start, end)``."""

    task_id: str
    section_id: str
    step_id: str
    crew_id: str
    start: int
    end: int


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One objective in turn, with its proven bound and where the bound comes from."""

    name: str
    value: float
    bound: float
    bound_source: str


@dataclass(frozen=True, kw_only=True)
class Plan:
    """An answer that says how good it is. ``status``: optimal, feasible,
    not-found, infeasible. ``reasons`` say why there is none."""

    status: str
    placed: tuple[Placed, ...]
    opens: dict[str, int]  # section -> slot at which cars may come
    stages: tuple[Stage, ...]
    seed: int
    method: str
    reasons: tuple[Message, ...] = ()
