"""Kits to finish on the page and the command line: the crew's earlier jobs, the plan's days."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.evidence.made_deck import MIL, deck_record, write
from tests.web.client import TestClient
from tests.web.made import make_out
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.service import job
from tackfree.service.pipeline import Pipeline
from tackfree.web.app import create_app

ZONE = ZoneInfo("America/New_York")
RATIO = 0.8  # a litre went four fifths as far on the earlier jobs


@pytest.fixture
def bundle(tmp_path: Path) -> Path:
    job.new(tmp_path / "job")
    return tmp_path / "job"


def page_of(bundle: Path, out: Path) -> TestClient:
    return TestClient(
        create_app(out, bundle), base_url="http://127.0.0.1", headers={"accept": "text/html"}
    )


def read(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return unescape(re.sub(r"\s+", " ", answer.text)).replace("\u00a0", " ")


def forecast(bundle: Path, *more: str) -> dict[str, Any]:
    run = CliRunner().invoke(app, ["materials", "forecast", str(bundle), "--json", *more])
    assert run.exit_code == 0, run.output
    return {p["product_id"]: p for p in json.loads(run.stdout)["products"]}


def put_earlier(bundle: Path, count: int) -> None:
    """Jobs like this one, each coated with kits that reached so far."""
    made = Pipeline.of(bundle)
    line = next(c for c in made.materials.coats if c.coat_id == "BASE")
    section = next(s for s in made.sections.sections if s.id == line.section_id)
    deep = line.wft_um + line.fill_um
    for k in range(count):
        folder = bundle / "earlier" / f"job-{k}"
        shutil.copytree(bundle, folder, ignore=shutil.ignore_patterns("earlier", ".tackfree"))
        write(folder, f"EARLIER-{k}", deck_record(
            section, "BASE", line.product_id, kit_l=line.kit_l, deep_um=line.fill_um,
            film_mil=lambda x, y: (deep / RATIO - line.fill_um) / MIL, loss=line.loss,
            readings=0, seed=k,
        ))  # fmt: skip


def test_the_crews_earlier_jobs_speak_from_the_fifth(bundle: Path, tmp_path: Path) -> None:
    client = page_of(bundle, make_out(tmp_path / "out"))
    bare = read(client, "/materials/forecast")
    assert f"into {bundle / 'earlier'}" in bare  # how to give them
    alone = forecast(bundle)["EX-B"]
    assert alone["without_history"] is None
    put_earlier(bundle, 4)
    four = read(client, "/materials/forecast")
    assert "4 of them teach something; from 5 on" in four
    assert "New job: a litre went EX-B 80 % as far as worked out." in four  # exact: as made
    assert "earlier jobs a litre went" not in four
    put = bundle / "earlier" / "job-4"
    shutil.copytree(bundle / "earlier" / "job-0", put)
    five = read(client, "/materials/forecast")
    told = forecast(bundle)["EX-B"]
    low, likely, high = told["without_history"]
    assert [low, likely, high] == [alone["p10"], alone["p50"], alone["p90"]]
    assert told["history_ratio"] == pytest.approx(RATIO, rel=0.03)  # exact: as the kits were made
    assert told["p50"] > likely
    said = (
        "On the crew's 5 earlier jobs a litre went 80 % as far as worked out. From the usual "
        f"range alone it would be {low} to {high} more kits (likely {likely})."
    )
    assert said in five
    assert said in CliRunner().invoke(app, ["materials", "forecast", str(bundle)]).stdout
    assert "En los 5 trabajos anteriores" in read(client, "/materials/forecast?lang=es")


def test_an_earlier_job_that_cannot_be_read_is_told(bundle: Path, tmp_path: Path) -> None:
    (bundle / "earlier" / "broken").mkdir(parents=True)
    client = page_of(bundle, make_out(tmp_path / "out"))
    assert "broken is left out." in read(client, "/materials/forecast")
    run = CliRunner().invoke(app, ["materials", "forecast", str(bundle)])
    assert run.exit_code == 1
    assert "job.toml: The file is missing." in str(run.exception)


def plan_on(out: Path, made: Pipeline, day: date) -> None:
    """A plan of an output folder that lays every coat on one day."""
    noon = int(datetime(day.year, day.month, day.day, 12, tzinfo=ZONE).timestamp())
    placed = [
        {"section_id": c.section_id, "step_id": c.coat_id, "start": 0} for c in made.materials.coats
    ]
    plan = {"slot0_utc_s": noon, "slot_s": 1800, "plan": {"placed": placed}}
    (out / "stages" / "plan.json").write_text(json.dumps(plan), "utf-8")


def said_on(text: str, made: Pipeline) -> date:
    """A day as the page says it, the first such from the job's own day on."""
    today = made.job.as_of.date()
    days = (datetime.strptime(f"{text} {today.year + k}", "%a %d %b %Y").date() for k in (0, 1))
    return next(d for d in days if d >= today)


def test_a_later_plan_moves_the_day_to_order(bundle: Path, tmp_path: Path) -> None:
    """On the page and on the command line alike."""
    made, out = Pipeline.of(bundle), make_out(tmp_path / "out")
    client = page_of(bundle, out)
    at = f"{made.job.as_of:%Y-%m-%dT07:00}"
    first = made.job.as_of.date() + timedelta(days=40)
    pages, lines = [], []
    for day in (first, first + timedelta(days=14)):
        plan_on(out, made, day)
        text = read(client, f"/materials/forecast?at={at}&lang=en")
        ordered = re.search(r"EX-B: .*? Order \d+ by (\w+ \d+ \w+) \(5 days", text)
        used = re.search(r'id="p-EX-B".*?used (\w+ \d+ \w+) to', text)
        assert ordered
        assert used
        assert said_on(used[1], made) == day  # exact: the plan's own day
        assert "one section and coat a working day" not in text
        pages.append(said_on(ordered[1], made))
        lines.append(forecast(bundle, "--built", str(out))["EX-B"])
    assert (pages[1] - pages[0]).days == 14  # exact: the same day of the week, two weeks on
    assert [date.fromisoformat(f["order_by"]) for f in lines] == pages
    assert [f["days"][0]["on"] for f in lines] == [
        day.isoformat() for day in (first, first + timedelta(days=14))
    ]
    assert date.fromisoformat(forecast(bundle)["EX-B"]["order_by"]) < pages[0]  # no plan
    run = CliRunner().invoke(app, ["materials", "forecast", str(bundle), "--built", str(bundle)])
    assert run.exit_code == 1
    assert "there is no plan" in str(run.exception)
