"""From documents that are in order to the core's own types, in SI."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, cast
from zoneinfo import ZoneInfo

from tackfree.because import Source
from tackfree.buildup import types as core
from tackfree.buildup.case import Defaults
from tackfree.bundle.check_buildups import wet_film_um
from tackfree.bundle.check_job import WEEKDAYS
from tackfree.bundle.documents.build_ups import BuildUpDoc, BuildUpsDoc, CoatDoc
from tackfree.bundle.documents.deck import (
    COMPASS,
    UNIT_M,
    DeckDocument,
    DeckZoneDoc,
    ShadeDoc,
    TapedDoc,
)
from tackfree.bundle.documents.job import CrewDoc, JobDoc, ShiftDoc
from tackfree.bundle.documents.price import PriceDoc
from tackfree.bundle.documents.products import ProductDoc, ProductsDoc
from tackfree.bundle.documents.spec import (
    BuildUpLimitsDoc,
    FilmRuleDoc,
    HoldPointDoc,
    LimitsDoc,
    ProofDoc,
    SpecDoc,
)
from tackfree.bundle.limits import combine
from tackfree.bundle.plan import plan_rules
from tackfree.bundle.price import price_book
from tackfree.bundle.read import Documents
from tackfree.bundle.types import (
    Cutting,
    HoldPoint,
    Job,
    Place,
    SlabFigures,
    Spec,
    SpecTests,
    WeatherRef,
)
from tackfree.deck.declared import DeckDoc, FeatureDoc, Measured, Taped, TapedLeg, ZoneDoc
from tackfree.deck.types import CracksExpected, Duty, Helix, Shade, Steps, Substrate
from tackfree.evidence.bond import BondRule
from tackfree.evidence.rules import ContractRule
from tackfree.film.sieves import grain_range_mm
from tackfree.plan.types import Crew, Shift


def job_of(docs: Documents) -> Job:
    """The job of documents without faults."""
    doc = cast(JobDoc, docs.found["job.toml"].model)
    products_doc = cast(ProductsDoc, docs.found["products.toml"].model)
    build_ups_doc = cast(BuildUpsDoc, docs.found["buildups.toml"].model)
    spec = Spec()
    if "spec.toml" in docs.found:
        spec = _spec(cast(SpecDoc, docs.found["spec.toml"].model))
    products = {p.id: _product(p) for p in products_doc.products}
    zone = ZoneInfo(doc.place.time_zone)
    priced = docs.found.get("price.toml")
    return Job(
        root=docs.root,
        id=doc.id,
        name=doc.name,
        invented=doc.invented,
        units=doc.units,
        languages=tuple(doc.languages),
        place=Place(
            latitude_deg=doc.place.latitude_deg,
            longitude_deg=doc.place.longitude_deg,
            altitude_m=doc.place.altitude,
            time_zone=doc.place.time_zone,
        ),
        as_of=_in_zone(doc.as_of, zone),
        starts_on=doc.starts_on,
        ends_by=doc.ends_by,
        shifts=tuple(map(_shift, doc.shifts)),
        crews=tuple(map(_crew, doc.crews)),
        holidays=tuple(sorted(doc.holidays)),
        stalls_open_min=doc.stalls_open_min,
        weather=WeatherRef(
            file=Path(docs.root, doc.weather.file),
            kind=doc.weather.kind,
            format=doc.weather.format,
        ),
        products=products,
        build_ups={b.id: _build_up(b, products) for b in build_ups_doc.build_ups},
        decks=tuple(_deck(cast(DeckDocument, d.model)) for d in docs.decks),
        spec=spec,
        cutting=Cutting(
            section_max_m2=doc.cutting.section_max,
            group_zones=tuple(map(tuple, doc.cutting.group_zones)),
        ),
        slabs={
            s.exposure: SlabFigures(
                absorptance=s.absorptance,
                wind_factor=s.wind_factor,
                thickness_m=s.thickness,
                source=s.source,
            )
            for s in doc.slabs
        },
        price=price_book(cast(PriceDoc, priced.model)) if priced else None,
        slot_minutes=doc.slot_minutes,
        horizon_days=doc.horizon_days,
        plan=plan_rules(doc.plan, zone, docs.root),
        came_from=_origins(spec, products, build_ups_doc.build_ups, doc),
    )


def _in_zone(moment: datetime, zone: ZoneInfo) -> datetime:
    if moment.tzinfo is None:
        return moment.replace(tzinfo=zone)
    return moment.astimezone(zone)


def _given(**values: Any) -> dict[str, Any]:
    """The values that a document gives; the core's own defaults stand for the others."""
    return {k: v for k, v in values.items() if v is not None}


def _limits(doc: LimitsDoc) -> core.Limits:
    return core.Limits(
        surface_min_c=doc.surface_min,
        surface_max_c=doc.surface_max,
        air_min_c=doc.air_min,
        air_max_c=doc.air_max,
        spread_min_k=doc.spread_min,
        rh_max=doc.rh_max,
        rain_free_h=doc.rain_free,
        wind_max_m_s=doc.wind_max,
    )


def _spec(doc: SpecDoc) -> Spec:
    return Spec(
        limits=_limits(doc.limits),
        spread_modelled_k=doc.spread_modelled,
        flood_test=doc.flood_test,
        build_up=_build_up_limits(doc.build_up),
        film=_film_rule(doc.film),
        tests=_tests(doc.tests),
        hold_points=tuple(map(_hold_point, doc.hold_points)),
    )


def _hold_point(doc: HoldPointDoc) -> HoldPoint:
    days = tuple(sorted({WEEKDAYS.index(d) for d in doc.days}))
    return HoldPoint(
        id=doc.id,
        after=doc.after,
        who=doc.who,
        sees=doc.sees,
        notice_h=doc.notice,
        takes_h=doc.takes,
        hours=Shift(id=doc.id, weekdays=days, begins=doc.begins, ends=doc.ends),
        zones=tuple(doc.zones),
        build_ups=tuple(doc.build_ups),
    )


def _film_rule(doc: FilmRuleDoc) -> ContractRule:
    """The usual rule, and over it what the contract says."""
    given = _given(
        floor=doc.floor, m2_per_reading=doc.area_per_reading, share=doc.readings_at_specified,
        area=doc.area_at_floor, sure=doc.sure, spots=doc.spots,
    )  # fmt: skip
    if not given:
        return ContractRule()
    return replace(ContractRule(), **given, source=Source(kind="specification"))


def _tests(doc: ProofDoc) -> SpecTests:
    bond = None
    if doc.bond is not None:
        bond = BondRule(mean_pa=doc.bond.mean, single_pa=doc.bond.single, tests=doc.bond.tests)
    return SpecTests(
        bond=bond,
        bond_m2=doc.bond.area_per_set if doc.bond else None,
        moisture={str(k): v for k, v in doc.moisture.items()},
        moisture_m2=doc.moisture_area,
        flood_h=doc.flood,
        slip={str(k): v for k, v in doc.slip.items()},
        slip_m2=doc.slip_area,
    )


def _build_up_limits(doc: BuildUpLimitsDoc) -> Defaults:
    """Our limits, and over them what the specification says."""
    usual = Defaults()
    given = _given(csp=doc.profile and (doc.profile[0], doc.profile[1]))
    given |= _given(slope_non_flow=doc.slope_non_flow)
    dry = {Duty(name): film for name, film in doc.dry_film_min.items()}
    ours = {f"dry_min.{d.value}": f"{usual.dry_min_um[d]:.0f} µm" for d in dry}
    ours |= {"csp": f"{usual.csp[0]}-{usual.csp[1]}"} if "csp" in given else {}
    if "slope_non_flow" in given:
        ours["slope_non_flow"] = f"{100 * usual.slope_non_flow:g} %"
    return Defaults(dry_min_um={**usual.dry_min_um, **dry}, won=ours, **given)


def _shift(doc: ShiftDoc) -> Shift:
    return Shift(
        id=doc.id,
        weekdays=tuple(sorted({WEEKDAYS.index(d) for d in doc.days})),
        begins=doc.begins,
        ends=doc.ends,
        lights=doc.lights,
        overtime=doc.overtime,
    )


def _crew(doc: CrewDoc) -> Crew:
    return Crew(
        id=doc.id,
        people=doc.people,
        skills=tuple(dict.fromkeys(doc.skills)),
        shift_ids=tuple(doc.shifts),
        rates=_given(**doc.rates.model_dump()),
    )


def _product(doc: ProductDoc) -> core.ProductSheet:
    kit = None
    if doc.kit is not None:
        parts = tuple(core.KitPart(name=p.name, volume_l=p.volume) for p in doc.kit.parts)
        kit = core.Kit(volume_l=doc.kit.volume, parts=parts)
    return core.ProductSheet(
        id=doc.id,
        name=doc.name,
        family=doc.family,
        role=doc.role,
        invented=doc.invented,
        volume_solids=doc.volume_solids,
        density_kg_per_l=doc.density,
        kit=kit,
        pot_life=tuple(
            core.PotLife(temp_c=p.at, minutes=60 * p.lasts)
            for p in sorted(doc.pot_life, key=lambda p: p.at)
        ),
        open_time=tuple(
            core.PotLife(temp_c=p.at, minutes=60 * p.lasts)
            for p in sorted(doc.open_time, key=lambda p: p.at)
        ),
        cure=tuple(
            core.CurePoint(
                temp_c=p.at,
                tack_free_h=p.tack_free,
                recoat_after_h=p.recoat_after,
                feet_after_h=p.feet_after,
                cars_after_h=p.cars_after,
            )
            for p in sorted(doc.cure, key=lambda p: p.at)
        ),
        recoat_before_h=doc.recoat_before,
        recoat_before_hot_h=doc.recoat_before_hot,
        hot_from_c=doc.hot_from,
        rate_law=doc.rate_law,
        activation_kj_mol=doc.activation_kj_mol,
        limits=_limits(doc.limits),
        wft_min_um=doc.wet_film_min,
        wft_max_um=doc.wet_film_max,
        uv_stable=doc.uv_stable,
        non_flow=doc.non_flow,
        solar_absorptance=doc.solar_absorptance,
        voc_g_per_l=doc.voc_g_per_l,
        shelf_life_months=doc.shelf_life_months,
        mix_minutes=None if doc.mix_time is None else 60 * doc.mix_time,
        mix_steps=tuple(doc.mix_steps),
        hazards=tuple(doc.hazards),
        package_l=doc.package,
        firm_after_h=doc.firm_after or (core.ONE_PART_FIRM_H if doc.one_part else None),
        firm_by_default=doc.one_part and doc.firm_after is None,
        errors=None
        if doc.scatter is None
        else core.Errors(job=doc.scatter.job, zone=doc.scatter.zone, shift=doc.scatter.shift),
        stored_min_c=doc.stored_from,
        stored_max_c=doc.stored_to,
        bag_kg=doc.bag,
        grain_mm=_grain_mm(doc),
        bulk_kg_per_l=doc.bulk_density,
        metered=doc.metered,
        dry=doc.dry,
        csp=None if doc.profile is None else (doc.profile[0], doc.profile[1]),
        primer_needed=doc.primer_needed,
        compatible=tuple(doc.compatible),
        one_part=doc.one_part,
        cure_air=None if doc.cure_air is None else (doc.cure_air.air, doc.cure_air.humidity),
    )


def _grain_mm(doc: ProductDoc) -> tuple[float, float] | None:
    if doc.grain is not None:
        return 1000 * doc.grain[0], 1000 * doc.grain[1]
    return None if doc.sieves is None else grain_range_mm(doc.sieves)


def _coat(doc: CoatDoc, products: dict[str, core.ProductSheet]) -> core.Coat:
    sheet = products[doc.product]
    film = wet_film_um(doc, sheet.density_kg_per_l, sheet.volume_solids)
    assert film is not None  # a coat without either is a fault
    sand = doc.aggregate
    return core.Coat(
        id=doc.id,
        role=doc.role,
        product_id=doc.product,
        wft_um=film,
        method=doc.method,
        fill_um=doc.fill,
        loss=doc.loss,
        surcharge_um=doc.surcharge,
        aggregate=None
        if sand is None
        else core.Broadcast(
            product_id=sand.product,
            rate_kg_per_m2=sand.rate,
            method=sand.method,
            retained=sand.retained,
        ),
    )


def _build_up(doc: BuildUpDoc, products: dict[str, core.ProductSheet]) -> core.BuildUp:
    d = doc.details
    details = core.Details(
        detail_product_id=d.detail_product,
        sealant_product_id=d.sealant_product,
        strip_width_m=d.strip_width,
        strip_wft_um=d.strip_wet_film,
        **_given(
            upturn_coats=d.upturn_coats,
            upturn_wft_um=d.upturn_wet_film,
            rout_width_m=d.rout_width,
            rout_depth_m=d.rout_depth,
            rout_from_m=d.rout_from,
            cove_leg_m=d.cove_leg,
            termination_width_m=d.termination_width,
        ),
    )
    return core.BuildUp(
        id=doc.id,
        name=doc.name,
        duties=tuple(doc.duties),
        exposures=tuple(doc.exposures),
        coats=tuple(_coat(c, products) for c in doc.coats),
        details=details,
        system_class=doc.system_class,
        **_loss(doc),
    )


def _loss(doc: BuildUpDoc) -> dict[str, Any]:
    if doc.loss_by is None:
        return _given(loss=doc.loss)
    parts = tuple(doc.loss_by)
    return {"loss": sum(share for _, share in parts), "loss_by": parts}


def _zone(doc: DeckZoneDoc) -> ZoneDoc:
    slope = tuple(doc.slope or (0.0, 0.0))
    if doc.ramp is not None:
        up, way = doc.ramp.rise / doc.ramp.run, math.radians(doc.ramp.bearing)
        slope = (up * math.sin(way), up * math.cos(way))
    form: Helix | Steps | None = None
    if doc.helix is not None:
        form = Helix(
            inner_m=doc.helix.inner, outer_m=doc.helix.outer, rise_per_turn_m=doc.helix.rise
        )
    elif doc.steps is not None:
        form = Steps(tread_m=doc.steps.tread, riser_m=doc.steps.riser)
    cracks = doc.cracks_expected
    return ZoneDoc(
        id=doc.id,
        name=doc.name,
        duty=doc.duty,
        exposure=doc.exposure,
        build_up_id=doc.build_up,
        layer=doc.layer,
        at_m=None if doc.at is None else (doc.at[0], doc.at[1]),
        geojson_id=doc.geojson_id,
        taped=None if doc.taped is None else _taped(doc.taped),
        slope_x=slope[0],
        slope_y=slope[1],
        form=form,
        cracks_expected=None
        if cracks is None
        else CracksExpected(
            m_per_m2=cracks.length_per_1000_ft2 / (1000 * 0.3048**2), width_m=cracks.width
        ),
        substrate=Substrate(
            kind=doc.substrate.kind, csp=doc.substrate.csp, texture_um=doc.substrate.texture
        ),
        shade=None if doc.shade is None else _shade(doc.shade),
    )


def _shade(doc: ShadeDoc) -> Shade:
    """Heights in degrees, as seen from the middle between edge and wall."""
    faces = doc.faces
    half = None if doc.depth is None else doc.depth / 2

    def rise(height: float | None, otherwise: float) -> float:
        if height is None or half is None:
            return otherwise
        return math.degrees(math.atan2(height, half))

    return Shade(
        faces_deg=45.0 * COMPASS.index(faces) if isinstance(faces, str) else faces,
        rail_deg=rise(doc.parapet, 0.0),
        roof_deg=rise(doc.clear_height, 90.0),
        skyline_deg=tuple(float(h) for h in doc.skyline),
    )


def _taped(doc: TapedDoc) -> Taped:
    return Taped(
        sides=tuple(TapedLeg(length_m=s.length, bearing_deg=s.bearing) for s in doc.sides),
        diagonals_m=tuple((d.corners[0], d.corners[1], d.length) for d in doc.diagonals),
        offsets_m=tuple((o.along, o.off) for o in doc.offsets),
        corner_m=(0.0, 0.0) if doc.corner is None else (doc.corner[0], doc.corner[1]),
    )


def _deck(doc: DeckDocument) -> DeckDoc:
    features = tuple(
        FeatureDoc(
            layer=f.layer,
            kind=f.kind,
            width_m=f.width,
            depth_m=f.depth,
            height_m=f.height,
            connects=tuple(f.connects),
            accessible=f.accessible,
        )
        for f in doc.features
    )
    return DeckDoc(
        id=doc.id,
        name=doc.name,
        drawing=doc.drawing,
        geojson=doc.geojson,
        unit_m=UNIT_M[doc.unit or "m"],  # a calibration, where there is one, wins
        post_tensioned=doc.post_tensioned,
        elevation_m=doc.elevation or 0.0,
        zones=tuple(map(_zone, doc.zones)),
        features=features,
        page=doc.page,
        calibration=tuple(
            Measured(start=(c.start[0], c.start[1]), end=(c.end[0], c.end[1]), length_m=c.length)
            for c in doc.calibration
        ),
        stretched=doc.stretched,
        part_at=None if doc.part_at is None else (doc.part_at[0], doc.part_at[1]),
    )


def _origins(
    spec: Spec,
    products: dict[str, core.ProductSheet],
    build_ups: list[BuildUpDoc],
    job: JobDoc,
) -> dict[str, str]:
    """Where each value that has a choice of origins comes from."""
    found: dict[str, str] = {}
    for slab in job.slabs:
        for key in ("absorptance", "wind_factor", "thickness"):
            by = "default" if getattr(slab, key) is None else slab.source
            found[f"slabs.{slab.exposure.value}.{key}"] = by
    for name, product in products.items():
        if product.kit is not None:
            for key, origin in combine(spec.limits, product.limits)[1].items():
                found[f"products.{name}.limits.{key}"] = origin
    for doc in build_ups:
        at = f"build_ups.{doc.id}"
        said = doc.loss is not None or doc.loss_by is not None
        found[f"{at}.loss"] = "build-up" if said else "default"
        for coat in doc.coats:
            by = "coverage" if coat.coverage is not None else "build-up"
            by = "mass" if coat.mass is not None else by
            by = "least_dry" if coat.least_dry is not None else by
            if coat.least_dry is not None:
                origin = "default" if coat.film_scatter is None else "build-up"
                found[f"{at}.coats.{coat.id}.film_scatter"] = origin
            found[f"{at}.coats.{coat.id}.wft_um"] = by
        for key, value in doc.details:
            if not key.endswith("_product") and key != "termination_width":
                found[f"{at}.details.{key}"] = "default" if value is None else "build-up"
    return found
