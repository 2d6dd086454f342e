"""The ground of one section and coat: its grid, what was logged on it, its patches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import MultiPoint, box, union_all
from shapely.geometry.base import BaseGeometry

from tackfree import film
from tackfree.buildup.types import Coat, Role
from tackfree.deck.types import Section
from tackfree.errors import NotFound
from tackfree.evidence.grid import BoolArray, Grid, make_grid
from tackfree.evidence.kernel import IntArray
from tackfree.evidence.verdict import Patch
from tackfree.record.entries import Entry
from tackfree.service.film_entries import KitUsed, Read, Taken, layout_cells, taken
from tackfree.service.pipeline import Pipeline
from tackfree.supply.types import CoatLine
from tackfree.words import Message

STEP_M = 0.6096  # 2 ft
PATCH_M = 15.24  # 50 ft
CELL_SD, SECTION_SD = 0.06, 0.03  # practice: area of a cell, of a whole section
OVERLAP = 0.05  # of the smaller cell
WHOLE = "whole"
MOST_NAMED = 6  # kits named in one sentence


@dataclass(frozen=True, kw_only=True)
class Cell:
    """Ground of one or more kits and the mean film they left over the peaks. [µm]"""

    kits: tuple[str, ...]
    shape: BaseGeometry
    mask: BoolArray
    mean_um: float
    sd_um: float


@dataclass(frozen=True, kw_only=True)
class Ground:
    """One section and coat with its readings and kits where they lie; nothing is judged.

    ``node`` are the readings' nodes (P, 2); the last of ``patches`` is the whole section.
    """

    section: Section
    coat: Coat
    line: CoatLine
    grid: Grid
    found: Taken
    reads: tuple[Read, ...]
    node: IntArray
    cells: tuple[Cell, ...]
    patches: tuple[tuple[Patch, BaseGeometry], ...]
    messages: tuple[Message, ...]


def ground_of(made: Pipeline, record: Sequence[Entry], section_id: str, coat_id: str) -> Ground:
    """Readings and kits of one section and coat on their ground.

    Parameters
    ----------
    made : Pipeline
    record : sequence of Entry
        As :func:`tackfree.service.film_entries.film_record` reads it.
    section_id, coat_id : str

    Returns
    -------
    Ground

    Raises
    ------
    NotFound
        If the section or its coat does not exist.
    """
    section, coat, line = _find(made, section_id, coat_id)
    kit_l = {p.id: p.kit.volume_l for p in made.job.products.values() if p.kit is not None}
    marks = layout_cells(made, record, section_id, coat_id)
    found = taken(record, section_id, coat_id, kit_l=kit_l, fill_um=line.fill_um, layouts=marks)
    said = list(found.messages)
    grid = _grid(section)
    reads, node = _inside(found.readings, grid, said)
    cells = _cells(found.kits, section, line, grid, said)
    if line.fill_basis.endswith("missing"):
        said.append(Message(id="evidence.no_fill"))
    return Ground(
        section=section, coat=coat, line=line, grid=grid, found=found, reads=reads, node=node,
        cells=cells, patches=_patches(section, grid, node, cells), messages=tuple(said),
    )  # fmt: skip


def _find(made: Pipeline, section_id: str, coat_id: str) -> tuple[Section, Coat, CoatLine]:
    known = {s.id: s for s in made.sections.sections}
    if section_id not in known:
        raise NotFound(
            f"there is no section {section_id}.",
            where="--section",
            do=f"The job's sections are {', '.join(known)}.",
        )
    section = known[section_id]
    coats = {c.id: c for c in made.job.build_ups[section.build_up_id].coats}
    if coat_id not in coats:
        raise NotFound(
            f"section {section_id} has no coat {coat_id}.",
            where="--coat",
            do=f"Its coats are {', '.join(coats)}.",
        )
    line = next(
        c for c in made.materials.coats if (c.section_id, c.coat_id) == (section_id, coat_id)
    )
    return section, coats[coat_id], line


def _grid(section: Section) -> Grid:
    x0, y0, x1, y1 = section.floor.bounds
    step = max(STEP_M, math.sqrt((x1 - x0) * (y1 - y0) / 60_000))
    return make_grid(section.floor, step)


def _inside(
    found: Sequence[Read], grid: Grid, said: list[Message]
) -> tuple[tuple[Read, ...], IntArray]:
    pairs = [(r, n) for r in found if (n := grid.node(r.x_m, r.y_m)) is not None]
    if len(pairs) < len(found):
        said.append(Message(id="evidence.outside", values={"count": len(found) - len(pairs)}))
    node = np.array([n for _, n in pairs], dtype=np.int64).reshape(-1, 2)
    return tuple(r for r, _ in pairs), node


def _cells(
    kits: Sequence[KitUsed], section: Section, line: CoatLine, grid: Grid, said: list[Message]
) -> tuple[Cell, ...]:
    """Kits on their ground: shared ground joined, the rest spread over what is left."""
    floor = section.floor
    groups: list[tuple[list[KitUsed], BaseGeometry]] = []
    loose: list[KitUsed] = []
    off: list[str] = []
    for kit in kits:
        if kit.flat:
            off.append(kit.kit)
            continue
        if kit.outline is None:
            loose.append(kit)
            continue
        ground: BaseGeometry = kit.outline.intersection(floor)
        if ground.area < grid.node_m2:
            off.append(kit.kit)
            continue
        members = [kit]
        rest = []
        for there, other in groups:
            if ground.intersection(other).area > OVERLAP * min(ground.area, other.area):
                members += there
                ground = ground.union(other)
            else:
                rest.append((there, other))
        groups = [*rest, (members, ground)]
    if loose:
        left = floor.difference(union_all([g for _, g in groups])) if groups else floor
        if left.area > 0.02 * floor.area:
            groups.append((loose, left))
            if groups[:-1] or len(kits) == len(loose):
                said.append(Message(id="evidence.whole_section", values={"count": len(loose)}))
        else:
            said.append(Message(id="evidence.no_room", values={"count": len(loose)}))
    if off:
        said.append(Message(id="evidence.no_area", values={"kits": _named(off)}))
    for members, _ in groups:
        if len(members) > 1 and members is not loose:
            together = _named([k.kit for k in members])
            said.append(Message(id="evidence.overlap", values={"kits": together}))
    steep = section.developed_m2 / floor.area
    out: list[Cell] = []
    used = np.zeros(grid.shape, dtype=bool)
    for members, ground in groups:
        mask = grid.mask(ground) & ~used
        if not mask.any():
            continue
        used |= mask
        volume = math.fsum(k.volume_l for k in members)
        mean = film.film_over_peaks_um(
            volume_l=volume, area_m2=ground.area * steep, fill_um=line.fill_um, loss=line.loss
        )
        area_sd = SECTION_SD if members is loose else CELL_SD
        out.append(
            Cell(
                kits=tuple(sorted(k.kit for k in members)),
                shape=ground,
                mask=mask,
                mean_um=mean,
                sd_um=math.hypot((mean + line.fill_um) * area_sd, 5.08),
            )
        )
    return tuple(out)


def _named(kits: Sequence[str]) -> str:
    """Kit ids in order, the middle of many left out."""
    names = sorted(kits)
    if len(names) > MOST_NAMED:
        names = [*names[: MOST_NAMED - 2], "…", names[-1]]
    return ", ".join(names)


def _patches(
    section: Section, grid: Grid, node: IntArray, cells: Sequence[Cell]
) -> tuple[tuple[Patch, BaseGeometry], ...]:
    """Squares of about 50 ft in reading order, narrow rests joined, and the whole."""
    shapes: list[BaseGeometry] = []
    for part in section.floor.geoms:
        x0, y0, x1, y1 = part.bounds
        nx = max(1, round((x1 - x0) / PATCH_M))
        ny = max(1, round((y1 - y0) / PATCH_M))
        dx, dy = (x1 - x0) / nx, (y1 - y0) / ny
        tiles: list[BaseGeometry] = []
        for j in reversed(range(ny)):
            for i in range(nx):
                square = box(x0 + i * dx, y0 + j * dy, x0 + (i + 1) * dx, y0 + (j + 1) * dy)
                tile = part.intersection(square)
                if tile.area > 0:
                    tiles.append(tile)
        for tile in [t for t in tiles if t.area < 0.25 * dx * dy]:
            if len(tiles) == 1:
                break
            tiles.remove(tile)
            near = min(range(len(tiles)), key=lambda k: tiles[k].centroid.distance(tile.centroid))
            tiles[near] = tiles[near].union(tile)
        shapes += tiles
    if len(shapes) == 1:
        shapes = []
    named = [(str(k), s) for k, s in enumerate(shapes, 1)]
    out = []
    for name, shape in [*named, (WHOLE, section.floor)]:
        mask = grid.mask(shape)
        if mask.any():
            inside = mask[tuple(node.T)]
            hull = MultiPoint([grid.place(int(r), int(c)) for r, c in node[inside]]).convex_hull
            reached = grid.mask(hull.buffer(grid.step_m)) if inside.any() else mask & False
            for cell in cells:
                reached |= cell.mask
            patch = Patch(
                id=name,
                mask=mask,
                readings=int(inside.sum()),
                reached=float((reached & mask).sum() / mask.sum()),
                kits=sum(len(c.kits) for c in cells if (c.mask & mask).any()),
            )
            out.append((patch, shape))
    return tuple(out)


def is_primer(made: Pipeline, section_id: str, coat_id: str) -> bool:
    """Whether a coat is a primer: gallons tell of it, no comb reads it."""
    section = next((s for s in made.sections.sections if s.id == section_id), None)
    if section is None:
        return False
    coats = made.job.build_ups[section.build_up_id].coats
    return any(c.id == coat_id and c.role is Role.PRIMER for c in coats)
