"""Does a build-up suit the place it is meant for? Small rules in one table.

A rule refuses what cannot work, warns where someone must decide, and notes the rest.
A rule without the numbers it needs says nothing, except where lacking them is itself
worth saying. Every limit of ours is a practice default in :class:`Defaults`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from tackfree.because import Source
from tackfree.buildup.case import SHEET, Case, Defaults, Level, Place, RuleResult, Said, films, sand
from tackfree.buildup.system import SYSTEM_RULES
from tackfree.buildup.types import BuildUp, ProductSheet, Role
from tackfree.deck.types import Exposure
from tackfree.units import L_PER_GAL
from tackfree.words import Message

# Practice: what is possible and worth a second look.
LOSS_USUAL, LOSS_LARGE = 0.15, 0.25  # balconies lose 12 to 15 %
FILM_LARGE_UM = 3200.0  # an eighth of an inch is an overlay
KIT_LARGE_L = 60.0  # three pails; more is no kit for one mixing

__all__ = ["RULES", "Defaults", "Place", "RuleResult", "judge"]


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
    case = Case(build_up=build_up, products=products, place=place, defaults=defaults or Defaults())
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


def _product_known(case: Case) -> Iterator[Said]:
    wanted = [(c.id, c.product_id) for c in case.build_up.coats]
    wanted += [(c.id, c.aggregate.product_id) for c in case.build_up.coats if c.aggregate]
    details = case.build_up.details
    wanted += [("DETAILS", details.detail_product_id), ("DETAILS", details.sealant_product_id)]
    for where, product in wanted:
        if product not in case.products:
            yield "refuse", {"coat": where, "product": product}, Source(kind="exact")


def _role_fits(case: Case) -> Iterator[Said]:
    for coat, sheet in case.sheets():
        if sheet.role not in _FIT[coat.role]:
            values = {"coat": coat.id, "product": sheet.id, "role": sheet.role.value}
            dry = sheet.role in (Role.AGGREGATE, Role.SEALANT)
            yield "refuse" if dry else "warn", values, SHEET
        thrown = coat.aggregate and case.products.get(coat.aggregate.product_id)
        if thrown and thrown.role is not Role.AGGREGATE:
            values = {"coat": coat.id, "product": thrown.id, "role": thrown.role.value}
            yield "refuse", values, SHEET


def _film_in_sheet(case: Case) -> Iterator[Said]:
    for coat, sheet in case.sheets():
        low, high = sheet.wft_min_um, sheet.wft_max_um
        thin = low is not None and coat.wft_um < low * (1 - 1e-9)
        thick = high is not None and coat.wft_um > high * (1 + 1e-9)
        if thin or thick:
            limit = low if thin else high
            assert limit is not None
            values = {"coat": coat.id, "product": sheet.id, **films(coat.wft_um, limit)}
            yield "warn", values, SHEET


def _sun_on_top(case: Case) -> Iterator[Said]:
    if case.place.exposure is not Exposure.OPEN_SKY or not case.build_up.coats:
        return
    sheet = case.products.get(case.build_up.coats[-1].product_id)
    if sheet is not None and sheet.uv_stable is not True:
        level: Level = "refuse" if sheet.uv_stable is False else "warn"
        yield level, {"product": sheet.id, "stated": sheet.uv_stable is False}, SHEET


def _profile(case: Case) -> Iterator[Said]:
    found = case.place.substrate
    if found.kind != "bare-concrete":
        return
    low, high = case.defaults.csp
    basis = Source(kind="memory", text="profile classes of ICRI Guideline 310.2R")
    if "csp" in case.defaults.won:
        basis = Source(kind="specification")
    first = next(iter(case.sheets()), None)
    if first is not None and first[1].csp is not None:
        (low, high), basis = first[1].csp, SHEET
    if found.csp is None:
        if found.texture_um is None:
            yield "note", {"csp": "-", "low": low, "high": high}, basis
    elif not low <= found.csp <= high:
        yield "warn", {"csp": found.csp, "low": low, "high": high}, basis


def _stays_on_slope(case: Case) -> Iterator[Said]:
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
            yield (
                "warn",
                values,
                case.defaults.basis("slope_non_flow", "slope for a non-flow grade"),
            )


def _dry_film(case: Case) -> Iterator[Said]:
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
        basis = case.defaults.basis(
            f"dry_min.{case.place.duty.value}", "least dry film by duty, sand not counted"
        )
        yield "warn", {"duty": case.place.duty.value, **films(dry, least)}, basis


def _solids_known(case: Case) -> Iterator[Said]:
    for coat, sheet in case.sheets():
        if sheet.volume_solids is None:
            yield "note", {"coat": coat.id, "product": sheet.id}, SHEET


def _vapour_below(case: Case) -> Iterator[Said]:
    if case.place.exposure in (Exposure.ON_GRADE, Exposure.SPLIT_SLAB):
        yield "warn", {"exposure": case.place.exposure.value}, Source(kind="practice")


def _made_for(case: Case) -> Iterator[Said]:
    bu, place = case.build_up, case.place
    if place.duty not in bu.duties or place.exposure not in bu.exposures:
        values = {"duty": place.duty.value, "exposure": place.exposure.value}
        yield "warn", values, Source(kind="typed", text="build-up")


def _sand_rate(case: Case) -> Iterator[Said]:
    for coat in case.build_up.coats:
        if coat.aggregate is None:
            continue
        band = case.defaults.sand_kg_per_m2.get(coat.aggregate.method)
        rate = coat.aggregate.rate_kg_per_m2
        if band and not band[0] * (1 - 1e-9) <= rate <= band[1] * (1 + 1e-9):
            low, high = (sand(x) for x in band)
            values = {
                "coat": coat.id,
                "method": coat.aggregate.method,
                "rate_kg_per_m2": round(rate, 2),
                "rate_lb": sand(rate),
                "low_lb": low,
                "high_lb": high,
                "low_kg_per_m2": round(band[0], 2),
                "high_kg_per_m2": round(band[1], 2),
            }
            yield "warn", values, Source(kind="default", text="usual sand by method")


def _swept_then_locked(case: Case) -> Iterator[Said]:
    coats = case.build_up.coats
    for coat, over in zip(coats, [*coats[1:], None], strict=True):
        if coat.aggregate and coat.aggregate.method == "to-refusal" and over is None:
            yield "warn", {"coat": coat.id}, Source(kind="practice")


def _loss_large(case: Case) -> Iterator[Said]:
    """More lost than the trade loses anywhere: possible, and more often a slip of the pen."""
    parts = [("", case.build_up.loss)]
    parts += [(c.id, c.loss) for c in case.build_up.coats if c.loss is not None]
    for coat, loss in parts:
        if loss > LOSS_LARGE:
            values = {"coat": coat or "-", "loss_pct": round(100 * loss),
                      "usual_pct": round(100 * LOSS_USUAL)}  # fmt: skip
            yield "warn", values, Source(kind="practice", text="loss on decks and balconies")


def _film_large(case: Case) -> Iterator[Said]:
    """A film thicker than a coat is, where the sheet sets no limit of its own."""
    for coat, sheet in case.sheets():
        if sheet.wft_max_um is None and coat.wft_um > FILM_LARGE_UM:
            values = {"coat": coat.id, "product": sheet.id, **films(coat.wft_um, FILM_LARGE_UM)}
            yield "warn", values, Source(kind="practice", text="coats laid in one go")


def _kit_large(case: Case) -> Iterator[Said]:
    for product in dict.fromkeys(sheet for _, sheet in case.sheets()):
        if product.kit is not None and product.kit.volume_l > KIT_LARGE_L and not product.metered:
            values = {"product": product.id, "gallons": round(product.kit.volume_l / L_PER_GAL),
                      "litres": round(product.kit.volume_l)}  # fmt: skip
            yield "warn", values, Source(kind="practice", text="kits that people mix by hand")


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

RULES: Sequence[tuple[str, Callable[[Case], Iterator[Said]]]] = (
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
    ("loss-large", _loss_large),
    ("film-large", _film_large),
    ("kit-large", _kit_large),
    *SYSTEM_RULES,
)
