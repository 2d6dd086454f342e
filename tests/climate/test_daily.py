"""The questions asked every day, put to the demo job by one command each, as the docs say.

Dates that hang on the demo's plan are worked out from it, so that a better plan turns nothing
red here; ``python -m tests.climate.daily_dates`` then writes them into the page.
"""

from __future__ import annotations

import json
import re
import shlex

import pytest
from tests.climate.daily_dates import PAGE, commands, dated
from typer.testing import CliRunner

from tackfree.cli.ask import app as asked
from tackfree.cli.weather import clock, weather
from tackfree.service.pipeline import Pipeline

NOUNS = {"weather": weather, "clock": clock, "ask": asked}


@pytest.fixture(scope="module")
def answer(demo):
    """Each command runs over one opened job: it is planned once."""
    made = Pipeline.of(demo)
    lines = commands(dated(PAGE.read_text("utf-8"), made))

    def run(question: int, as_json: bool = False) -> str:
        noun, *rest = shlex.split(lines[question])
        rest = [str(demo) if x == "demo/job" else x for x in rest]
        done = CliRunner().invoke(NOUNS[noun], [*rest, *(["--json"] if as_json else [])])
        assert done.exit_code == 0, done.output
        return done.output

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Pipeline, "of", lambda bundle: made)
        yield run


def test_the_page_answers_all_nine():
    assert set(commands(PAGE.read_text("utf-8"))) == {1, 3, 4, 7, 9, 10, 16, 21, 23}


def test_can_we_prime_at_two_and_will_base_be_down(answer):
    found = json.loads(answer(1, as_json=True))["last"]
    assert found["from_utc_s"] < found["latest_start_utc_s"] <= found["stop_utc_s"]
    assert found["reaches_m2"] == pytest.approx(found["area_m2"])  # the whole section
    coming = found["follows"]
    assert coming["coat_id"] == "BASE"
    assert coming["after_utc_s"] <= coming["from_utc_s"] < coming["down_utc_s"]
    assert coming["down_utc_s"] <= coming["before_utc_s"]
    told = answer(1)
    assert "At 14:00: WAIT" in told  # the slab still warms: outgassing
    assert "Last kit down by" in told
    assert "Base coat then: ready from" in told


def test_we_missed_the_window(answer):
    told = answer(3)
    assert "past their window" in told
    assert re.search(r"about [\d.]+ h and [\d.]+ gal", told)  # hours and gallons


def test_what_is_past_by_monday_if_rain_stops_us(answer):
    found = json.loads(answer(4, as_json=True))
    assert found["stop"] < found["at"]
    assert found["past"]
    assert found["past_m2"] == pytest.approx(
        sum(x["area_m2"] for x in found["lines"] if x["section_id"] in found["past"])
    )
    late = [x for x in found["lines"] if x["section_id"] in found["past"]]
    assert all(x["remedies"] for x in late)


def test_what_a_night_of_45_does(answer):
    told = answer(7)
    # published scenario: a 16 h coat done at 16:00 is ready after 26 h, past its 24 h
    assert "26" in told
    assert "24" in told
    assert json.loads(answer(7, as_json=True))["notes"]


def test_when_cars_may_drive(answer):
    found = json.loads(answer(9, as_json=True))["clock"]["clock"]
    cars = found["cars_after"]
    assert cars["hopeful_utc_s"] < cars["careful_utc_s"]
    # practice: never earlier than the sheet's shortest time from the last kit
    assert cars["hopeful_utc_s"] - found["placed_to_utc_s"] >= 24 * 3600
    assert "cars after" in answer(9)


def test_when_the_slab_is_worth_testing(answer):
    told = answer(10)
    assert "worth testing from" in told
    assert "Worth testing is not dry" in told


def test_six_people_sixty_feet_at_92(answer):
    told = answer(16)
    assert re.search(r"A kit goes down every 12\smin", told)  # exact: 295 ft² at 1,500 ft²/h
    assert "too long" in told


def test_does_a_rising_slab_mean_blow_holes(answer):
    rows = json.loads(answer(21, as_json=True))["best"]
    firsts = [r for r in rows if r["overlaps"]]
    assert {r["coat_id"] for r in firsts} == {"PRIMER"}
    assert any(gap["both"] for r in firsts for _, gap in r["overlaps"])
    assert "slab no longer warms" in answer(21)


def test_is_the_mechanical_rooms_air_safe(answer):
    told = answer(23)
    assert "ft³/min" in told
    assert "hygienist decides" in told


@pytest.mark.parametrize("question", [1, 3, 9, 10, 21])
def test_an_answer_from_weather_says_how_old_it_is(answer, question):
    assert "typical year, no forecast" in answer(question)
    assert "forecast_age_h" in json.loads(answer(question, as_json=True))
