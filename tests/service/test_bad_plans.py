"""What makes a job unplannable is told by the command before any search, as a foreman reads it."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tackfree.bundle.types import Event, KeepOpen, Promised
from tackfree.cli.app import run
from tackfree.deck.types import FeatureKind
from tackfree.plan.types import Lag
from tackfree.service import plan as plans
from tackfree.service.pipeline import Pipeline

ZONE = ZoneInfo("America/New_York")
FT2 = 0.3048**2
SHARED = ("drawings", "takeoff", "sections", "materials", "climate")


@pytest.fixture(scope="module")
def demo_stages(demo: Any) -> Pipeline:
    made = Pipeline.of(demo)
    for name in SHARED:
        getattr(made, name)
    return made


@pytest.fixture
def told(demo_stages: Pipeline, monkeypatch: Any, capsys: Any) -> Callable[..., str]:
    """What ``plan make`` says of the demo's job with something changed; never solved."""

    def say(change: Callable[[Any], Any], decks: Callable[[Any], Any] | None = None,
            *, fresh: tuple[str, ...] = ()) -> str:  # fmt: skip
        made = Pipeline(change(demo_stages.job))
        for name in SHARED:
            if name not in fresh:
                vars(made)[name] = vars(demo_stages)[name]
        if decks is not None:
            old = demo_stages.drawings
            vars(made)["drawings"] = replace(old, decks=tuple(map(decks, old.decks)))
        monkeypatch.setattr(plans, "solve", lambda *a, **k: pytest.fail("it was searched"))
        monkeypatch.setattr(Pipeline, "of", classmethod(lambda cls, bundle: made))
        monkeypatch.setattr(sys, "argv", ["tackfree", "plan", "make", "made-up"])
        with pytest.raises(SystemExit) as end:
            run()
        assert end.value.code == 1
        return " ".join("".join(capsys.readouterr()).replace("\u00a0", " ").split())

    return say


def _crews(job: Any, **more: Any) -> Any:
    return replace(job, crews=tuple(replace(c, **more) for c in job.crews))


def _slow(job: Any) -> Any:
    """The whole crew gets 100 ft² of base an hour."""
    return replace(
        job, crews=tuple(replace(c, rates={**c.rates, "base": 100 * FT2}) for c in job.crews)
    )


def _asked(**rules: Any) -> Callable[[Any], Any]:
    return lambda job: replace(job, plan=replace(job.plan, **rules))


def _corner(day: int, month: int = 4) -> Promised:
    return Promised(name="Corner", by=datetime(2027, month, day, 12, tzinfo=ZONE),
                    zones=("P1-LANE-A",))  # fmt: skip


FAIR = Event(name="Fair", begins=datetime(2027, 4, 1, tzinfo=ZONE),
             ends=datetime(2027, 5, 20, tzinfo=ZONE), rule="all-open")  # fmt: skip


@pytest.mark.parametrize(
    ("change", "sentences"),
    [
        # by hand: 4,949 ft² at 100 ft²/h are 49.5 h; 8.5 h do 850 ft², so six parts of 825 ft²
        (_slow, ["P1-LANE-A-1 BASE: 4,949 ft² take 49.5 h; the longest shift is 8.5 h, enough for "
                 "850 ft². Cut the section into 6 parts of 825 ft² at most, at a joint or stop "
                 "line (cutting.section_max), or add people."]),
        (lambda job: _crews(job, skills=("prep", "details")),
         ["crews: No crew has the skill coating, which 76 steps need (PRIMER, BASE, TOP, STRIPE, "
          'INTER, SWEEP, LOCK). Add "coating" to the skills of a crew.']),
        (_asked(promises=(_corner(20),)),
         ["P1-LANE-A-1: It is promised by Tue 20 Apr 2027 12:00 (Corner); its work and waits "
          "alone, with every crew free for it, last until ", "promise a later time"]),
        (_asked(promises=(_corner(10, 5),), events=(FAIR,)),
         ["P1-LANE-A-1: Corner promises them before Fair is over, and until then they may not be "
          "closed. Move one of the two."]),
        (_asked(keep_open=(KeepOpen(name="Exit", zones=("P1-LANE-A",), at_least=1),)),
         ["Exit: 1 of its 1 sections must stay open, so none could ever be coated. Let one fewer "
          "stay open, or cut a section in two."]),
    ],
)  # fmt: skip
def test_a_plan_that_cannot_be_is_refused_before_any_search(
    told: Callable[..., str], change: Callable[[Any], Any], sentences: list[str]
) -> None:
    said = told(change)
    for sentence in sentences:
        assert sentence in said
    assert not re.search(r"slot \d", said)  # nobody on a deck knows what a slot is


def test_a_deck_without_a_way_to_the_street_is_an_island(told: Callable[..., str]) -> None:
    ways = (FeatureKind.RAMP, FeatureKind.ENTRANCE, FeatureKind.EXIT)

    def cut_off(deck: Any) -> Any:
        kept = tuple(f for f in deck.features if deck.id != "P2" or f.kind not in ways)
        return replace(deck, features=kept)

    said = told(lambda job: job, cut_off)
    assert (
        "P2-LANE-001, P2-LANE-002, P2-LANE-003: No car gets from the street to it and back, though "
        "91 stalls open onto it. Draw the entrance, the aisle or the ramp that leads there"
    ) in said


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("measured", "weather ends 1988-12-31 05:00 UTC, needed until 2027-08-01 04:00 UTC. "
                     "Shorten the horizon, or give weather that reaches further."),
        ("forecast", "the job needs 2027-04-14 04:00 UTC to 2027-08-01 04:00 UTC. Fetch a forecast "
                     "for the job's own dates, or correct starts_on."),
    ],
)  # fmt: skip
def test_weather_that_ends_before_the_plan_does(
    told: Callable[..., str], kind: str, sentence: str
) -> None:
    said = told(
        lambda job: replace(job, weather=replace(job.weather, kind=kind)), fresh=("climate",)
    )
    assert "job.toml, weather.file 723170TYA.CSV: " in said
    assert sentence in said


def test_steps_that_wait_for_each_other(told: Callable[..., str], monkeypatch: Any) -> None:
    """No document can say so; a rule of the tool that did would be told."""
    real = plans._lags

    def circle(maker: Any, section: Any, steps: Any, tasks: Any) -> list[Lag]:
        found = real(maker, section, steps, tasks)
        back = [Lag(before=x.after, after=x.before, earliest=x.earliest) for x in found[-1:]]
        return found + (back if section.id == "BAL-01-1" else [])

    monkeypatch.setattr(plans, "_lags", circle)
    assert (
        "BAL-01-1: Steps wait for each other in a circle: BAL-01-1/BASE, BAL-01-1/TOP. Order the "
        "steps of the section."
    ) in told(lambda job: job)
