"""A drawing becomes a deck of a new job by one command, or is refused with what to do."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
from tests.conftest import SHARED
from typer.testing import CliRunner

from tackfree.cli.app import app
from tackfree.errors import ToolError
from tackfree.service.deck_add import About, Scaled, add

FT2 = 0.3048**2
HOUSE, PAVILION = "house_plan_inches_labelled_mm.dxf", "pavilion_plan_metres.dxf"
PDF, LOTS = "pavilion_plan_vector.pdf", "parking_lots_cary.geojson"
FOOTPRINT = "A-FOOTPRINT=BU-WALK:pedestrian"
TILES = ["--measured", "227.1,0 4126.8,0 = 52 m"]
INCH = Scaled(unit="in")


def drawing(name: str) -> Path:
    path = SHARED / "drawings" / name
    if not path.is_file():
        pytest.skip(f"{name} is not here")
    return path


def tool(*args: str | Path) -> str:
    done = CliRunner().invoke(app, [str(a) for a in args], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture
def job(tmp_path: Path) -> Path:
    tool("job", "new", tmp_path / "job")
    return tmp_path / "job"


def held(job: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in (job / "decks").iterdir()}


def refusal(job: Path, file: str, **more: object) -> str:
    """What a refusal says; it leaves the decks as they were."""
    before = held(job)
    with pytest.raises(ToolError) as caught:
        add(drawing(file), job, **more)  # type: ignore[arg-type]
    assert held(job) == before
    return str(caught.value)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("file", "options", "figure", "unit_m2"),
    [
        # published: the drawings' manifest, sum of the footprint in ft²
        (HOUSE, ["--unit", "in", "--layer", FOOTPRINT], "2,261.278", FT2),
        # published: the drawings' manifest, the larger face of the layer in m²; by hand
        # 22.9 × 12.9. The point lies within it.
        (PAVILION, ["--unit", "m", "--layer", "Projection@{at}=BU-WALK:light"], "295.41", 1.0),
        # published: the drawings' manifest, the larger face of the page in m²
        (
            PDF,
            [*TILES, "--layer", "2.62 pt #000000@{at}=BU-WALK:light"],
            "46.957",
            1.0,
        ),
        # published: the drawings' manifest, in ft²
        (LOTS, ["--layer", "Cary Arts Center=BU-WALK:light"], "16,981.7", FT2),
    ],
    ids=["house", "pavilion", "pdf", "lots"],
)
def test_from_a_drawing_to_its_area_in_the_takeoff(
    job: Path, file: str, options: list[str], figure: str, unit_m2: float
) -> None:
    path = drawing(file)
    assert re.search(rf"(?<!\d){re.escape(figure)}", (SHARED / "drawings/MANIFEST.md").read_text())
    if any("{at}" in x for x in options):
        look = json.loads(tool("deck", "read", path, *options[:2], "--json"))
        name = options[-1].split("@")[0]
        x, y = next(x for x in look["layers"] if x["name"] == name)["at"]
        options = [o.format(at=f"{x},{y}") for o in options]
    tool("deck", "add", path, job, *options, "--id", "D1")
    rows = json.loads(tool("deck", "takeoff", job, "--json"))["zones"]
    field_m2 = sum(r["field_m2"] for r in rows if r["zone_id"].startswith("D1-"))
    # The page's points are rounded, and slivers thinner than a closed gap join a face.
    within = 4e-4 if file == PDF else 1e-4
    assert field_m2 / unit_m2 == pytest.approx(float(figure.replace(",", "")), rel=within)


def test_without_a_confirmed_unit_nothing_is_written(job: Path) -> None:
    # An inch by its labels, a millimetre by its header: a proposal is no confirmation.
    assert "--unit in" in refusal(job, HOUSE, layers=[FOOTPRINT])
    assert "--measured" in refusal(job, PDF, layers=["2.62 pt #000000=BU-WALK:light"])
    loop = refusal(job, "overlapping_end_loop.dxf", layers=["0=BU-WALK:light"])
    assert "nothing in it proves its unit" in loop
    # Degrees say themselves what they are.
    lots = ["Library=BU-WALK:light"]
    assert "Leave out --unit" in refusal(job, LOTS, layers=lots, scaled=Scaled(unit="ft"))


def test_without_a_layer_the_outermost_is_proposed(job: Path) -> None:
    said = refusal(job, HOUSE, scaled=INCH)
    assert "--layer 'xref-Bishop-Overland-08$0$A-FOOTPRINT=BU-WALK:pedestrian'" in said
    assert "A-WALL" in said


def test_every_layer_that_cannot_be_taken_is_named(job: Path) -> None:
    wrong = ["NONE=BU-WALK:light", "A-FOOTPRINT=BU-NONE", "A-FOOTPRINT=BU-WALK", "A-FOOTPRINT"]
    said = refusal(job, HOUSE, layers=wrong, scaled=INCH)
    assert "no layer NONE" in said
    assert "no build-up BU-NONE" in said
    assert ":pedestrian or :light" in said
    assert "LAYER@x,y" in said


def test_walls_that_enclose_scraps_leave_nothing_behind(job: Path) -> None:
    said = refusal(job, PAVILION, layers=["Walls=BU-WALK:light"], scaled=Scaled(unit="m"))
    assert "only scraps" in said


def test_a_taken_id_is_refused_and_a_replaced_deck_comes_back(job: Path) -> None:
    about = About(deck_id="MAIN", exposure="covered", elevation="10 ft 2 in")
    assert "--replace" in refusal(job, HOUSE, layers=[FOOTPRINT], scaled=INCH, about=about)
    former = (job / "decks/MAIN.toml").read_bytes()
    # Refused with --replace too: the former document stands as it was.
    assert refusal(job, HOUSE, layers=["A-WALL=BU-WALK:light"], scaled=INCH, about=about,
                   replace=True)  # fmt: skip
    done = add(drawing(HOUSE), job, layers=[FOOTPRINT], scaled=INCH, about=about, replace=True)
    raw = tomllib.loads((job / "decks/MAIN.toml").read_text("utf-8"))
    assert (raw["unit"], raw["elevation"], raw["zones"][0]["exposure"]) == (
        "in", "10 ft 2 in", "covered")  # fmt: skip
    assert done.backup is not None
    assert (job / done.backup).read_bytes() == former
    tool("job", "check", job)
    (job / done.backup).replace(job / "decks/MAIN.toml")
    assert "MAIN-FIELD" in tool("deck", "takeoff", job)


def test_another_drawing_of_the_same_name_is_not_written_over(job: Path) -> None:
    first = job / "decks" / HOUSE
    first.write_bytes(b"another")
    done = add(drawing(HOUSE), job, layers=[FOOTPRINT], scaled=INCH)
    assert first.read_bytes() == b"another"
    assert f"decks/{Path(HOUSE).stem}-2.dxf" in done.files
