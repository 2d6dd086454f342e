"""Windows: one rule at a time, against the plain loop, and on a job's dates."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tackfree.climate.window_types import State
from tackfree.climate.windows import (
    OUTGASSING_HIGH_K,
    PlacingLimits,
    Ranges,
    SlotWeather,
    go,
    intervals,
    not_applied,
    outgassing_note,
    plannable,
    reason,
    rise_k,
    start_states,
    windows,
)
from tackfree.words import say

N = 48
OPEN = PlacingLimits(spread_min_k=None, spread_measure_k=None)
LATER = np.minimum(np.arange(N + 1) + 4, N)  # tack-free four slots after the end
LATER = np.where(np.arange(N + 1) + 4 > N, -1, LATER)


def at_edges(value=20.0, **spots):
    out = np.full(N + 1, value)
    for name, x in spots.items():
        out[int(name[1:])] = x
    return out


def slots(**columns) -> SlotWeather:
    base = {
        "surface_c": at_edges(20.0),
        "top_c": at_edges(20.0),
        "air_c": at_edges(18.0),
        "dew_c": at_edges(5.0),
        "rh": at_edges(0.5),
        "wind_m_s": at_edges(2.0),
        "rain": np.zeros(N),
        "lit": np.ones(N, bool),
    }
    return SlotWeather(slot0_utc_s=0, slot_s=1800, **(base | columns))


def states(weather, limits=OPEN, **more):
    return start_states(weather, limits, duration_slots=2, tack_free=LATER, **more)


def told(found, slot):
    return State(int(found.state[slot])), (reason(found, slot).id if reason(found, slot) else None)


def test_nothing_in_the_way():
    found = states(slots())
    assert found.state[: N - 6].max() == State.GO
    assert told(found, 10) == (State.GO, None)
    assert told(found, N - 1) == (State.UNKNOWN, "climate.unknown.tack_free")


@pytest.mark.parametrize(
    ("column", "limits", "id_"),
    [
        ({"surface_c": at_edges(e20=3.0)}, {"surface_min_c": 5.0}, "climate.wait.surface_low"),
        ({"surface_c": at_edges(e20=40.0)}, {"surface_max_c": 35.0}, "climate.wait.surface_high"),
        ({"air_c": at_edges(18.0, e20=1.0)}, {"air_min_c": 5.0}, "climate.wait.air_low"),
        ({"air_c": at_edges(18.0, e20=39.0)}, {"air_max_c": 35.0}, "climate.wait.air_high"),
        ({"rh": at_edges(0.5, e20=0.9)}, {"rh_max": 0.85}, "climate.wait.rh_high"),
        ({"dew_c": at_edges(5.0, e20=18.0)}, {"spread_min_k": 3.0}, "climate.wait.dew"),
    ],
)
def test_a_limit_holds_until_tack_free(column, limits, id_):
    found = states(slots(**column), replace(OPEN, **limits))
    # by hand: placing takes 2 slots, wet film 4 more; edge 20 is touched from starts 14 to 20
    hit = np.flatnonzero(found.state[: N - 6] == State.WAIT)
    assert hit.tolist() == list(range(14, 21))
    assert told(found, 14) == (State.WAIT, id_)
    assert found.number[14] == pytest.approx(
        (20.0 - 18.0) if id_.endswith("dew") else next(iter(column.values()))[20]
    )
    assert found.limit[14] == next(iter(limits.values()))
    assert told(states(slots(**column)), 14) == (State.GO, None)  # no limit, no rule


def test_wind_and_dark_count_only_while_placing():
    found = states(slots(wind_m_s=at_edges(2.0, e20=12.0)), replace(OPEN, wind_max_m_s=8.0))
    assert np.flatnonzero(found.state[: N - 6] == State.WAIT).tolist() == [18, 19, 20]
    lit = np.ones(N, bool)
    lit[20] = False
    found = states(slots(lit=lit))
    assert np.flatnonzero(found.state[: N - 6] == State.WAIT).tolist() == [19, 20]
    assert told(found, 19)[1] == "climate.wait.dark"


def test_rain_before_tack_free_and_in_the_rain_free_hours():
    rain = np.zeros(N)
    rain[20] = 1
    found = states(slots(rain=rain))
    assert np.flatnonzero(found.state[: N - 6] == State.WAIT).tolist() == list(range(15, 21))
    assert told(found, 20)[1] == "climate.wait.rain_placing"
    longer = states(slots(rain=rain), replace(OPEN, rain_free_h=4.0))
    # by hand: 2 slots of placing and 8 dry ones must end by slot 20
    assert np.flatnonzero(longer.state[: N - 10] == State.WAIT).tolist() == list(range(11, 21))
    assert told(longer, 12)[1] == "climate.wait.rain"
    assert longer.number[12] == pytest.approx(3.0)
    assert longer.limit[12] == pytest.approx(4.0)
    rain[20] = np.nan
    assert told(states(slots(rain=rain)), 16) == (State.UNKNOWN, "climate.unknown.rain")


def test_near_the_dew_point_a_reading_decides():
    limits = PlacingLimits()
    # practice: 5 °F is the limit, the model is no judge below 10 °F
    for spread_f, want in ((4.9, State.WAIT), (5.1, State.MEASURE), (9.9, State.MEASURE)):
        dew = at_edges(20.0 - spread_f / 1.8)
        assert states(slots(dew_c=dew), limits).state[0] == want
    assert states(slots(dew_c=at_edges(20.0 - 10.1 / 1.8)), limits).state[0] == State.GO
    strict = replace(limits, spread_min_k=3.0, spread_measure_k=8.0)
    assert states(slots(dew_c=at_edges(20 - 2.9)), strict).state[0] == State.WAIT
    assert states(slots(dew_c=at_edges(20 - 7.0)), strict).state[0] == State.MEASURE


def test_a_warming_slab_stops_only_the_first_liquid():
    top = at_edges(20.0)
    top[20:] = 20.0 + OUTGASSING_HIGH_K + 0.1
    weather = slots(top_c=top)
    first = states(weather, first_liquid=True)
    assert np.flatnonzero(first.state[: N - 6] == State.WAIT).tolist() == list(range(14, 20))
    assert told(first, 14)[1] == "climate.wait.outgassing"
    assert states(weather).state[14] == State.GO
    rise = rise_k(weather, duration_slots=2, tack_free=LATER)
    assert rise[14] == pytest.approx(OUTGASSING_HIGH_K + 0.1)
    assert rise[20] == 0
    assert np.isnan(rise[N - 1])


@pytest.mark.parametrize(
    ("column", "limits", "id_"),
    [
        ("surface_c", {"surface_min_c": 5.0}, "climate.unknown.surface"),
        ("air_c", {"air_min_c": 5.0}, "climate.unknown.air"),
        ("rh", {"rh_max": 0.85}, "climate.unknown.rh"),
        ("wind_m_s", {"wind_max_m_s": 8.0}, "climate.unknown.wind"),
        ("dew_c", {"spread_min_k": 3.0}, "climate.unknown.spread"),
    ],
)
def test_what_is_missing_is_never_go(column, limits, id_):
    found = states(slots(**{column: at_edges(10.0 if column != "rh" else 0.5, e20=np.nan)}),
                   replace(OPEN, **limits))  # fmt: skip
    assert told(found, 19) == (State.UNKNOWN, id_)
    assert not plannable(found)[19]


def test_an_old_forecast_has_to_be_measured():
    found = states(slots(), stale=True)
    assert told(found, 5) == (State.MEASURE, "climate.measure.stale")
    assert not go(found).any()
    assert plannable(found)[5]


def test_windows_join_equal_starts_and_cover_the_span():
    rain = np.zeros(N)
    rain[20] = 1
    found = windows(states(slots(rain=rain)))
    assert [w.state for w in found] == [
        State.GO, State.WAIT, State.WAIT, State.GO, State.UNKNOWN,
    ]  # fmt: skip
    assert found[0].start_utc_s == 0
    assert found[-1].end_utc_s == N * 1800
    assert all(a.end_utc_s == b.start_utc_s for a, b in pairwise(found))
    for language in ("en", "es"):
        for w in found:
            if w.reason:
                assert "{" not in say(w.reason, language)
                assert "climate." not in say(w.reason, language)


def test_what_is_not_applied_is_said():
    ids = [m.id for m in not_applied(replace(OPEN, surface_min_c=5.0))]
    assert "climate.no_limit.surface_min_c" not in ids
    assert len(ids) == 7
    for id_ in ids:
        for language in ("en", "es"):
            assert say(id_, language) != id_


@pytest.mark.parametrize(("rise_f", "noted"), [(0.9, False), (1.1, True), (5.0, True)])
def test_a_little_warming_is_a_note(rise_f, noted):
    # practice: above 1 °F is a caution on any coat
    found = outgassing_note(rise_f / 1.8)
    assert (found is not None) == noted
    if found:
        assert f"{rise_f} °F" in say(found)
    assert outgassing_note(float("nan")) is None


def test_masks_become_intervals():
    assert intervals(np.array([True, True, False, True])) == ((0, 1), (3, 3))
    assert intervals(np.array([], dtype=bool)) == ()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.one_of(st.floats(-50, 50), st.just(float("nan"))), min_size=1, max_size=40),
    st.data(),
)
def test_ranges_equal_the_plain_search(values, data):
    x = np.array(values)
    first = data.draw(st.integers(0, len(x) - 1))
    last = data.draw(st.integers(first, len(x) - 1))
    table = Ranges(x)
    part = x[first : last + 1]
    known = part[np.isfinite(part)]
    one = (np.array([first]), np.array([last]))
    assert table.unknown(*one)[0] == (known.size < part.size)
    assert table.low(*one)[0] == (known.min() if known.size else np.inf)
    assert table.high(*one)[0] == (known.max() if known.size else -np.inf)


def test_every_verdict_has_words_in_both_languages():
    rain = np.zeros(N)
    rain[5] = np.nan
    everything = PlacingLimits(
        surface_min_c=1, surface_max_c=2, air_min_c=1, air_max_c=2, rh_max=0.1, wind_max_m_s=1
    )
    found = states(slots(rain=rain), everything, first_liquid=True, stale=True)
    for id_ in found.rules:
        for language in ("en", "es"):
            assert say(id_, language) != id_
