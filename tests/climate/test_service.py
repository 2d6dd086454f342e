"""The climate of an invented job, on a typical year of Greensboro."""

from __future__ import annotations

import time as clocks
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from tests.climate.jobs import BASE, BUILD_UP, NEW_YORK, PRIME, SHEET, c, job

from tackfree.climate.window_types import State
from tackfree.climate.windows import plannable
from tackfree.deck.types import Exposure
from tackfree.errors import InputError, NotFound
from tackfree.service import climate, curing, hours

SKY, COVERED = Exposure.OPEN_SKY, Exposure.COVERED


@pytest.fixture(scope="module")
def it(shared):
    return job(shared / "weather" / "tmy3_greensboro_723170.csv.gz")


@pytest.fixture(scope="module")
def stage(it):
    return climate.climate_stage(it, climate.read_weather(it))


def edge(stage, *when):
    return int((datetime(*when, tzinfo=NEW_YORK).timestamp() - stage.slot0_utc_s) / stage.slot_s)


@pytest.mark.outside
def test_slots_begin_at_the_jobs_midnight_and_are_known_from_there(stage, it):
    assert stage.slot0_utc_s == datetime(2027, 4, 19, 4, tzinfo=UTC).timestamp()
    for there in stage.on_slots.values():
        horizon = it.horizon_days * 48
        assert np.isfinite(there.surface_c[: horizon + 1]).all()


@pytest.mark.outside
def test_a_dark_open_deck_is_hotter_than_a_bare_one_and_a_covered_one_stays_near_air(stage):
    afternoon = slice(edge(stage, 2027, 6, 10, 13), edge(stage, 2027, 6, 10, 17))
    mean = {k: v.surface_c[afternoon].mean() for k, v in stage.on_slots.items()}
    assert mean[SKY, 0.9] > mean[SKY, 0.65] > mean[COVERED, 0.65]
    # published: a summer day's maximum is about 22 °F lower under cover
    assert mean[SKY, 0.65] - mean[COVERED, 0.65] > 5


@pytest.mark.outside
def test_daylight_and_shift_lights(stage):
    # published: sun rises 6:41 and sets 19:58 EDT at Greensboro on 19 April (almanac, memory)
    there = stage.on_slots[SKY, 0.65]
    assert not there.lit[edge(stage, 2027, 4, 19, 6)]
    assert there.lit[edge(stage, 2027, 4, 19, 7)]
    assert not stage.daylight[edge(stage, 2027, 4, 19, 21)]
    assert there.lit[edge(stage, 2027, 4, 19, 21)]  # a Monday: the evening shift has lights
    assert not there.lit[edge(stage, 2027, 4, 24, 21)]  # a Saturday


@pytest.mark.outside
def test_rain_does_not_reach_a_covered_deck(stage):
    assert stage.on_slots[SKY, 0.65].rain[: 48 * 80].sum() > 0
    assert stage.on_slots[COVERED, 0.65].rain.sum() == 0


@pytest.mark.outside
def test_starts_of_both_coats(stage, it):
    prime = climate.allowed_starts(stage, it, SKY, BUILD_UP, PRIME, 8)
    base = climate.allowed_starts(stage, it, SKY, BUILD_UP, BASE, 8)
    assert "climate.wait.outgassing" in prime.rules
    assert "climate.wait.outgassing" not in base.rules
    assert 0 < plannable(prime).sum() < plannable(base).sum()
    # practice: the first liquid on an open deck goes on when the slab is past its warmest
    hours = [
        datetime.fromtimestamp(stage.slot0_utc_s + k * stage.slot_s, NEW_YORK).hour
        for k in np.flatnonzero(plannable(prime))
    ]
    assert Counter(h >= 13 for h in hours).most_common(1)[0][0]


@pytest.mark.outside
def test_tables_and_clocks_agree(stage, it):
    table = curing.recoat_table(stage, it, SKY, BASE)
    end = edge(stage, 2027, 4, 20, 12)
    placed_to = datetime(2027, 4, 20, 12, tzinfo=NEW_YORK)
    found = curing.clock_for(stage, it, SKY, BASE, placed_to - timedelta(hours=3), placed_to)
    after = found.recoat_after.careful_utc_s
    assert table[end] == np.ceil((after - stage.slot0_utc_s) / stage.slot_s)
    assert found.recoat_after.hopeful_utc_s < after
    assert found.recoat_before_utc_s == placed_to.timestamp() + 33 * 3600  # exact: 36 h - 3 h
    cars = curing.cars_table(stage, it, SKY, BASE)
    assert cars[end] - end >= 2 * 36  # exact: never faster than the sheet's shorter time
    feet = curing.feet_table(stage, it, SKY, BASE)
    firm = curing.sealant_table(stage, it, COVERED, "SEAL-1")
    for one in (table, cars, feet, firm):
        assert len(one) == stage.slots + 1
        known = one[one >= 0]
        assert (np.diff(known) >= 0).all()
        assert (one[: it.horizon_days * 48] >= 0).all()


@pytest.mark.outside
def test_the_hot_weather_maximum_reaches_the_planner(stage, it):
    assert curing.down_within_slots(it, stage, SKY, BASE) == 72  # exact: 36 h
    hot = replace(SHEET, recoat_before_hot_h=16.0, hot_from_c=c(100))
    hot_job = replace(it, products=it.products | {"HEN-B": hot})
    assert curing.down_within_slots(hot_job, stage, SKY, BASE) == 32
    assert curing.down_within_slots(hot_job, stage, COVERED, BASE) == 72
    open_end = replace(it, products=it.products | {"HEN-B": replace(SHEET, recoat_before_h=None)})
    assert curing.down_within_slots(open_end, stage, SKY, BASE) is None


@pytest.mark.outside
def test_the_stricter_of_specification_and_sheet_wins(it):
    limits = replace(it.spec.limits, surface_min_c=c(50), surface_max_c=c(110), spread_min_k=3.0)
    found = climate.limits_for(replace(it, spec=replace(it.spec, limits=limits)), SHEET)
    where = dict(found.came_from)
    assert (found.surface_min_c, where["surface_min_c"]) == (c(50), "specification")
    assert (found.surface_max_c, where["surface_max_c"]) == (c(95), "sheet")
    assert (found.spread_min_k, where["spread_min_k"]) == (3.0, "specification")
    assert found.air_min_c is None
    assert "air_min_c" not in where
    silent = replace(SHEET.limits, surface_min_c=None, surface_max_c=None)
    bare = climate.limits_for(it, replace(SHEET, limits=silent))
    # practice: 40 °F where no sheet gives a temperature
    assert bare.surface_min_c == pytest.approx(c(40))
    assert dict(bare.came_from)["surface_min_c"] == "default"


@pytest.mark.outside
def test_legal_hours_add_up_to_the_month(it, stage):
    rows = hours.legal_start_hours(it, stage)
    assert len(rows) == 2 * 2 * 5  # exposures, coats, months touched
    may = next(r for r in rows if r.month == "2027-05" and r.coat_id == "BASE")
    assert may.go_h + may.measure_h + may.wait_h + may.unknown_h == 31 * 24  # exact


@pytest.mark.outside
def test_a_year_of_ten_products_is_quick(it):
    year = replace(it, horizon_days=351)
    whole = climate.climate_stage(year, climate.read_weather(year))
    begun = clocks.process_time()
    for k in range(10):
        climate.allowed_starts(whole, year, SKY, BUILD_UP, BASE, 6 + k)
    assert clocks.process_time() - begun < 3  # about 0.35 s on one core when written


@pytest.mark.outside
def test_weather_that_cannot_cover_the_job_is_refused(it):
    measured = replace(it, weather=replace(it.weather, kind="measured"))
    with pytest.raises(InputError, match="weather ends 1988-12-31"):
        climate.read_weather(measured)
    away = replace(it, weather=replace(it.weather, file=it.root / "none.csv"))
    with pytest.raises(NotFound):
        climate.read_weather(away)


@pytest.mark.outside
def test_an_old_forecast_is_stale(it):
    series = climate.read_weather(it)
    at = int(it.as_of.timestamp())
    for age_h, stale in ((5, False), (7, True)):
        told = replace(series, issued_utc_s=at - age_h * 3600)
        assert climate.climate_stage(it, told).stale is stale


@pytest.mark.outside
def test_weather_without_rain_leaves_an_open_deck_unknown(shared, it):
    chicago = job(shared / "weather" / "epw_chicago_ohare_725300_tmy3.epw.gz", format="epw")
    dry = climate.climate_stage(chicago, climate.read_weather(chicago))
    found = climate.allowed_starts(dry, chicago, SKY, BUILD_UP, BASE, 8)
    assert (found.state == State.UNKNOWN).mean() > 0.7
    under = climate.allowed_starts(dry, chicago, COVERED, BUILD_UP, BASE, 8)
    assert plannable(under).sum() > 100


@pytest.mark.outside
def test_what_a_job_lacks_is_named(stage, it):
    stranger = replace(BASE, id="OTHER")
    with pytest.raises(NotFound, match="no coat OTHER"):
        climate.allowed_starts(stage, it, SKY, BUILD_UP, stranger, 4)
    with pytest.raises(NotFound, match="no product NONE"):
        curing.recoat_table(stage, it, SKY, replace(BASE, product_id="NONE"))
    with pytest.raises(InputError, match="no time to firm"):
        curing.sealant_table(stage, it, SKY, "HEN-B")
