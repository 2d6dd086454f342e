"""Everything a job needs: each section's coats and details, and the order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TypeVar

from tackfree.because import Figure, Given
from tackfree.buildup.types import BuildUp, ProductSheet
from tackfree.deck.types import Section, Substrate
from tackfree.errors import NotFound
from tackfree.film.volume import kits_needed
from tackfree.supply.coats import coat_line
from tackfree.supply.details import Quantities, detail_lines, taken_from_coat
from tackfree.supply.fill import MISSING, fill_under
from tackfree.supply.types import CoatLine, DetailLine, Materials, OrderLine
from tackfree.words import Message

T = TypeVar("T")

__all__ = ["coat_line", "detail_lines", "job_materials", "order"]


def job_materials(
    sections: Sequence[Section],
    *,
    quantities: Mapping[str, Quantities],
    build_ups: Mapping[str, BuildUp],
    products: Mapping[str, ProductSheet],
    substrates: Mapping[str, Sequence[Substrate]],
) -> Materials:
    """Materials of a job, section by section and coat by coat.

    Parameters
    ----------
    sections : sequence of Section
    quantities, substrates : mapping by section id
    build_ups, products : mapping by id

    Returns
    -------
    Materials
        Lines in the order of sections and coats; the order by product.

    Raises
    ------
    NotFound
        If a build-up or product is named but not there.
    InputError
        If a product lacks its kit, bag or package.
    """
    coats: list[CoatLine] = []
    details: list[DetailLine] = []
    for section in sections:
        where = f"Section {section.id}"
        build_up = _found(build_ups, section.build_up_id, "build-up", where)
        mine = detail_lines(
            section.id, quantities[section.id], build_up=build_up, products=products
        )
        details += mine
        for i, coat in enumerate(build_up.coats):
            at = f"{where}, coat {coat.id}"
            thrown = coat.aggregate.product_id if coat.aggregate else None
            coats.append(
                coat_line(
                    section,
                    coat,
                    product=_found(products, coat.product_id, "product", at),
                    fill=fill_under(
                        i, build_up, products=products, substrates=substrates[section.id]
                    ),
                    loss=build_up.loss if coat.loss is None else coat.loss,
                    loss_by=build_up.loss_by,
                    sand=_found(products, thrown, "sand", at) if thrown else None,
                    detail_l=taken_from_coat(mine, coat.id),
                )
            )
    return Materials(
        coats=tuple(coats),
        details=tuple(details),
        order=order(coats, details),
        messages=(*_missing_fill(coats), *_small(sections, coats, details)),
    )


def order(coats: Sequence[CoatLine], details: Sequence[DetailLine]) -> tuple[OrderLine, ...]:
    """What to buy of each product: the whole packages of every section, added up.

    A mixed kit cannot be kept, so no section counts on another's rest; what is metered
    by ratio from drums is counted once for the job.
    """
    needed: dict[tuple[str, str], float] = defaultdict(float)
    bought: dict[tuple[str, str], float] = defaultdict(float)
    count: dict[tuple[str, str], int] = defaultdict(int)
    for c in coats:
        key = (c.product_id, "kit")
        needed[key] += c.gross_l + c.detail_l
        if c.metered:
            count[key] = kits_needed(needed[key], c.kit_l)
            bought[key] = count[key] * c.kit_l
        else:
            bought[key] += c.kits * c.kit_l
            count[key] += c.kits
        if c.aggregate_product_id is not None:
            sand = (c.aggregate_product_id, "bag")
            needed[sand] += c.aggregate_kg
            bought[sand] += c.bags * c.bag_kg
            count[sand] += c.bags
    for d in details:
        if d.packed_with:
            continue  # the line that holds it counts it
        pack = (d.product_id, d.unit)
        needed[pack] += d.volume_l + d.shared_l
        bought[pack] += d.packages * d.package_l
        count[pack] += d.packages
    return tuple(
        OrderLine(
            product_id=product_id,
            unit=unit,
            needed=needed[product_id, unit],
            count=count[product_id, unit],
            leftover=bought[product_id, unit] - needed[product_id, unit],
            figure=Figure(
                value=count[product_id, unit],
                unit={"kit": "kits", "bag": "bags", "pack": "packages"}[unit],
                formula="sum over sections of whole packages",
                inputs=(
                    Given(
                        name="needed",
                        value=needed[product_id, unit],
                        unit="kg" if unit == "bag" else "L",
                    ),
                ),
            ),
        )
        for product_id, unit in sorted(count)
        if count[product_id, unit]
    )


def _missing_fill(coats: Sequence[CoatLine]) -> list[Message]:
    by_coat: dict[str, list[str]] = defaultdict(list)
    for c in coats:
        if c.fill_basis == MISSING:
            by_coat[c.coat_id].append(c.section_id)
    return [
        Message(id="supply.note.fill-missing", values={"coat": k, "sections": ", ".join(v)})
        for k, v in by_coat.items()
    ]


def _small(
    sections: Sequence[Section], coats: Sequence[CoatLine], details: Sequence[DetailLine]
) -> list[Message]:
    """Sections smaller than one kit, and what working on them together would save."""
    place = {s.id: (s.deck_id, s.build_up_id, s.exposure.value) for s in sections}
    alike: dict[tuple[str, ...], list[tuple[str, float, float]]] = defaultdict(list)
    for c in coats:
        if c.kits == 1 and c.leftover_l > 0 and not c.metered:
            key = (*place[c.section_id], c.coat_id, c.product_id)
            alike[key].append((c.section_id, c.gross_l + c.detail_l, c.kit_l))
    for d in details:
        if d.packages == 1 and d.unit == "kit":
            key = (*place[d.section_id], "DETAILS", d.product_id)
            alike[key].append((d.section_id, d.volume_l + d.shared_l, d.package_l))
    out = []
    for (*_, step, product_id), small in alike.items():
        apart, kit_l = len(small), small[0][2]
        together = kits_needed(sum(volume for _, volume, _ in small), kit_l)
        values = {
            "coat": step,
            "product": product_id,
            "sections": ", ".join(section_id for section_id, _, _ in small),
        }
        if together < apart:
            both = {"apart": apart, "together": together}
            out.append(Message(id="supply.note.group-offer", values=values | both))
        else:
            out.append(Message(id="supply.note.kit-larger", values=values))
    return out


def _found(table: Mapping[str, T], key: str, noun: str, where: str) -> T:
    if key not in table:
        raise NotFound(
            f"{noun} {key} is not in the job.",
            where=where,
            do="Add its sheet or name another.",
        )
    return table[key]
