"""``film verdict`` and ``film map`` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.evidence.made_deck import deck_record, write
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.service import job
from tackfree.service.pipeline import Pipeline


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("film") / "job"
    job.new(folder)
    made = Pipeline.of(folder)
    line = next(c for c in made.materials.coats if c.coat_id == "BASE")
    section = next(s for s in made.sections.sections if s.id == line.section_id)
    bodies = deck_record(
        section, "BASE", line.product_id, film_mil=lambda x, y: line.wft_um / 25.4 + 3,
        kit_l=line.kit_l, deep_um=line.fill_um, loss=line.loss, readings=40, seed=2,
    )  # fmt: skip
    write(folder, made.job.id, bodies)
    return folder


def test_verdict_as_words_and_as_json(logged: Path) -> None:
    run = CliRunner().invoke(app, ["film", "verdict", str(logged)])
    assert run.exit_code == 0, run.output
    assert "First the contract's rule" in run.stdout
    run = CliRunner().invoke(app, ["film", "verdict", str(logged), "--json"])
    (study,) = json.loads(run.stdout)["studies"]
    assert study["coat"] == "BASE"
    assert {v["state"] for v in study["verdicts"]} == {"shown"}


def test_map_is_written(logged: Path, tmp_path: Path) -> None:
    run = CliRunner().invoke(app, ["film", "verdict", str(logged), "--json"])
    section = json.loads(run.stdout)["studies"][0]["section"]
    ask = ["film", "map", str(logged), "--section", section, "--coat", "BASE"]
    run = CliRunner().invoke(app, [*ask, "--out", str(tmp_path)])
    assert run.exit_code == 0, run.output
    (file,) = tmp_path.iterdir()
    assert file.name == f"film-{section}-BASE.svg"
    first = file.read_bytes()
    assert b"SHOWN" in first
    CliRunner().invoke(app, [*ask, "--out", str(tmp_path)])
    assert file.read_bytes() == first


def test_forecast_as_words_and_as_json(logged: Path) -> None:
    run = CliRunner().invoke(app, ["materials", "forecast", str(logged), "--today", "2027-05-04"])
    assert run.exit_code == 0, run.output
    assert "more kits (likely" in run.stdout
    assert "nothing is left to coat with it" in run.stdout
    run = CliRunner().invoke(app, ["materials", "forecast", str(logged), "--json"])
    products = json.loads(run.stdout)["products"]
    learnt = [p for p in products if p["learnt_from"]]
    assert [p["p10"] <= p["p50"] <= p["p90"] for p in products] == [True] * len(products)
    assert len(learnt) == 1
    run = CliRunner().invoke(app, ["materials", "forecast", str(logged), "--lang", "xx"])
    assert run.exit_code == 2
