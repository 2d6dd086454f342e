"""Cautions by step, hazard, tendons, exposure and night."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tackfree.deck.types import Exposure, PostTensioned
from tackfree.words import LANGUAGES, catalogue, say
from tackfree.words.cautions import cautions_for, known_hazards, rules

STEPS = ["PREP", "DETAILS", "PRIMER", "BASE", "TOP", "SWEEP", "STRIPE"]


def ids(*args: object) -> list[str]:
    return [m.id.removeprefix("caution.") for m in cautions_for(*args)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("step", "tendons", "named"),
    [
        # practice: rout, saw, anchor and core only after the engineer's word
        ("PREP", "unknown", True),
        ("DETAILS", "yes", True),
        ("DETAILS", "unknown", True),
        ("DETAILS", "no", False),
        ("BASE", "yes", False),  # a squeegee cuts nothing
    ],
)
def test_tendons_are_named_before_cutting(step: str, tendons: str, named: bool) -> None:
    assert ("tendons" in ids(step, (), tendons, "open-sky", False)) is named


def test_tendons_come_first() -> None:
    assert ids("PREP", (), "unknown", "open-sky", True)[0] == "tendons"


@pytest.mark.parametrize(
    ("args", "wanted"),
    [
        # practice: what each step puts people in the way of
        (("BASE", ("isocyanate",), "no", "covered", False), {"isocyanate", "enclosed", "slip"}),
        (("PRIMER", ("solvent",), "no", "open-sky", False), {"solvent", "edges", "lifting"}),
        (("PREP", (), "no", "covered", False), {"silica", "blasting", "grinding", "traffic"}),
        (("SWEEP", (), "no", "open-sky", True), {"silica", "night", "slip", "edges"}),
        (("STRIPE", ("heat", "heaters"), "no", "enclosed", False), {"heat", "heaters", "enclosed"}),
    ],
)
def test_hazards_of_the_trade(args: tuple[object, ...], wanted: set[str]) -> None:
    assert wanted <= set(ids(*args))


def test_work_by_day_has_no_night_caution() -> None:
    assert "night" not in ids("BASE", (), "no", "covered", False)


def test_a_hazard_without_words_is_not_lost() -> None:
    found = cautions_for("BASE", ("laser",), "no", "covered", False)
    assert "laser" in say(next(m for m in found if m.id == "caution.unlisted"))


@given(
    st.sampled_from(STEPS),
    st.sets(st.sampled_from(sorted(known_hazards()))),
    st.sampled_from([p.value for p in PostTensioned]),
    st.sampled_from([e.value for e in Exposure]),
    st.booleans(),
)
def test_cautions_end_with_the_safety_data_sheet(
    step: str, hazards: set[str], tendons: str, exposure: str, night: bool
) -> None:
    found = ids(step, hazards, tendons, exposure, night)
    assert found[-1] == "sheet-first"
    assert len(set(found)) == len(found)
    # more hazards never take a caution away
    assert set(ids(step, (), tendons, exposure, night)) <= set(found)


def test_every_rule_has_words_and_says_where_to_look() -> None:
    look = {"en": "Look to:", "es": "Consulte:"}
    for language in LANGUAGES:
        for rule in rules():
            assert look[language] in catalogue(language)[f"caution.{rule.id}"], (language, rule.id)


def test_conditions_of_rules_are_real_values() -> None:
    for rule in rules():
        assert set(rule.exposures) <= {e.value for e in Exposure}, rule.id
        assert set(rule.post_tensioned) <= {p.value for p in PostTensioned}, rule.id
        assert rule.steps or rule.hazards, rule.id
