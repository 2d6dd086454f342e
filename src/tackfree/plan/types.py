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
    overtime: bool = False  # paid above the usual rate


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
    overtime: bool = False


@dataclass(frozen=True, kw_only=True)
class Task:
    """One section × step. ``starts`` are inclusive intervals of allowed start slots:
    inside one shift, GO weather for the whole placement and until tack-free.
    ``removed`` counts, by message id, the starts that weather took away.

    ``dusty``: it may not go on beside wet film. ``wet[e]``: slot at which the film is
    tack-free when the task ends at slot e (nondecreasing, -1 not known; empty: never
    wet). ``needs``: kits of each stock; ``equipment``: machines it takes, named again
    for each more of a kind."""

    id: str  # "S01/BASE"
    section_id: str
    step_id: str  # PREP, DETAILS, coat ids, SWEEP, STRIPE
    skill: str
    duration: int
    starts: tuple[tuple[int, int], ...]
    removed: tuple[tuple[str, int], ...] = ()  # reason -> starts inside shifts it took away
    dusty: bool = False
    wet: tuple[int, ...] = ()
    needs: tuple[tuple[str, int], ...] = ()
    equipment: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Lag:
    """``after`` follows ``before`` on one section.

    ``earliest[e]``: first slot at which ``after`` may start when ``before`` ends at
    slot e (nondecreasing; -1 where not known within the horizon). ``down_within``:
    slots from the *start* of ``before`` by which ``after`` must have *ended*
    (wall clock; None: no limit). ``same_or_next_shift``: prep to first coat.
    ``latest[e]``: last slot at which ``after`` may start when ``before`` ends at e
    (nondecreasing; -1 or an empty table: no limit), such as the next rain.
    ``hold``: the id of the hold point that this wait is for.
    """

    before: str
    after: str
    earliest: tuple[int, ...]
    down_within: int | None = None
    same_or_next_shift: bool = False
    latest: tuple[int, ...] = ()
    hold: str = ""


@dataclass(frozen=True, kw_only=True)
class Closure:
    """Stalls lost while a section is closed: from its first task's start until cars.

    ``open_at[e]``: slot at which cars may come when the last task ends at slot e.
    Where an earlier task holds cars back longer than the last one (the top coat
    under the stripes), ``also`` names it with its own table; the later slot counts.
    ``since``: closed already from that slot on, whatever is left of its tasks.
    """

    section_id: str
    stalls: int
    first: str
    last: str
    open_at: tuple[int, ...]
    also: tuple[tuple[str, tuple[int, ...]], ...] = ()
    since: int | None = None


@dataclass(frozen=True, kw_only=True)
class Hold:
    """A hold point: ``who`` looks at the work of ``after`` before ``before`` begins.

    ``before`` "" lets cars wait for it. ``visits[e]``: slot at which they can come when
    ``after`` ends at slot e (nondecreasing; -1 not known within the horizon). They are
    told ``notice`` slots ahead and stay ``takes`` slots. ``ended``: slot at which ``after``
    did end, where it is done.
    """

    id: str
    section_id: str
    after: str
    before: str
    who: str
    sees: str
    notice: int
    takes: int
    visits: tuple[int, ...]
    ended: int | None = None


STREET = "street"


@dataclass(frozen=True, kw_only=True)
class StallGroup:
    """Stalls on one section that open onto one place to drive ("": onto none drawn)."""

    section_id: str
    node: str
    count: int
    accessible: int = 0  # of them marked for people who cannot walk far


@dataclass(frozen=True, kw_only=True)
class Access:
    """Who can drive where. A stall is lost while its section is closed, or no car gets
    from the street to its node, or from there back to the street.

    ``edges``: (from, to, one way); the street is the node "street". ``blocks``: what a
    closed section closes to cars. ``agreed``: sections whose cutting off of other
    stalls the owner has agreed to; it is counted as lost but does not break the cap.
    """

    nodes: tuple[str, ...]
    edges: tuple[tuple[str, str, bool], ...]
    blocks: tuple[tuple[str, tuple[str, ...]], ...]
    groups: tuple[StallGroup, ...]
    accessible_open_min: int = 0
    agreed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Keep:
    """Of these sections some stay open at any time: exits, stairs, one side of a lane."""

    name: str
    sections: tuple[str, ...]
    open_min: int


@dataclass(frozen=True, kw_only=True)
class Blackout:
    """Slots ``[begin, end)`` in which none of these sections may be closed."""

    name: str
    begin: int
    end: int
    sections: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Promise:
    """These sections are open to cars by slot ``by``."""

    name: str
    sections: tuple[str, ...]
    by: int


@dataclass(frozen=True, kw_only=True)
class Equipment:
    """A machine that tasks share, such as a blaster."""

    id: str
    count: int


@dataclass(frozen=True, kw_only=True)
class Stock:
    """Kits of one product: on hand at slot 0, and what arrives later."""

    id: str
    on_hand: int
    arrivals: tuple[tuple[int, int], ...] = ()  # (slot, kits)


@dataclass(frozen=True, kw_only=True)
class Span:
    """A section in one state over slots ``[begin, end)``, from what is already done."""

    section_id: str
    begin: int
    end: int


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Everything the solver needs, and nothing else.

    ``neighbours``: sections that touch, by which dust reaches wet film and crews walk;
    ``ways_in``: sections that crews enter from outside (empty: no rule on ways).
    ``shut`` and ``wet_now``: closures and wet film left by what is already done.
    ``was``: tasks of the next days with the starts that people already count on.
    ``days``: slots at which local days begin, ascending; with them the finish counts in
    days, and what happens inside the last day is left to the later objectives.
    ``holds`` stand in ``lags`` and ``closures`` too, as waits.
    """

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
    access: Access | None = None
    neighbours: tuple[tuple[str, str], ...] = ()
    ways_in: tuple[str, ...] = ()
    keeps: tuple[Keep, ...] = ()
    blackouts: tuple[Blackout, ...] = ()
    promises: tuple[Promise, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    stocks: tuple[Stock, ...] = ()
    shut: tuple[Span, ...] = ()
    wet_now: tuple[Span, ...] = ()
    was: tuple[tuple[str, int], ...] = ()
    days: tuple[int, ...] = ()
    holds: tuple[Hold, ...] = ()


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
