"""Before work: how many readings would show the film."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.errors import InputError
from tackfree.evidence.data import Doubts, Evidence, Kits, Readings
from tackfree.evidence.field import solve
from tackfree.evidence.rules import ContractRule
from tackfree.evidence.spread import USUAL
from tackfree.evidence.verdict import Claim, judge
from tackfree.service import evidence, film_ground, film_plan, film_plan_words, job
from tackfree.service.film_entries import film_record
from tackfree.service.pipeline import Pipeline
from tackfree.service.recording import keep

MIL = 25.4
SECTION, COAT = "P1-STALL-D-1", "BASE"
# library: statistics.NormalDist; 0.95 and 1.645 standard errors of 400 draws, and 0.90
Z = NormalDist().inv_cdf(0.95 + 1.645 * math.sqrt(0.95 * 0.05 / 400)) + NormalDist().inv_cdf(0.9)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan-readings") / "job"
    job.new(folder, demo=True)
    return folder


@pytest.fixture(scope="module")
def needed(demo: Path) -> film_plan.Needed:
    return film_plan.plan_readings(Pipeline.of(demo), SECTION, COAT)


def test_more_readings_a_checked_gauge_and_kits_never_hurt(needed: film_plan.Needed) -> None:
    for more, fewer in pairwise(reversed(needed.margins_um)):
        assert all(a <= b + 1e-9 for a, b in zip(more, fewer, strict=True))
    for best, unchecked, alone in needed.margins_um:
        assert best <= unchecked
        assert best <= alone


def test_a_gauge_nobody_checked_has_a_floor(needed: film_plan.Needed) -> None:
    """Its bias is shared: readings without end do not take it away."""
    (_, at_60, _), (_, at_80, _) = needed.margins_um[-2:]
    assert at_60 - at_80 < 0.1 * MIL
    assert at_80 > needed.margins_um[-1][0] * 1.5


def test_the_doubt_left_is_that_of_joint_draws(needed: film_plan.Needed) -> None:
    """The closed form against 2,000 draws of the whole film over the same spots."""
    s, n = needed.ground, film_plan.TRIES[2]
    node = film_plan._spread_out(s.grid, n, s.node)
    claim = Claim(least_um=0.8 * s.coat.wft_um, average_um=s.coat.wft_um)
    target = s.coat.wft_um
    field = solve(
        Evidence(
            shape=s.grid.shape, step=s.grid.step_m, target=target, kits=Kits.none(),
            readings=Readings(
                node=node, low=np.full(n, target - MIL), high=np.full(n, target + MIL),
                gauge=np.zeros(n, dtype=np.int64),
            ),
            doubts=Doubts(
                level=evidence.LEVEL_SD_UM, read=evidence.READ_SD_UM,
                gauge=evidence.CHECKED_SD_UM, loss=evidence.LOSS_SD_UM,
            ),
        ),
        USUAL.middle,
    )  # fmt: skip
    parts = [p for p, _ in s.patches if p.id != film_ground.WHOLE]
    drawn = judge(field, parts, claim, node_m2=s.grid.node_m2, seed=3, draws=2000)
    worst = max(v.mean_sd_um for v in drawn.verdicts)
    # 2,000 draws: a standard deviation within 5 %; intervals against their middles 2 %
    assert needed.margins_um[2][2] == pytest.approx(Z * worst, rel=0.07)


def test_enough_for_rule_patches_and_chance(needed: film_plan.Needed) -> None:
    # exact: 2,568 ft² at a reading for each 250 ft²
    assert needed.by_rule == 11
    assert needed.readings == max(needed.by_rule, needed.by_patch, needed.by_chance or 0)
    assert len(needed.spots) == needed.readings
    floor = needed.ground.section.floor
    points = np.array(needed.spots)
    assert all(floor.buffer(0.05).contains(p) for p in _points(points))
    gaps = np.hypot(*(points[:, None] - points[None]).T)
    assert gaps[~np.eye(len(points), dtype=bool)].min() > 2.0


def _points(xy: np.ndarray):
    import shapely

    return shapely.points(xy)


def test_who_aims_at_exactly_the_film_cannot_show_it(demo: Path) -> None:
    made = Pipeline.of(demo)
    with pytest.raises(InputError, match="it must be more"):
        film_plan.plan_readings(made, SECTION, COAT, aim_um=32 * MIL)
    hard = film_plan.plan_readings(made, SECTION, COAT, aim_um=32.2 * MIL)
    assert hard.readings is None
    assert "No number of readings" in film_plan_words.text(hard, "us")


def test_from_the_command_line(demo: Path, tmp_path: Path) -> None:
    ask = ["film", "readings", str(demo), "--section", SECTION, "--coat", COAT]
    run = CliRunner().invoke(app, [*ask, "--out", str(tmp_path)])
    assert run.exit_code == 0, run.output
    assert "Spots to read" in run.stdout
    assert (tmp_path / f"film-spots-{SECTION}-{COAT}.svg").read_text("utf-8").startswith("<svg")
    curve = (tmp_path / f"film-readings-{SECTION}-{COAT}.svg").read_text("utf-8")
    assert "kits, gauge not checked" in curve
    assert "style=" not in curve
    run = CliRunner().invoke(app, [*ask, "--json", "--aim", "36 mil"])
    found = json.loads(run.stdout)
    assert found["aim_um"] == pytest.approx(36 * MIL)
    assert len(found["spots_m"]) == found["readings"]
    spanish = CliRunner().invoke(app, [*ask, "--lang", "es", "--units", "si"])
    assert "Dónde leer" in spanish.stdout
    assert CliRunner().invoke(app, [*ask, "--lang", "xx"]).exit_code == 2


def test_the_contracts_own_numbers_are_used(demo: Path, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    job.new(folder, demo=True)
    spec = folder / "spec.toml"
    spec.write_text(
        spec.read_text("utf-8") + '\n[film]\narea_per_reading = "100 ft²"\nsure = 0.99\n', "utf-8"
    )
    found = film_plan.plan_readings(Pipeline.of(folder), SECTION, COAT)
    usual = film_plan.plan_readings(Pipeline.of(demo), SECTION, COAT)
    # exact: 2,568 ft² at a reading for each 100 ft²
    assert found.by_rule == 26
    assert all(p.wanted * 100 * 0.09290304 >= 0.9 * found.ground.section.developed_m2 / 4
               for p in found.patches)  # fmt: skip
    assert found.margins_um[0][0] > usual.margins_um[0][0]
    assert "99 %" in film_plan_words.text(found, "us").replace("\u00a0", " ")


def test_a_contract_that_asks_for_every_reading_moves_the_line(demo: Path) -> None:
    made = Pipeline.of(demo)
    spec = replace(made.job.spec, film=ContractRule(share=0.9, floor=1.0, area=0.9))
    strict = Pipeline(replace(made.job, spec=spec))
    found = film_plan.plan_readings(strict, SECTION, COAT)
    assert found.line_of == "share"
    assert found.line_um > found.asked_um
    assert found.readings is None  # five in a hundred more do not reach that line
    enough = film_plan.plan_readings(strict, SECTION, COAT, aim_um=found.enough_um + 1)
    assert enough.readings is not None
    for language in ("en", "es"):
        assert "{" not in film_plan_words.text(found, "us", language)
        assert "{" not in film_plan_words.text(enough, "si", language)


def test_readings_there_already_count(demo: Path, tmp_path: Path) -> None:
    bundle = tmp_path / "job"
    job.new(bundle, demo=True)
    keep.take_file(bundle, bundle / "record-example.jsonl")
    made = Pipeline.of(bundle)
    before = film_plan.plan_readings(made, SECTION, COAT)
    found = film_plan.plan_readings(made, SECTION, COAT, record=film_record(bundle))
    assert (before.have, found.have) == (0, 24)  # exact: the example has so many there
    assert len(found.spots) == found.more
    assert found.more is not None
    assert before.more is not None
    assert found.more < before.more
    run = CliRunner().invoke(app, ["film", "readings", str(bundle), "--deck", "P1",
                                   "--coat", "BASE", "--lang", "es"])  # fmt: skip
    assert run.exit_code == 0, run.output
    assert "P1-STALL-D-1" in run.stdout
    assert "P2" not in run.stdout
    assert CliRunner().invoke(app, ["film", "readings", str(bundle), "--aim", "30 mil"]).exit_code
