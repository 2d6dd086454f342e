"""Walking order: pieces first, then cells, never leaving the crew behind wet film."""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Mapping, Sequence

from shapely import Point

from tackfree.marks.lanes import Piece

Graph = Sequence[set[int]]


def hops(graph: Graph, doors: Sequence[int]) -> list[int]:
    """Steps from the exit to each node; the number of nodes where there is no way."""
    far = [len(graph)] * len(graph)
    queue = deque(doors)
    for d in doors:
        far[d] = 0
    while queue:
        a = queue.popleft()
        for b in sorted(graph[a]):
            if far[b] > far[a] + 1:
                far[b] = far[a] + 1
                queue.append(b)
    return far


def order_pieces(
    pieces: Sequence[Piece], graph: Graph, doors: Sequence[int], start: Point | None = None
) -> list[int]:
    """An order in which every piece has a later neighbour or the exit.

    From the piece in hand to the neighbour farthest from the exit whose loss does not
    cut off bare floor; where there is none, to the farthest such piece anywhere.
    """
    far = hops(graph, doors)
    left = set(range(len(pieces)))
    out: list[int] = []

    def rank(i: int) -> tuple[float, ...]:
        return (-far[i], pieces[i].lane, *pieces[i].floor.bounds)

    def free(i: int) -> bool:
        rest = left - {i}
        return not rest or _whole(graph, rest, doors, {j for j in rest if far[j] < len(pieces)})

    begin = None
    if start is not None:
        begin = min(left, key=lambda i: (pieces[i].floor.distance(start), rank(i)))
    while left:
        choices = sorted(graph[out[-1]] & left, key=rank) if out else []
        if not out and begin is not None:
            choices = [begin]
        pick = next((i for i in choices if free(i)), None)
        if pick is None:
            ranked = sorted(left, key=rank)
            pick = next((i for i in ranked if free(i)), ranked[0])
        out.append(pick)
        left.remove(pick)
    return out


def _whole(graph: Graph, rest: set[int], doors: Sequence[int], wanted: set[int]) -> bool:
    """Is all wanted floor still joined to the exit?"""
    seen = {d for d in doors if d in rest}
    if not seen:
        return not wanted
    todo = list(seen)
    while todo:
        for b in graph[todo.pop()]:
            if b in rest and b not in seen:
                seen.add(b)
                todo.append(b)
    return wanted <= seen


def never_trapped(
    planned: int, touch: Mapping[int, Mapping[int, float]], doors: Sequence[int], passage_m: float
) -> list[int]:
    """The planned order mended so that the way out is always over bare floor.

    Read backwards from the exit, every cell must touch one already read by a passage:
    of those that do, the one planned last is read next. A planned order that already
    holds comes out unchanged; a joined floor always has such an order. Cells that no
    passage joins are read when nothing else is left, the widest contact first.
    """
    ready: list[int] = [-d for d in sorted(doors)]
    heapq.heapify(ready)
    queued = set(doors)
    back: list[int] = []
    done: set[int] = set()
    while len(back) < planned:
        if not ready:
            left = sorted(set(range(planned)) - done)
            widest = max(
                left,
                key=lambda i: (max((w for j, w in touch[i].items() if j in done), default=0.0), i),
            )
            heapq.heappush(ready, -widest)
            queued.add(widest)
        a = -heapq.heappop(ready)
        back.append(a)
        done.add(a)
        for b, width in touch[a].items():
            if b not in queued and width >= passage_m - 1e-3:
                heapq.heappush(ready, -b)
                queued.add(b)
    return back[::-1]
