"""Shade, fitted slabs and one-part products: from the bundle's documents to the clocks."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from tests.climate.jobs import BUILD_UP, SHEET, c, job

from tackfree.buildup.types import Role
from tackfree.bundle.load import check, load
from tackfree.bundle.new import copy_bundle
from tackfree.bundle.types import SlabFigures
from tackfree.climate.air import humidity_ratio, humidity_ratio_at_dew
from tackfree.climate.calibrate import Fit
from tackfree.climate.sky import Opening
from tackfree.climate.slab import BARE_ABSORPTANCE, SlabCase
from tackfree.climate.stage import Setting
from tackfree.climate.window_types import State
from tackfree.climate.windows import reason
from tackfree.deck.declared import DeckDoc, ZoneDoc
from tackfree.deck.types import Duty, Exposure, PostTensioned, Shade
from tackfree.errors import InputError
from tackfree.service import calibrate, curing
from tackfree.service import climate as climates

ROOT = Path(__file__).resolve().parents[2]


def zone(id_, shade=None):
    return ZoneDoc(
        id=id_, name=id_, duty=Duty.LIGHT, exposure=Exposure.OPEN_SKY, build_up_id="BU-STALL",
        shade=shade,
    )  # fmt: skip


def with_zones(it, *zones):
    deck = DeckDoc(
        id="P1", name="", drawing=None, geojson=None, unit_m=1.0,
        post_tensioned=PostTensioned.NO, elevation_m=0.0, zones=zones, features=(),
    )  # fmt: skip
    return replace(it, decks=(deck,))


@pytest.fixture(scope="module")
def year(shared):
    return job(shared / "weather" / "tmy3_greensboro_723170.csv.gz", horizon_days=30)


@pytest.mark.outside
def test_a_facade_moves_the_heat_of_the_day(year):
    """An east balcony warms before a west one, and both stay below the open deck."""
    it = with_zones(
        year, zone("OPEN"), zone("EAST", Shade(faces_deg=90.0, roof_deg=70.0)),
        zone("WEST", Shade(faces_deg=270.0, roof_deg=70.0)),
        zone("ALSO-EAST", Shade(faces_deg=90.0, roof_deg=70.0)),
    )  # fmt: skip
    settings = climates.settings_of(it)
    assert settings["EAST"] == settings["ALSO-EAST"]
    assert {s.name for s in settings.values()} == {"open-sky-90", "open-sky-270"}
    stage = climates.climate_stage(it, climates.read_weather(it))
    days = {
        k: stage.on_slots[k, BARE_ABSORPTANCE].surface_c[:-1][: 48 * 30].reshape(30, 48)
        for k in (Exposure.OPEN_SKY, settings["EAST"], settings["WEST"])
    }
    # practice: the sun is in the east before noon; slots are of the job's own day
    hottest = {k: v.mean(axis=0).argmax() / 2 for k, v in days.items()}
    assert hottest[settings["EAST"]] < hottest[settings["WEST"]]
    assert days[settings["EAST"]].max() < days[Exposure.OPEN_SKY].max()


def test_shade_is_read_in_feet_and_points_of_the_compass(tmp_path):
    folder = copy_bundle(ROOT / "demo" / "job", tmp_path / "job")
    deck = folder / "decks" / "BAL.toml"
    text = deck.read_text("utf-8")
    shade = '\nshade = { faces = "SE", depth = "5 ft", clear_height = "9 ft", parapet = "1 ft" }'
    whole = text.replace('\nslope = ["0 %", "2 %"]', '\nslope = ["0 %", "2 %"]' + shade)
    deck.write_text(whole, "utf-8")
    found = next(d for d in load(folder).decks if d.id == "BAL").zones[0].shade
    assert found.faces_deg == 135.0  # exact: the fourth of eight points
    # exact: from the middle of 5 ft, atan(9 / 2.5) and atan(1 / 2.5)
    assert found.roof_deg == pytest.approx(np.degrees(np.arctan(3.6)))
    assert found.rail_deg == pytest.approx(np.degrees(np.arctan(0.4)))
    # one balcony of a group looks another way
    deck.write_text(whole.replace('"SE"', '"NW"', 1), "utf-8")
    assert any("exposure or shade" in f.what for f in check(folder))
    deck.write_text(text.replace(
        '\nslope = ["0 %", "2 %"]', '\nslope = ["0 %", "2 %"]\nshade = { parapet = "3 ft" }', 1
    ), "utf-8")  # fmt: skip
    told = [f.what for f in check(folder)]
    assert any("parapet needs faces" in t for t in told)
    assert any("parapet needs depth" in t for t in told)


def test_a_parapet_hides_the_low_sun():
    low, high = np.array([20.0]), np.array([60.0])
    south = np.array([180.0])
    rail = Opening(faces_deg=180.0, rail_deg=40.0)
    assert not rail.sees(south, low)[0]
    assert rail.sees(south, high)[0]
    assert rail.sky_view() < Opening(faces_deg=180.0).sky_view()
    with pytest.raises(InputError, match="parapet"):
        Opening(faces_deg=180.0, rail_deg=70.0, roof_deg=60.0)


@pytest.mark.outside
def test_a_fitted_slab_is_the_one_that_is_worked_out(year):
    own = SlabFigures(absorptance=0.8, wind_factor=0.3, thickness_m=None, source="deck.csv")
    fitted = replace(year, slabs={Exposure.OPEN_SKY: own})
    case = climates.slab_case(fitted, Exposure.OPEN_SKY)
    assert (case.absorptance, case.wind_factor, case.thickness_m) == (0.8, 0.3, 0.2032)
    # a coat keeps its own absorptance, and has the fitted wind
    coated = climates.slab_case(fitted, Exposure.OPEN_SKY, 0.9)
    assert (coated.absorptance, coated.wind_factor) == (0.9, 0.3)
    assert climates.slab_case(fitted, Exposure.COVERED) == SlabCase.of(Exposure.COVERED)
    assert climates.slab_source(fitted, Exposure.OPEN_SKY) == "deck.csv"
    stages = [climates.climate_stage(j, climates.read_weather(j)) for j in (year, fitted)]
    plain, warm = (s.on_slots[Exposure.OPEN_SKY, BARE_ABSORPTANCE].surface_c for s in stages)
    assert np.nanmax(warm) > np.nanmax(plain)


def test_a_fit_is_written_into_the_job_and_wins(tmp_path):
    folder = copy_bundle(ROOT / "demo" / "job", tmp_path / "job")
    before = (folder / "job.toml").read_text("utf-8")
    fit = Fit(
        case=SlabCase(absorptance=0.71, wind_factor=0.42), readings=24, days=3, before_rms_k=4.0,
        after_rms_k=2.0, held_out_rms_k=25 / 9,
    )  # fmt: skip
    calibrate.write(folder, Exposure.OPEN_SKY, fit, 'deck "north".csv')
    written = (folder / "job.toml").read_text("utf-8")
    assert written.startswith(before.rstrip("\n"))  # comments and lines stay
    job_ = load(folder)
    own = job_.slabs[Exposure.OPEN_SKY]
    assert (own.absorptance, own.wind_factor) == (0.71, 0.42)
    # exact: 25/9 K is 5 °F
    assert own.source == 'deck "north".csv: 24 readings on 3 days, 5.0 °F (2.8 K) off on the ' \
        "day left out"  # fmt: skip
    assert job_.came_from["slabs.open-sky.absorptance"] == own.source
    assert job_.came_from["slabs.open-sky.thickness"] == "default"
    # a second fit takes the place of the first; a thickness typed by hand stays
    path = folder / "job.toml"
    path.write_text(written.replace('wind_factor = 0.420', 'wind_factor = 0.420\n'
                                    'thickness = "10 in"'), "utf-8")  # fmt: skip
    calibrate.write(folder, Exposure.OPEN_SKY, replace(fit, held_out_rms_k=None), "b.csv")
    slabs = tomllib.loads(path.read_text("utf-8"))["slabs"]
    assert [s["thickness"] for s in slabs] == ["10 in"]
    assert slabs[0]["source"].endswith("3.6 °F (2.0 K) off on its own readings")
    calibrate.write(folder, Exposure.COVERED, fit, "c.csv")
    assert set(load(folder).slabs) == {Exposure.OPEN_SKY, Exposure.COVERED}
    path.write_text(path.read_text("utf-8").replace('"covered"', '"open-sky"'), "utf-8")
    assert any("there twice" in f.what for f in check(folder))
    with pytest.raises(InputError, match="only into a folder"):
        calibrate.write(tmp_path / "job.zip", Exposure.COVERED, fit, "c.csv")


@pytest.mark.outside
def test_a_one_part_product_follows_the_water_of_the_air(year):
    one = replace(SHEET, id="ONE-B", one_part=True, cure_air=(c(75), 0.5))
    coat = replace(BUILD_UP.coats[1], product_id="ONE-B")
    build_up = replace(BUILD_UP, coats=(BUILD_UP.coats[0], coat))
    it = replace(
        year, products={**year.products, "ONE-B": one}, build_ups={build_up.id: build_up},
        starts_on=date(2027, 1, 4),
    )  # fmt: skip
    stage = climates.climate_stage(it, climates.read_weather(it))
    there = stage.on_slots[Exposure.COVERED, BARE_ABSORPTANCE]
    # published: 75 °F and 50 % is 64.5 grains to the pound at sea level
    assert 7000 * humidity_ratio(c(75), 0.5) == pytest.approx(64.5, abs=0.5)
    found = climates.allowed_starts(stage, it, Exposure.COVERED, build_up, coat, 4)
    # published: a maker's public note, under 42 grains cure is severely retarded
    dry = np.flatnonzero(7000 * there.water_kg_kg[: len(found.state)] < 42)
    assert dry.size > 100
    assert (found.state[dry] == State.UNKNOWN).all()
    told = {reason(found, int(k)).id for k in dry}
    assert "climate.unknown.dry_air" in told
    # two parts do not ask for it
    two = climates.allowed_starts(stage, it, Exposure.COVERED, BUILD_UP, BUILD_UP.coats[1], 4)
    assert "climate.unknown.dry_air" not in two.rules


def test_water_at_the_dew_point_is_the_water_of_the_air():
    # exact: air cooled to its dew point keeps its water
    assert humidity_ratio_at_dew(c(55.13)) == pytest.approx(humidity_ratio(c(75), 0.5), rel=1e-3)


def test_cure_air_belongs_to_one_part_products(tmp_path):
    folder = copy_bundle(ROOT / "demo" / "job", tmp_path / "job")
    path = folder / "products.toml"
    text = path.read_text("utf-8")
    air = 'id = "HEN-T"\ncure_air = { air = "75 °F", humidity = "50 %" }'
    path.write_text(text.replace('id = "HEN-T"', air, 1), "utf-8")
    assert any("is not one_part" in f.what for f in check(folder))
    path.write_text(text.replace('id = "HEN-T"', air + "\none_part = true", 1), "utf-8")
    product = load(folder).products["HEN-T"]
    assert product.one_part
    assert product.role is Role.TOP
    assert product.cure_air == (pytest.approx(c(75)), 0.5)
    assert curing.cure_sheet(product).moisture is not None


def test_a_setting_tells_itself_from_its_exposure():
    one = Setting(name="open-sky-90", exposure=Exposure.OPEN_SKY, opening=Opening(faces_deg=90.0))
    assert one.value == "open-sky-90"
