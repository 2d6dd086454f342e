"""The plan board: one row a section, one column a day, one bar a step."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from tackfree.sheets.look import DAY
from tackfree.sheets.svg import Box, Pen, esc, num, text_width

Across = Callable[[int], float]  # slot to px

ROW = 40.0  # px
HEAD = 52.0
DECK = 30.0  # a row that names a deck
BAR = 26.0
DAY_PX = 144.0
NARROWEST = 11.0  # a bar a hand can take

# Hatch of each kind of work; coats are blank, told by their letters.
HATCH = {"prep": "wait", "details": "measure", "sweep": "unknown", "stripe": "done"}


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One step: its slots, letters, what it says aloud, and its kind for the hatch."""

    task_id: str
    start: int
    end: int
    crew_id: str
    letters: str
    said: str
    kind: str
    limit: int | None = None  # slot by which it must be down
    starts: tuple[tuple[int, int], ...] = ()
    moved: bool = False
    broken: bool = False


@dataclass(frozen=True, kw_only=True)
class Row:
    """A section, or (without bars) a deck's name."""

    name: str
    head: bool = False
    bars: tuple[Bar, ...] = ()
    closed: tuple[int, int] | None = None
    closed_said: str = ""
    visits: tuple[tuple[int, str], ...] = ()  # slot of a hold point's visit, and who and why


@dataclass(frozen=True, kw_only=True)
class DayColumn:
    """A date: its first slot and the next one's."""

    begin: int
    end: int
    weekday: str
    day: str
    worked: bool
    current: bool = False


@dataclass(frozen=True, kw_only=True)
class Board:
    """What the board shows; ``title`` and ``help`` are read aloud."""

    title: str
    rows: tuple[Row, ...]
    days: tuple[DayColumn, ...]
    now: int | None = None
    palette: dict[str, str] = field(default_factory=lambda: dict(DAY))


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The names on the left and the time on the right, equal in height."""

    names: str
    time: str


def board_svg(board: Board) -> Drawn:
    """The board as two inline drawings: the right one scrolls under the left one.

    A bar carries ``data-task``, ``data-start``, ``data-slots``, ``data-crew`` and its
    allowed starts as ``data-starts``; the board itself ``data-px`` (per slot) and
    ``data-first``, so that a page can move it.
    """
    pen = Pen(board.palette, "board")
    first = board.days[0].begin if board.days else 0
    last = board.days[-1].end if board.days else 1
    px = DAY_PX * max(1, len(board.days)) / max(1, last - first)
    wide = px * (last - first)
    tops, high = _tops(board.rows)

    def x(slot: int) -> float:
        return min(max(0.0, (slot - first) * px), wide)

    out = _columns(board, pen, x, high)
    for row, top in zip(board.rows, tops, strict=True):
        out += _row(row, top, pen, x, wide)
    time = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="board-time" width="{num(wide)}" '
        f'height="{num(high)}" viewBox="0 0 {num(wide)} {num(high)}" role="group" '
        f'aria-label="{esc(board.title)}" data-px="{px:.5f}" '
        f'data-day="{DAY_PX:g}" data-first="{first}">'
        f"<defs>{''.join(pen.hatches(HATCH.values()))}</defs>{''.join(out)}</svg>"
    )
    return Drawn(names=_names(board.rows, tops, high, pen), time=time)


def _tops(rows: Sequence[Row]) -> tuple[list[float], float]:
    tops, y = [], HEAD
    for row in rows:
        tops.append(y)
        y += DECK if row.head else ROW
    return tops, y + 1


def _columns(board: Board, pen: Pen, x: Across, high: float) -> list[str]:
    out = []
    for d in board.days:
        left, right = x(d.begin), x(d.end)
        role = "accent-ground" if d.current else "ground"
        if d.current or not d.worked:
            box = Box(x=left, y=0, w=right - left, h=high)
            out.append(pen.rect(box, pen.fill(role)))
        out.append(pen.line(left, 0, left, high, "line", 0.7))
        out.append(pen.text(left + 6, 21, d.weekday, 14, role="ink-2"))
        out.append(pen.text(left + 6, 42, d.day, 16, bold=True))
    return out


def _row(row: Row, top: float, pen: Pen, x: Across, wide: float) -> list[str]:
    base = top + (DECK if row.head else ROW)
    weight = 1.3 if row.head else 0.7
    out = [pen.line(0, base, wide, base, "ink" if row.head else "line", weight)]
    if row.head:
        return out
    if row.closed:
        a, b = x(row.closed[0]), x(row.closed[1])
        mid = top + ROW / 2
        out.append(pen.line(a, mid, b, mid, "ink-2", 2.6))
        out.append(
            f'<g class="cars"><title>{esc(row.closed_said)}</title>'
            f'<path d="M{num(b)} {num(mid - 9)}V{num(mid + 9)}" {pen.stroke("ink", 2.6)}/></g>'
        )
    out += [_limit(bar.limit, top, pen, x) for bar in row.bars if bar.limit is not None]
    out += [_bar(bar, top, pen, x) for bar in row.bars]
    for slot, said in row.visits:
        at, mid = x(slot), top + ROW / 2
        out.append(
            f'<g class="visit"><title>{esc(said)}</title><path d="M{num(at)} {num(mid - 11)}'
            f'L{num(at + 8)} {num(mid)}L{num(at)} {num(mid + 11)}L{num(at - 8)} {num(mid)}Z" '
            f"{pen.fill('accent')}/></g>"
        )
    return out


def _bar(bar: Bar, top: float, pen: Pen, x: Across) -> str:
    left, right = x(bar.start), x(bar.end)
    w = max(NARROWEST, right - left)
    y = top + (ROW - BAR) / 2
    kind = " ".join(
        ["op", *(["is-moved"] if bar.moved else []), *(["is-broken"] if bar.broken else [])]
    )
    starts = " ".join(f"{a}-{b}" for a, b in bar.starts)
    box = Box(x=left, y=y, w=w, h=BAR)
    parts = [
        f'<g class="{kind}" tabindex="0" role="button" aria-label="{esc(bar.said)}" '
        f'data-task="{esc(bar.task_id)}" data-start="{bar.start}" '
        f'data-slots="{bar.end - bar.start}" '
        f'data-crew="{esc(bar.crew_id)}" data-starts="{starts}"><title>{esc(bar.said)}</title>'
    ]
    parts.append(pen.rect(box, pen.fill("paper")))
    if bar.kind in HATCH:
        parts.append(pen.rect(box, pen.hatched(HATCH[bar.kind])))
    parts.append(
        pen.rect(box, pen.stroke("accent" if bar.moved else "ink", 2.2 if bar.broken else 1.3))
    )
    if bar.kind not in HATCH:
        word = bar.letters if text_width(bar.letters, 12) < w - 1 else bar.letters[:1]
        parts.append(pen.text(left + w / 2, y + 18, word, 12, anchor="middle", bold=True))
    if bar.broken:
        parts.append(pen.line(left - 3, y + BAR + 3, left + w + 3, y - 3, "ink", 2.2))
    parts.append("</g>")
    return "".join(parts)


def _limit(limit: int, top: float, pen: Pen, x: Across) -> str:
    """A bracket by which a bar must be down; taller than bars, which cover it."""
    y, at = top + (ROW - BAR) / 2, x(limit)
    return (
        f'<g class="limit"><path d="M{num(at - 5)} {num(y - 5)}H{num(at)}V{num(y + BAR + 5)}'
        f'H{num(at - 5)}" {pen.stroke("accent", 1.6)}/></g>'
    )


def _names(rows: Sequence[Row], tops: Sequence[float], high: float, pen: Pen) -> str:
    wide = max([96.0, *(text_width(r.name, 15) + 18 for r in rows)])
    out = []
    for row, top in zip(rows, tops, strict=True):
        base = top + (DECK if row.head else ROW)
        weight = 1.3 if row.head else 0.7
        out.append(pen.line(0, base, wide, base, "ink" if row.head else "line", weight))
        out.append(pen.text(6, base - (9 if row.head else 14), row.name, 15, bold=row.head))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="board-names" width="{num(wide)}" '
        f'height="{num(high)}" viewBox="0 0 {num(wide)} {num(high)}" aria-hidden="true">'
        f"{''.join(out)}</svg>"
    )
