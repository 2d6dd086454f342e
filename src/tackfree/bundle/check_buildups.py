"""What makes a build-up impossible with the product sheets at hand."""

from __future__ import annotations

from collections.abc import Iterator

from tackfree.buildup.types import Role
from tackfree.bundle.documents.build_ups import BuildUpDoc, CoatDoc
from tackfree.bundle.documents.products import ProductDoc
from tackfree.bundle.faults import said
from tackfree.bundle.items import Item, Parts
from tackfree.errors import Fault
from tackfree.film.coverage import film_of_mass_um, wet_film_thickness_um
from tackfree.film.least import FILM_SCATTER, SCATTER_MAX, aim_um

# Which products may be laid as which coat: a base serves again as an
# intermediate coat, a top as the lock over broadcast sand.
SERVES: dict[Role, tuple[Role, ...]] = {
    Role.PRIMER: (Role.PRIMER,),
    Role.TIE: (Role.TIE, Role.PRIMER),
    Role.SCRATCH: (Role.SCRATCH, Role.BASE, Role.DETAIL),
    Role.BASE: (Role.BASE,),
    Role.INTERMEDIATE: (Role.INTERMEDIATE, Role.BASE, Role.TOP),
    Role.TOP: (Role.TOP,),
    Role.LOCK: (Role.LOCK, Role.TOP),
}
DETAIL_ROLES = (Role.DETAIL, Role.BASE)


FILM_GIVEN = ("wet_film", "coverage", "mass", "least_dry")


def wet_film_um(
    coat: CoatDoc, density_kg_per_l: float | None, volume_solids: float | None
) -> float | None:
    """The wet film of a coat, by theory where something else than a film is given. [µm]"""
    if coat.least_dry is not None:
        if volume_solids is None:
            return None
        scatter = FILM_SCATTER if coat.film_scatter is None else coat.film_scatter
        return aim_um(coat.least_dry, scatter=scatter) / volume_solids
    if coat.mass is not None:
        if density_kg_per_l is None:
            return None
        return film_of_mass_um(mass_kg_per_m2=coat.mass, density_kg_per_l=density_kg_per_l)
    if coat.coverage is not None:
        return wet_film_thickness_um(coat.coverage)
    return coat.wet_film


def build_up_faults(parts: Parts) -> Iterator[Fault]:
    """Every fault of every build-up that could be read."""
    products = {p.id: p for p in parts.products}
    for item in parts.build_ups:
        if item.doc is None:
            continue
        seen: set[str] = set()
        for i, coat in enumerate(item.doc.coats):
            if coat.id in seen:
                yield Fault(
                    where=item.where("coats", i, "id"),
                    what=f"{item.id}: the coat {coat.id} is there twice.",
                    do="Give each coat of a build-up its own id.",
                )
            seen.add(coat.id)
            yield from _coat(item, i, coat, products)
        yield from _details(item, item.doc, products)
        if item.doc.loss is not None and item.doc.loss_by is not None:
            yield Fault(
                where=item.where("loss_by"),
                what=f"{item.id} has both loss and loss_by.",
                do="Give the loss in one sum or by place.",
            )


def _coat(
    item: Item[BuildUpDoc], i: int, coat: CoatDoc, products: dict[str, Item[ProductDoc]]
) -> Iterator[Fault]:
    name = f"{item.id}, coat {coat.id}"
    if coat.role not in SERVES:
        yield Fault(
            where=item.where("coats", i, "role"),
            what=f"{name}: {coat.role.value} is no coat of its own.",
            do="Put detail and sealant products under details, aggregate under a coat.",
        )
    else:
        allowed = SERVES[coat.role]
        yield from _role(item, ("coats", i, "product"), name, coat.product, allowed, products)
    if coat.aggregate is not None:
        at = ("coats", i, "aggregate", "product")
        yield from _role(item, at, name, coat.aggregate.product, (Role.AGGREGATE,), products)
    if coat.fill is not None and coat.surcharge is not None:
        yield Fault(
            where=item.where("coats", i, "surcharge"),
            what=f"{name} has both fill and surcharge.",
            do="Give one: both say what the texture takes.",
        )
    given = [k for k in FILM_GIVEN if getattr(coat, k) is not None]
    if len(given) != 1:
        what = (
            f"has both {given[0]} and {given[1]}"
            if given
            else f"has neither {' nor '.join(FILM_GIVEN)}"
        )
        yield Fault(
            where=item.where("coats", i, "wet_film"),
            what=f"{name} {what}.",
            do='Give one of them, such as wet_film = "25 mil".',
        )
        return
    product = products.get(coat.product)
    if coat.film_scatter is not None and coat.least_dry is None:
        yield Fault(
            where=item.where("coats", i, "film_scatter"),
            what=f"{name}: film_scatter says how far a film strays from least_dry, "
            "and there is none.",
            do="Give least_dry in place of the wet film, or leave film_scatter out.",
        )
    scatter = coat.film_scatter
    if coat.least_dry is not None and scatter is not None and scatter > SCATTER_MAX:
        yield Fault(
            where=item.where("coats", i, "film_scatter"),
            what=f"{name}: a film that strays by {100 * scatter:g} % has no aim for which 95 % "
            f"lie over a least film; at most {100 * SCATTER_MAX:g} % is taken.",
            do='Enter the spread of your own readings over their mean, such as "15 %".',
        )
        return
    density = product.doc.density if product and product.doc else None
    solids = product.doc.volume_solids if product and product.doc else None
    if coat.mass is not None and density is None and product and product.doc:
        yield Fault(
            where=item.where("coats", i, "mass"),
            what=f"{name}: a mass needs the density of {coat.product}, and its sheet has none.",
            do='Copy it from the product sheet, such as density = "1.4 kg/L".',
        )
    film = wet_film_um(coat, density, solids)
    if product is None or product.doc is None or film is None:
        return
    least, most = product.doc.wet_film_min, product.doc.wet_film_max
    if least is not None and most is not None and least > most:
        return  # the sheet's own fault is told with the sheet
    stated = said(item.raw, "coats", i, given[0])
    slack = 1e-9 * film  # a coverage that is exactly the limit
    if least is not None and film < least - slack:
        bound, key = f"below {said(product.raw, 'wet_film_min')}", "wet_film_min"
    elif most is not None and film > most + slack:
        bound, key = f"over {said(product.raw, 'wet_film_max')}", "wet_film_max"
    else:
        return
    yield Fault(
        where=item.where("coats", i, given[0]),
        what=f"{name}: {stated} ({film:.0f} µm) is {bound}, the {key} of {product.id}.",
        do="Lay it in the sheet's limits, in two coats if need be, or choose another product.",
    )


def _details(
    item: Item[BuildUpDoc], doc: BuildUpDoc, products: dict[str, Item[ProductDoc]]
) -> Iterator[Fault]:
    name = f"{item.id}, details"
    wanted = (
        ("detail_product", doc.details.detail_product, DETAIL_ROLES),
        ("sealant_product", doc.details.sealant_product, (Role.SEALANT,)),
    )
    for key, product_id, allowed in wanted:
        yield from _role(item, ("details", key), name, product_id, allowed, products)


def _role(
    item: Item[BuildUpDoc],
    at: tuple[int | str, ...],
    name: str,
    product_id: str,
    allowed: tuple[Role, ...],
    products: dict[str, Item[ProductDoc]],
) -> Iterator[Fault]:
    """The product exists and is of a kind that fits."""
    product = products.get(product_id)
    if product is None:
        yield Fault(
            where=item.where(*at),
            what=f"{name}: there is no product {product_id}.",
            do=f"Add its sheet to products.toml, or name one of {', '.join(products) or 'none'}.",
        )
    elif product.doc is not None and product.doc.role not in allowed:
        words = " or ".join(r.value for r in allowed)
        yield Fault(
            where=item.where(*at),
            what=f"{name}: {product_id} is a {product.doc.role.value}; a {words} is needed.",
            do="Name another product, or mend the role on its sheet.",
        )
