"""The invented record of the demo, taken in and asked about from the command line."""

from __future__ import annotations

import json
import runpy
import shutil
import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.service import job

DEMO = Path(__file__).resolve().parents[2] / "demo"


def tackfree(*words: str | Path) -> str:
    run = CliRunner().invoke(app, [str(w) for w in words])
    assert run.exit_code == 0, run.output
    return run.stdout.replace("\u00a0", " ")


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("example") / "job"
    job.new(folder, demo=True)
    assert "299 stored, 0 duplicate, 0 conflict, 0 held" in tackfree(
        "record", "import", folder, folder / "record-example.jsonl"
    )
    return folder


@pytest.mark.slow
def test_the_example_is_what_its_maker_writes(tmp_path: Path, example: Path) -> None:
    """The file kept in the demo is the maker's, byte for byte."""
    maker = runpy.run_path(str(DEMO / "record_example.py"))
    before = maker["FILE"].read_bytes()
    (tmp_path / "demo").mkdir()
    shutil.copytree(example, tmp_path / "demo" / "job")
    maker["main"].__globals__.update(
        HERE=tmp_path / "demo", FILE=tmp_path / "demo" / "job" / "record-example.jsonl"
    )
    maker["main"]()
    assert (tmp_path / "demo" / "job" / "record-example.jsonl").read_bytes() == before


def test_the_example_says_that_it_is_invented(example: Path) -> None:
    lines = (example / "record-example.jsonl").read_text("utf-8").splitlines()
    people = {json.loads(line)["person"] for line in lines}
    assert all("invented" in p for p in people)


def test_the_contracts_rule_stands_before_the_chance_patch_by_patch(example: Path) -> None:
    text = tackfree("film", "verdict", example, "--section", "P1-STALL-D-1", "--coat", "BASE")
    for patch in ("Patch 1", "Patch 2", "Patch 3"):
        assert text.index(f"{patch}, the contract's rule first") < text.index(f"{patch}: ")
    assert text.index("Then how sure") < text.index("Other rules beside it")
    assert text.index("Other rules beside it") < text.index("By the readings alone")


def test_four_stories(example: Path) -> None:
    said = tackfree("film", "verdict", example)
    assert "An invented job" in said
    assert "1 of 4 areas shown, 1 short, 2 not shown." in said
    for zone, word in (
        ("P1-STALL-A", "SHOWN"), ("P1-STALL-D", "SHORT"), ("P1-STALL-B", "NOT SHOWN"),
        ("P1-LANE-A", "NOT SHOWN"),
    ):  # fmt: skip
        assert f"{zone} BASE: {word}" in said
    assert "The inspector's own 6 readings, kept apart" in said
    assert "PRIMER" not in said
    one = tackfree("film", "verdict", example, "--section", "P1-STALL-A-1", "--coat", "PRIMER")
    assert "PRIMER: NOT SHOWN" in one  # asked for, it is answered


@pytest.mark.parametrize(
    ("now", "said"),
    # exact: the first kit was down at 10:41, 48 h by the sheet
    [
        ("2027-04-22T06:00", "before Fri 23 Apr, 10:41, 28 h 41 min from Thu 22 Apr, 06:00"),
        ("2027-04-23T11:00", "its window ended Fri 23 Apr, 10:41"),
    ],
)
def test_the_clock_says_whether_it_can_still_be_brought_up(example: Path, now, said) -> None:
    ask = ("film", "verdict", example, "--section", "P1-STALL-D-1", "--coat", "BASE")
    text = tackfree(*ask, "--now", now)
    assert said in text
    assert "gal would bring it up" in text


def test_json_and_spanish(example: Path) -> None:
    ask = ("film", "verdict", example, "--section", "P1-STALL-A-1", "--coat", "BASE")
    (study,) = json.loads(tackfree(*ask, "--json"))["studies"]
    assert study["state"] == "shown"
    assert study["inspector_readings"] == 6
    spanish = tackfree(*ask, "--lang", "es", "--units", "si")
    assert "Primero la regla del contrato" in spanish
    assert "{" not in spanish
    run = CliRunner().invoke(app, [*map(str, ask), "--lang", "xx"])
    assert run.exit_code == 1


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_figure_for_the_closeout(example: Path, tmp_path: Path, lang: str) -> None:
    ask = ("film", "figure", example, "--section", "P1-STALL-A-1", "--coat", "BASE")
    file = Path(tackfree(*ask, "--lang", lang, "--out", tmp_path).strip())
    first = file.read_bytes()
    tackfree(*ask, "--lang", lang, "--out", tmp_path)
    assert file.read_bytes() == first
    text = subprocess.run(
        ["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert {"en": "SHOWN", "es": "DEMOSTRADO"}[lang] in text
    assert text.count({"en": "inspector ", "es": "inspector "}[lang]) >= 6
    assert {"en": "contract's rule", "es": "regla del contrato"}[lang] in text
    assert {"en": "Other rules beside it", "es": "Otras reglas al lado"}[lang] in text
    assert {"en": "Sources:", "es": "Fuentes:"}[lang] in text
