"""A first plan by chain insertion in many orders, and a local search over the orders.

What greed cannot do is slow one section down so that a group shares one closure; the
exact model and its neighbourhoods do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from tackfree.plan.domains import NEVER, Arrays, BoolArray, IntArray, next_member
from tackfree.plan.drafts import Draft
from tackfree.plan.insertion import BIG, Shop, insert_all

FIRST_ORDERS = 4


def draft_plan(
    arrays: Arrays,
    ok: list[BoolArray],
    *,
    seed: int = 0,
    tries: int = 24,
    stop: Callable[[], bool] | None = None,
    order: Sequence[int] | None = None,
    cost: Callable[[Draft], int] | None = None,
    trouble: Counter[int] | None = None,
) -> Draft | None:
    """The best of ``tries`` insertion orders; None where no order fits.

    Starts with sections by least slack and by most stalls, then swaps and moves
    sections of the best order so far, chosen by a generator seeded with ``seed``.
    Same inputs, same draft, unless ``stop`` says to end early.

    Parameters
    ----------
    ok : list of bool arrays
        Allowed starts by task, as :func:`domains.tighten` left them.
    order : section indices, optional
        The order to try first.
    cost : function of a draft, optional
        What to keep small before finish and stall-slots.
    trouble : counter, optional
        Gains how often each section found no room.
    """
    shop = shop_of(arrays, ok)
    rng = np.random.default_rng(seed)
    count = len(arrays.tasks)
    best: Draft | None = None
    least = (0, 0, 0)
    openings = _opening_orders(arrays, ok)
    if order is not None:
        openings.insert(0, np.array(order, dtype=np.int64))
    best_order = openings[0]
    for n in range(tries):
        if best is not None and stop is not None and stop():
            break
        if n < len(openings):
            now = openings[n]
        elif best is not None:
            now = _neighbour(best_order, rng)
        start, group = np.zeros(count, np.int64), np.zeros(count, np.int64)
        failed, finish, lost = insert_all(shop, now, start, group)
        if failed >= 0:
            if trouble is not None:
                trouble[int(failed)] += 1
            # The section that found no room goes first in the next try.
            if best is None:
                again = np.concatenate(([failed], now[now != failed]))
                openings.insert(n + 1, again.astype(np.int64))
            continue
        found = Draft(start=start.tolist(), group=group.tolist(), finish=int(finish),
                      stall_slots=int(lost),
                      day=arrays.last_of_day(int(finish)))  # fmt: skip
        score = (cost(found) if cost is not None else 0, *found.score)
        if best is None or score <= least:
            best, least, best_order = found, score, now
            del openings[max(n + 1, FIRST_ORDERS) :]
    return best


def _opening_orders(arrays: Arrays, ok: list[BoolArray]) -> list[IntArray]:
    n = len(arrays.sections)
    room, work, stalls = [NEVER] * n, [0] * n, [0] * n
    for k, z in enumerate(arrays.section):
        room[z] = min(room[z], int(ok[k].sum()))
        work[z] += arrays.duration[k]
    for z, count in enumerate(arrays.reach.own):
        stalls[z] = count
    have = sorted(set(arrays.section))
    keys: list[Callable[[int], Any]] = [
        lambda z: (room[z], z),
        lambda z: (-work[z], z),
        lambda z: (-stalls[z], z),
        lambda z: z,
    ]
    return [np.array(sorted(have, key=key), dtype=np.int64) for key in keys]


def _neighbour(order: IntArray, rng: np.random.Generator) -> IntArray:
    out = order.tolist()
    if len(out) > 1:
        a, b = (int(x) for x in rng.integers(0, len(out), 2))
        if rng.integers(0, 2):
            out[a], out[b] = out[b], out[a]
        else:
            out.insert(b, out.pop(a))
    return np.array(out, dtype=np.int64)


class _Rows:
    """Equal rows stored once."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.rows: list[Any] = []
        self.known: dict[bytes, int] = {}
        self.same: dict[int, int] = {}  # by the array itself, which outlives this

    def add(self, values: IntArray) -> int:
        if id(values) not in self.same:
            row = np.minimum(values, BIG).astype(np.int32)
            self.same[id(values)] = self._place(row.tobytes(), row)
        return self.same[id(values)]

    def add_next(self, mask: BoolArray) -> int:
        """The row of next members of a mask."""
        key = mask.tobytes()
        if key in self.known:
            return self.known[key]
        return self._place(key, np.minimum(next_member(mask), BIG).astype(np.int32))

    def _place(self, key: bytes, row: Any) -> int:
        if key not in self.known:
            self.known[key] = len(self.rows)
            self.rows.append(row)
        return self.known[key]

    def array(self) -> Any:
        return np.vstack(self.rows) if self.rows else np.zeros((1, self.width), np.int32)


def shop_of(arrays: Arrays, ok: list[BoolArray]) -> Shop:
    """The flat arrays of a problem with tightened starts."""
    problem, n, tasks = arrays.problem, arrays.problem.slots, arrays.tasks
    sections = len(arrays.sections)
    tables, nexts = _Rows(n), _Rows(n + 1)
    at = {s: z for z, s in enumerate(arrays.sections)}
    steps: list[list[int]] = [[] for _ in range(sections)]
    for k in arrays.order:
        steps[arrays.section[k]].append(k)
    lags: list[list[Any]] = [[] for _ in range(sections)]
    for lag in arrays.lags:
        lags[arrays.section[lag.i]].append(lag)
    flat = [x for row in lags for x in row]
    next_row = np.full((len(tasks), len(arrays.classes)), -1, np.int32)
    for k, rows in enumerate(arrays.by_class):
        for g, mask in rows.items():
            next_row[k, g] = nexts.add_next(ok[k] & mask)
    machines = {e.id: m for m, e in enumerate(problem.equipment)}
    stocks = {s.id: p for p, s in enumerate(problem.stocks)}
    supply = np.zeros((max(1, len(stocks)), n + 1), np.int32)
    for p, s in enumerate(problem.stocks):
        supply[p] += s.on_hand
        for slot, count in s.arrivals:
            supply[p, max(0, min(slot, n)) :] += count
    needs = [[(stocks[i], c) for i, c in t.needs if i in stocks] for t in tasks]
    sums: list[list[int]] = [[] for _ in tasks]
    for row_of in steps:
        so_far: dict[int, int] = {}
        for k in row_of:
            for stock, count in needs[k]:
                so_far[stock] = so_far.get(stock, 0) + count
                sums[k].append(so_far[stock])
    beside: list[list[int]] = [
        [w for w in range(sections) if mask >> w & 1] for mask in arrays.ways.beside
    ]
    first, since = np.full(sections, -1, np.int32), np.zeros(sections, np.int32)
    gates: list[list[tuple[int, int]]] = [[] for _ in range(sections)]
    far = n
    for c in arrays.closures:
        first[c.section] = c.first if c.since is None else -2
        since[c.section] = c.since or 0
        gates[c.section] = [(k, tables.add(t)) for k, t in c.gates]
        far = max([far, *(int(t[t < NEVER].max(initial=0)) for _, t in c.gates)])
    far = max([far, *(x.end for x in (*problem.shut, *problem.wet_now))])
    wet_row = np.full(len(tasks), -1, np.int32)
    for k, ends in arrays.wet.items():
        wet_row[k] = tables.add(ends)
        far = max(far, int(ends[ends < NEVER].max(initial=0)))
    reach = arrays.reach
    nodes = len(reach.out)
    keep = np.zeros((len(problem.keeps), sections), np.bool_)
    for q, rule in enumerate(problem.keeps):
        keep[q, [at[s] for s in rule.sections if s in at]] = True
    black = [(at[s], b.begin, b.end) for b in problem.blackouts for s in b.sections if s in at]
    step_ptr, step = _csr(steps)
    lag_ptr, _ = _csr([[0] * len(row) for row in lags])
    machine_ptr, machine = _csr([[machines[m] for m in t.equipment if m in machines]
                                 for t in tasks])  # fmt: skip
    need_ptr, need = _csr([[p for p, _ in row] for row in needs])
    _, need_count = _csr([[c for _, c in row] for row in needs])
    _, need_sum = _csr(sums)
    beside_ptr, beside_flat = _csr(beside)
    gate_ptr, gate = _csr([[k for k, _ in row] for row in gates])
    _, gate_row = _csr([[r for _, r in row] for row in gates])
    node_ptr, node = _csr([_members(mask) for mask in reach.blocks])
    way_ptr, way = _csr([_members(m) for m in reach.out])
    back_ptr, back = _csr([_members(m) for m in reach.back])
    shop = Shop(
        slots=n,
        reach=far,
        duration=_i32(arrays.duration),
        section=_i32(arrays.section),
        step_ptr=step_ptr, step=step,
        lag_ptr=lag_ptr,
        lag_i=_i32(x.i for x in flat), lag_j=_i32(x.j for x in flat),
        lag_low=_i32(tables.add(x.low) for x in flat),
        lag_high=_i32(tables.add(x.high) for x in flat),
        table=tables.array(),
        next_row=next_row,
        nexts=nexts.array(),
        crews=_i32(map(len, arrays.classes)),
        machine_ptr=machine_ptr, machine=machine,
        machines=_i32(e.count for e in problem.equipment),
        need_ptr=need_ptr, need=need, need_count=need_count, need_sum=need_sum, supply=supply,
        dusty=np.array([t.dusty for t in tasks], np.bool_),
        wet_row=wet_row,
        beside_ptr=beside_ptr, beside=beside_flat,
        into=np.array([bool(arrays.ways.into >> z & 1) for z in range(sections)], np.bool_),
        closure_first=first, since=since, gate_ptr=gate_ptr, gate=gate, gate_row=gate_row,
        node_ptr=node_ptr, node=node,
        way_ptr=way_ptr if nodes else np.zeros(1, np.int32), way=way,
        back_ptr=back_ptr if nodes else np.zeros(1, np.int32), back=back,
        group=_table(reach.groups, 4),
        agreed=np.array([bool(reach.agreed >> z & 1) for z in range(sections)], np.bool_),
        most=problem.stalls_closed_max,
        accessible_spare=reach.accessible_total - reach.accessible_open_min,
        keep=keep,
        keep_most=_i32(len(r.sections) - r.open_min for r in problem.keeps),
        black=_table(black, 3),
        shut=_table([(at[x.section_id], x.begin, x.end) for x in problem.shut], 3),
        film=_table([(at[x.section_id], x.begin, x.end) for x in problem.wet_now], 3),
        hash=np.random.default_rng(7).integers(1, 2**63, max(1, sections)).astype(np.uint64),
    )  # fmt: skip
    return shop


def _csr(rows: Sequence[Sequence[int]]) -> tuple[Any, Any]:
    ptr = np.concatenate(([0], np.cumsum([len(r) for r in rows]))).astype(np.int32)
    return ptr, _i32(x for r in rows for x in r)


def _i32(values: Iterable[int]) -> Any:
    return np.array(list(values), dtype=np.int32)


def _table(rows: Sequence[Sequence[int]], width: int) -> Any:
    return np.array(rows, dtype=np.int64).reshape(len(rows), width)


def _members(mask: int) -> list[int]:
    return [z for z in range(mask.bit_length()) if mask >> z & 1]
