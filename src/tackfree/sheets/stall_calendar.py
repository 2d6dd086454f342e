"""The stall calendar on paper, a page a week; and three weeks ahead on one page."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from shapely import union_all
from shapely.geometry.base import BaseGeometry

from tackfree.sheets import look
from tackfree.sheets.svg import Frame, Pen, num, path_d
from tackfree.sheets.typeset import typeset

WIDE = 240.0  # px of one small deck


@dataclass(frozen=True, kw_only=True)
class PaperHead:
    """What stands on every page."""

    job: str
    title: str
    language: str
    paper: str  # us-letter or a4
    made_utc_s: int
    note: str
    invented: str = ""


@dataclass(frozen=True, kw_only=True)
class PaperDay:
    """A date with its count and one small drawing a deck."""

    name: str
    count: str
    cap: str
    pictures: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PaperWeek:
    """A week: its days, and a table of what is closed with times."""

    name: str
    days: tuple[PaperDay, ...]
    decks: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def small_deck(
    floors: Mapping[str, BaseGeometry], closed: Collection[str], prefix: str,
    *, cut: Collection[str] = (),
) -> str:  # fmt: skip
    """A deck's sections in outline; the closed ones hatched, those cut off in another hatch."""
    pen = Pen(look.PRINT, prefix)
    left, low, right, high = union_all(list(floors.values())).bounds
    scale = WIDE / max(right - left, high - low, 1e-9)
    frame = Frame(x0_m=left, y1_m=high, px_per_m=scale, left=4, top=4)
    out = []
    for name, floor in floors.items():
        hatch = "wet" if name in closed else "unknown" if name in cut else ""
        fill = pen.hatched(hatch) if hatch else pen.fill("paper")
        d = path_d(floor, frame)
        out.append(f'<path d="{d}" fill-rule="evenodd" {fill}/>')
        out.append(f'<path d="{d}" fill-rule="evenodd" {pen.stroke("ink", 1.6)}/>')
    w, h = (right - left) * scale + 8, (high - low) * scale + 8
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{num(w)}" height="{num(h)}" '
        f'viewBox="0 0 {num(w)} {num(h)}"><defs>{"".join(pen.hatches(["wet", "unknown"]))}</defs>'
        f"{''.join(out)}</svg>"
    )


def render_stalls_pdf(head: PaperHead, weeks: Sequence[PaperWeek], columns: Sequence[str]) -> bytes:
    """One page for each week.

    Raises
    ------
    SheetError
        If the setter warns of anything.
    """
    return _set("stalls", head, {"weeks": [asdict(w) for w in weeks], "columns": list(columns)})


# Type of three weeks ahead, the largest that fits; the last stands for whatever comes.
SIZES = [*(x / 2 for x in range(24, 8, -1)), 4.0, 3.0]  # pt


def render_ahead_pdf(head: PaperHead, span: str, weeks: Sequence[Sequence[Any]]) -> bytes:
    """Three weeks of days on one page; a day is (name, stalls, crews, limits)."""
    return _set("ahead", head, {"span": span, "weeks": weeks, "sizes": SIZES})


def _set(template: str, head: PaperHead, more: Mapping[str, Any]) -> bytes:
    data = {**asdict(head), **more, "look": dict(look.PRINT), "invented": head.invented or None}
    return typeset(template, data, made_utc_s=head.made_utc_s, where=head.title)
