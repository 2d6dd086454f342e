"""The page of a layout while it is coated: rounded, in the reader's language and units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shapely import Point

from tackfree import words
from tackfree.errors import InputError
from tackfree.marks.cell_types import Cell, Check, Frame, Layout
from tackfree.service.marks_live import Live, LiveCell, shape_of
from tackfree.sheets.marks_lines import measured, on_paper, step_of
from tackfree.sheets.marks_svg import MarkedFloor, Tap, marks_svg
from tackfree.units import System, parse, show
from tackfree.units.show import feet_and_inches

Json = Mapping[str, Any]
FT_M = 0.3048
UM_PER_MIL = 25.4
_ROOM = 72.0  # px around the drawing, so that words at exits are whole on a phone


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A section and coat that can be opened."""

    section: str
    coat: str
    current: bool


@dataclass(frozen=True, kw_only=True)
class Row:
    """One cell as a line of the list."""

    number: int
    lane: str
    state: str
    word: str
    share: str
    film: str
    note: str
    when: str


@dataclass(frozen=True, kw_only=True)
class LaneRow:
    """What a tape needs of one lane: its baseline, and the cuts along it."""

    lane: str
    across: str
    cuts: tuple[tuple[str, str], ...]  # place, cells beside it


@dataclass(frozen=True, kw_only=True)
class MarksView:
    """Everything the template places."""

    section: str
    coat: str
    product: str
    layout: str
    reach: str
    svg: str
    next: int | None
    placed: str
    said: tuple[str, ...]
    notes: tuple[str, ...]
    rows: tuple[Row, ...]
    lanes: tuple[LaneRow, ...]
    coats: tuple[Choice, ...]
    sections: tuple[Choice, ...]
    unit: str
    can_recut: bool
    first: int
    last: int


def view_of(
    layout: Json, live: Live, every: Sequence[Json], *, lang: str, system: System
) -> MarksView:
    """The page of one layout.

    Parameters
    ----------
    layout : mapping
        As in the marks stage.
    live : Live
        What is placed of it.
    every : sequence of mappings
        The job's layouts, to choose from.
    lang, system : str
        Of the reader.
    """

    def say(name: str, **values: object) -> str:
        return words.say(f"marks.live.{name}", lang, **values)

    here = (layout["section_id"], layout["coat_id"])
    sections = list(dict.fromkeys(one["section_id"] for one in every))
    coats = [one["coat_id"] for one in every if one["section_id"] == here[0]]
    first_coat = {s: next(o["coat_id"] for o in every if o["section_id"] == s) for s in sections}
    return MarksView(
        section=here[0],
        coat=here[1],
        product=layout["product_id"],
        layout=layout["id"],
        reach=show(layout["reach_m2"], "area", system),
        svg=_drawing(layout, live, lang),
        next=live.next,
        placed=say("placed", count=live.placed, total=len(live.cells)),
        said=tuple(_said(live, say, system)),
        notes=tuple(words.say(n["id"], lang, **n["values"]) for n in layout["notes"]),
        rows=tuple(_row(c, say, system) for c in live.cells),
        lanes=tuple(_lanes(layout, system)),
        coats=tuple(Choice(section=here[0], coat=c, current=c == here[1]) for c in coats),
        sections=tuple(Choice(section=s, coat=here[1] if _has(every, s, here[1]) else first_coat[s],
                              current=s == here[0]) for s in sections),
        unit="ft" if system == "us" else "m",
        can_recut=any(c.number > live.lane_end for c in live.cells) and live.placed > 0,
        first=live.cells[0].number,
        last=live.cells[-1].number,
    )  # fmt: skip


def distance_m(text: str, system: System) -> float:
    """A distance as typed; a bare number is feet or metres as the page shows them.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    body = text.strip().replace("−", "-").replace(",", ".")
    try:
        return float(body) * (FT_M if system == "us" else 1.0)
    except ValueError:
        return parse(text, "length")


def _has(every: Sequence[Json], section: str, coat: str) -> bool:
    return any((o["section_id"], o["coat_id"]) == (section, coat) for o in every)


def _said(live: Live, say: Any, system: System) -> list[str]:
    out = []
    if live.next is None:
        out.append(say("done"))
    for c in live.cells:
        if c.off:
            out.append(_reached(c, say, system))
    if live.skipped:
        out.append(say("skipped", cells=", ".join(map(str, live.skipped))))
    if live.edge_since and live.next is not None:
        out.append(say("edge", cell=live.next, time=live.edge_since[11:16]))
    return out


def _reached(c: LiveCell, say: Any, system: System) -> str:
    """ "6 ft past mark 12: about 23 mil"."""
    film = _film(c.film_um, system)
    if abs(c.past_m) < 0.01:
        return str(say("other-area", cell=c.number, film=film))
    far = abs(c.past_m)
    text = f"{round(far / FT_M * 2) / 2:g} ft" if system == "us" else f"{far:.1f} m"
    return str(say("past" if c.past_m > 0 else "short", distance=text, cell=c.number, film=film))


def _film(film_um: float | None, system: System) -> str:
    if film_um is None:
        return ""
    return f"{film_um / UM_PER_MIL:.0f} mil" if system == "us" else f"{film_um:.0f} µm"


def _row(c: LiveCell, say: Any, system: System) -> Row:
    return Row(
        number=c.number,
        lane=str(c.lane),
        state=c.state,
        word=say(f"state-{c.state}"),
        share="" if c.full else say("share", share=f"{c.kits:.2f}"),
        film=_film(c.film_um, system),
        note=_reached(c, say, system) if c.off else "",
        when=c.wall[11:16],
    )


def _drawing(layout: Json, live: Live, lang: str) -> str:
    cells = tuple(
        Cell(number=c.number, outline=c.outline, plan_m2=c.outline.area, kits=c.kits,
             full=c.full, lane=c.lane)
        for c in live.cells
    )  # fmt: skip
    taps = {
        c.number: Tap(
            state=c.state,
            label=words.say(f"marks.live.tap-{c.state}", lang, cell=c.number),
            covered=c.covered,
        )
        for c in live.cells
    }
    floor = MarkedFloor(
        section_id=live.section,
        cells=cells,
        exits=tuple(Point(*xy) for xy in layout.get("exits", ())),
        taps=taps,
    )
    return marks_svg(
        [floor],
        title=f"{live.section} {live.coat}",
        desc=words.say("marks.sheet.order", lang),
        exit_word=words.say("marks.sheet.exit", lang),
        corner_word=words.say("marks.sheet.corner", lang),
        palette="day",
        width=900,
        height=900,
        room=_ROOM,
    )


def _lanes(layout: Json, system: System) -> list[LaneRow]:
    """Baselines and cuts, each layout from its own corner."""
    out = []
    step = step_of(system)
    by_number = {c["number"]: c for c in layout["cells"]}
    for frame in layout.get("frames", ()):
        numbers = range(frame["first"], frame["first"] + frame["count"])
        mine = [by_number[n] for n in numbers if n in by_number]
        if len(mine) != frame["count"]:
            continue
        one = _layout(frame, mine)
        found = measured(one, frame["first"] - 1, list(numbers), step)
        edges = [0.0, *sorted({c.y0_m for c in found.lanes})]
        for lane, low in enumerate(edges, 1):
            cuts = found.cuts.get(lane, ())
            text = feet_and_inches(low) if system == "us" else on_paper(low, system)
            out.append(
                LaneRow(lane=str(lane), across=text,
                        cuts=tuple((on_paper(c.x0_m, system),
                                    f"{min(c.cells)} | {max(c.cells)}") for c in cuts))
            )  # fmt: skip
    return out


def _layout(frame: Json, cells: Sequence[Json]) -> Layout:
    """As much of a layout as measuring it out needs."""
    first = frame["first"]
    return Layout(
        cells=tuple(
            Cell(number=c["number"] - first + 1, outline=shape_of(c["outline"]),
                 plan_m2=c["plan_m2"], kits=c["kits"], full=c["full"], lane=c["lane"])
            for c in cells
        ),
        target_m2=1.0, direction_rad=frame["direction_rad"], equal_lanes=True, lane_m=1.0,
        lines_m=tuple(frame["lines_m"]), exits=(),
        frame=Frame(x0_m=frame["x0_m"], y0_m=frame["y0_m"], flip_x=frame["flip_x"],
                    flip_y=frame["flip_y"], direction_rad=frame["direction_rad"]),
        check=Check(worst_error=0, sum_error=0, overlap_m2=0, trapped=(), unreachable=(),
                    disconnected=(), slivers=(), jumps=0, age_kits=0, age_pair=(1, 1)),
    )  # fmt: skip


def numbers_in(text: str) -> list[int]:
    """Cell numbers as typed: "14, 15 18-20".

    Raises
    ------
    InputError
        If a word is no number.
    """
    out: list[int] = []
    for word in text.replace(",", " ").replace("–", "-").split():
        begin, _, end = word.partition("-")
        if not (begin.isdigit() and (end.isdigit() or not end)) or len(begin + end) > 8:
            raise InputError(f"{word[:20]!r} is no cell.", where="cells",
                             do='Write numbers, "14 15 18-20".')  # fmt: skip
        out += range(int(begin), min(int(end or begin), int(begin) + 5000) + 1)
    return out
