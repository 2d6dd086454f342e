"""Detail material of one section: strips, sealant, upturns, drains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal, Protocol

from tackfree.because import Figure, Given, Source
from tackfree.buildup.types import BuildUp, Details, ProductSheet
from tackfree.deck.takeoff_types import CrackRun, JointRun
from tackfree.errors import InputError
from tackfree.film.details import strip_area_m2
from tackfree.film.sealant import joint_section_m2, sealant_l
from tackfree.film.volume import gross_l, kits_needed
from tackfree.supply.types import DetailLine

# Practice: the detail coat round one drain reaches a foot to each side, round one pipe
# half a foot.
DRAIN_M2 = 0.3716
PENETRATION_M2 = 0.0929
# Practice: wider joints move; they are sealed, never coated over.
COATED_JOINT_M = 0.0254


class Quantities(Protocol):
    """What a section has of edges, cracks, joints and drains; m and m²."""

    @property
    def upturn_m(self) -> float: ...
    @property
    def upturn_m2(self) -> float: ...
    @property
    def obstacle_edge_m(self) -> float: ...
    @property
    def termination_m(self) -> float: ...
    @property
    def cracks(self) -> tuple[CrackRun, ...]: ...
    @property
    def joints(self) -> tuple[JointRun, ...]: ...
    @property
    def drains(self) -> int: ...
    @property
    def penetrations(self) -> int: ...


def detail_lines(
    section_id: str,
    quantities: Quantities,
    *,
    build_up: BuildUp,
    products: Mapping[str, ProductSheet],
) -> tuple[DetailLine, ...]:
    """Detail material of one section, packed into whole packages.

    Volumes of one product are summed before they are rounded. Where a coat of the
    same section uses the product, its kits hold the details too: such lines carry no
    packages and name the coat in ``packed_with``.

    Parameters
    ----------
    section_id : str
    quantities : Quantities
    build_up : BuildUp
        Its details say how; its loss is added.
    products : mapping of product sheets by id

    Returns
    -------
    tuple of DetailLine
        Only what the section has.

    Raises
    ------
    InputError
        If a product in use has no kit or package size.

    Source
    ------
    Exact, from the widths, depths and films of the build-up. Areas round drains and
    pipes, and the width from which a joint is left uncoated, are practice.
    """
    how, loss = build_up.details, build_up.loss
    lines: list[DetailLine] = []
    film, bead = how.detail_product_id, how.sealant_product_id

    def coated(kind: str, length_m: float, area_m2: float, wft_um: float, formula: str) -> None:
        if area_m2 > 0:
            wet = Given(name="wet film", value=wft_um, unit="µm", source=_TYPED)
            area = Given(name="area", value=area_m2, unit="m²", source=_DRAWN)
            lines.append(
                _line(section_id, kind, film, length_m, area_m2,
                      gross_l(area_m2=area_m2, wft_um=wft_um, loss=loss),
                      f"{formula}; area × wet film / 1000 × (1 + loss)",
                      area, wet, Given(name="loss", value=loss, source=_TYPED))
            )  # fmt: skip

    def sealed(kind: str, length_m: float, bead_m2: float, formula: str, *given: Given) -> None:
        if length_m > 0 and bead_m2 > 0:
            lines.append(
                _line(section_id, kind, bead, length_m, 0.0,
                      sealant_l(length_m=length_m, section_m2=bead_m2, loss=loss),
                      f"{formula} × (1 + loss)",
                      Given(name="length", value=length_m, unit="m", source=_DRAWN),
                      *given, Given(name="loss", value=loss, source=_TYPED))
            )  # fmt: skip

    def strip(kind: str, length_m: float) -> None:
        if length_m <= 0 or how.strip_width_m <= 0:
            return
        area = strip_area_m2(length_m=length_m, total_width_m=how.strip_width_m)
        coated(kind, length_m, area, how.strip_wft_um, "length × total width of strip")

    strip("crack-strip", sum(c.length_m for c in quantities.cracks))
    routed = sum(c.length_m for c in quantities.cracks if c.rout)
    sealed(
        "crack-sealant",
        routed,
        _bead_m2(how.rout_width_m, how.rout_depth_m),
        "length × width × depth",
        *_cut(how.rout_width_m, how.rout_depth_m),
    )
    for joint in quantities.joints:
        sealed(
            "joint-sealant",
            joint.length_m,
            _bead_m2(joint.width_m, joint.depth_m),
            "length × width × depth",
            *_cut(joint.width_m, joint.depth_m),
        )
    strip("joint-strip", sum(j.length_m for j in quantities.joints if j.width_m <= COATED_JOINT_M))
    strip("edge-strip", quantities.obstacle_edge_m)
    coves = quantities.upturn_m + quantities.obstacle_edge_m
    sealed(
        "cove",
        coves,
        _bead_m2(how.cove_leg_m, how.cove_leg_m, "triangle"),
        "length × leg² / 2",
        Given(name="leg", value=how.cove_leg_m, unit="m", source=_TYPED),
    )
    coated(
        "upturn",
        quantities.upturn_m,
        quantities.upturn_m2,
        how.upturn_coats * how.upturn_wft_um,
        f"upturn area, {how.upturn_coats} coats",
    )
    if how.termination_width_m > 0 and quantities.termination_m > 0:
        coated(
            "termination",
            quantities.termination_m,
            strip_area_m2(length_m=quantities.termination_m, total_width_m=how.termination_width_m),
            how.strip_wft_um,
            "length × total width at terminations",
        )
    coated("drain", 0.0, quantities.drains * DRAIN_M2, how.strip_wft_um, "drains × area of each")
    coated(
        "penetration",
        0.0,
        quantities.penetrations * PENETRATION_M2,
        how.strip_wft_um,
        "pipes × area of each",
    )
    return _packed(lines, build_up, products)


def taken_from_coat(lines: Sequence[DetailLine], coat_id: str) -> float:
    """What details take from one coat's kits. [L]"""
    return sum(d.volume_l for d in lines if d.packed_with == coat_id)


def _packed(
    lines: Sequence[DetailLine], build_up: BuildUp, products: Mapping[str, ProductSheet]
) -> tuple[DetailLine, ...]:
    coat_of = {c.product_id: c.id for c in reversed(build_up.coats)}
    out: list[DetailLine] = []
    first: dict[str, int] = {}
    for line in lines:
        if line.product_id in coat_of:
            out.append(replace(line, packed_with=coat_of[line.product_id]))
            continue
        if line.product_id in first:
            out.append(replace(line, packed_with=out[first[line.product_id]].kind))
            continue
        first[line.product_id] = len(out)
        size = _package_l(line.section_id, build_up.details, products, line.product_id)
        both = sum(x.volume_l for x in lines if x.product_id == line.product_id)
        count = kits_needed(both, size)
        packages = Figure(
            value=count,
            unit="packages",
            formula="volume of this product in the section / package, rounded up",
            inputs=(
                Given(name="volume", value=both, unit="L"),
                Given(name="package", value=size, unit="L", source=Source(kind="sheet")),
            ),
        )
        out.append(
            replace(
                line,
                packages=count,
                package_l=size,
                unit="kit" if products[line.product_id].kit else "pack",
                shared_l=both - line.volume_l,
                figures=line.figures | {"packages": packages},
            )
        )
    return tuple(out)


def _package_l(
    section_id: str, details: Details, products: Mapping[str, ProductSheet], product_id: str
) -> float:
    sheet = products.get(product_id)
    size = (sheet.kit.volume_l if sheet.kit else sheet.package_l) if sheet else None
    if not size:
        raise InputError(
            f"detail product {product_id} has no kit or package size.",
            where=f"Section {section_id}",
            do="Enter its volume on the product sheet.",
        )
    return size


def _line(
    section_id: str,
    kind: str,
    product_id: str,
    length_m: float,
    area_m2: float,
    volume_l: float,
    formula: str,
    *inputs: Given,
) -> DetailLine:
    volume = Figure(value=volume_l, unit="L", formula=formula, inputs=inputs)
    return DetailLine(
        section_id=section_id,
        kind=kind,
        product_id=product_id,
        length_m=length_m,
        area_m2=area_m2,
        volume_l=volume_l,
        packages=0,
        figures={"volume_l": volume},
    )


def _bead_m2(
    width_m: float, depth_m: float, shape: Literal["rectangle", "triangle"] = "rectangle"
) -> float:
    if width_m <= 0 or depth_m <= 0:
        return 0.0
    return joint_section_m2(width_m=width_m, depth_m=depth_m, shape=shape)


def _cut(width_m: float, depth_m: float) -> tuple[Given, Given]:
    return (
        Given(name="width", value=width_m, unit="m", source=_TYPED),
        Given(name="depth", value=depth_m, unit="m", source=_TYPED),
    )


_TYPED = Source(kind="typed", text="build-up")
_DRAWN = Source(kind="drawn")
