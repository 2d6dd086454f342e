"""How many kits a job may really take: draws with errors that whole groups share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tackfree.because import Source
from tackfree.buildup.types import Errors, ProductSheet, Role
from tackfree.supply.fill import MISSING
from tackfree.supply.types import CoatLine, DetailLine

FloatArray = NDArray[np.float64]
_Z90 = 1.2815515655446004  # 90 % point of the standard normal
_SLACK = 1e-9
_ROWS = 16  # a block of rows × draws that stays in the cache


# memory: how far consumption strays from film, fill and loss; a primer's most. Thrown sand
# follows the hand; details the lengths and depths of cracks.
FILM_ERRORS = Errors(job=0.05, zone=0.03, shift=0.04)
PRIMER_ERRORS = Errors(job=0.12, zone=0.06, shift=0.06)
SAND_ERRORS = Errors(job=0.06, zone=0.06, shift=0.05)
ERRORS_FROM = Source(kind="default", text="usual scatter by role; from memory, editable")


@dataclass(frozen=True, kw_only=True)
class Need:
    """One section × coat as it is drawn: volumes for 1 m², in kits.

    ``film`` and ``fill`` are kits for 1 m² with loss, at the likely values; ``fill_low``
    and ``fill_high`` the 10 and 90 % points of the fill. ``fixed`` is what details take
    from the same kits. [kits] What is ``metered`` from drums is whole for the job only.
    """

    product_id: str
    zone_id: str
    shift_id: str
    area_m2: float
    film: float
    fill: float = 0.0
    fill_low: float = 0.0
    fill_high: float = 0.0
    fixed: float = 0.0
    errors: Errors = FILM_ERRORS
    metered: bool = False


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Kits of each product in every draw; array of shape (draws,)."""

    kits: Mapping[str, FloatArray]
    source: Source = ERRORS_FROM

    def quantile(self, product_id: str, share: float) -> int:
        """Whole kits that are enough in this share of draws (inverted distribution)."""
        drawn = self.kits[product_id]
        return int(np.quantile(drawn, share, method="inverted_cdf"))


def needs_of(
    coats: Sequence[CoatLine],
    *,
    zones: Mapping[str, str],
    errors: Mapping[str, Errors],
) -> tuple[Need, ...]:
    """Coat lines as needs; ``zones`` by section id, ``errors`` by product id.

    A section × coat is one placing, so it stands for its own shift. A missing fill stays
    0: those kits are the least possible, as the line says.
    """
    out = []
    for c in coats:
        one = (1 + c.loss) / 1000 / c.kit_l  # kits for 1 m² of 1 µm
        known = c.fill_basis != MISSING
        low = c.fill_um if c.fill_low_um is None else c.fill_low_um
        high = c.fill_um if c.fill_high_um is None else c.fill_high_um
        out.append(
            Need(
                product_id=c.product_id,
                zone_id=zones[c.section_id],
                shift_id=f"{c.section_id}/{c.coat_id}",
                area_m2=c.area_m2,
                film=c.wft_um * one,
                fill=c.fill_um * one if known else 0.0,
                fill_low=low * one,
                fill_high=high * one,
                fixed=c.detail_l / c.kit_l,
                errors=errors[c.product_id],
                metered=c.metered,
            )
        )
    return tuple(out)


def sand_needs(
    coats: Sequence[CoatLine], *, zones: Mapping[str, str], errors: Mapping[str, Errors]
) -> tuple[Need, ...]:
    """What is thrown, as needs of one bag's mass a unit."""
    return tuple(
        Need(
            product_id=c.aggregate_product_id,
            zone_id=zones[c.section_id],
            shift_id=f"{c.section_id}/{c.coat_id}",
            area_m2=c.area_m2,
            film=c.aggregate_kg / c.bag_kg / c.area_m2,
            errors=errors[c.aggregate_product_id],
        )
        for c in coats
        if c.aggregate_product_id is not None and c.bag_kg > 0 and c.area_m2 > 0
    )


def errors_of(sheet: ProductSheet) -> tuple[Errors, Source]:
    """How far a product's consumption strays: as its sheet has it, else ours by role."""
    if sheet.errors is not None:
        return sheet.errors, Source(kind="typed", text="product's scatter")
    thin = sheet.role in (Role.PRIMER, Role.TIE, Role.SEALANT)
    ours = SAND_ERRORS if sheet.role is Role.AGGREGATE else FILM_ERRORS
    return (PRIMER_ERRORS if thin else ours), ERRORS_FROM


def detail_needs(
    details: Sequence[DetailLine], *, zones: Mapping[str, str], errors: Mapping[str, Errors]
) -> tuple[Need, ...]:
    """Details with packages of their own, as needs of one package's volume a unit."""
    return tuple(
        Need(
            product_id=d.product_id,
            zone_id=zones[d.section_id],
            shift_id=f"{d.section_id}/DETAILS",
            area_m2=1.0,
            film=(d.volume_l + d.shared_l) / d.package_l,
            errors=errors[d.product_id],
        )
        for d in details
        if not d.packed_with and d.package_l > 0
    )


def draw_kits(needs: Sequence[Need], *, draws: int = 2000, seed: int = 0) -> Spread:
    """Whole kits of every product in each draw.

    Consumption of a need is ``area (film F + fill G) + fixed``, rounded up to whole kits
    in its section. ln F is the sum of normal errors of the product on the job, in the
    zone and in the shift; G follows a normal with the fill's own ends, one for each zone
    and product. The median of a draw is the need as computed.

    Parameters
    ----------
    needs : sequence of Need
    draws : int
    seed : int

    Returns
    -------
    Spread
        One array of shape (draws,) by product.

    Source
    ------
    Shared errors: hierarchical normal model on ln consumption. Sizes: memory.
    """
    rng = np.random.default_rng(seed)
    shared: dict[tuple[str, ...], FloatArray] = {}

    def normal(*key: str) -> FloatArray:
        if key not in shared:
            shared[key] = rng.standard_normal(draws)
        return shared[key]

    alike: dict[tuple[Any, ...], list[Need]] = defaultdict(list)
    for n in needs:
        key = (
            n.product_id, n.zone_id, n.shift_id, n.film, n.fill, n.fill_low, n.fill_high, n.errors,
        )  # fmt: skip
        alike[key].append(n)
    metered = {n.product_id for n in needs if n.metered}
    kits: dict[str, FloatArray] = {}
    room = np.empty((0, draws))
    for (product, zone, shift, film, fill, low, high, e), group in alike.items():
        ln = e.job * normal("job", product) + e.zone * normal("zone", product, zone)
        ln = ln + e.shift * normal("shift", product, zone, shift)
        per_m2 = film * np.exp(ln)
        if fill > 0 or high > 0:
            z = normal("fill", product, zone)
            step = np.where(z < 0, fill - low, high - fill) / _Z90
            per_m2 += np.maximum(0.0, fill + z * step)
        total = kits.setdefault(product, np.zeros(draws))
        area = np.array([n.area_m2 for n in group])
        fixed = np.array([n.fixed for n in group]) - _SLACK
        for begin in range(0, len(group), _ROWS):
            part = slice(begin, begin + _ROWS)
            if len(room) < len(area[part]):
                room = np.empty((len(area[part]), draws))
            block = room[: len(area[part])]
            np.multiply(area[part, None], per_m2, out=block)
            block += fixed[part, None]
            if product not in metered:
                np.ceil(block, out=block)
            total += block.sum(axis=0)
    return Spread(kits={k: np.ceil(v - _SLACK) if k in metered else v for k, v in kits.items()})
