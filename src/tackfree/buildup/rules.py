"""Does a build-up suit the place it is meant for? Small rules in one table.

A rule refuses what cannot work, warns where someone must decide, and notes the rest.
A rule without the numbers it needs says nothing, except where lacking them is itself
worth saying. Every limit of ours is a practice default in :class:`Defaults`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from tackfree.because import Source
from tackfree.buildup.types import BuildUp, Coat, ProductSheet, Role
from tackfree.deck.types import Duty, Exposure, Substrate
from tackfree.units import KG_PER_M2_PER_LB_PER_100_FT2, UM_PER_MIL, in_system
from tackfree.words import Message

Level = Literal["refuse", "warn", "note"]


def _mil(mil: float) -> float:
    return mil * UM_PER_MIL


def _lb(per_100_ft2: float) -> float:
    return per_100_ft2 * KG_PER_M2_PER_LB_PER_100_FT2


@dataclass(frozen=True, kw_only=True)
class Defaults:
    """Limits of the trade, editable; sheet and specification win where they speak.

    ``dry_min_um`` is the least total dry film by duty [µm]; ``sand_kg_per_m2`` the
    usual range by method; ``slope_non_flow`` the rise over run from which a levelling
    product runs; ``csp`` the usual profile classes for thin film and for a membrane.
    """

    dry_min_um: Mapping[Duty, float] = field(
        default_factory=lambda: {
            Duty.PEDESTRIAN: _mil(30),
            Duty.LIGHT: _mil(45),
            Duty.HEAVY: _mil(60),
            Duty.EXTRA_HEAVY: _mil(60),
        }
    )
    sand_kg_per_m2: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: {
            "seeded-backrolled": (_lb(4), _lb(20)),
            "covered-swept": (_lb(20), _lb(100)),
            "to-refusal": (_lb(40), _lb(200)),
        }
    )
    slope_non_flow: float = 0.04
    csp: tuple[int, int] = (3, 5)


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a build-up is meant to go. ``slope`` is rise over run."""

    duty: Duty
    exposure: Exposure
    substrate: Substrate = field(default_factory=Substrate)
    slope: float = 0.0


@dataclass(frozen=True, kw_only=True)
class RuleResult:
    """What one rule has to say, and on what ground."""

    id: str
    level: Level
    message: Message
    basis: Source


@dataclass(frozen=True, kw_only=True)
class _Case:
    build_up: BuildUp
    products: Mapping[str, ProductSheet]
    place: Place
    defaults: Defaults

    def sheets(self) -> Iterator[tuple[Coat, ProductSheet]]:
        """Coats whose product is known."""
        for coat in self.build_up.coats:
            if coat.product_id in self.products:
                yield coat, self.products[coat.product_id]


_Said = tuple[Level, Mapping[str, object], Source]
_SHEET = Source(kind="sheet")


def judge(
    build_up: BuildUp,
    products: Mapping[str, ProductSheet],
    place: Place,
    *,
    defaults: Defaults | None = None,
) -> tuple[RuleResult, ...]:
    """Everything the rules have to say about a build-up in a place.

    Parameters
    ----------
    build_up : BuildUp
    products : mapping of product sheets by id
    place : Place
        Duty, exposure, substrate and slope of the zone.
    defaults : Defaults, optional
        Limits of the trade where sheet and specification are silent.

    Returns
    -------
    tuple of RuleResult
        In the order of the table; empty where nothing is amiss. They advise: the
        maker of the system and the engineer decide.
    """
    case = _Case(build_up=build_up, products=products, place=place, defaults=defaults or Defaults())
    return tuple(
        RuleResult(
            id=name,
            level=level,
            message=Message(id=f"buildup.rule.{name}", values={"build_up": build_up.id, **values}),
            basis=basis,
        )
        for name, rule in RULES
        for level, values, basis in rule(case)
    )


def _product_known(case: _Case) -> Iterator[_Said]:
    wanted = [(c.id, c.product_id) for c in case.build_up.coats]
    wanted += [(c.id, c.aggregate.product_id) for c in case.build_up.coats if c.aggregate]
    details = case.build_up.details
    wanted += [("DETAILS", details.detail_product_id), ("DETAILS", details.sealant_product_id)]
    for where, product in wanted:
        if product not in case.products:
            yield "refuse", {"coat": where, "product": product}, Source(kind="exact")


def _role_fits(case: _Case) -> Iterator[_Said]:
    for coat, sheet in case.sheets():
        if sheet.role not in _FIT[coat.role]:
            values = {"coat": coat.id, "product": sheet.id, "role": sheet.role.value}
            dry = sheet.role in (Role.AGGREGATE, Role.SEALANT)
            yield "refuse" if dry else "warn", values, _SHEET
        sand = coat.aggregate and case.products.get(coat.aggregate.product_id)
        if sand and sand.role is not Role.AGGREGATE:
            yield "refuse", {"coat": coat.id, "product": sand.id, "role": sand.role.value}, _SHEET


def _film_in_sheet(case: _Case) -> Iterator[_Said]:
    for coat, sheet in case.sheets():
        low, high = sheet.wft_min_um, sheet.wft_max_um
        thin = low is not None and coat.wft_um < low * (1 - 1e-9)
        thick = high is not None and coat.wft_um > high * (1 + 1e-9)
        if thin or thick:
            limit = low if thin else high
            assert limit is not None
            values = {"coat": coat.id, "product": sheet.id, **_films(coat.wft_um, limit)}
            yield "warn", values, _SHEET


def _sun_on_top(case: _Case) -> Iterator[_Said]:
    if case.place.exposure is not Exposure.OPEN_SKY or not case.build_up.coats:
        return
    sheet = case.products.get(case.build_up.coats[-1].product_id)
    if sheet is not None and sheet.uv_stable is not True:
        level: Level = "refuse" if sheet.uv_stable is False else "warn"
        yield level, {"product": sheet.id, "stated": sheet.uv_stable is False}, _SHEET


def _profile(case: _Case) -> Iterator[_Said]:
    found = case.place.substrate
    if found.kind != "bare-concrete":
        return
    low, high = case.defaults.csp
    basis = Source(kind="memory", text="profile classes of ICRI Guideline 310.2R")
    if found.csp is None:
        if found.texture_um is None:
            yield "note", {"csp": "-", "low": low, "high": high}, basis
    elif not low <= found.csp <= high:
        yield "warn", {"csp": found.csp, "low": low, "high": high}, basis


def _stays_on_slope(case: _Case) -> Iterator[_Said]:
    if case.place.slope < case.defaults.slope_non_flow:
        return
    for coat, sheet in case.sheets():
        if coat.role in (Role.BASE, Role.INTERMEDIATE) and not sheet.non_flow:
            values = {
                "coat": coat.id,
                "product": sheet.id,
                "slope_pct": round(100 * case.place.slope, 1),
                "from_pct": round(100 * case.defaults.slope_non_flow, 1),
            }
            yield "warn", values, Source(kind="default", text="slope for a non-flow grade")


def _dry_film(case: _Case) -> Iterator[_Said]:
    least = case.defaults.dry_min_um.get(case.place.duty)
    if least is None or case.place.substrate.kind == "old-film":
        return
    dry = 0.0
    for coat in case.build_up.coats:
        if coat.role in (Role.PRIMER, Role.TIE):
            continue
        sheet = case.products.get(coat.product_id)
        if sheet is None or sheet.volume_solids is None:
            return
        dry += coat.wft_um * sheet.volume_solids
    if dry < least * (1 - 1e-9):
        basis = Source(kind="default", text="least dry film by duty, sand not counted")
        yield "warn", {"duty": case.place.duty.value, **_films(dry, least)}, basis


def _solids_known(case: _Case) -> Iterator[_Said]:
    for coat, sheet in case.sheets():
        if sheet.volume_solids is None:
            yield "note", {"coat": coat.id, "product": sheet.id}, _SHEET


def _vapour_below(case: _Case) -> Iterator[_Said]:
    if case.place.exposure in (Exposure.ON_GRADE, Exposure.SPLIT_SLAB):
        yield "warn", {"exposure": case.place.exposure.value}, Source(kind="practice")


def _made_for(case: _Case) -> Iterator[_Said]:
    bu, place = case.build_up, case.place
    if place.duty not in bu.duties or place.exposure not in bu.exposures:
        values = {"duty": place.duty.value, "exposure": place.exposure.value}
        yield "warn", values, Source(kind="typed", text="build-up")


def _sand_rate(case: _Case) -> Iterator[_Said]:
    for coat in case.build_up.coats:
        if coat.aggregate is None:
            continue
        band = case.defaults.sand_kg_per_m2.get(coat.aggregate.method)
        rate = coat.aggregate.rate_kg_per_m2
        if band and not band[0] * (1 - 1e-9) <= rate <= band[1] * (1 + 1e-9):
            low, high = (_sand(x) for x in band)
            values = {
                "coat": coat.id,
                "method": coat.aggregate.method,
                "rate_kg_per_m2": round(rate, 2),
                "rate_lb": _sand(rate),
                "low_lb": low,
                "high_lb": high,
                "low_kg_per_m2": round(band[0], 2),
                "high_kg_per_m2": round(band[1], 2),
            }
            yield "warn", values, Source(kind="default", text="usual sand by method")


def _swept_then_locked(case: _Case) -> Iterator[_Said]:
    coats = case.build_up.coats
    for coat, over in zip(coats, [*coats[1:], None], strict=True):
        if coat.aggregate and coat.aggregate.method == "to-refusal" and over is None:
            yield "warn", {"coat": coat.id}, Source(kind="practice")


def _films(film_um: float, limit_um: float) -> dict[str, object]:
    return {
        "film_um": round(film_um),
        "limit_um": round(limit_um),
        "film_mil": round(in_system(film_um, "film", "us")[0], 1),
        "limit_mil": round(in_system(limit_um, "film", "us")[0], 1),
    }


def _sand(rate_kg_per_m2: float) -> float:
    return round(in_system(rate_kg_per_m2, "areal_mass", "us")[0], 1)


# The product roles that may stand in for a coat's role.
_FIT: dict[Role, tuple[Role, ...]] = {
    Role.PRIMER: (Role.PRIMER, Role.TIE),
    Role.TIE: (Role.TIE, Role.PRIMER),
    Role.SCRATCH: (Role.SCRATCH, Role.BASE, Role.PRIMER),
    Role.DETAIL: (Role.DETAIL, Role.BASE),
    Role.BASE: (Role.BASE, Role.DETAIL),
    Role.INTERMEDIATE: (Role.INTERMEDIATE, Role.BASE, Role.TOP),
    Role.TOP: (Role.TOP, Role.LOCK, Role.INTERMEDIATE),
    Role.LOCK: (Role.LOCK, Role.TOP),
    Role.SEALANT: (Role.SEALANT,),
    Role.AGGREGATE: (Role.AGGREGATE,),
}

RULES: Sequence[tuple[str, Callable[[_Case], Iterator[_Said]]]] = (
    ("product-known", _product_known),
    ("role-fits", _role_fits),
    ("film-in-sheet", _film_in_sheet),
    ("sun-on-top", _sun_on_top),
    ("profile", _profile),
    ("stays-on-slope", _stays_on_slope),
    ("dry-film", _dry_film),
    ("solids-known", _solids_known),
    ("vapour-below", _vapour_below),
    ("made-for", _made_for),
    ("sand-rate", _sand_rate),
    ("lock-over-sand", _swept_then_locked),
)
