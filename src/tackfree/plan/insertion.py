"""Chain insertion, compiled: one section after another, each as early as it fits.

Inside a section the earliest chain is a fixpoint: starts move forward until every
wait holds, and where an upper limit would be missed the earlier step moves later.
That is exact for one section with the others fixed, since every lookup rises with
time. Each question of the kind "may it stand from slot s on?" answers with s, or with
the next slot worth trying.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
BIG = 1 << 30


class Shop(NamedTuple):
    """A problem as flat arrays. ``*_ptr`` with its list: rows of different lengths."""

    slots: int
    reach: int  # slots with closures and wet film in them
    duration: I32
    section: I32
    step_ptr: I32  # section -> its tasks, befores first
    step: I32
    lag_ptr: I32  # section -> its waits
    lag_i: I32
    lag_j: I32
    lag_low: I32  # row of table
    lag_high: I32
    table: I32  # rows by start slot
    next_row: I32  # task × class -> row of nexts, -1 where not able
    nexts: I32  # rows: next allowed start at or after a slot
    crews: I32  # of each class
    machine_ptr: I32  # task -> machines
    machine: I32
    machines: I32  # of each kind
    need_ptr: I32
    need: I32  # stock
    need_count: I32
    need_sum: I32  # with what the section's earlier steps take of that stock
    supply: I32  # stock × slot, kits there
    dusty: NDArray[np.bool_]
    wet_row: I32  # row of table, -1 never wet
    beside_ptr: I32
    beside: I32
    into: NDArray[np.bool_]  # sections entered from outside; all False: no rule
    closure_first: I32  # by section; -1: none, -2: closed since
    since: I32
    gate_ptr: I32
    gate: I32
    gate_row: I32
    node_ptr: I32  # section -> nodes it blocks
    node: I32
    way_ptr: I32  # node -> nodes, street last
    way: I32
    back_ptr: I32
    back: I32
    group: I64  # rows: section, node, stalls, accessible
    agreed: NDArray[np.bool_]
    most: int  # stalls closed at once
    accessible_spare: int
    keep: NDArray[np.bool_]  # rule × section
    keep_most: I32
    black: I64  # rows: section, begin, end
    shut: I64  # rows: section, begin, end
    film: I64
    hash: NDArray[np.uint64]


@njit(cache=True)
def _reached(shop, blocked, ptr, way, seen, stack):  # type: ignore[no-untyped-def]
    street = len(ptr) - 2
    seen[:] = False
    seen[street] = True
    stack[0] = street
    n = 1
    while n:
        n -= 1
        a = stack[n]
        for x in range(ptr[a], ptr[a + 1]):
            b = way[x]
            if not seen[b] and not blocked[b]:
                seen[b] = True
                stack[n] = b
                n += 1


@njit(cache=True)
def _taken(shop, closed, t, extra, strict, room):  # type: ignore[no-untyped-def]
    """Stalls and accessible stalls lost at slot t with section ``extra`` closed too."""
    blocked, there, back, stack = room
    nodes = len(shop.way_ptr) - 1
    any_node = False
    blocked[:] = False
    for z in range(len(shop.step_ptr) - 1):
        if (closed[z, t] or z == extra) and not (strict and shop.agreed[z]):
            for x in range(shop.node_ptr[z], shop.node_ptr[z + 1]):
                blocked[shop.node[x]] = True
                any_node = True
    if any_node and nodes > 0:
        _reached(shop, blocked, shop.way_ptr, shop.way, there, stack)
        _reached(shop, blocked, shop.back_ptr, shop.back, back, stack)
    stalls, marked = 0, 0
    for r in range(shop.group.shape[0]):
        z, node = shop.group[r, 0], shop.group[r, 1]
        gone = z >= 0 and (closed[z, t] or z == extra)
        if not gone and node >= 0 and any_node:
            gone = not (there[node] and back[node])
        if gone:
            stalls += shop.group[r, 2]
            marked += shop.group[r, 3]
    return stalls, marked


@njit(cache=True)
def _walk_open(shop, wet, t, extra, seen, stack):  # type: ignore[no-untyped-def]
    sections = len(shop.step_ptr) - 1
    n = 0
    for z in range(sections):
        seen[z] = shop.into[z] and not wet[z, t] and z != extra
        if seen[z]:
            stack[n] = z
            n += 1
    while n:
        n -= 1
        a = stack[n]
        for x in range(shop.beside_ptr[a], shop.beside_ptr[a + 1]):
            b = shop.beside[x]
            if not seen[b] and not wet[b, t] and b != extra:
                seen[b] = True
                stack[n] = b
                n += 1


@njit(cache=True)
def _fits(  # type: ignore[no-untyped-def]
    shop, k, g, s, rule_ways, busy, used, stock, wet, dust, work, wet_hash, work_hash, seen, stack
):
    """``s`` where task k of class g may start there, else a later slot to try."""
    end = s + shop.duration[k]
    for t in range(end - 1, s - 1, -1):
        if busy[g, t] >= shop.crews[g]:
            return t + 1
    for x in range(shop.machine_ptr[k], shop.machine_ptr[k + 1]):
        m = shop.machine[x]
        more = 0  # of the same kind, taken before in this list
        for y in range(shop.machine_ptr[k], x):
            more += shop.machine[y] == m
        for t in range(end - 1, s - 1, -1):
            if used[m, t] + more >= shop.machines[m]:
                return t + 1
    for x in range(shop.need_ptr[k], shop.need_ptr[k + 1]):
        p = shop.need[x]
        for t in range(shop.slots - 1, s - 1, -1):
            if stock[p, t] < shop.need_sum[x]:
                return t + 1
    z = shop.section[k]
    if shop.dusty[k]:
        for x in range(shop.beside_ptr[z], shop.beside_ptr[z + 1]):
            b = shop.beside[x]
            for t in range(end - 1, s - 1, -1):
                if wet[b, t]:
                    return t + 1
    dry = s
    if shop.wet_row[k] >= 0:
        dry = min(shop.table[shop.wet_row[k], s], shop.reach)
        for x in range(shop.beside_ptr[z], shop.beside_ptr[z + 1]):
            b = shop.beside[x]
            for t in range(dry - 1, s - 1, -1):
                if dust[b, t]:
                    return t + 1
    if rule_ways:
        for t in range(s, end):
            if t > s and wet_hash[t] == wet_hash[t - 1]:
                continue
            if wet_hash[t] == 0:
                continue
            _walk_open(shop, wet, t, -1, seen, stack)
            if not seen[z]:
                return t + 1
        for t in range(s, dry):
            if work_hash[t] == 0:
                continue
            if t > s and wet_hash[t] == wet_hash[t - 1] and work_hash[t] == work_hash[t - 1]:
                continue
            _walk_open(shop, wet, t, z, seen, stack)
            for w in range(len(shop.step_ptr) - 1):
                if work[w, t] and not seen[w] and w != z:
                    return t + 1
    return s


@njit(cache=True)
def insert_all(shop, order, start, group):  # type: ignore[no-untyped-def]
    """Insert sections in an order; starts and classes are written in place.

    Returns the section that found no room (or -1), the finish and the stall-slots.
    """
    n, far = shop.slots, shop.reach + 1
    sections = len(shop.step_ptr) - 1
    classes = len(shop.crews)
    busy = np.zeros((classes, n + 1), np.int16)
    used = np.zeros((max(1, len(shop.machines)), n + 1), np.int16)
    stock = shop.supply.copy()
    wet = np.zeros((sections, far), np.int8)
    dust = np.zeros((sections, far), np.int8)
    work = np.zeros((sections, far), np.int8)
    closed = np.zeros((sections, far), np.int8)
    wet_hash = np.zeros(far, np.uint64)
    work_hash = np.zeros(far, np.uint64)
    closed_hash = np.zeros(far, np.uint64)
    keeps = np.zeros((max(1, shop.keep.shape[0]), far), np.int16)
    seen = np.zeros(max(1, sections), np.bool_)
    stack = np.zeros(max(sections, len(shop.way_ptr)) + 1, np.int64)
    nodes = max(1, len(shop.way_ptr) - 1)
    room = (np.zeros(nodes, np.bool_), np.zeros(nodes, np.bool_), np.zeros(nodes, np.bool_), stack)
    rule_ways = False
    for z in range(sections):
        rule_ways = rule_ways or shop.into[z]
    for r in range(shop.shut.shape[0]):
        z = shop.shut[r, 0]
        for t in range(max(0, shop.shut[r, 1]), min(far, shop.shut[r, 2])):
            if not closed[z, t]:
                closed[z, t] = 1
                closed_hash[t] ^= shop.hash[z]
                for q in range(shop.keep.shape[0]):
                    keeps[q, t] += shop.keep[q, z]
    for r in range(shop.film.shape[0]):
        z = shop.film[r, 0]
        for t in range(max(0, shop.film[r, 1]), min(far, shop.film[r, 2])):
            wet[z, t] += 1
            wet_hash[t] ^= shop.hash[z]
    finish = 0
    at = np.zeros(len(shop.duration), np.int64)
    for place in range(len(order)):
        sec = order[place]
        a0, a1 = shop.step_ptr[sec], shop.step_ptr[sec + 1]
        floor = 0
        begin = 0
        end = 0
        while True:
            for x in range(a0, a1):
                at[shop.step[x]] = floor
            settled = False
            while not settled:
                settled = True
                for x in range(a0, a1):
                    k = shop.step[x]
                    low = at[k]
                    for y in range(shop.lag_ptr[sec], shop.lag_ptr[sec + 1]):
                        if shop.lag_j[y] == k:
                            low = max(low, shop.table[shop.lag_low[y], start[shop.lag_i[y]]])
                    best, which = BIG, -1
                    for g in range(classes):
                        row = shop.next_row[k, g]
                        if row < 0:
                            continue
                        s = BIG if low >= n else shop.nexts[row, low]
                        while s < n and s < best:
                            t = _fits(shop, k, g, s, rule_ways, busy, used, stock, wet, dust, work,
                                      wet_hash, work_hash, seen, stack)  # fmt: skip
                            if t == s:
                                break
                            s = BIG if t >= n else shop.nexts[row, t]
                        if s < best:
                            best, which = s, g
                    if which < 0 or best >= n:
                        return sec, BIG, BIG
                    start[k] = best
                    group[k] = which
                    at[k] = best
                for y in range(shop.lag_ptr[sec + 1] - 1, shop.lag_ptr[sec] - 1, -1):
                    i, j = shop.lag_i[y], shop.lag_j[y]
                    high = shop.table[shop.lag_high[y]]
                    if start[j] > high[start[i]]:
                        need = np.searchsorted(high, start[j])
                        if need >= n:
                            return sec, BIG, BIG
                        at[i] = max(at[i], need)
                        settled = False
            first = shop.closure_first[sec]
            if first == -1:
                break
            # As late as the gates allow: a shorter closure for the same opening.
            moved = True
            while moved:
                moved = False
                for x in range(a1 - 1, a0 - 1, -1):
                    k = shop.step[x]
                    held = False
                    for y in range(shop.gate_ptr[sec], shop.gate_ptr[sec + 1]):
                        held = held or shop.gate[y] == k
                    if held:
                        continue
                    top = BIG
                    for y in range(shop.lag_ptr[sec], shop.lag_ptr[sec + 1]):
                        if shop.lag_i[y] == k:
                            row = shop.table[shop.lag_low[y]]
                            top = min(top, np.searchsorted(row, start[shop.lag_j[y]] + 1) - 1)
                        if shop.lag_j[y] == k:
                            top = min(top, shop.table[shop.lag_high[y], start[shop.lag_i[y]]])
                    if top >= BIG:
                        continue
                    row_n = shop.next_row[k, group[k]]
                    late = start[k]
                    s = min(top, n - 1)
                    while s > start[k]:
                        if shop.nexts[row_n, s] == s:
                            t = _fits(shop, k, group[k], s, rule_ways, busy, used, stock, wet, dust,
                                      work, wet_hash, work_hash, seen, stack)  # fmt: skip
                            ok = t == s
                            for y in range(shop.lag_ptr[sec], shop.lag_ptr[sec + 1]):
                                if ok and shop.lag_i[y] == k:
                                    j = start[shop.lag_j[y]]
                                    ok = j <= shop.table[shop.lag_high[y], s]
                            if ok:
                                late = s
                                break
                        s -= 1
                    if late > start[k]:
                        start[k] = late
                        moved = True
            begin = shop.since[sec] if first == -2 else start[first]
            end = 0
            for y in range(shop.gate_ptr[sec], shop.gate_ptr[sec + 1]):
                end = max(end, shop.table[shop.gate_row[y], start[shop.gate[y]]])
            wrong = -1
            for r in range(shop.black.shape[0]):
                if shop.black[r, 0] == sec and begin < shop.black[r, 2] and end > shop.black[r, 1]:
                    wrong = max(wrong, shop.black[r, 2] - 1)
            for q in range(shop.keep.shape[0]):
                if shop.keep[q, sec]:
                    for t in range(min(end, far) - 1, begin - 1, -1):
                        if keeps[q, t] >= shop.keep_most[q]:
                            wrong = max(wrong, t)
                            break
            for t in range(min(end, far) - 1, begin - 1, -1):
                if t <= wrong:
                    break
                if t < end - 1 and closed_hash[t] == closed_hash[t + 1]:
                    continue
                stalls, marked = _taken(shop, closed, t, sec, True, room)
                if stalls > shop.most or (marked > 0 and marked > shop.accessible_spare):
                    wrong = t
                    break
            if wrong < 0:
                break
            if first == -2:
                return sec, BIG, BIG
            floor = wrong + 1
            if floor >= n:
                return sec, BIG, BIG
        for x in range(a0, a1):
            k = shop.step[x]
            s, d = start[k], shop.duration[k]
            for t in range(s, s + d):
                busy[group[k], t] += 1
                if not work[sec, t]:
                    work_hash[t] ^= shop.hash[sec]
                work[sec, t] += 1
            for y in range(shop.machine_ptr[k], shop.machine_ptr[k + 1]):
                for t in range(s, s + d):
                    used[shop.machine[y], t] += 1
            for y in range(shop.need_ptr[k], shop.need_ptr[k + 1]):
                for t in range(s, n):
                    stock[shop.need[y], t] -= shop.need_count[y]
            if shop.dusty[k]:
                for t in range(s, s + d):
                    dust[sec, t] += 1
            if shop.wet_row[k] >= 0:
                for t in range(s, min(shop.table[shop.wet_row[k], s], far)):
                    if not wet[sec, t]:
                        wet_hash[t] ^= shop.hash[sec]
                    wet[sec, t] += 1
            finish = max(finish, s + d)
        if shop.closure_first[sec] != -1:
            finish = max(finish, end)
            for t in range(begin, min(end, far)):
                if not closed[sec, t]:
                    closed[sec, t] = 1
                    closed_hash[t] ^= shop.hash[sec]
                    for q in range(shop.keep.shape[0]):
                        keeps[q, t] += shop.keep[q, sec]
    lost, now = 0, 0
    for t in range(far):
        if t == 0 or closed_hash[t] != closed_hash[t - 1]:
            now = 0
            if closed_hash[t] != 0:
                now, _ = _taken(shop, closed, t, -1, False, room)
        lost += now
    return -1, finish, lost
