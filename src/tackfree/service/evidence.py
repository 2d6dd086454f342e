"""Did we get the film? One section and coat, from its record to verdicts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from dataclasses import field as default
from datetime import datetime, timedelta

import numpy as np
from shapely.geometry.base import BaseGeometry

from tackfree import film
from tackfree.buildup.types import Coat, ProductSheet
from tackfree.deck.types import Section
from tackfree.errors import InputError
from tackfree.evidence.balance import Balance, Clash, Gauged, Poured, find_clash, mass_balance
from tackfree.evidence.beside import share_result, spot_result, tolerance_result
from tackfree.evidence.data import MOST_DATA, Doubts, Evidence, Kits, Readings
from tackfree.evidence.field import Field, solve
from tackfree.evidence.grid import BoolArray, Grid, rectangles
from tackfree.evidence.kernel import IntArray, Rects, Tables
from tackfree.evidence.next_reading import Helps, still_wet, what_helps
from tackfree.evidence.rules import SPOT_RULES, ContractRule, RuleResult, contract_results
from tackfree.evidence.spread import USUAL, find_spread
from tackfree.evidence.suspects import Suspects
from tackfree.evidence.verdict import Claim, Judged, Patch, State, judge
from tackfree.record.entries import Entry
from tackfree.service.film_entries import KitUsed, Read, Taken
from tackfree.service.film_ground import SECTION_SD, WHOLE, Cell, ground_of
from tackfree.service.film_misfits import suspects_of
from tackfree.service.pipeline import Pipeline
from tackfree.supply.types import CoatLine
from tackfree.words import Message

SEED = 20
LEVEL_SD_UM = 76.2  # practice: how far a whole job lies from its target, 3 mil
READ_SD_UM = 17.78  # practice: one look, 0.7 mil
GAUGE_SD_UM = 17.78  # practice: a gauge nobody checked
CHECKED_SD_UM = 5.08  # practice: a gauge checked on a known pour
LOSS_SD_UM = 10.16  # practice: mean residue, 0.4 mil
STATED = {"typed", "measured", "level", "primer"}  # ends of a fill basis
FILL_SD, TYPED_FILL_SD = 0.3, 0.1  # practice: of a fill worked out, of one measured or stated
ROOM_C = 21.0  # where a sheet states its times first
MANY = 3000  # readings and cells of one section; more take minutes


@dataclass(frozen=True, kw_only=True)
class Study:
    """Film evidence of one section and coat; the last patch is the whole section.

    ``judged``, ``field`` are None where nothing was logged. ``places`` are coordinates
    of ``reads``' nodes.
    """

    section: Section
    coat: Coat
    claim: Claim
    grid: Grid
    patches: tuple[tuple[Patch, BaseGeometry], ...]
    reads: tuple[Read, ...]
    cells: tuple[Cell, ...]
    kits: tuple[KitUsed, ...]
    field: Field | None
    judged: Judged | None
    rules: tuple[RuleResult, ...]
    balance: Balance | None
    clash: Clash | None
    helps: Helps | None
    messages: tuple[Message, ...]
    loss: float
    beside: tuple[RuleResult, ...] = ()  # of the whole section; they do not decide
    rule: ContractRule = default(default_factory=ContractRule)
    fill_um: float = 0.0
    dry: Message | None = None  # nothing of it can be read with a comb any more
    suspects: Suspects | None = None  # where gauge and kits clash or a datum lies far off


def study(
    made: Pipeline,
    record: Sequence[Entry],
    section_id: str,
    coat_id: str,
    *,
    least_um: float | None = None,
    share: float | None = None,
) -> Study:
    """Film evidence of one section and coat.

    Parameters
    ----------
    made : Pipeline
    record : sequence of Entry
        As :func:`tackfree.service.film_entries.film_record` reads it.
    section_id, coat_id : str
    least_um : float, optional
        Ask about this film alone. Otherwise the contract is asked about: the average as
        specified, and ``share`` of the area at the floor for single readings or more.
    share : float, optional
        As the contract has it where it is left out.

    Returns
    -------
    Study

    Raises
    ------
    NotFound
        If the section or its coat does not exist.
    InputError
        If the record holds more than can be judged at once.
    """
    g = ground_of(made, record, section_id, coat_id)
    section, coat, line, grid = g.section, g.coat, g.line, g.grid
    found, reads, node, cells, patches = g.found, g.reads, g.node, g.cells, g.patches
    rule = made.job.spec.film
    if share is None:
        share = rule.area
    if not 0 < share <= 1:
        raise InputError(f"the share is {share:g}.", where="--share", do="For 90 % write 0.9.")
    claim = (
        Claim(least_um=rule.floor * coat.wft_um, share=share, average_um=coat.wft_um)
        if least_um is None
        else Claim(least_um=least_um, share=share)
    )
    kit_l = {p.id: p.kit.volume_l for p in made.job.products.values() if p.kit is not None}
    said = list(g.messages)
    if len(reads) + len(cells) > MANY:
        said.append(Message(id="acceptance.split", values={"count": len(reads) + len(cells)}))
    if len(reads) + len(cells) > MOST_DATA:
        raise InputError(
            f"{len(reads)} readings and {len(cells)} kit cells are more than {MOST_DATA}.",
            where=f"Section {section_id}, coat {coat_id}",
            do="Cut the section in two and judge each by itself.",
        )
    steep = section.developed_m2 / section.floor.area
    by_rule = [
        _rules(
            [r for r, n in zip(reads, node, strict=True) if p.mask[tuple(n)]],
            coat, shape, shape.area * steep, rule, claim,
        )
        for p, shape in patches
    ]  # fmt: skip
    rules, beside = by_rule[-1]
    balance, clash = _against(found, reads, node, grid, section, coat, line, kit_l)
    if clash is not None and max(clash.gauge_um, clash.kits_um) < coat.wft_um:
        under = Message(id="evidence.both_under", values={"specified_um": coat.wft_um})
        clash = replace(clash, causes=(*clash.causes, under))
    said += _about_gauges(reads)
    field = judged = helps = suspects = None
    if reads or cells:
        field = _field(reads, node, cells, coat, line, grid)
        judged = judge(
            field,
            [p for p, _ in patches],
            claim,
            node_m2=grid.node_m2,
            seed=SEED,
            rules=[r for r, _ in by_rule],
            clashes=[clash] * len(patches),
            beside=[b for _, b in by_rule],
            sure=rule.sure,
        )
        helps = _next(field, judged, patches)
        suspects = suspects_of(field, cells, line.fill_um, clash)
        said += _dry(coat, made.job.products[coat.product_id], judged)
        said += _until(found, judged, made.job.products[coat.product_id])
    return Study(
        section=section, coat=coat, claim=claim, grid=grid, patches=patches, reads=reads,
        cells=cells, kits=found.kits, field=field, judged=judged, rules=rules, balance=balance,
        clash=clash, helps=helps, messages=tuple(said), loss=line.loss, beside=beside,
        rule=rule, fill_um=line.fill_um, suspects=suspects,
    )  # fmt: skip


def _rules(
    reads: Sequence[Read],
    coat: Coat,
    shape: BaseGeometry,
    area_m2: float,
    rule: ContractRule,
    claim: Claim,
) -> tuple[tuple[RuleResult, ...], tuple[RuleResult, ...]]:
    """The contract's rules of one patch, and what is told beside them."""
    values = [r.middle_um for r in reads]
    places = np.array([(r.x_m, r.y_m) for r in reads], dtype=float).reshape(-1, 2)
    own = contract_results(values, specified_um=coat.wft_um, area_m2=area_m2, rule=rule)
    if rule.share is not None:
        own += (share_result(values, specified_um=coat.wft_um, share=rule.share),)
    limit = tolerance_result(
        np.array(values), places, shape, least_um=claim.least_um,
        share=min(claim.share, 0.99), confidence=rule.sure,
    )  # fmt: skip
    if rule.spots is None:
        return own, (limit,)
    spots = spot_result(
        np.array(values), places, area_m2=area_m2, low_um=coat.wft_um,
        high_um=rule.most * coat.wft_um, rule=SPOT_RULES[rule.spots],
        sanded=coat.aggregate is not None,
    )  # fmt: skip
    return own, (limit, spots)


def _independent(node: IntArray, grid: Grid) -> float:
    """How many readings far apart these are worth: n² / (1' R 1)."""
    t = Tables(grid.shape, grid.step_m, 1.0, USUAL.middle.ell)
    smooth = USUAL.middle.sd**2 / (USUAL.middle.sd**2 + USUAL.middle.micro**2 + READ_SD_UM**2)
    r = smooth * t.spots(node, node)
    np.fill_diagonal(r, 1.0)
    return float(len(node) ** 2 / r.sum())


def _against(
    found: Taken,
    reads: Sequence[Read],
    node: IntArray,
    grid: Grid,
    section: Section,
    coat: Coat,
    line: CoatLine,
    kit_l: dict[str, float],
) -> tuple[Balance | None, Clash | None]:
    """Volume against area, and the gauge against both."""
    if not found.kits:
        return None, None
    poured = Poured(
        volume_l=math.fsum(k.volume_l for k in found.kits),
        kit_l=kit_l.get(coat.product_id, found.kits[0].volume_l),
        area_m2=section.developed_m2,
        fill_um=line.fill_um,
        loss=line.loss,
        area_sd=SECTION_SD,
        fill_sd_um=_fill_sd_um(line),
        loss_sd_um=LOSS_SD_UM,
    )
    balance = mass_balance(poured, coat.wft_um)
    values = [r.middle_um for r in reads]
    if len(values) < 3:
        return balance, None
    gauged = Gauged(
        mean_um=math.fsum(values) / len(values),
        sd_um=float(np.std(values, ddof=1)),
        count=len(values),
        independent=_independent(node, grid),
        bias_sd_um=_gauge_sd(reads),
    )
    return balance, find_clash(gauged, poured)


def _fill_sd_um(line: CoatLine) -> float:
    stated = line.fill_basis.rsplit(".", 1)[-1] in STATED
    return (TYPED_FILL_SD if stated else FILL_SD) * line.fill_um


def _gauge_sd(reads: Sequence[Read]) -> float:
    return CHECKED_SD_UM if all(r.checked for r in reads) else GAUGE_SD_UM


def _about_gauges(reads: Sequence[Read]) -> list[Message]:
    out = []
    for gauge in sorted({r.gauge for r in reads}):
        if not any(r.checked for r in reads if r.gauge == gauge):
            values = {"gauge": gauge, "two_sd_um": 2 * GAUGE_SD_UM}
            out.append(Message(id="evidence.unchecked_gauge", values=values))
    if len(reads) >= 8 and len({(r.low_um, r.high_um) for r in reads}) == 1:
        out.append(Message(id="evidence.all_equal", values={"count": len(reads)}))
    return out


def _field(
    reads: Sequence[Read],
    node: IntArray,
    cells: Sequence[Cell],
    coat: Coat,
    line: CoatLine,
    grid: Grid,
) -> Field:
    gauges = sorted({r.gauge for r in reads})
    evidence = Evidence(
        shape=grid.shape,
        step=grid.step_m,
        target=coat.wft_um,
        readings=Readings(
            node=node,
            low=np.array([r.low_um for r in reads], dtype=float),
            high=np.array([r.high_um for r in reads], dtype=float),
            gauge=np.array([gauges.index(r.gauge) for r in reads], dtype=np.int64),
        ),
        kits=Kits(
            rects=Rects.of([rectangles(c.mask) for c in cells]),
            mean=np.array([c.mean_um for c in cells], dtype=float),
            var=np.array([c.sd_um**2 for c in cells], dtype=float),
            group=np.zeros(len(cells), dtype=np.int64),
        ),
        doubts=Doubts(
            level=LEVEL_SD_UM,
            read=READ_SD_UM,
            gauge=_gauge_sd(reads),
            loss=math.hypot(LOSS_SD_UM, _fill_sd_um(line)),
        ),
    )
    return solve(evidence, find_spread(evidence))


def _next(
    field: Field,
    judged: Judged,
    patches: Sequence[tuple[Patch, BaseGeometry]],
    wet: BoolArray | None = None,
) -> Helps | None:
    """For the patch of most doubt among those not shown, one still wet before one that is dry;
    the whole where it stands alone."""
    by_id = {p.id: p for p, _ in patches}
    some = [v for v in judged.verdicts if v.state is State.NOT_SHOWN]
    parts = [v for v in some if v.patch_id != WHOLE] or some
    if not parts:
        return None

    def dry(patch_id: str) -> bool:
        return wet is not None and not (by_id[patch_id].mask & wet).any()

    worst = min(parts, key=lambda v: (dry(v.patch_id), abs(v.p - 0.5), v.patch_id))
    return what_helps(field, by_id[worst.patch_id], judged, wet=wet)


def at_moment(made: Pipeline, record: Sequence[Entry], s: Study, at: datetime) -> Study:
    """The study with only such spots to read as a comb still reads at a moment.

    Where no kit is logged the last reading tells when the film was still wet. A sheet that
    states no tack-free time leaves every spot in.
    """
    open_h = _open_h(made.job.products[s.coat.product_id])
    if s.field is None or s.judged is None or open_h is None:
        return s

    def since(walls: Sequence[str]) -> float:
        last = max(datetime.fromisoformat(w) for w in walls)
        return max((at - last) / timedelta(hours=1), 0.0)

    wall = {k.kit: k.wall for k in s.kits}
    if s.cells:
        hours = [since([wall[k] for k in c.kits]) for c in s.cells]
        wet = still_wet([c.mask for c in s.cells], hours, open_h)
    else:
        key = (s.section.id, s.coat.id)
        reads = [
            e.wall for e in record
            if e.kind == "film-reading" and (e.body["section"], e.body["coat"]) == key
        ]  # fmt: skip
        hours = [since(reads)]
        wet = still_wet([s.grid.inside], hours, open_h)
    if (wet | ~s.grid.inside).all():
        return s
    dry = None
    if not wet.any():
        values = {"placed_h": math.floor(min(hours)), "open_h": round(open_h, 1)}
        dry = Message(id="evidence.next_dry", values=values)
    return replace(s, helps=_next(s.field, s.judged, s.patches, wet), dry=dry)


def _open_h(product: ProductSheet) -> float | None:
    """Until a comb's tracks no longer close: tack-free by the sheet near 21 °C, its early end."""
    if not product.cure:
        return None
    near = min(product.cure, key=lambda c: (abs(c.temp_c - ROOM_C), c.temp_c))
    return near.tack_free_h[0]


def _dry(coat: Coat, product: ProductSheet, judged: Judged) -> list[Message]:
    if coat.aggregate is not None:
        return [Message(id="evidence.broadcast_dry")]
    if product.volume_solids is None:
        return []
    wet = max(judged.verdicts[-1].mean_um, 0.0)
    values = {
        "dry_um": film.dry_film_thickness_um(wft_um=wet, volume_solids=product.volume_solids),
        "solids_pct": round(100 * product.volume_solids),
    }
    return [Message(id="evidence.dry", values=values)]


def _until(found: Taken, judged: Judged, product: ProductSheet) -> list[Message]:
    """Whether the recoat clock still lets a thin place be brought up."""
    if all(v.state is not State.SHORT for v in judged.verdicts):
        return []
    if not found.kits or product.recoat_before_h is None:
        return [Message(id="evidence.recoat_unknown")]
    first = min(datetime.fromisoformat(k.wall) for k in found.kits)
    until = first + timedelta(hours=product.recoat_before_h)
    text = until.isoformat(sep=" ", timespec="minutes")[:16]
    return [Message(id="evidence.recoat_open", values={"until": text})]
