"""Bond, moisture, flood and slip out of the record, by the numbers of the contract."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.evidence.made_deck import write

from tackfree.errors import NotFound
from tackfree.service import job
from tackfree.service.acceptance import judge_sections, record_of_tests
from tackfree.service.pipeline import Pipeline

PSI = 6894.757293168361
SPEC = """
[film]
floor = "90 %"
area_per_reading = "100 ft²"
readings_at_specified = "80 %"

[tests]
flood = "24 h"
moisture_area = "10000 ft²"

[tests.bond]
mean = "200 psi"
single = "150 psi"

[tests.moisture]
meter = 0.04

[tests.slip]
pendulum = 36
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Pipeline:
    folder = tmp_path_factory.mktemp("tests") / "job"
    job.new(folder)
    spec = folder / "spec.toml"
    spec.write_text(spec.read_text("utf-8") + SPEC, "utf-8")
    found = Pipeline.of(folder)
    assert found.sections.sections
    return found


def judged(made: Pipeline, folder: Path, bodies: list[tuple[str, dict[str, Any]]]):
    write(folder, made.job.id, bodies)
    section = made.sections.sections[0].id
    (found,) = judge_sections(made, record_of_tests(folder), section)
    return found


def of(made: Pipeline, **body: Any) -> dict[str, Any]:
    return {"section": made.sections.sections[0].id, **body}


def good(made: Pipeline) -> list[tuple[str, dict[str, Any]]]:
    x0, y0, _, _ = made.sections.sections[0].floor.bounds
    pulls = [
        ("pull-off", of(made, set="1", fixture=str(k), stress_pa=s * PSI, in_concrete=1.0,
                        x_m=x0 + 4 + 4 * k, y_m=y0 + 4))
        for k, s in enumerate((160, 240, 310))
    ]  # fmt: skip
    water = {"started": "2027-05-01T08:00:00-04:00", "stopped": "2027-05-02T08:00:00-04:00"}
    return [
        *pulls,
        ("moisture", of(made, method="meter", value=0.035)),
        ("flood", of(made, **water, leaked=False)),
        ("slip", of(made, method="pendulum", value=45.0)),
        ("slip", of(made, method="pendulum", value=20.0, wet=False)),  # dry: another question
    ]


def test_numbers_of_the_contract_reach_the_rules(made: Pipeline) -> None:
    rule = made.job.spec.film
    assert (rule.floor, rule.share, rule.source.kind) == (0.9, 0.8, "specification")
    assert rule.m2_per_reading == pytest.approx(9.290304)  # exact: 100 ft²
    assert made.job.spec.tests.bond is not None
    assert made.job.spec.tests.bond.mean_pa == pytest.approx(200 * PSI)


def test_all_that_is_asked_for_holds(made: Pipeline, tmp_path: Path) -> None:
    found = judged(made, tmp_path, good(made))
    assert found.holds is True
    assert found.bond is not None
    assert found.bond.mean_pa == pytest.approx(710 / 3 * PSI)  # exact


def test_nothing_tested_is_not_passed(made: Pipeline, tmp_path: Path) -> None:
    (found,) = judge_sections(made, record_of_tests(tmp_path), made.sections.sections[0].id)
    assert found.holds is None
    assert [t.holds for t in found.tests] == [None] * len(found.tests)
    with pytest.raises(NotFound, match="no section NONE"):
        judge_sections(made, (), "NONE")


@pytest.mark.parametrize(
    ("kind", "body", "word"),
    [
        ("pull-off", {"set": "1", "fixture": "9", "stress_pa": 110 * PSI, "in_concrete": 1.0},
         "evidence.bond_single"),
        ("moisture", {"method": "meter", "value": 0.05}, "acceptance.moisture_bad"),
        ("flood", {"started": "2027-05-03T08:00:00-04:00", "leaked": True},
         "acceptance.flood_leak"),
        ("slip", {"method": "pendulum", "value": 30.0}, "acceptance.slip_bad"),
    ],
)  # fmt: skip
def test_one_bad_result_among_good_ones_fails(
    made: Pipeline, tmp_path: Path, kind: str, body: dict[str, Any], word: str
) -> None:
    found = judged(made, tmp_path, [*good(made), (kind, of(made, **body))])
    assert found.holds is False
    said = [m.id for t in found.tests for m in t.messages]
    said += [m.id for m in found.bond.messages]
    assert word in said


def test_a_low_pull_asks_for_pulls_around_it(made: Pipeline, tmp_path: Path) -> None:
    floor = made.sections.sections[0].floor
    spot = floor.representative_point()
    low = of(
        made, set="1", fixture="9", stress_pa=110 * PSI, in_concrete=1.0, x_m=spot.x, y_m=spot.y
    )
    found = judged(made, tmp_path, [*good(made), ("pull-off", low)])
    assert found.more is not None
    assert found.more.places
    assert all(floor.buffer(1e-6).covers(spot.__class__(p)) for p in found.more.places)
