"""What makes a product sheet unusable although each of its values can be read."""

from __future__ import annotations

from collections.abc import Iterator

from tackfree.buildup.types import Role
from tackfree.bundle.documents.products import ProductDoc
from tackfree.bundle.documents.spec import LimitsDoc
from tackfree.bundle.faults import said
from tackfree.bundle.items import Item, Parts
from tackfree.errors import Fault
from tackfree.film.checks import FilmError
from tackfree.film.sieves import grain_range_mm
from tackfree.words.cautions import known_hazards

KIT_TOLERANCE = 0.005  # parts are printed rounded
LIMIT_PAIRS = (("surface_min", "surface_max"), ("air_min", "air_max"))


def product_faults(parts: Parts) -> Iterator[Fault]:
    """Every fault of every sheet that could be read."""
    for item in parts.products:
        if item.doc is None:
            yield from _lacking(item, None)
            continue
        yield from _lacking(item, item.doc)
        yield from _hazards(item, item.doc)
        yield from _sieves(item, item.doc)
        yield from _kit(item, item.doc)
        yield from _cure(item, item.doc)
        yield from _recoat(item, item.doc)
        yield from _one_part(item, item.doc)
        yield from _order(item, item.doc)
        yield from _with_spec(item, item.doc, parts.spec_limits)


def _lacking(item: Item[ProductDoc], doc: ProductDoc | None) -> Iterator[Fault]:
    role = doc.role if doc else item.raw.get("role")
    if role == Role.AGGREGATE:
        needed = {"bag": 'bag = "50 lb"'}
    elif role == Role.SEALANT:
        needed = {"package": 'package = "20 fl oz"', "firm_after": 'firm_after = ["24 h", "36 h"]'}
        if item.raw.get("one_part") is True:
            del needed["firm_after"]
    elif role in [r.value for r in Role]:
        needed = {
            "volume_solids": 'volume_solids = "85 %"',
            "kit": "a [products.kit] table with its volume and parts",
            "cure": "a [[products.cure]] table with tack_free and recoat_after",
        }
    else:
        return
    for key, example in needed.items():
        if key not in item.raw or item.raw[key] == []:
            yield Fault(
                where=item.where(key),
                what=f"{item.id}: {key} is missing; a {role} cannot be counted without it.",
                do=f"Copy it from the product sheet: {example}.",
            )


def _hazards(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    """A misspelt hazard would lose its caution without a word."""
    for i, hazard in enumerate(doc.hazards):
        if hazard not in known_hazards():
            yield Fault(
                where=item.where("hazards", i),
                what=f'{item.id}: there is no caution for the hazard "{hazard}".',
                do=f"Write one of {', '.join(sorted(known_hazards()))}.",
            )


def _sieves(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    if doc.sieves is None:
        return
    if doc.grain is not None:
        yield Fault(
            where=item.where("sieves"),
            what=f"{item.id} has both grain and sieves.",
            do="Give one of them.",
        )
    try:
        grain_range_mm(doc.sieves)
    except FilmError as error:
        yield Fault(where=item.where("sieves"), what=f"{item.id}: {error.what}", do=error.do)


def _kit(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    if doc.kit is None:
        return
    total = sum(p.volume for p in doc.kit.parts)
    if abs(total - doc.kit.volume) > KIT_TOLERANCE * doc.kit.volume:
        each = " + ".join(
            said(item.raw, "kit", "parts", i, "volume") for i in range(len(doc.kit.parts))
        )
        yield Fault(
            where=item.where("kit", "volume"),
            what=f"{item.id}: the kit is {said(item.raw, 'kit', 'volume')} "
            f"({doc.kit.volume:.2f} L), but its parts {each} make {total:.2f} L.",
            do="Write the mixed volume, and each part as it is filled.",
        )


def _cure(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    seen: dict[float, int] = {}
    for i, point in enumerate(doc.cure):
        if point.at in seen:
            yield Fault(
                where=item.where("cure", i, "at"),
                what=f"{item.id}: {said(item.raw, 'cure', i, 'at')} is given twice.",
                do="Keep one set of times for each temperature.",
            )
        seen[point.at] = i
        ordered = (
            ("tack_free", point.tack_free, "recoat_after", point.recoat_after),
            ("feet_after", point.feet_after, "cars_after", point.cars_after),
        )
        for first, early, second, late in ordered:
            if early and late and (late[0] < early[0] or late[1] < early[1]):
                yield Fault(
                    where=item.where("cure", i, second),
                    what=f"{item.id}: {second} {said(item.raw, 'cure', i, second)} is before "
                    f"{first} {said(item.raw, 'cure', i, first)}.",
                    do="Check both lines against the product sheet.",
                )
    for key, lives, noun in (
        ("pot_life", doc.pot_life, "pot life"),
        ("open_time", doc.open_time, "open time"),
    ):
        for i, life in enumerate(lives):
            if any(life.at == other.at for other in lives[:i]):
                yield Fault(
                    where=item.where(key, i, "at"),
                    what=f"{item.id}: {said(item.raw, key, i, 'at')} is given twice.",
                    do=f"Keep one {noun} for each temperature.",
                )


def _recoat(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    after = [p.recoat_after[0] for p in doc.cure]
    if doc.recoat_before is not None and after and min(after) >= doc.recoat_before:
        yield Fault(
            where=item.where("recoat_before"),
            what=f"{item.id}: recoat_before {said(item.raw, 'recoat_before')} leaves no time: "
            f"the next coat may follow after {min(after):g} h at the earliest.",
            do="Check recoat_after and recoat_before against the product sheet.",
        )
    if (doc.recoat_before_hot is None) != (doc.hot_from is None):
        lacks = "hot_from" if doc.hot_from is None else "recoat_before_hot"
        yield Fault(
            where=item.where(lacks),
            what=f"{item.id}: {lacks} is missing; the hot-weather maximum needs both values.",
            do="Give recoat_before_hot and hot_from together, or neither.",
        )
    hot, wall = doc.recoat_before_hot, doc.recoat_before
    if hot is not None and wall is not None and hot > wall:
        yield Fault(
            where=item.where("recoat_before_hot"),
            what=f"{item.id}: the hot-weather maximum {said(item.raw, 'recoat_before_hot')} is "
            f"longer than recoat_before {said(item.raw, 'recoat_before')}.",
            do="Heat shortens the time; check both lines.",
        )


def _one_part(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    if doc.cure_air is not None and not doc.one_part:
        yield Fault(
            where=item.where("cure_air"),
            what=f"{item.id} gives the air of its cure times but is not one_part.",
            do="Add one_part = true, or take cure_air out: two parts do not cure with the air.",
        )


def _order(item: Item[ProductDoc], doc: ProductDoc) -> Iterator[Fault]:
    pairs: list[tuple[ProductDoc | LimitsDoc, str, str, tuple[str, ...]]] = [
        (doc, "wet_film_min", "wet_film_max", ())
    ]
    pairs += [(doc.limits, low, high, ("limits",)) for low, high in LIMIT_PAIRS]
    for holder, low, high, under in pairs:
        least, most = getattr(holder, low), getattr(holder, high)
        if least is not None and most is not None and least > most:
            yield Fault(
                where=item.where(*under, low),
                what=f"{item.id}: {low} {said(item.raw, *under, low)} is over "
                f"{high} {said(item.raw, *under, high)}.",
                do="Swap the two, or mend the wrong one.",
            )


def _with_spec(item: Item[ProductDoc], doc: ProductDoc, spec: LimitsDoc) -> Iterator[Fault]:
    for low, high in LIMIT_PAIRS:
        own_low, own_high = getattr(doc.limits, low), getattr(doc.limits, high)
        lows = [v for v in (own_low, getattr(spec, low)) if v is not None]
        highs = [v for v in (own_high, getattr(spec, high)) if v is not None]
        own_wrong = own_low is not None and own_high is not None and own_low > own_high
        if lows and highs and max(lows) > min(highs) and not own_wrong:
            yield Fault(
                where=f"spec.toml, limits.{low}",
                what=f"{item.id}: with the specification no temperature is left between "
                f"{low} {max(lows):.1f} °C and {high} {min(highs):.1f} °C.",
                do="Ask the engineer which of the two limits gives way.",
            )
