"""Until when kits may go down: the demo's days, a storm front, the record's own deadline."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tackfree.bundle.new import copy_bundle
from tackfree.climate.window_types import State
from tackfree.errors import InputError, NotFound
from tackfree.service import last
from tackfree.service.pipeline import Pipeline

ROOT = Path(__file__).resolve().parents[2]
ZONE = ZoneInfo("America/New_York")
LANE = "P2-LANE-A-1"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return copy_bundle(ROOT / "demo" / "job", tmp_path_factory.mktemp("last") / "job")


@pytest.fixture(scope="module")
def made(folder):
    return Pipeline.of(folder)


def when(*parts):
    return datetime(*parts, tzinfo=ZONE)


def test_each_kit_before_the_stop_is_allowed_and_the_next_is_not(made, folder):
    from tackfree.service import climate as climates

    found = last.last_placing(made, folder, LANE, "BASE", when(2027, 4, 21, 14))
    stage, section = made.climate, next(s for s in made.sections.sections if s.id == LANE)
    build_up = made.job.build_ups[section.build_up_id]
    coat = next(c for c in build_up.coats if c.id == "BASE")
    states = climates.allowed_starts(stage, made.job, section.exposure, build_up, coat, 1)

    def slot(utc_s):
        return int((utc_s - stage.slot0_utc_s) // stage.slot_s)

    inside = states.state[slot(found.from_utc_s) : slot(found.stop_utc_s)]
    assert (inside <= State.MEASURE).all()
    assert states.state[slot(found.stop_utc_s)] > State.MEASURE
    assert found.why.id == "climate.wait.dark"  # EVE has lights until 23:30
    assert found.stop_utc_s == when(2027, 4, 21, 23, 30).timestamp()
    # exact: area over the slower crew's 1,800 ft²/h
    assert found.needs_h == pytest.approx(found.area_m2 / (1800 * 0.3048**2))
    assert found.whole
    assert found.latest_start_utc_s <= found.stop_utc_s - 3600 * found.needs_h


def test_rain_ahead_waits_and_says_when_it_comes(made, folder):
    found = last.last_placing(made, folder, LANE, "BASE", when(2027, 4, 29, 10))
    assert (found.state, found.stop_utc_s, found.whole) == (State.WAIT, None, False)
    assert found.wait.id == "climate.wait.rain"
    told = last.text(made, found, "us")
    assert "8.0 h dry are needed" in told
    assert "until the next morning" in told
    spanish = last.text(made, found, "us", "es")
    assert f"{LANE} capa base, jue 29 abr, desde 10:00" in spanish
    for word in ("BASE", "Rain", "WAIT", "kit may", "from", "Thu"):
        assert word not in spanish


def test_a_late_start_reaches_only_part(made, folder):
    found = last.last_placing(made, folder, LANE, "BASE", when(2027, 4, 21, 22, 30))
    assert not found.whole
    # exact: one hour until 23:30 at 1,800 ft²/h
    assert found.reaches_m2 == pytest.approx(1800 * 0.3048**2)
    assert "1,800\u00a0ft² are down in time" in last.text(made, found, "us")
    assert "167\u00a0m²" in last.text(made, found, "si")


def test_the_coat_below_sets_its_own_end(made, folder, monkeypatch):
    by = when(2027, 4, 21, 18).timestamp()
    monkeypatch.setattr(last, "_down_by", lambda *a: by)
    found = last.last_placing(made, folder, LANE, "BASE", when(2027, 4, 21, 14))
    assert found.stop_utc_s == by
    assert found.why.id == "climate.last.recoat"
    assert "by the record" in last.text(made, found, "us").lower()


def test_what_is_not_there(made, folder):
    with pytest.raises(NotFound, match="no section P9"):
        last.last_placing(made, folder, "P9", "BASE", when(2027, 4, 21, 14))
    with pytest.raises(NotFound, match="no coat TOP"):
        last.last_placing(made, folder, LANE, "TOP", when(2027, 4, 21, 14))
    with pytest.raises(InputError, match="outside the job's weather"):
        last.last_placing(made, folder, LANE, "BASE", when(2029, 4, 21, 14))


def test_a_job_without_a_rate_has_no_reach(made, folder):
    bare = Pipeline(replace(made.job, crews=()))
    bare.__dict__.update({n: getattr(made, n) for n in ("sections", "weather", "climate")})
    found = last.last_placing(bare, folder, LANE, "BASE", when(2027, 4, 21, 14))
    assert (found.needs_h, found.latest_start_utc_s, found.reaches_m2) == (None, None, None)
    assert "Last kit down by 23:30" in last.text(bare, found, "us")
