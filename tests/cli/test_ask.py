"""``tackfree ask`` as people and scripts use it."""

import json
import subprocess
import sys

import pytest
import typer
from typer.testing import CliRunner

from tackfree.cli.ask import app
from tackfree.errors import Refused
from tackfree.service.ask import QUESTIONS, ask

COMMANDS = {
    "wet": ["60 ft²/gal"],
    "dry": ["25 mil", "85%", "--thinner", "10%"],
    "reach": ["5 gal", "25 mil", "--fill", "5 mil", "--loss", "8%", "--lane-width", "24ft"],
    "kits": ["4200 ft²", "28 mil", "5 gal", "--fill", "6 mil", "--loss", "8%"],
    "dewpoint": ["75°F", "60%"],
    "spread": ["68F", "72F", "78%"],
    "potlife": ["30", "75F", "95F"],
    "sealant": ["1/2in", "1/4in", "--length", "200ft", "--package", "20 fl oz"],
    "sand": ["612 ft²", "12 lb/100 ft²", "--bag", "50 lb"],
    "cold": ["16", "75F", "55F"],
    "wetedge": [
        "30",
        "75F",
        "92F",
        "--sun",
        "full",
        "--width",
        "60ft",
        "--reach",
        "295ft²",
        "--rate",
        "1500 ft²/h",
    ],
    "air": ["2 gal", "0.87kg/L", "92.1", "50"],
}


def run(*arguments: str):
    return CliRunner().invoke(app, list(arguments))


def needs_rooms(question: str) -> None:
    if question in ("dewpoint", "spread"):
        pytest.importorskip("tackfree.climate.air", reason="the climate room is not here yet")
    if question in ("potlife", "cold"):
        pytest.importorskip("tackfree.cure.rates", reason="the cure room is not here yet")


def test_answer_first_then_formula_then_source():
    lines = run("wet", "60 ft²/gal").stdout.replace("\u00a0", " ").splitlines()
    assert lines[0] == "26.7 mil of wet film"  # exact: 231000/144/60
    assert lines[1] == "679 µm of wet film"  # exact: the same × 25.4
    assert lines[3] == "1604.17 ft²·mil/gal ÷ 60 ft²/gal = 26.7 mil"
    assert lines[4].startswith("exact:")
    assert "25.0 mil is often quoted" in lines[5]


def test_metric_text():
    lines = run("wet", "60 ft²/gal", "--units", "si").stdout.replace("\u00a0", " ").splitlines()
    assert lines[0] == "679 µm of wet film"
    assert lines[3] == "1000 µm·m²/L ÷ 1.47 m²/L = 679 µm"


@pytest.mark.parametrize("question", sorted(COMMANDS))
def test_one_document_with_both_systems(question):
    needs_rooms(question)
    result = run(question, *COMMANDS[question], "--json")
    assert result.exit_code == 0
    document = json.loads(result.stdout)
    assert document["schema"] == "tackfree.ask/1"
    assert document["question"] == question
    assert document["answer"]
    again = run(question, *COMMANDS[question], "--json", "--units", "si")
    assert json.loads(again.stdout)["answer"] == document["answer"]  # units: text only


@pytest.mark.parametrize("question", sorted(COMMANDS))
def test_explain_says_what_went_in(question):
    needs_rooms(question)
    short, long = (
        run(question, *COMMANDS[question]),
        run(question, *COMMANDS[question], "--explain"),
    )
    assert long.exit_code == 0
    assert long.stdout.startswith(short.stdout)
    assert "(typed)" in long.stdout


@pytest.mark.parametrize("dashes", [[], ["--"]])
def test_a_temperature_may_be_below_zero(dashes):
    needs_rooms("dewpoint")
    result = run("dewpoint", "--json", *dashes, "-5°C", "80%")
    assert result.exit_code == 0
    want = ask("dewpoint", {"air": "-5 °C", "rh": "80 %"}).to_json()["answer"]
    assert json.loads(result.stdout)["answer"] == want


def test_a_bad_value_is_refused_and_not_a_usage_error():
    result = run("wet", "60")
    assert isinstance(result.exception, Refused)
    (fault,) = result.exception.faults
    assert fault.where == "ask wet: coverage"
    assert "60 ft²/gal or 60 m²/L" in fault.what


@pytest.mark.parametrize(
    "arguments",
    [["wet"], ["wet", "60 ft²/gal", "--units", "imperial"], ["dewpoint", "75F", "60%", "--jsn"],
     ["sealant", "1in", "1in", "--shape", "oval"], ["nothing"]],
)  # fmt: skip
def test_misuse_is_exit_two(arguments):
    assert run(*arguments).exit_code == 2


def test_commands_are_the_questions():
    assert {c.callback.__name__ for c in app.registered_commands} == set(QUESTIONS)
    for command in app.registered_commands:
        assert command.epilog.startswith(f"Try: tackfree ask {command.callback.__name__}")
    names = {
        question: {p.name for p in typer.main.get_command(app).commands[question].params}
        for question in QUESTIONS
    }
    for question, declared in QUESTIONS.items():
        wanted = {a.name for a in declared.arguments}
        assert names[question] - {"json", "units", "explain"} == wanted


def test_help_loads_nothing_heavy():
    code = (
        "import sys; import tackfree.cli.ask; "
        "print(sorted({'numpy', 'scipy', 'tackfree.service'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
