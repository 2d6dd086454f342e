"""Invented problems for the planner's tests: no weather file, no job."""

from __future__ import annotations

from datetime import date, time, timedelta
from itertools import pairwise

import numpy as np

from tackfree.plan.problem import allowed_starts, shift_spans
from tackfree.plan.types import Closure, Crew, Lag, Problem, Shift, Task

DAY = Shift(id="DAY", weekdays=(0, 1, 2, 3, 4), begins=time(7), ends=time(15, 30))
EVE = Shift(id="EVE", weekdays=(0, 1, 2, 3, 4), begins=time(15, 30), ends=time(23, 30), lights=True)
FIRST = date(2027, 4, 19)


def utc_of(day: date, clock: time) -> int:
    """A zone without daylight saving, UTC itself, counted from the first day."""
    since = timedelta(hours=clock.hour, minutes=clock.minute)
    return (day - FIRST) // timedelta(seconds=1) + since // timedelta(seconds=1)


def jobshop(durations: list[list[int]], machines: list[list[int]], slots: int) -> Problem:
    """A job shop in the planner's terms: jobs are sections, machines are crews."""
    span = shift_spans(
        [Shift(id="ALL", weekdays=tuple(range(7)), begins=time(0), ends=time(0))],
        [],
        first_day=FIRST,
        days=1,
        slot0_utc_s=0,
        slot_s=86400 // slots,
        utc_of=utc_of,
    )
    tasks, lags = [], []
    for j, (times, order) in enumerate(zip(durations, machines, strict=True)):
        row = [
            Task(
                id=f"J{j}/{n}",
                section_id=f"J{j}",
                step_id=str(n),
                skill=f"M{m}",
                duration=d,
                starts=((0, slots - d),),
            )
            for n, (d, m) in enumerate(zip(times, order, strict=True))
        ]
        tasks += row
        lags += [
            Lag(before=a.id, after=b.id, earliest=tuple(range(slots + 1))) for a, b in pairwise(row)
        ]
    crews = sorted({t.skill for t in tasks})
    return Problem(
        slot0_utc_s=0,
        slot_s=86400 // slots,
        slots=slots,
        shifts=span,
        crews=tuple(Crew(id=m, people=1, skills=(m,), shift_ids=("ALL",)) for m in crews),
        tasks=tuple(tasks),
        lags=tuple(lags),
        closures=(),
        stalls_total=0,
        stalls_closed_max=0,
    )


STEPS = (
    ("DETAILS", 6, 0, False, None),
    ("PREP", 7, 48 * 2, False, None),
    ("PRIMER", 3, 0, True, None),
    ("BASE", 5, 7, False, 48),
    ("TOP", 5, 14, False, 96),
    ("STRIPE", 2, 30, False, None),
)


def garage(sections: int = 20, days: int = 70, seed: int = 0, cap: float = 0.4) -> Problem:
    """A made-up garage: one crew on two shifts, waits that stretch in the cool of night."""
    rng = np.random.default_rng(seed)
    slots = days * 48
    spans = shift_spans(
        [DAY, EVE], [], first_day=FIRST, days=days, slot0_utc_s=0, slot_s=1800, utc_of=utc_of
    )
    hour = (np.arange(slots) % 48) / 2
    rain = np.repeat(rng.random(days * 4) < 0.12, 12)
    warm = 12 + 0.12 * np.arange(slots) / 48 + 8 * np.sin((hour - 9) / 24 * 2 * np.pi)
    rate = 2 ** ((warm - 23) / 10)
    dose = np.concatenate(([0], np.cumsum(rate)))
    ends = np.arange(slots + 1)
    tasks, lags, closures = [], [], []
    for n in range(sections):
        sid = f"S{n + 1:02d}"
        size = 0.7 + 0.6 * rng.random()
        row = []
        for step, base, _, _, _ in STEPS:
            d = max(1, round(base * size))
            ok = np.ones(slots, dtype=bool)
            if step not in {"DETAILS", "STRIPE"}:
                dry = np.concatenate((~rain, np.zeros(40, dtype=bool)))
                clear = np.concatenate(([0], np.cumsum(~dry)))
                hold = d + (0 if step == "PREP" else 12)
                ok &= clear[hold : hold + slots] == clear[:slots]
            if step in {"PRIMER", "BASE", "TOP"}:
                ok &= (hour >= 9) & (hour < 19) & (warm > 10)
            row.append(
                Task(
                    id=f"{sid}/{step}",
                    section_id=sid,
                    step_id=step,
                    skill="prep" if step == "PREP" else "coating",
                    duration=d,
                    starts=allowed_starts(ok, d, spans),
                )
            )
        tasks += row
        for (a, b), (_, _, wait, shift, within) in zip(pairwise(row), STEPS[1:], strict=True):
            if wait == 96:
                table = np.where(ends + wait <= slots, ends + wait, -1)
            else:
                table = np.searchsorted(dose, dose[ends] + wait - 1e-9)
                table = np.where(table <= slots, table, -1)
            lags.append(
                Lag(
                    before=a.id,
                    after=b.id,
                    earliest=tuple(int(x) for x in table),
                    down_within=within,
                    same_or_next_shift=shift,
                )
            )
        cars = np.searchsorted(dose, dose[ends] + 40 - 1e-9)
        closures.append(
            Closure(
                section_id=sid,
                stalls=int(rng.integers(0, 13)),
                first=row[0].id,
                last=row[-1].id,
                open_at=tuple(int(x) for x in np.where(cars <= slots, cars, -1)),
            )
        )
    total = sum(c.stalls for c in closures)
    return Problem(
        slot0_utc_s=0,
        slot_s=1800,
        slots=slots,
        shifts=spans,
        crews=(Crew(id="CREW-1", people=7, skills=("prep", "coating"), shift_ids=("DAY", "EVE")),),
        tasks=tuple(tasks),
        lags=tuple(lags),
        closures=tuple(closures),
        stalls_total=total,
        stalls_closed_max=max(int(total * cap), *(c.stalls for c in closures), 0),
    )
