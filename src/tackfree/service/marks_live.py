"""A layout while it is coated: what the entries say of its cells, and the entries of a tap.

Nothing is stored here. Marks on the floor never move: a kit that reaches short or far
changes what was covered, not where the next mark is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError
from tackfree.marks.sweep import only_areas
from tackfree.record.entries import Entry

Json = Mapping[str, Any]
_TOUCH_M = 1e-4
_SEAM_M = 0.3  # an edge shorter than this is no seam
_SAME = 0.01  # share by which a kit may miss its cell unsaid
_POINTS = 500  # of an outline in an entry


@dataclass(frozen=True, kw_only=True)
class Film:
    """What the coat is to be: film over the peaks and what the surface swallows. [µm]"""

    wft_um: float
    fill_um: float


@dataclass(frozen=True, kw_only=True)
class Draft:
    """An entry to be added."""

    kind: str
    body: dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class LiveCell:
    """One cell now. ``state`` is in, next or bare.

    ``covered`` is where its kit went, ``past_m`` how far beyond its mark (short: below
    0), ``film_um`` the film over the peaks that this gives; None as long as it is bare.
    ``entries`` are the ids to withdraw, ``wall`` when the kit went in.
    """

    number: int
    layout: str
    outline: Polygon | MultiPolygon
    kits: float
    full: bool
    lane: int
    state: str
    covered: BaseGeometry | None = None
    past_m: float = 0.0
    film_um: float | None = None
    wall: str = ""
    entries: tuple[str, ...] = ()

    @property
    def off(self) -> bool:
        """Whether the kit missed its cell by more than is worth a word."""
        if self.covered is None:
            return False
        return bool(abs(self.covered.area / self.outline.area - 1) > _SAME)


@dataclass(frozen=True, kw_only=True)
class Live:
    """A layout while it is coated.

    ``next`` is the first bare cell, ``skipped`` bare cells with wet ones after them,
    ``edge_since`` when the oldest kit went in that touches the next cell, ``lane_end``
    the last cell of the lanes begun.
    """

    layout: str
    section: str
    coat: str
    product: str
    cells: tuple[LiveCell, ...]
    next: int | None
    skipped: tuple[int, ...]
    edge_since: str
    lane_end: int

    @property
    def placed(self) -> int:
        return sum(c.state == "in" for c in self.cells)

    def cell(self, number: int) -> LiveCell:
        found = next((c for c in self.cells if c.number == number), None)
        if found is None:
            raise InputError(
                f"the layout has no cell {number}.", where=self.layout,
                do=f"Its cells are {self.cells[0].number} to {self.cells[-1].number}.",
            )  # fmt: skip
        return found


def state_of(layout: Json, entries: Iterable[Entry], film: Film) -> Live:
    """What the record says of a layout.

    Parameters
    ----------
    layout : mapping
        As in the marks stage; cells of an older layout name it in ``layout``.
    entries : iterable of Entry
        Of the job, in the order of arrival; others are passed over.
    film : Film
    """
    every = list(entries)
    gone = {e.body["corrects"] for e in every if e.body.get("corrects")}
    where = (layout["section_id"], layout["coat_id"])
    mine = [
        e for e in every
        if e.id not in gone and e.kind in ("batch", "placement")
        and (e.body["section"], e.body["coat"]) == where
    ]  # fmt: skip
    placed = {(e.body.get("layout"), e.body.get("cell")): e for e in mine if e.kind == "placement"}
    batches = {e.body["kit"]: e.id for e in mine if e.kind == "batch"}
    cells = []
    for one in layout["cells"]:
        cut_in = one.get("layout", layout["id"])
        entry = placed.get((cut_in, str(one["number"])))
        cells.append(_cell(one, cut_in, entry, batches, film))
    first = next((c.number for c in cells if c.state == "bare"), None)
    last_in = max((c.number for c in cells if c.state == "in"), default=0)
    cells = [_as_next(c) if c.number == first else c for c in cells]
    wet = [c for c in cells if c.state == "in"]
    begun = {c.lane for c in wet}
    return Live(
        layout=layout["id"],
        section=layout["section_id"],
        coat=layout["coat_id"],
        product=layout["product_id"],
        cells=_with_reach(cells),
        next=first,
        skipped=tuple(c.number for c in cells if c.state != "in" and c.number < last_in),
        edge_since=_oldest_edge(cells, first),
        lane_end=max((c.number for c in cells if c.lane in begun), default=0),
    )


def shape_of(rings: Sequence[Sequence[Sequence[Sequence[float]]]]) -> Polygon | MultiPolygon:
    """An outline as the marks stage writes it. [m]"""
    parts = [Polygon(p[0], p[1:]) for p in rings]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def tap(live: Live, number: int) -> list[Draft]:
    """The entries of a kit that goes into a cell.

    Raises
    ------
    InputError
        If there is no such cell or its kit is in.
    """
    cell = live.cell(number)
    if cell.state == "in":
        raise InputError(f"the kit of cell {number} is in.", where=live.layout,
                         do="Undo it first if that was a mistake.")  # fmt: skip
    kit = f"{cell.layout}-{number}"
    about = {"kit": kit, "section": live.section, "coat": live.coat}
    where = {"layout": cell.layout, "cell": str(number), **_outline(_bare_part(live, cell))}
    return [
        Draft(kind="batch", body={**about, "product": live.product}),
        Draft(kind="placement", body={**about, **where}),
    ]


def through(live: Live, number: int) -> list[Draft]:
    """The entries of every kit up to a cell that is not in yet."""
    live.cell(number)
    out = [d for c in live.cells if c.number <= number and c.state != "in"
           for d in tap(live, c.number)]  # fmt: skip
    if not out:
        raise InputError(f"every kit up to cell {number} is in.", where=live.layout,
                         do="Nothing is to be marked.")  # fmt: skip
    return out


def undo(live: Live, number: int, reason: str) -> list[Draft]:
    """The entries that withdraw a tap."""
    cell = live.cell(number)
    if cell.state != "in":
        raise InputError(f"cell {number} is bare.", where=live.layout, do="Nothing is to undo.")
    return [Draft(kind="correction", body={"corrects": e, "reason": reason}) for e in cell.entries]


def reached(live: Live, number: int, past_m: float) -> list[Draft]:
    """The entries of a kit that stopped short of its mark (below 0) or past it. [m]

    The next kit, where it is in already, covered what is left of both cells.

    Raises
    ------
    InputError
        If the kit is not in, the next cell does not touch it, or nothing would be left.
    """
    cell = live.cell(number)
    if cell.state != "in":
        raise InputError(f"the kit of cell {number} is not in yet.", where=live.layout,
                         do="Mark it first.")  # fmt: skip
    after = next((c for c in live.cells if c.number == number + 1), None)
    edge = None if after is None else _edge(cell.outline, after.outline)
    if after is None or edge is None or edge.length < _SEAM_M:
        raise InputError(f"cell {number} has no edge with the next one.", where=live.layout,
                         do="Note in words how far it reached.")  # fmt: skip
    covered = _moved(cell.outline, after.outline, edge, past_m)
    if covered is None:
        raise InputError(
            f"{past_m:+.2f} m lies outside cells {number} and {number + 1}.", where=live.layout,
            do="Give how far past its mark it reached, below 0 for short.",
        )  # fmt: skip
    out = [_again(live, cell, covered)]
    if after.state == "in":
        both = shapely.union(cell.outline, after.outline, grid_size=1e-6)
        out.append(_again(live, after, only_areas(shapely.difference(both, covered))))
    return out


def _again(live: Live, cell: LiveCell, covered: BaseGeometry) -> Draft:
    body = {
        "kit": f"{cell.layout}-{cell.number}", "section": live.section, "coat": live.coat,
        "layout": cell.layout, "cell": str(cell.number), "corrects": cell.entries[-1],
        **_outline(covered),
    }  # fmt: skip
    return Draft(kind="placement", body=body)


def _moved(
    cell: BaseGeometry, after: BaseGeometry, edge: BaseGeometry, past_m: float
) -> BaseGeometry | None:
    """What a kit covered that stopped beside its mark."""
    if past_m == 0:
        return cell
    band = edge.buffer(abs(past_m), cap_style="square", join_style="mitre")
    if past_m < 0:
        left = only_areas(shapely.difference(cell, band))
        return left if left.area > 0.02 * cell.area else None
    strip = only_areas(shapely.intersection(after, band))
    if strip.is_empty or strip.area > 0.98 * after.area:
        return None
    return only_areas(shapely.union(cell, strip, grid_size=1e-6))


def _edge(a: BaseGeometry, b: BaseGeometry) -> BaseGeometry:
    found: BaseGeometry = shapely.intersection(a.boundary, b.buffer(_TOUCH_M))
    return found


def _bare_part(live: Live, cell: LiveCell) -> BaseGeometry:
    """The cell, less what the kit before it took, with what that one left."""
    wet = [c for c in live.cells if c.state == "in" and c.covered is not None and c.off]
    shape: BaseGeometry = cell.outline
    for other in wet:
        assert other.covered is not None
        shape = shapely.difference(shape, other.covered)
        if other.number == cell.number - 1:
            left = only_areas(shapely.difference(other.outline, other.covered))
            if left.area > 0.01 * cell.outline.area:
                shape = shapely.union(shape, left, grid_size=1e-6)
    return only_areas(shape)


def _outline(shape: BaseGeometry) -> dict[str, Any]:
    """The ring of an entry; nothing where one ring cannot say it."""
    parts = shapely.get_parts(shape)
    if len(parts) != 1:
        return {}
    tidy = shapely.simplify(parts[0], 1e-4)
    ring = shapely.get_coordinates(tidy.exterior)[:-1]
    if not 3 <= len(ring) <= _POINTS:
        return {"area_m2": round(float(shape.area), 3)}
    points = [[round(float(x), 3), round(float(y), 3)] for x, y in ring]
    return {"outline": points, "area_m2": round(float(shape.area), 3)}


def _cell(
    one: Json, cut_in: str, entry: Entry | None, batches: Mapping[str, str], film: Film
) -> LiveCell:
    outline = shape_of(one["outline"])
    about = {"number": one["number"], "layout": cut_in, "outline": outline, "kits": one["kits"],
             "full": one["full"], "lane": one["lane"]}  # fmt: skip
    if entry is None:
        return LiveCell(**about, state="bare")
    covered: BaseGeometry = outline
    if entry.body.get("outline"):
        # A column inside the ring is no floor; the cell's own holes stay out.
        holes = [Polygon(r) for p in shapely.get_parts(outline) for r in p.interiors]
        ring = Polygon(entry.body["outline"]).buffer(0)
        covered = ring.difference(shapely.union_all(holes)) if holes else ring
    ids = [i for i in (batches.get(entry.body["kit"]), entry.id) if i]
    total = film.wft_um + film.fill_um
    return LiveCell(
        **about, state="in", covered=covered, wall=entry.wall, entries=tuple(ids),
        film_um=total * outline.area / covered.area - film.fill_um,
    )  # fmt: skip


def _as_next(cell: LiveCell) -> LiveCell:
    return LiveCell(**{**vars(cell), "state": "next"})


def _with_reach(cells: Sequence[LiveCell]) -> tuple[LiveCell, ...]:
    """How far past its mark each kit stopped that is off."""
    out = []
    known = {c.number: c for c in cells}
    for c in cells:
        after = known.get(c.number + 1)
        if c.off and after is not None and c.covered is not None:
            length = _edge(c.outline, after.outline).length
            gained = shapely.intersection(c.covered, after.outline).area
            own = c.outline.area - shapely.intersection(c.covered, c.outline).area
            before = known.get(c.number - 1)
            if before is not None and before.covered is not None:
                own -= shapely.intersection(c.outline, before.covered).area
            if length >= _SEAM_M:
                c = LiveCell(**{**vars(c), "past_m": (gained - max(own, 0.0)) / length})
        out.append(c)
    return tuple(out)


def _oldest_edge(cells: Sequence[LiveCell], number: int | None) -> str:
    here = next((c for c in cells if c.number == number), None)
    if here is None:
        return ""
    beside = [
        c.wall for c in cells
        if c.state == "in" and _edge(here.outline, c.outline).length >= _SEAM_M
    ]  # fmt: skip
    return min(beside, default="")
