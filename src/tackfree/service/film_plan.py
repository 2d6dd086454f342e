"""Before anything is spread: how many readings would show the film, and where to take them.

What is left in doubt of a patch's average depends only on where and how well it will be
measured, not on what the readings will say. So the number of readings can be told before.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
from scipy.linalg import solve_triangular
from shapely import box
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError
from tackfree.evidence.field import Doubts, Evidence, Kits, Readings
from tackfree.evidence.grid import BoolArray, Grid, rectangles
from tackfree.evidence.kernel import FloatArray, IntArray, Rects
from tackfree.evidence.rules import ContractRule
from tackfree.evidence.spread import USUAL
from tackfree.evidence.verdict import FEWEST_READINGS, SURE
from tackfree.service.evidence import (
    CELL_SD,
    CHECKED_SD_UM,
    GAUGE_SD_UM,
    LEVEL_SD_UM,
    LOSS_SD_UM,
    READ_SD_UM,
    WHOLE,
    Study,
    study,
)
from tackfree.service.evidence_words import picture_plain, where
from tackfree.service.pipeline import Pipeline
from tackfree.service.save import write_atomic
from tackfree.service.tables import table
from tackfree.sheets.evidence_map import FilmMap
from tackfree.sheets.film_deck import section_svg
from tackfree.supply.types import CoatLine
from tackfree.units import System, show
from tackfree.words import say

TOOTH_UM = 50.8  # 2 mil between teeth
OFTEN = 0.9  # a section that has the film should be shown nine times in ten
MORE = 1.05  # practice: who aims at exactly the film is right half the time
TRIES = (5, 10, 15, 20, 30, 40, 60, 80)
MOST = 120
EDGE_M = 0.3


@dataclass(frozen=True, kw_only=True)
class Design:
    """How the film would be measured: gauge checked or not, kits logged by cell or not."""

    checked: bool
    kits: bool


DESIGNS = (
    Design(checked=True, kits=True),
    Design(checked=False, kits=True),
    Design(checked=True, kits=False),
)


@dataclass(frozen=True, kw_only=True)
class Needed:
    """How far the average must lie above what is asked for, to be shown nine times in ten.

    ``margins_um`` has a row for each of ``TRIES`` and a column for each of ``DESIGNS``.
    ``readings`` shows a section that really has ``aim_um``; None where no number does.
    """

    section: str
    coat: str
    asked_um: float
    aim_um: float
    by_rule: int
    by_patch: int
    by_chance: int | None
    readings: int | None
    spots: tuple[tuple[float, float], ...]  # from the deck's frame [m]
    margins_um: tuple[tuple[float, ...], ...]
    study: Study


def plan_readings(
    made: Pipeline, section_id: str, coat_id: str, *, aim_um: float | None = None
) -> Needed:
    """How many readings a section and coat would need, and where.

    Parameters
    ----------
    made : Pipeline
    section_id, coat_id : str
    aim_um : float, optional
        Average film that the crew will really leave; 5 % over the specified one where it
        is left out. [µm]

    Returns
    -------
    Needed

    Raises
    ------
    InputError
        If the aim is not above what is asked for: then no number of readings shows it.
    NotFound
        If the section or its coat does not exist.

    Source
    ------
    Exact for the normal model of :mod:`tackfree.evidence.field` with its usual spread: the
    variance left of a patch mean; shown needs mean − 1.645 sd at the asked film.
    """
    s = study(made, (), section_id, coat_id)
    asked = s.coat.wft_um
    aim = MORE * asked if aim_um is None else aim_um
    if not asked < aim < math.inf:
        raise InputError(
            f"the aim is {aim:g} µm and {asked:g} µm is asked for; it must be more.",
            where="--aim",
            do="Who spreads no more than is asked for cannot show it: aim a mil above.",
        )
    line = next(
        c for c in made.materials.coats if (c.section_id, c.coat_id) == (section_id, coat_id)
    )
    parts = [p for p, _ in s.patches if p.id != WHOLE] or [p for p, _ in s.patches]
    order = _spread_out(s.grid, MOST)
    cells = _cells(s, line)
    z = NormalDist().inv_cdf(SURE) + NormalDist().inv_cdf(OFTEN)

    def margin(n: int, design: Design) -> float:
        masks = [p.mask for p in parts]
        return z * max(_left_sd(s, order[:n], cells if design.kits else [], design, masks))

    margins = tuple(tuple(margin(n, d) for d in DESIGNS) for n in TRIES)
    usual = DESIGNS[0]
    # a reading more never adds doubt, so the first that is enough is found by halving
    enough = bisect_left(range(1, MOST + 1), True, key=lambda n: margin(n, usual) <= aim - asked)
    by_chance = enough + 1 if enough < MOST else None
    by_rule = max(1, math.ceil(s.section.developed_m2 / ContractRule().m2_per_reading - 1e-9))
    by_patch = _enough_each(order, [p.mask for p in parts])
    readings = None if by_chance is None else max(by_chance, by_rule, by_patch)
    spots = tuple(s.grid.place(int(r), int(c)) for r, c in order[: readings or 0])
    return Needed(
        section=section_id, coat=coat_id, asked_um=asked, aim_um=aim, by_rule=by_rule,
        by_patch=by_patch, by_chance=by_chance, readings=readings, spots=spots,
        margins_um=margins, study=s,
    )  # fmt: skip


def _spread_out(grid: Grid, count: int) -> IntArray:
    """Nodes as far from each other as they can be, each next one in the widest gap."""
    nodes = np.argwhere(grid.inside)
    edge = max(1, round(EDGE_M / grid.step_m))
    padded = np.pad(grid.inside, edge)
    deep = np.ones(grid.inside.shape, dtype=bool)
    ny, nx = grid.inside.shape
    for dy in range(2 * edge + 1):
        for dx in range(2 * edge + 1):
            deep &= padded[dy : dy + ny, dx : dx + nx]
    if deep.any():
        nodes = np.argwhere(deep)
    first = int(np.hypot(*(nodes - nodes.mean(0)).T).argmin())
    picked = [first]
    far = np.hypot(*(nodes - nodes[first]).T)
    while len(picked) < min(count, len(nodes)):
        best = int(far.argmax())
        picked.append(best)
        far = np.minimum(far, np.hypot(*(nodes - nodes[best]).T))
    return nodes[picked]


def _cells(s: Study, line: CoatLine) -> list[BoolArray]:
    """Kits as pieces of about equal area along the longer side of the section."""
    x0, y0, x1, y1 = s.section.floor.bounds
    count = max(1, line.kits)
    out = []
    for k in range(count):
        if y1 - y0 >= x1 - x0:
            step = (y1 - y0) / count
            piece: BaseGeometry = box(x0, y0 + k * step, x1, y0 + (k + 1) * step)
        else:
            step = (x1 - x0) / count
            piece = box(x0 + k * step, y0, x0 + (k + 1) * step, y1)
        mask = s.grid.mask(piece)
        if mask.any():
            out.append(mask)
    return out


def _left_sd(
    s: Study, spots: IntArray, cells: Sequence[BoolArray], design: Design, masks: list[BoolArray]
) -> list[float]:
    """What would be left in doubt of each patch's average. [µm]"""
    target, spread = s.coat.wft_um, USUAL.middle
    n = len(spots)
    e = Evidence(
        shape=s.grid.shape,
        step=s.grid.step_m,
        target=target,
        readings=Readings(
            node=spots,
            low=np.full(n, target - TOOTH_UM / 2),
            high=np.full(n, target + TOOTH_UM / 2),
            gauge=np.zeros(n, dtype=np.int64),
        ),
        kits=Kits(
            rects=Rects.of([rectangles(m) for m in cells]),
            mean=np.full(len(cells), target),
            var=np.full(len(cells), (CELL_SD * target) ** 2 + 5.08**2),
            group=np.zeros(len(cells), dtype=np.int64),
        )
        if cells
        else Kits.none(),
        doubts=Doubts(
            level=LEVEL_SD_UM,
            read=READ_SD_UM,
            gauge=CHECKED_SD_UM if design.checked else GAUGE_SD_UM,
            loss=LOSS_SD_UM,
        ),
    )
    chol = e.by_middles(spread).chol
    tables = e.tables(spread)
    level, tau2 = e.doubts.level**2, spread.tau**2
    out = []
    for mask in masks:
        weight: FloatArray = mask / mask.sum()
        over = tables.product(weight)
        share = np.bincount(e.cell_of[mask], minlength=len(e.kits) + 1) / mask.sum()
        to_data = e.rows @ over.ravel() + level + tau2 * (e.in_cell @ share)
        half = solve_triangular(chol, to_data, lower=True)
        prior = float((weight * over).sum()) + level + tau2 * float(share @ share)
        out.append(math.sqrt(max(prior - float(half @ half), 0.0)))
    return out


def _enough_each(order: IntArray, masks: Sequence[BoolArray]) -> int:
    """How many of the spots it takes until every patch holds the fewest that count."""
    inside = np.array([m[tuple(order.T)] for m in masks]).cumsum(1).min(0)
    enough = np.flatnonzero(inside >= FEWEST_READINGS)
    return int(enough[0]) + 1 if len(enough) else len(order)


def text(n: Needed, system: System, language: str = "en") -> str:
    """The number first, why, what each design would need, then the spots."""

    def film(um: float) -> str:
        return show(um, "film", system, language=language)

    values = {
        "section": n.section, "coat": n.coat, "asked": film(n.asked_um), "aim": film(n.aim_um),
        "count": n.readings, "rule": n.by_rule, "patch": n.by_patch, "chance": n.by_chance,
        "parts": max(1, len(n.study.patches) - 1), "fewest": FEWEST_READINGS,
    }  # fmt: skip
    out = [say("film.plan_head", language, **values)]
    if n.readings is None:
        out.append(say("film.plan_never", language, most=MOST))
    else:
        out.append(say("film.plan_count", language, **values))
    out += ["", say("film.plan_table", language)]
    head = [say(f"film.plan_{k}", language) for k in ("readings", "best", "unchecked", "alone")]
    rows = [
        [str(k), *(film(n.asked_um + m) for m in row)]
        for k, row in zip(TRIES, n.margins_um, strict=True)
    ]
    out += [table(head, rows)]
    if n.spots:
        out += ["", say("film.plan_spots", language)]
        out += [f"  {k}. {said}" for k, said in enumerate(spots_said(n, system, language), 1)]
    return "\n".join(out)


def spots_said(n: Needed, system: System, language: str) -> tuple[str, ...]:
    """The spots as a tape finds them."""
    found = (n.study.grid.node(x, y) for x, y in n.spots)
    return tuple(where(n.study, *node, system, language) for node in found if node is not None)


def document(n: Needed) -> dict[str, Any]:
    """The answer as JSON, in SI."""
    return {
        "section": n.section,
        "coat": n.coat,
        "asked_um": n.asked_um,
        "aim_um": n.aim_um,
        "readings": n.readings,
        "by_chance": n.by_chance,
        "by_rule": n.by_rule,
        "by_patch": n.by_patch,
        "spots_m": [list(p) for p in n.spots],
        "needed": [
            {
                "readings": k,
                "average_um": n.asked_um + m,
                "gauge_checked": d.checked,
                "kits_by_cell": d.kits,
            }
            for k, row in zip(TRIES, n.margins_um, strict=True)
            for d, m in zip(DESIGNS, row, strict=True)
        ],
    }


def write_spots(n: Needed, out: Path, system: System, language: str) -> Path:
    """The spots as numbered rings on the section, as SVG."""
    picture: FilmMap = picture_plain(n.study, system, language, n.spots)
    title = f"{n.section} {n.coat} · {say('film.plan_spots', language)}"
    path = out / f"film-spots-{n.section}-{n.coat}.svg"
    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, section_svg(picture, title=title, palette="print"))
    return path
