"""Rules of the system as a whole: primer, old film, sealant, sand, and who wins."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from tackfree.because import Source
from tackfree.buildup.case import SHEET, Case, Said, films
from tackfree.buildup.classes import CLASSES, CLASSES_FROM, layers_um
from tackfree.buildup.types import Role
from tackfree.deck.types import Exposure

_THIN = (Role.PRIMER, Role.TIE)


def _primer(case: Case) -> Iterator[Said]:
    """A first coat on bare concrete without a primer: only where its sheet says so."""
    first = next(iter(case.sheets()), None)
    if first is None or case.place.substrate.kind != "bare-concrete":
        return
    coat, sheet = first
    if coat.role not in _THIN and sheet.primer_needed is not False:
        values = {"coat": coat.id, "product": sheet.id, "stated": bool(sheet.primer_needed)}
        yield ("refuse" if sheet.primer_needed else "warn"), values, SHEET


def _tie_coat(case: Case) -> Iterator[Said]:
    coats = case.build_up.coats
    if case.place.substrate.kind == "old-film" and coats and coats[0].role is not Role.TIE:
        yield "warn", {"coat": coats[0].id}, Source(kind="practice")


def _sealant_known_to_family(case: Case) -> Iterator[Said]:
    sealant = case.products.get(case.build_up.details.sealant_product_id)
    if sealant is None or sealant.role is not Role.SEALANT:
        return
    families = sorted({s.family for _, s in case.sheets()} - {sealant.family})
    missing = [f for f in families if f not in sealant.compatible]
    if missing:
        values = {
            "product": sealant.id,
            "families": ", ".join(missing),
            "stated": bool(sealant.compatible),
        }
        yield ("warn" if sealant.compatible else "note"), values, SHEET


def _sealant_firm(case: Case) -> Iterator[Said]:
    sealant = case.products.get(case.build_up.details.sealant_product_id)
    if sealant is not None and sealant.firm_by_default and sealant.firm_after_h:
        low, high = sealant.firm_after_h
        values = {"product": sealant.id, "low_h": low, "high_h": high}
        yield "note", values, Source(kind="default", text="one-part sealant, full depth")


def _sand_dry(case: Case) -> Iterator[Said]:
    for coat in case.build_up.coats:
        sheet = coat.aggregate and case.products.get(coat.aggregate.product_id)
        if not sheet or sheet.role is not Role.AGGREGATE or (sheet.dry and sheet.bag_kg):
            continue
        values = {"coat": coat.id, "product": sheet.id}
        yield ("refuse" if sheet.dry is False else "note"), values, SHEET


def _texture_deep(case: Case) -> Iterator[Said]:
    """Measured texture deeper than the coat that must cover it."""
    depth = case.place.substrate.texture_um
    coat = next((c for c in case.build_up.coats if c.role not in _THIN), None)
    if depth is not None and coat is not None and depth > coat.wft_um:
        yield "refuse", {"coat": coat.id, **films(coat.wft_um, depth)}, Source(kind="measured")


def _people_below(case: Case) -> Iterator[Said]:
    if case.place.exposure is Exposure.OVER_OCCUPIED:
        yield "note", {}, Source(kind="practice")


def _solvent_indoors(case: Case) -> Iterator[Said]:
    if case.place.exposure is not Exposure.ENCLOSED:
        return
    strong = sorted({s.id for _, s in case.sheets() if "solvent" in s.hazards})
    values = {"products": ", ".join(strong) or "-"}
    yield ("warn" if strong else "note"), values, Source(kind="practice")


def _specification_won(case: Case) -> Iterator[Said]:
    for name, ours in case.defaults.won.items():
        if name.startswith("dry_min.") and name != f"dry_min.{case.place.duty.value}":
            continue
        yield "note", {"limit": name, "default": ours}, Source(kind="specification")


def _system_class(case: Case) -> Iterator[Said]:
    """Film and held sand against the class that the contract names."""
    name = case.build_up.system_class
    if name is None:
        return
    found = layers_um(case.build_up, case.products)
    least = CLASSES[name].least_um
    if found is not None and found < least * (1 - 1e-9):
        yield "warn", {"system": name, **films(found, least)}, CLASSES_FROM


def _cracks_bridged(case: Case) -> Iterator[Said]:
    """What the class does about cracks: a rigid one over rooms or in the rain shows them."""
    name = case.build_up.system_class
    if name is None:
        return
    bridges = CLASSES[name].bridges_mm
    if bridges:
        yield "note", {"system": name, "width_mm": bridges}, CLASSES_FROM


def _rigid_over_cracks(case: Case) -> Iterator[Said]:
    name = case.build_up.system_class
    open_deck = case.place.exposure in (Exposure.OPEN_SKY, Exposure.OVER_OCCUPIED)
    if name is not None and not CLASSES[name].flexible and open_deck:
        yield "warn", {"system": name, "exposure": case.place.exposure.value}, CLASSES_FROM


SYSTEM_RULES: Sequence[tuple[str, Callable[[Case], Iterator[Said]]]] = (
    ("primer-needed", _primer),
    ("tie-over-old-film", _tie_coat),
    ("sealant-family", _sealant_known_to_family),
    ("sealant-firm", _sealant_firm),
    ("sand-dry", _sand_dry),
    ("texture-deeper", _texture_deep),
    ("people-below", _people_below),
    ("enclosed", _solvent_indoors),
    ("system-class", _system_class),
    ("cracks-bridged", _cracks_bridged),
    ("rigid-over-cracks", _rigid_over_cracks),
    ("specification-won", _specification_won),
)
