"""Texture fill: what the surface under a coat swallows before film stands over it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tackfree.because import Figure, Given, Source
from tackfree.buildup.types import BuildUp, Coat, ProductSheet, Role
from tackfree.deck.types import Substrate
from tackfree.film.texture import fill_over_sand_um, profile_fill_um, texture_left_um

MISSING = "supply.fill.missing"
_THIN = (Role.PRIMER, Role.TIE)  # spread at a rate; their film lies in the valleys


@dataclass(frozen=True, kw_only=True)
class Fill:
    """Fill of the surface under one coat; ``um`` is None where it is not known. [µm]"""

    um: float | None
    basis: str  # id of a message
    figure: Figure
    low_um: float | None = None  # ends of a table or model; None: no spread is known
    high_um: float | None = None


def fill_under(
    index: int,
    build_up: BuildUp,
    *,
    products: Mapping[str, ProductSheet],
    substrates: Sequence[Substrate],
) -> Fill:
    """Texture fill of the surface under the coat at ``index``.

    Bare concrete gives its sand-patch depth, or the middle of its profile class. A
    primer is spread at its rate and lies in the valleys first, so its own fill is 0
    and the coat over it fills what its dry film left open. Over broadcast sand the
    grain and the method decide; over any other coat the surface is level.

    Parameters
    ----------
    index : int
        Place of the coat in ``build_up.coats``, 0 first.
    build_up : BuildUp
    products : mapping of product sheets by id
    substrates : sequence of Substrate
        What the section stands on; of several, the thirstiest known counts.

    Returns
    -------
    Fill

    Source
    ------
    Practice; `film.texture` names its tables. A coat's own ``fill_um`` wins.
    """
    coat = build_up.coats[index]
    if coat.fill_um is not None:
        return _fill(coat.fill_um, "supply.fill.typed", "fill of the build-up", "typed")
    if coat.surcharge_um is not None:
        what = "roughness surcharge of the build-up"
        return _fill(coat.surcharge_um, "supply.fill.surcharge", what, "typed")
    if index == 0:
        if coat.role in _THIN and not all(s.kind == "old-film" for s in substrates):
            return _fill(0.0, "supply.fill.primer", "0: its film fills the valleys first")
        return _substrate(substrates)
    below = build_up.coats[index - 1]
    if below.aggregate is not None:
        return _sand(below, products)
    if all(c.role in _THIN for c in build_up.coats[:index]):
        return _over_primer(build_up.coats[:index], products, substrates)
    return _fill(0.0, "supply.fill.level", "0: the coat below is level")


def _substrate(substrates: Sequence[Substrate]) -> Fill:
    known = [f for s in substrates if (f := _of(s)).um is not None]
    if not known:
        return _missing("sand patch or profile class of the concrete")
    return max(known, key=lambda f: f.um or 0.0)


def _of(s: Substrate) -> Fill:
    if s.texture_um is not None:
        return _fill(
            s.texture_um,
            "supply.fill.measured",
            "texture depth by sand patch",
            "measured",
            Given(name="texture depth", value=s.texture_um, unit="µm"),
        )
    if s.kind == "old-film":
        return _fill(0.0, "supply.fill.old-film", "0: old film taken as level")
    if s.csp is None:
        return _missing("sand patch or profile class of the concrete")
    table = profile_fill_um(s.csp)
    return Fill(
        um=table.mid_um,
        low_um=table.low_um,
        high_um=table.high_um,
        basis="supply.fill.profile",
        figure=Figure(
            value=table.mid_um,
            unit="µm",
            formula="middle of the range for the profile class",
            inputs=(
                Given(name="profile class", value=s.csp),
                Given(name="low", value=table.low_um, unit="µm"),
                Given(name="high", value=table.high_um, unit="µm"),
            ),
            source=table.source,
        ),
    )


def _over_primer(
    primers: Sequence[Coat],
    products: Mapping[str, ProductSheet],
    substrates: Sequence[Substrate],
) -> Fill:
    bare = _substrate(substrates)
    if bare.um is None:
        return bare
    films = [(c.wft_um, products[c.product_id].volume_solids or 0.0) for c in primers]
    filled = sum(w * v for w, v in films)
    left = texture_left_um(texture_um=bare.um, filled_um=filled)
    inputs = [Given(name="profile fill", value=bare.um, unit="µm", source=bare.figure.source)]
    for wft, solids in films:
        inputs += [
            Given(name="primer wet film", value=wft, unit="µm"),
            Given(name="primer volume solids", value=solids, source=Source(kind="sheet")),
        ]
    return Fill(
        um=left,
        low_um=None if bare.low_um is None else max(0.0, bare.low_um - filled),
        high_um=None if bare.high_um is None else max(0.0, bare.high_um - filled),
        basis="supply.fill.over-primer",
        figure=Figure(
            value=left,
            unit="µm",
            formula="profile fill − primer wet film × volume solids, not below 0",
            inputs=tuple(inputs),
            source=Source(kind="practice", text="primer film fills valleys first"),
        ),
    )


def _sand(below: Coat, products: Mapping[str, ProductSheet]) -> Fill:
    sand = below.aggregate
    assert sand is not None
    sheet = products.get(sand.product_id)
    grain = sheet.grain_mm if sheet else None
    table = fill_over_sand_um(
        grain_mm=grain, method=sand.method, rate_kg_per_m2=sand.rate_kg_per_m2
    )
    if table is None or grain is None:
        return _missing("grain size and method of the sand below")
    return Fill(
        um=table.mid_um,
        low_um=table.low_um,
        high_um=table.high_um,
        basis="supply.fill.sand",
        figure=Figure(
            value=table.mid_um,
            unit="µm",
            formula="middle of the range for grain, method and rate",
            inputs=(
                Given(name="grain from", value=grain[0], unit="mm"),
                Given(name="grain to", value=grain[1], unit="mm"),
                Given(name="method", value=sand.method),
                Given(name="rate", value=sand.rate_kg_per_m2, unit="kg/m²"),
                Given(name="low", value=table.low_um, unit="µm"),
                Given(name="high", value=table.high_um, unit="µm"),
            ),
            source=table.source,
        ),
    )


def _missing(what: str) -> Fill:
    return Fill(um=None, basis=MISSING, figure=Figure(value=None, unit="µm", formula=what))


def _fill(um: float, basis: str, formula: str, kind: str = "practice", *inputs: Given) -> Fill:
    source = {
        "typed": Source(kind="typed"),
        "measured": Source(kind="measured", text="sand patch"),
    }.get(kind, Source(kind="default", text=formula))
    return Fill(
        um=um,
        basis=basis,
        figure=Figure(value=um, unit="µm", formula=formula, inputs=inputs, source=source),
    )
