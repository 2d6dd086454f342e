"""Answers about films, kits, joints and sand: arithmetic on what was typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

from tackfree import film, units
from tackfree.because import Given, Source
from tackfree.film.aggregate import USUAL_RATE
from tackfree.service.ask.parts import EXACT, TYPED, given, message, reasoned, shown, working
from tackfree.service.ask.types import Amount, Answer, Told
from tackfree.units import Kind, System
from tackfree.words import Message

# practice: wet film quoted in the trade beside a coverage; thinner than arithmetic
QUOTED_MIL = {60: 25, 80: 20, 100: 15}
USUAL_BAG_KG = 50 * units.KG_PER_LB  # practice

_USUAL_BAG = Given(
    name="bag",
    value=USUAL_BAG_KG,
    unit="kg",
    source=Source(kind="default", text="sand is mostly bagged at 50 lb"),
)
_NONE_COUNTED = Source(kind="default", text="none counted")

_GALLON: Mapping[System, str] = {"us": "1604.17 ft²·mil/gal", "si": "1000 µm·m²/L"}
_SECTION = {
    "rectangle": "section = width × depth",
    "triangle": "section = width × depth ÷ 2",
    "concave": "section = leg² × (1 − π/4)",
    "convex": "section = leg² × π/4",
}


def wet(*, coverage: float) -> Answer:
    """Wet film from a coverage [m²/L]; says where the trade quotes another figure."""
    wft = film.wet_film_thickness_um(coverage)
    rate = Amount(value=coverage, kind="coverage")
    figure = reasoned(
        wft, "film", "1000 µm·m²/L / coverage", given("coverage", coverage, "coverage")
    )
    return Answer(
        question="wet",
        answer=(Told(name="wft", kind="film", figure=figure),),
        message=message("wet", wft=Amount(value=wft, kind="film")),
        working=working(lambda s: f"{_GALLON[s]} ÷ {rate.shown(s)} = {shown(wft, 'film', s)}"),
        source=EXACT,
        notes=_quoted(coverage, wft),
    )


def _quoted(coverage: float, wft: float) -> tuple[Message, ...]:
    """The trade's figure beside this rate, and what it hides."""
    for ft2_per_gal, mil in QUOTED_MIL.items():
        if abs(coverage / units.m2_per_l(ft2_per_gal=ft2_per_gal) - 1) < 0.005:
            told = mil * units.UM_PER_MIL
            return (
                message(
                    "wet_quoted",
                    rate=Amount(value=coverage, kind="coverage"),
                    quoted=Amount(value=told, kind="film"),
                    hidden=Amount(value=wft - told, kind="film"),
                    share=Amount(value=1 - told / wft, kind="fraction"),
                ),
            )
    return ()


def dry(*, wft: float, solids: float, thinner: float = 0.0) -> Answer:
    """Dry film from wet film [µm], volume solids and thinner [fractions]."""
    dft = film.dry_film_thickness_um(wft_um=wft, volume_solids=solids, thinner=thinner)
    figure = reasoned(
        dft,
        "film",
        "wft * solids / (1 + thinner)",
        given("wft", wft, "film"),
        given("solids", solids, "fraction"),
        _or_none("thinner", thinner, "fraction"),
    )

    def line(s: System) -> str:
        thinned = f" ÷ (1 + {shown(thinner, 'fraction', s)})" if thinner else ""
        spread = f"{shown(wft, 'film', s)} × {shown(solids, 'fraction', s)}{thinned}"
        return f"{spread} = {shown(dft, 'film', s)}"

    return Answer(
        question="dry",
        answer=(Told(name="dft", kind="film", figure=figure),),
        message=message("dry", dft=Amount(value=dft, kind="film")),
        working=working(line),
        source=Source(kind="exact", text="DFT = WFT × volume solids ÷ (1 + thinner), by volume"),
        notes=(message("dry_sand"),),
    )


def reach(
    *, kit: float, wft: float, fill: float = 0.0, loss: float = 0.0, lane_width: float | None = None
) -> Answer:
    """Area one kit [L] must cover at a wet film [µm], and the length of lane that is."""
    area = film.reach_m2(kit_l=kit, wft_um=wft, fill_um=fill, loss=loss)
    inputs = (given("kit", kit, "volume"), *_film_given(wft, fill, loss))
    formula = "kit / ((wft + fill) * (1 + loss)) * 1000"
    told = [Told(name="reach", kind="area", figure=reasoned(area, "area", formula, *inputs))]
    values = {"kit": Amount(value=kit, kind="volume"), "reach": Amount(value=area, kind="area")}
    name = "reach"
    if lane_width is not None:
        long = film.chalk_length_m(reach_m2=area, lane_width_m=lane_width)
        lane = given("lane_width", lane_width, "length")
        figure = reasoned(long, "length", f"{formula} / lane_width", *inputs, lane)
        told.append(Told(name="lane_length", kind="length", figure=figure))
        values |= {
            "lane": Amount(value=lane_width, kind="length"),
            "long": Amount(value=long, kind="length"),
        }
        name = "reach_lane"

    def line(s: System) -> str:
        result = f"{shown(kit, 'volume', s)} × {_GALLON[s]} ÷ {_need(wft, fill, loss, s)} = "
        result += shown(area, "area", s)
        if lane_width is not None:
            result += f"; ÷ {shown(lane_width, 'length', s)} = {values['long'].shown(s)}"
        return result

    return Answer(
        question="reach",
        answer=tuple(told),
        message=message(name, **values),
        working=working(line),
        source=EXACT,
        notes=_left_out(fill, loss),
    )


def kits(*, area: float, wft: float, kit: float, fill: float = 0.0, loss: float = 0.0) -> Answer:
    """Whole kits [L each] for an area [m²] at a wet film [µm]."""
    gross = film.gross_l(area_m2=area, wft_um=wft, fill_um=fill, loss=loss)
    count = film.kits_needed(gross, kit)
    left = film.leftover_l(gross, kit)
    inputs = (given("area", area, "area"), *_film_given(wft, fill, loss))
    whole = (*inputs, given("kit", kit, "volume"))
    need = "area * (wft + fill) / 1000 * (1 + loss)"

    def line(s: System) -> str:
        mixed = f"{shown(area, 'area', s)} × {_need(wft, fill, loss, s)} ÷ {_GALLON[s]} = "
        return (
            f"{mixed}{shown(gross, 'volume', s)}; ÷ {shown(kit, 'volume', s)} = "
            f"{gross / kit:.2f} → {count}"
        )

    return Answer(
        question="kits",
        answer=(
            Told(
                name="kits",
                kind=None,
                figure=reasoned(count, None, f"ceil({need} / kit - 1e-9)", *whole),
            ),
            Told(name="gross", kind="volume", figure=reasoned(gross, "volume", need, *inputs)),
            Told(
                name="leftover",
                kind="volume",
                figure=reasoned(left, "volume", f"kits * kit - {need}", *whole),
            ),
        ),
        message=message(
            "kits_one" if count == 1 else "kits",
            kits=Amount(value=count),
            gross=Amount(value=gross, kind="volume"),
            left=Amount(value=left, kind="volume"),
        ),
        working=working(line),
        source=EXACT,
        notes=(*_left_out(fill, loss), message("kits_whole")),
    )


def sealant(
    *,
    width: float,
    depth: float,
    shape: str = "rectangle",
    length: float | None = None,
    package: float | None = None,
    loss: float = 0.0,
) -> Answer:
    """Length of joint from a volume; packages where length and package are given."""
    section = film.joint_section_m2(width_m=width, depth_m=depth, shape=cast(film.Shape, shape))
    rate = film.length_per_litre_m(section) / (1 + loss)
    inputs: tuple[Given, ...] = (
        given("width", width, "length"),
        given("depth", depth, "length"),
        Given(name="shape", value=shape, source=TYPED),
        _or_none("loss", loss, "fraction"),
    )
    formula = "1 / (1000 * section(shape, width, depth) * (1 + loss))"
    figure = reasoned(rate, "length_per_volume", formula, *inputs)
    told = [Told(name="length", kind="length_per_volume", figure=figure)]
    values: dict[str, Amount] = {"rate": Amount(value=rate, kind="length_per_volume")}
    name = "sealant"
    if package is not None:
        inputs = (*inputs, given("package", package, "volume"))
        each = rate * package
        figure = reasoned(each, "length", f"package * {formula}", *inputs)
        told.append(Told(name="length_per_package", kind="length", figure=figure))
        values["each"] = Amount(value=each, kind="length")
        name = "sealant_package"
    if length is not None:
        need = film.sealant_l(length_m=length, section_m2=section, loss=loss)
        inputs = (*inputs, given("length", length, "length"))
        figure = reasoned(need, "volume", f"length / ({formula})", *inputs)
        told.append(Told(name="volume", kind="volume", figure=figure))
        values |= {
            "need": Amount(value=need, kind="volume", digits=2),
            "long": Amount(value=length, kind="length"),
        }
        name = "sealant_length"
        if package is not None:
            count = film.kits_needed(need, package)
            figure = reasoned(count, None, f"ceil(length / ({formula}) / package - 1e-9)", *inputs)
            told.append(Told(name="packages", kind=None, figure=figure))
            values["packages"] = Amount(value=count)
            name = "sealant_packages"
    usual = film.depth_for_width_m(width)
    other_depth = shape == "rectangle" and abs(usual - depth) > 1e-6
    return Answer(
        question="sealant",
        answer=tuple(told),
        message=message(name, **values),
        working=working(
            lambda s: _joint_line(
                width=width, depth=depth, shape=shape, rate=rate, loss=loss, system=s
            )
        ),
        source=Source(kind="exact", text=f"{_SECTION[shape]}; 231 in³ in a US gallon"),
        notes=(message("sealant_depth", usual=Amount(value=usual, kind="length")),)
        if other_depth
        else (),
    )


def sand(*, area: float, rate: float, bag: float | None = None) -> Answer:
    """Sand to throw on an area [m²] at a rate [kg/m²], and bags [kg], of 50 lb if not given."""
    one_bag = _USUAL_BAG if bag is None else given("bag", bag, "mass")
    bag = USUAL_BAG_KG if bag is None else bag
    mass = film.thrown_kg(area_m2=area, rate_kg_per_m2=rate)
    count = film.bags_needed(mass, bag)
    inputs = (given("area", area, "area"), given("rate", rate, "areal_mass"))
    whole = (*inputs, one_bag)
    seeded, refusal = USUAL_RATE["seeded-backrolled"], USUAL_RATE["to-refusal"]
    if rate < seeded[0]:
        band = "sand_below"
    elif rate <= seeded[1]:
        band = "sand_seeded"
    elif rate < refusal[0]:
        band = "sand_between"
    else:
        band = "sand_refusal" if rate <= refusal[1] else "sand_above"
    ends = {
        name: Amount(value=value, kind="areal_mass")
        for name, value in zip(
            ("seeded_low", "seeded_high", "refusal_low", "refusal_high"),
            (*seeded, *refusal),
            strict=True,
        )
    }

    def line(s: System) -> str:
        result = (
            f"{shown(area, 'area', s)} × {shown(rate, 'areal_mass', s)} = {shown(mass, 'mass', s)}"
        )
        return f"{result}; ÷ {shown(bag, 'mass', s)} = {mass / bag:.2f} → {count}"

    return Answer(
        question="sand",
        answer=(
            Told(name="mass", kind="mass", figure=reasoned(mass, "mass", "area * rate", *inputs)),
            Told(
                name="bags",
                kind=None,
                figure=reasoned(count, None, "ceil(area * rate / bag - 1e-9)", *whole),
            ),
        ),
        message=message(
            "sand_one" if count == 1 else "sand",
            mass=Amount(value=mass, kind="mass"),
            bags=Amount(value=count),
            bag=Amount(value=bag, kind="mass"),
        ),
        working=working(line),
        source=Source(kind="exact", text="rate as thrown, before sweeping"),
        notes=(message(band, **ends),),
    )


def _film_given(wft: float, fill: float, loss: float) -> tuple[Given, ...]:
    return (given("wft", wft, "film"), _or_none("fill", fill, "film"),
            _or_none("loss", loss, "fraction"))  # fmt: skip


def _or_none(name: str, value: float, kind: Kind) -> Given:
    told = given(name, value, kind)
    return told if value else replace(told, source=_NONE_COUNTED)


def _need(wft: float, fill: float, loss: float, system: System) -> str:
    """The film side of a volume: ``(25.0 mil + 5.0 mil) × (1 + 8 %)``."""
    text = shown(wft, "film", system)
    if fill:
        text = f"({text} + {shown(fill, 'film', system)})"
    if loss:
        text = f"({text} × (1 + {shown(loss, 'fraction', system)}))"
    return text


def _left_out(fill: float, loss: float) -> tuple[Message, ...]:
    names = [name for name, value in (("no_fill", fill), ("no_loss", loss)) if not value]
    return tuple(message(name) for name in names)


def _joint_line(
    *, width: float, depth: float, shape: str, rate: float, loss: float, system: System
) -> str:
    if system == "us":
        lead, unit, symbol = "231 ÷ (12 × ", units.M_PER_IN, "in"
    else:
        lead, unit, symbol = "1000 ÷ (", 0.001, "mm"
    part = {"triangle": " × 1/2", "concave": " × (1 − π/4)", "convex": " × π/4"}.get(shape, "")
    lost = f" ÷ (1 + {shown(loss, 'fraction', system)})" if loss else ""
    result = shown(rate, "length_per_volume", system)
    return (
        f"{lead}{width / unit:.4g} {symbol} × {depth / unit:.4g} {symbol}{part}){lost} = {result}"
    )
