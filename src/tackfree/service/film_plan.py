"""Before anything is spread: how many readings would show the film, and where to take them.

What is left in doubt of a patch's average depends only on where and how well it will be
measured, not on what the readings will say. So the number of readings can be told before.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from shapely import box
from shapely.geometry.base import BaseGeometry

from tackfree.errors import InputError, NotFound
from tackfree.evidence.data import Doubts, Evidence, Kits, Readings
from tackfree.evidence.grid import BoolArray, Grid, rectangles
from tackfree.evidence.kernel import FloatArray, IntArray, Rects
from tackfree.evidence.rules import ContractRule
from tackfree.evidence.spread import USUAL
from tackfree.evidence.verdict import DRAWS, FEWEST_READINGS, NOISE
from tackfree.record.entries import Entry
from tackfree.service.evidence import (
    CHECKED_SD_UM,
    GAUGE_SD_UM,
    LEVEL_SD_UM,
    LOSS_SD_UM,
    READ_SD_UM,
)
from tackfree.service.film_ground import CELL_SD, WHOLE, Ground, ground_of, is_primer
from tackfree.service.pipeline import Pipeline
from tackfree.supply.types import CoatLine

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
class PatchNeed:
    """Readings of one patch: there already, and wanted in all."""

    patch_id: str
    have: int
    wanted: int

    @property
    def more(self) -> int:
        return max(0, self.wanted - self.have)


@dataclass(frozen=True, kw_only=True)
class Needed:
    """How far the average must lie above ``line_um``, to be shown nine times in ten.

    ``line_um`` is the average that just meets the contract: what is specified, or more
    where the least film or the share of readings takes more with the usual spread
    (``line_of`` is "average", "floor" or "share"). ``margins_um`` has a row for each of
    ``TRIES`` and a column for each of ``DESIGNS``. ``readings`` in all show a section that
    really has ``aim_um``; None where no number does. ``have`` of them are there already,
    ``spots`` are the rest, from the deck's frame [m]. ``enough_um`` is the average that
    ``MOST`` readings would show.
    """

    section: str
    coat: str
    zones: tuple[str, ...]
    asked_um: float
    line_um: float
    line_of: str
    aim_um: float
    enough_um: float
    by_rule: int
    by_patch: int
    by_chance: int | None
    readings: int | None
    have: int
    spots: tuple[tuple[float, float], ...]
    patches: tuple[PatchNeed, ...]
    margins_um: tuple[tuple[float, ...], ...]
    ground: Ground
    rule: ContractRule

    @property
    def more(self) -> int | None:
        return None if self.readings is None else max(0, self.readings - self.have)


def plan_readings(
    made: Pipeline,
    section_id: str,
    coat_id: str,
    *,
    aim_um: float | None = None,
    record: Sequence[Entry] = (),
) -> Needed:
    """How many readings a section and coat would need by the job's own rule, and where.

    Parameters
    ----------
    made : Pipeline
    section_id, coat_id : str
    aim_um : float, optional
        Average film that the crew will really leave; 5 % over the specified one where it
        is left out. [µm]
    record : sequence of Entry
        Readings in it that can be used count, and the others are spread around them.

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
    variance left of a patch mean; shown needs the mean so many sd above the asked film as
    the rule's chance takes, told by so many draws as a verdict is.
    """
    g = ground_of(made, record, section_id, coat_id)
    rule, asked = made.job.spec.film, g.coat.wft_um
    aim = MORE * asked if aim_um is None else aim_um
    if not asked < aim < math.inf:
        raise InputError(
            f"the aim is {aim:g} µm and {asked:g} µm is asked for; it must be more.",
            where="--aim",
            do="Who spreads no more than is asked for cannot show it: aim a mil above.",
        )
    line_um, line_of = _line(rule, asked)
    parts = [p for p, _ in g.patches if p.id != WHOLE] or [p for p, _ in g.patches]
    masks = [p.mask for p in parts]
    have = len(g.node)
    order = _spread_out(g.grid, MOST, g.node)
    cells = _cells(g, g.line)
    z = NormalDist().inv_cdf(_decided(rule.sure)) + NormalDist().inv_cdf(OFTEN)
    left = [z * _left_sd(g, order, cells if d.kits else [], d, masks).max(1) for d in DESIGNS]
    usual = left[0]
    enough = np.flatnonzero(line_um + usual <= aim)
    by_chance = max(1, int(enough[0])) if len(enough) else None
    steep = g.section.developed_m2 / g.section.floor.area

    def counted(area_m2: float) -> int:
        return max(1, math.ceil(area_m2 / rule.m2_per_reading - 1e-9))

    by_rule = counted(g.section.developed_m2)
    each = {p.id: max(FEWEST_READINGS, counted(shape.area * steep)) for p, shape in g.patches}
    by_patch = _enough_each(order, masks, [each[p.id] for p in parts])
    readings = None if by_chance is None else max(by_chance, by_rule, by_patch)
    all_of_it = order[: max(readings or 0, have)]
    spots = tuple(g.grid.place(int(r), int(c)) for r, c in all_of_it[have:])
    return Needed(
        section=section_id, coat=coat_id, zones=g.section.zone_ids, asked_um=asked,
        line_um=line_um, line_of=line_of, aim_um=aim, enough_um=line_um + float(usual[-1]),
        by_rule=by_rule, by_patch=by_patch, by_chance=by_chance, readings=readings, have=have,
        spots=spots,
        patches=tuple(
            PatchNeed(
                patch_id=p.id, have=p.readings, wanted=int(p.mask[tuple(all_of_it.T)].sum())
            )
            for p in parts
        ),
        margins_um=tuple(
            tuple(float(m[min(n, len(m) - 1)]) for m in left) for n in TRIES
        ),
        ground=g, rule=rule,
    )  # fmt: skip


def plan_sections(
    made: Pipeline,
    record: Sequence[Entry] = (),
    *,
    deck: str | None = None,
    coat: str | None = None,
) -> tuple[Needed, ...]:
    """The same for every section and coat that a comb reads, or those of a deck or coat.

    Raises
    ------
    NotFound
        If there is none.
    """
    pairs = [
        (s.id, c.id)
        for s in made.sections.sections
        for c in made.job.build_ups[s.build_up_id].coats
        if deck in (None, s.deck_id) and coat in (None, c.id) and not is_primer(made, s.id, c.id)
    ]
    if not pairs:
        raise NotFound(
            "there is no such coat to read there.", where=f"{deck or ''} {coat or ''}".strip(),
            do=f"The job's decks are {', '.join(d.id for d in made.drawings.decks)}.",
        )  # fmt: skip
    return tuple(plan_readings(made, *pair, record=record) for pair in pairs)


def _decided(sure: float) -> float:
    """The chance from which a verdict of so many draws counts as shown."""
    return min(sure + NOISE * math.sqrt(sure * (1 - sure) / DRAWS), 1 - 1 / DRAWS)


def _line(rule: ContractRule, asked: float) -> tuple[float, str]:
    """The average that just meets the contract where the film varies as it usually does."""
    usual, unit = USUAL.middle, NormalDist()
    film_sd = math.sqrt(usual.sd**2 + usual.tau**2 + usual.micro**2)
    lines = {"average": asked}
    if rule.area < 1:
        lines["floor"] = rule.floor * asked + unit.inv_cdf(rule.area) * film_sd
    if rule.share is not None and rule.share < 1:
        lines["share"] = asked + unit.inv_cdf(rule.share) * math.hypot(film_sd, READ_SD_UM)
    name = max(lines, key=lambda k: lines[k])
    return lines[name], name


def _spread_out(grid: Grid, count: int, taken: IntArray) -> IntArray:
    """Nodes already read, then others as far from all as they can be, in the widest gaps."""
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
    far = np.full(len(nodes), np.inf)
    for node in taken:
        far = np.minimum(far, np.hypot(*(nodes - node).T))
    picked: list[int] = []
    while len(picked) < min(count, len(nodes)):
        middle = not picked and not len(taken)
        best = int(np.hypot(*(nodes - nodes.mean(0)).T).argmin() if middle else far.argmax())
        picked.append(best)
        far = np.minimum(far, np.hypot(*(nodes - nodes[best]).T))
    return np.concatenate([taken, nodes[picked]])


def _cells(g: Ground, line: CoatLine) -> list[BoolArray]:
    """Kits as pieces of about equal area along the longer side of the section."""
    x0, y0, x1, y1 = g.section.floor.bounds
    count = max(1, line.kits)
    out = []
    for k in range(count):
        if y1 - y0 >= x1 - x0:
            step = (y1 - y0) / count
            piece: BaseGeometry = box(x0, y0 + k * step, x1, y0 + (k + 1) * step)
        else:
            step = (x1 - x0) / count
            piece = box(x0 + k * step, y0, x0 + (k + 1) * step, y1)
        mask = g.grid.mask(piece)
        if mask.any():
            out.append(mask)
    return out


def _left_sd(
    g: Ground, spots: IntArray, cells: Sequence[BoolArray], design: Design, masks: list[BoolArray]
) -> FloatArray:
    """What would be left in doubt of each patch's average after so many of the spots.

    Returns
    -------
    array (len(spots) + 1, len(masks))
        Row n after the first n spots. [µm]
    """
    target, spread = g.coat.wft_um, USUAL.middle
    n, kits = len(spots), len(cells)
    e = Evidence(
        shape=g.grid.shape,
        step=g.grid.step_m,
        target=target,
        readings=Readings(
            node=spots,
            low=np.full(n, target - TOOTH_UM / 2),
            high=np.full(n, target + TOOTH_UM / 2),
            gauge=np.zeros(n, dtype=np.int64),
        ),
        kits=Kits(
            rects=Rects.of([rectangles(m) for m in cells]),
            mean=np.full(kits, target),
            var=np.full(kits, (CELL_SD * target) ** 2 + 5.08**2),
            group=np.zeros(kits, dtype=np.int64),
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
    tables = e.tables(spread)
    order = np.r_[n : n + kits, :n]  # kits first: a row of the factor is then a reading more
    own = np.concatenate(
        [np.full(n, TOOTH_UM**2 / 12 + READ_SD_UM**2 + spread.micro**2), e.kits.var]
    )
    both = e.covariance(spread, tables) + np.diag(own)
    chol = cholesky(both[np.ix_(order, order)], lower=True)
    level, tau2 = e.doubts.level**2, spread.tau**2
    out = np.empty((n + 1, len(masks)))
    for k, mask in enumerate(masks):
        weight: FloatArray = mask / mask.sum()
        over = tables.product(weight)
        share = np.bincount(e.cell_of[mask], minlength=kits + 1) / mask.sum()
        to_data = e.rows @ over.ravel() + level + tau2 * (e.in_cell @ share)
        told = solve_triangular(chol, to_data[order], lower=True) ** 2
        prior = float((weight * over).sum()) + level + tau2 * float(share @ share)
        known = told[:kits].sum() + np.concatenate([[0.0], told[kits:].cumsum()])
        out[:, k] = np.sqrt(np.maximum(prior - known, 0.0))
    return out


def _enough_each(order: IntArray, masks: Sequence[BoolArray], wanted: Sequence[int]) -> int:
    """How many of the spots it takes until every patch holds as many as count there."""
    inside = np.array([m[tuple(order.T)] for m in masks]).cumsum(1)
    enough = np.flatnonzero((inside >= np.array(wanted)[:, None]).all(0))
    return int(enough[0]) + 1 if len(enough) else len(order)
