"""The old deck of the trade's scenarios: 54 pulls, a good mean, two low ones in a corner."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from shapely import Point
from tests.evidence.made_deck import write
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.service import job
from tackfree.service.pipeline import Pipeline

PSI = 6894.757293168361  # published: NIST SP 811, psi
FT = 0.3048
SPEC = '\n[tests.bond]\nmean = "200 psi"\nsingle = "150 psi"\n'


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """86,000 ft² of plain deck, 54 pulls of 260 psi on average, two at 110 psi in a corner."""
    folder = tmp_path_factory.mktemp("old") / "job"
    job.new(folder)
    w, h = 250 * FT, 344 * FT
    ring = [[0, 0], [w, 0], [w, h], [0, h], [0, 0]]
    zone = {"type": "Feature", "properties": {"id": "MAIN-FIELD", "kind": "zone"},
            "geometry": {"type": "Polygon", "coordinates": [ring]}}  # fmt: skip
    drawing = {"type": "FeatureCollection", "features": [zone]}
    (folder / "decks" / "MAIN.geojson").write_text(json.dumps(drawing), "utf-8")
    spec = folder / "spec.toml"
    spec.write_text(spec.read_text("utf-8") + SPEC, "utf-8")
    made = Pipeline.of(folder)
    spots = [(w * (i + 0.5) / 6, h * (j + 0.5) / 9) for j in range(9) for i in range(6)]
    low = {0, 1}  # next to each other in the lower left corner
    high = (260 * 54 - 2 * 110) / 52  # exact: so that all 54 average 260 psi
    bodies = []
    for k, (x, y) in enumerate(spots):
        section = min(made.sections.sections, key=lambda s: s.floor.distance(Point(x, y)))
        bodies.append(("pull-off", {
            "section": section.id, "set": str(k // 3), "fixture": f"F-{k}", "x_m": x, "y_m": y,
            "stress_pa": (110 if k in low else high) * PSI, "in_concrete": 1.0,
        }))  # fmt: skip
    write(folder, made.job.id, bodies)
    return folder


def tackfree(*words: str | Path) -> str:
    run = CliRunner().invoke(app, [str(w) for w in words])
    assert run.exit_code == 0, run.output
    return run.stdout.replace("\u00a0", " ")


def test_a_good_mean_never_covers_the_weak_corner(old: Path) -> None:
    found = json.loads(tackfree("film", "tests", old, "--json"))["sections"]
    fails = [s for s in found if s["holds"] is False]
    assert len(fails) == 1
    said = tackfree("film", "tests", old)
    # the failing section stands first, whatever its number
    assert said.splitlines()[2].endswith(": FAILS")
    assert f"{fails[0]['section_id']}: FAILS" in said
    assert "A single pull of 110 psi is below 150 psi: fails, whatever the mean." in said
    assert "Pull here next" in said


def test_in_spanish(old: Path) -> None:
    said = tackfree("film", "tests", old, "--lang", "es", "--units", "si")
    assert "FALLA" in said
    assert "{" not in said
